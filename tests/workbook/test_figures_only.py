"""A workbook that could not follow an edit holds figures, and says why: no formula, nothing half live."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest

from basemap.workbook.write import write_workbook
from tests.builders.with_settings import adapted
from tests.workbook.edited import opened

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
    book = opened(stream.getvalue())
    assert not [cell for ws in book for line in ws for cell in line if cell.data_type == "f"]
    assert f"as issued, not live: {why}" in {str(cell.value) for cell in book["Tables"][3]}
    place = book.defined_names["new_table"].attr_text.split("!")[1].replace("$", "")
    cells = [[cell.value for cell in row] for row in book["Tables"][place]]
    assert cells == [pytest.approx(row, rel=1e-12) for row in result.table.new.tolist()]


def test_the_same_without_them_is_live(tmp_path: Path) -> None:
    stream = BytesIO()
    write_workbook(adapted(tmp_path), stream)
    book = opened(stream.getvalue())
    place = book.defined_names["new_table"].attr_text.split("!")[1].replace("$", "")
    assert all(cell.data_type == "f" for row in book["Tables"][place] for cell in row)
