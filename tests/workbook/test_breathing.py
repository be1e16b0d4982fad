"""The sheet of the estimated breathing: there where one was asked for, in a workbook that is not live."""

from __future__ import annotations

import io
import zipfile

import pytest

from tests.workbook.cells import sheet_titles
from tests.workbook.edited import opened
from tests.workbook.variants import Variant, issued

MACH = {
    "donor.engine.inlet_valve_area": "11.4 cm2",
    "target.engine.inlet_valve_area": "12.1 cm2",
    "options.breathing": "inlet mach",
}
OWN_AXES = {"target.tables.fuel.rpm_points": [800, 1500, 3000, 5000]}


@pytest.mark.law
@pytest.mark.parametrize("changes", [MACH, MACH | OWN_AXES], ids=["the donor's axes", "axes of its own"])
def test_every_cells_factor_stands_on_a_sheet_of_its_own(changes: dict[str, object]) -> None:
    written = issued(Variant("estimate", changes))
    result, book = written.result, opened(written.content, {"Breathing", "Summary"})
    factor = result.table.breathing_factor
    assert factor is not None
    cells = [
        row[1 : 1 + factor.shape[1]] for row in book["Breathing"].iter_rows(min_row=6, max_row=11, values_only=True)
    ]
    assert cells == [pytest.approx(row, rel=1e-13) for row in factor.tolist()]
    said = [cell for row in book["Summary"].iter_rows(values_only=True) for cell in row if "AN ESTIMATE" in str(cell)]
    assert len(said) == 1


@pytest.mark.law
def test_without_an_estimate_there_is_no_such_sheet() -> None:
    with zipfile.ZipFile(io.BytesIO(issued(Variant("same")).content)) as archive:
        assert "Breathing" not in sheet_titles(archive)
