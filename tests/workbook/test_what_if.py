"""Changing an input in the workbook gives the new table that a fresh run of the changed job gives."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from basemap.model.result import Result
from basemap.workbook import write_workbook
from basemap.workbook.pages.summary import NO_LONGER
from tests.workbook.invented_job import Grid
from tests.workbook.libreoffice import Area, areas_after, needs_open_workbook
from tests.workbook.variants import VARIANTS, Variant
from tests.workbook.what_if import Change, changes_of, run_again

pytestmark = [pytest.mark.libreoffice, needs_open_workbook]


@dataclass(frozen=True, eq=False)
class Edited:
    """An edit, and what the open workbook and the fresh run say of it."""

    change: Change
    table: Grid
    verdict: str
    again: Grid


def _all_edits(variant: Variant, folder: Path) -> tuple[Result, list[Edited]]:
    result = variant.result(folder)
    write_workbook(result, folder / "issued.xlsx")
    changes = [*changes_of(result)]
    areas = areas_after(folder / "issued.xlsx", [one.cells for one in changes], ["new_table", "issued_verdict"], folder)
    return result, [
        Edited(change, _numbers(table), str(verdict[0][0]), run_again(variant, change, folder).table.new)
        for change, (table, verdict) in zip(changes, areas, strict=True)
    ]


def _numbers(area: Area) -> Grid:
    """Numbers of an area; NaN for words."""
    return np.array([[value if isinstance(value, float) else np.nan for value in row] for row in area])


FEWEST_MOVING = {
    # Where the box is told everything a VE table stays as it is, whatever the hardware.
    "settings that are stuck": 50,
    "pulse width, dead time outside": 40,
    "pulse width, dead time inside": 45,
    "dead time over pressure, rail pressure corrected for": 30,
}


@pytest.mark.law
@pytest.mark.parametrize("variant", [one for one in VARIANTS if one.rows <= 16], ids=lambda variant: variant.name)
def test_an_edit_in_the_workbook_is_a_run_of_the_edited_job(variant: Variant, tmp_path: Path) -> None:
    result, edits = _all_edits(variant, tmp_path)
    moved = [one for one in edits if not np.allclose(one.again, result.table.new, rtol=1e-6, atol=0.0, equal_nan=True)]
    assert len(edits) >= 35
    assert len(moved) >= FEWEST_MOVING.get(variant.name, 1)
    assert [one.change.what for one in edits if one.verdict != NO_LONGER] == []
    # Gauge loads count from both barometers: where these are edited apart the workbook refuses, in words.
    refused = [one for one in edits if np.isnan(one.table).all() and not np.isnan(one.again).any()]
    assert all("_barometer" in one.change.what and "gauge" in variant.name for one in refused)
    edits = [one for one in edits if one not in refused]
    # Honest agreement: about 1e-14 relative; asked for is 1e-9.
    unlike = [one for one in edits if not np.allclose(one.table, one.again, rtol=1e-9, atol=0.0, equal_nan=True)]
    assert [one.change.what for one in unlike] == []


def test_a_spread_that_is_edited_takes_the_verdict_back_too(tmp_path: Path) -> None:
    write_workbook(VARIANTS[2].result(tmp_path), tmp_path / "issued.xlsx")
    edits = [[("target_static_flow", 0, 0, 610.0)], [("budget_spreads", 0, 0, 0.5)]]
    same, edited = areas_after(tmp_path / "issued.xlsx", edits, ["issued_verdict"], tmp_path)
    assert same == [[["▲  ADAPT FIRST"]]]
    assert edited == [[[NO_LONGER]]]
