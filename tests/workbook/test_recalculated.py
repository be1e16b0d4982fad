"""LibreOffice calculates every formula again, as issued and after each edit of an input.

It finds the numbers that the model left beside the formulas; and an edit gives the new table that a fresh run of the edited
job gives.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.workbook.pages.summary import NO_LONGER
from tests.workbook.cells import Address, Value, cells_of, formulas_of, sheet_titles, unlike
from tests.workbook.invented_job import Grid
from tests.workbook.office import Area, Office, needs_libreoffice
from tests.workbook.variants import BENT_LINE, STUCK, VARIANTS, Variant, issued
from tests.workbook.what_if import UNCHANGED, Change, changes_of, in_turn, job_again, run_again, together

pytestmark = [pytest.mark.libreoffice, needs_libreoffice]


@dataclass(frozen=True)
class Recalculated:
    """A variant's workbook as LibreOffice has it: as issued, and after each change of an input."""

    variant: Variant
    values: dict[Address, Value]
    alone: list[Change]
    """Changes one by one."""
    verdicts: list[str]
    """After each of these."""
    units: list[Change]
    """All changes, several together."""
    tables: list[Grid]
    """After each of these: the new table, NaN for words."""


@pytest.fixture(scope="module", params=VARIANTS, ids=lambda variant: variant.name)
def again(request: pytest.FixtureRequest, office: Office, tmp_path_factory: pytest.TempPathFactory) -> Recalculated:
    variant: Variant = request.param
    workbook = tmp_path_factory.mktemp("issued") / "issued.xlsx"
    workbook.write_bytes(issued(variant).content)
    changes = [*changes_of(issued(variant).result)]
    alone, units = in_turn(variant, changes), together(changes)
    edits = [(one.cells, ["issued_verdict"]) for one in alone] + [(unit.cells, ["new_table"]) for unit in units]
    values, areas = office.calculate(workbook, edits)
    said = [str(verdict[0][0]) for (verdict,) in areas[: len(alone)]]
    return Recalculated(variant, values, alone, said, units, [_numbers(table) for (table,) in areas[len(alone) :]])


@pytest.mark.law
def test_every_cached_value_is_what_the_formula_gives(again: Recalculated) -> None:
    cells = cells_of(issued(again.variant).content)
    assert len(list(formulas_of(cells))) > 10 * again.variant.rows * again.variant.cols + 300
    # Honest agreement: 4e-14 relative at worst; asked for is 1e-9.
    assert unlike(cells, again.values) == []


def _numbers(area: Area) -> Grid:
    """Numbers of an area; NaN for words."""
    return np.array([[value if isinstance(value, float) else np.nan for value in row] for row in area])


FEWEST_MOVING = {
    # Where the box is told everything a VE table stays as it is, whatever the hardware.
    "settings that are stuck": 18,
    "pulse width, dead time outside": 18,
    "pulse width, dead time inside": 18,
    "dead time over pressure, ECUs that are told the fuel's density": 18,
}


def _same(one: Grid, other: Grid, within: float) -> bool:
    return np.allclose(one, other, rtol=within, atol=0.0, equal_nan=True)


@pytest.mark.law
def test_an_edit_in_the_workbook_is_a_run_of_the_edited_job(again: Recalculated, tmp_path: Path) -> None:
    variant, new = again.variant, issued(again.variant).result.table.new
    assert np.array_equal(run_again(variant, UNCHANGED, tmp_path), new, equal_nan=True)
    assert sum(len(unit.cells) for unit in again.units) >= 35
    assert [one.what for one, verdict in zip(again.alone, again.verdicts, strict=True) if verdict != NO_LONGER] == []
    runs = [run_again(variant, unit, tmp_path) for unit in again.units]
    # Several changes at once: one that alone leaves the table as it is shows nothing here, and showed nothing alone.
    assert sum(not _same(table, new, 1e-6) for table in runs) >= FEWEST_MOVING.get(variant.name, 1)
    # Gauge loads count from both barometers: where these are edited apart the workbook refuses, in words.
    refused = [np.isnan(table).all() and not np.isnan(run).any() for table, run in zip(again.tables, runs, strict=True)]
    wrong = [
        unit.what
        for unit, table, run, none in zip(again.units, again.tables, runs, refused, strict=True)
        # Honest agreement: about 1e-14 relative; asked for is 1e-9.
        if not (("_barometer" in unit.what and "gauge" in variant.name) if none else _same(table, run, 1e-9))
    ]
    assert wrong == []


ENGINES = {
    "donor.engine.peak_torque": "165 Nm @ 4000 rpm", "donor.engine.rated_power": "95 kW @ 6000 rpm",
    "target.engine.peak_torque": "215 Nm @ 4000 rpm", "target.engine.rated_power": "122 kW @ 6000 rpm",
}  # fmt: skip


def test_what_evidence_adds_to_the_air_is_in_the_formulas(office: Office, tmp_path: Path) -> None:
    """Without it every cell would come out leaner once a program calculates anew."""
    variant = Variant("breathing by evidence", ENGINES)
    written = issued(variant)
    factor = written.result.table.breathing_factor
    assert factor is not None
    assert np.nanmax(factor) > 1.01
    (tmp_path / "issued.xlsx").write_bytes(written.content)
    values, _ = office.calculate(tmp_path / "issued.xlsx")
    assert unlike(cells_of(written.content), values) == []


@pytest.mark.law
@pytest.mark.parametrize("line", [None, BENT_LINE], ids=["straight", "bent"])
def test_what_is_loaded_richer_at_load_follows_an_edit(
    line: dict[str, str] | None, office: Office, tmp_path: Path
) -> None:
    bent = {"target.injectors.bent_line": line, "target.injectors.static_flow": "330 cc/min"} if line else {}
    variant = Variant("richer at load", {"options.richer_at_load": "12 %", **bent})
    written = issued(variant)
    assert written.result.table.richer is not None
    assert not np.array_equal(written.result.table.to_load, written.result.table.stored)
    (tmp_path / "issued.xlsx").write_bytes(written.content)
    changed = [one for one in changes_of(written.result) if one.what.startswith(("target_static", "target_barometer"))]
    assert changed
    values, areas = office.calculate(tmp_path / "issued.xlsx", [(one.cells, ["stored_table"]) for one in changed])
    assert unlike(cells_of(written.content), values) == []
    for change, (table,) in zip(changed, areas, strict=True):
        again = compute(job_again(variant, change, tmp_path)).table.to_load
        # Both round: a cell at the very half of a step may fall either way.
        assert np.abs(_numbers(table) - again).max() <= 0.1 + 1e-9
        assert np.mean(np.isclose(_numbers(table), again, rtol=1e-9)) > 0.95


def test_a_spread_that_is_edited_takes_the_verdict_back_too(office: Office, tmp_path: Path) -> None:
    workbook = tmp_path / "issued.xlsx"
    workbook.write_bytes(issued(STUCK).content)
    edits = [("target_static_flow", 0, 0, 610.0)], [("budget_spreads", 0, 0, 0.5)]
    _, (same, edited) = office.calculate(workbook, [(edit, ["issued_verdict"]) for edit in edits])
    assert same == [[["▲  ADAPT FIRST"]]]
    assert edited == [[[NO_LONGER]]]


def test_a_wrong_cached_value_is_caught(office: Office, tmp_path: Path) -> None:
    content, sabotaged = issued(STUCK).content, tmp_path / "sabotaged.xlsx"
    _sabotage(content, sabotaged, "Rows", "I8")
    truth = cells_of(content)[("Rows", "I8")].value
    assert isinstance(truth, float)
    found = unlike(cells_of(sabotaged.read_bytes()), office.calculate(sabotaged)[0])
    assert len(found) == 1
    assert found[0].startswith("Rows!I8: 99.0 became ")
    assert float(found[0].rsplit(" ", 1)[1]) == pytest.approx(truth, rel=1e-9)


def _sabotage(content: bytes, into: Path, sheet: str, address: str) -> None:
    """Put 99 beside one formula."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive, zipfile.ZipFile(into, "w") as written:
        for entry in archive.namelist():
            part = archive.read(entry)
            if entry == f"xl/worksheets/sheet{sheet_titles(archive).index(sheet) + 1}.xml":
                pattern = rf'(<c r="{address}"[^>]*><f>[^<]*</f><v>)[^<]*(</v>)'
                changed, count = re.subn(pattern, r"\g<1>99\g<2>", part.decode())
                assert count == 1
                part = changed.encode()
            written.writestr(entry, part)
