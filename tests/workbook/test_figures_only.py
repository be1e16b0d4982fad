"""A workbook that could not follow an edit holds figures, and says why: no formula, nothing half live."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from string import ascii_uppercase

import pytest
from openpyxl.utils import get_column_letter

from basemap.workbook.write import write_workbook
from tests.builders.with_settings import adapted
from tests.workbook.cells import areas_of, cells_of, formulas_of, values_of

FACTORS = (
    '\n[donor.settings.dead_time]\nbattery = ["10 V", "12 V", "14 V"]\npercent = ["150 %", "120 %", "100 %"]\n'
    '\n[target.settings.dead_time]\nat_pulse = "3 ms"\n'
)
ADDED = (
    '\n[target.injectors.added_time]\nopen = ["0.5 ms", "1.5 ms"]\ntime = ["0.2 ms", "0 ms"]\n'
    "\n[target.settings]\nadded_time = true\n"
)
FIELDS = "\n[target.settings.fields]\nstatic_flow = { maximum = 255 }\n"


@pytest.mark.parametrize(
    ("settings", "why"),
    [
        (FACTORS, "the ECU multiplies its pulses for the battery"),
        (ADDED, "short pulses need a time to be added"),
        (FIELDS, "settings are entered as their fields hold them"),
    ],
    ids=["battery factors", "added time", "fields"],
)
def test_it_goes_out_as_figures(settings: str, why: str, tmp_path: Path) -> None:
    stream = BytesIO()
    result = adapted(tmp_path, settings)
    write_workbook(result, stream)
    cells, areas = cells_of(stream.getvalue()), areas_of(stream.getvalue())
    assert dict(formulas_of(cells)) == {}
    above = {
        cell.value for (sheet, at), cell in cells.items() if sheet == "Tables" and at.lstrip(ascii_uppercase) == "3"
    }
    assert f"as issued, not live: {why}" in above
    assert values_of(cells, areas["new_table"]) == pytest.approx(result.table.new, rel=1e-12)


def test_the_same_without_them_is_live(tmp_path: Path) -> None:
    stream = BytesIO()
    write_workbook(adapted(tmp_path), stream)
    cells, areas = cells_of(stream.getvalue()), areas_of(stream.getvalue())
    sheet, row, col, last_row, last_col = areas["new_table"]
    places = [f"{get_column_letter(j + 1)}{i + 1}" for i in range(row, last_row + 1) for j in range(col, last_col + 1)]
    assert all(cells[sheet, place].formula is not None for place in places)
