"""What does not follow an edit is on one list, and nothing else is left behind.

The same job is issued twice, once with some inputs changed. A plain number that differs between the two workbooks is one
that an edit of these would leave behind: it has to be an input itself, or the list has to say so.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import basemap
from basemap.model.result import Result
from basemap.workbook.core.not_live import AS_ISSUED_PARTS, FIGURES_ONLY, as_issued, figures_only
from tests.builders.with_settings import adapted
from tests.docs.markdown import ROOT, read
from tests.workbook.cells import Address, Cell, cells_of
from tests.workbook.invented_job import LAMBDA_FILE
from tests.workbook.test_breathing import MACH
from tests.workbook.test_figures_only import ADDED, FACTORS, FIELDS
from tests.workbook.test_recalculated import ENGINES
from tests.workbook.variants import BENT_LINE, OVER_PRESSURE, Variant, issued

SAMPLES = ROOT / "sample_tables"

BASE: dict[str, dict[str, Any]] = {
    "plain": {},
    "a table of intended lambda": {"donor.tables.fuel.lambda": LAMBDA_FILE},
    "evidence of the breathing": ENGINES,
    "richer at load": {"options.richer_at_load": "10 %"},
    "a shortest pulse": {"donor.settings.minimum_pulse": "3.1 ms", "target.settings.minimum_pulse": "2.9 ms"},
    "dead times over pressure, a bent line": {
        "donor.injectors.dead_time": OVER_PRESSURE, "target.injectors.dead_time": OVER_PRESSURE,
        "target.injectors.bent_line": BENT_LINE, "target.injectors.static_flow": "330 cc/min",
    },
    "a donor without what cancels": {"donor.injectors": None, "donor.fuel": {"regulator": "manifold"}},
    "settings that are stuck": {
        "target.settings": {"cannot_be_told": ["stoichiometric", "dead_time"], "static_flow": "300 cc/min"},
        "donor.settings": {"displacement": "2000 cc", "stoichiometric": 14.4, "fuel_density": "0.74 g/cc"},
    },
}  # fmt: skip
JOBS = {name: Variant(name, changes) for name, changes in BASE.items()}
EDITS = {
    "target.injectors.static_flow": "640 cc/min",
    "target.fuel.rail_pressure": "3.9 bar",
    "target.engine.displacement": "2500 cc",
    "target.conditions.charge_temperature": "25 degC",
    "target.conditions.barometer": "99 kPa",
    "donor.fuel.blend": "E5",
}


def left_behind(before: dict[Address, Cell], after: dict[Address, Cell]) -> Iterator[Address]:
    """Plain numbers that are others in the second workbook."""
    for at, cell in before.items():
        now = after.get(at)
        if cell.formula is None and isinstance(cell.value, float) and now is not None and now.value != cell.value:
            yield at


def _row_of(cells: dict[Address, Cell], at: Address) -> set[str]:
    row = at[1].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return {
        str(cell.value)
        for (sheet, address), cell in cells.items()
        if sheet == at[0] and address.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ") == row
    }


@pytest.mark.law
@pytest.mark.parametrize("name", BASE)
def test_what_an_edit_leaves_behind_is_on_the_list(name: str) -> None:
    result = issued(JOBS[name]).result
    before = cells_of(issued(JOBS[name]).content)
    listed = {sheet for one in as_issued(result) for sheet in one.sheets}
    edits = EDITS if "donor.injectors" not in BASE[name] else {key: EDITS[key] for key in EDITS if "donor." not in key}
    if "target.injectors.bent_line" in BASE[name]:  # whose flow above the bend is near the static flow
        edits = edits | {"target.injectors.static_flow": "345 cc/min"}
    after = cells_of(issued(Variant(f"{name}, edited", {**BASE[name], **edits})).content)
    differing = [*left_behind(before, after)]
    # The input itself, and what stands ready where a fuel is to be typed; on Summary the row says "as issued".
    wrong = [
        at
        for at in differing
        if at[0] not in listed
        and not (at[0] == "Inputs" and at[1][0] in "BF")
        and not (at[0] == "Summary" and any("as issued" in one for one in _row_of(before, at)))
    ]
    assert wrong == []
    seen = {sheet for sheet, _ in differing}
    # The comparison does see what is left behind.
    assert {"Inputs", "Issued", "Issued inputs", "Worked cell", "Battery and heat", "How sure"} <= seen
    assert ("Breathing" in seen) == (result.table.breathing_factor is not None)


def test_every_part_on_the_list_is_left_behind_somewhere() -> None:
    """A part that is live after all leaves the list."""
    demo, results = basemap.adapt(basemap.load_job(SAMPLES / "ferry_van.toml")), []
    results += [demo, *(issued(job).result for job in JOBS.values())]
    results.append(basemap.adapt(basemap.load_job(SAMPLES / "refused" / "map_scale.toml")))
    results.append(basemap.adapt(basemap.load_job(SAMPLES / "refused" / "held_after_drives.toml")))
    assert {one.what for result in results for one in as_issued(result)} == {one.what for one in AS_ISSUED_PARTS}


def test_every_reason_for_figures_only_has_a_job(tmp_path: Path) -> None:
    results: list[Result] = [
        basemap.adapt(basemap.load_job(SAMPLES / "mill_yard.toml")),
        basemap.adapt(basemap.load_job(SAMPLES / "reed_bank_buggy.toml")),
        adapted(tmp_path, FACTORS), adapted(tmp_path, ADDED), adapted(tmp_path, FIELDS),
        Variant("estimate", MACH).result(tmp_path),
        Variant("own axes", {"target.tables.fuel.rpm_points": [800, 1500, 3000, 5000]}).result(tmp_path),
    ]  # fmt: skip
    assert [figures_only(result) for result in results] == [one.words for one in FIGURES_ONLY]


def test_the_sheet_prints_the_list() -> None:
    result, cells = issued(JOBS["plain"]).result, cells_of(issued(JOBS["plain"]).content)
    printed = {str(cell.value) for (sheet, _), cell in cells.items() if sheet == "Inputs"}
    for one in as_issued(result):
        assert {f"{one.what[0].upper()}{one.what[1:]}", f"{one.why}."} <= printed


def test_the_guide_has_the_list() -> None:
    guide = read(ROOT / "docs" / "user_guide.md")
    assert [one.words for one in FIGURES_ONLY if f"| {one.words} | {one.why} |" not in guide] == []
    assert [one.what for one in AS_ISSUED_PARTS if f"| {one.what} | {one.why} |" not in guide] == []
