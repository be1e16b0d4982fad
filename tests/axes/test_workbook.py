"""The workbook of a target whose axes are not the donor's: figures as issued, nothing half live."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from basemap.model.result import Result
from basemap.workbook.write import write_workbook
from tests.axes.test_air_mass import MG
from tests.axes.test_air_mass import ROWS as AIR_ROWS
from tests.axes.test_pressure_axes import GAUGE, GAUGE_ROWS, RATIO, RATIO_ROWS
from tests.builders.pulse_width import LOAD, adapted, barometers, target_of
from tests.workbook.cells import cells_of, formulas_of
from tests.workbook.edited import opened

if TYPE_CHECKING:
    from openpyxl.workbook.workbook import Workbook

OWN = "\n[target.tables.fuel]\nrpm_points = [1000, 2000, 3000]\nload_points = [50, 80]\n"
OTHER_AXES = "as issued, not live: the donor's table is read on other axes"
COUNTS_AIR = "as issued, not live: the load axis counts air"
MUST_NOT_LOOK_LIVE = ("may be changed", "recomputes", "change a spread")


def content_of(result: Result) -> bytes:
    stream = BytesIO()
    write_workbook(result, stream)
    return stream.getvalue()


def written(result: Result) -> Workbook:
    book: Workbook = opened(content_of(result))
    return book


@pytest.mark.parametrize(
    ("kind", "why"), [("air", COUNTS_AIR), ("own", OTHER_AXES), ("ratio", OTHER_AXES), ("gauge", OTHER_AXES)]
)
def test_nothing_is_half_live(kind: str, why: str, tmp_path: Path) -> None:
    made = {
        "air": lambda: adapted(tmp_path, MG, target_of("2400 cc"), rows=AIR_ROWS),
        "own": lambda: adapted(tmp_path, append=OWN),
        "ratio": lambda: adapted(tmp_path, RATIO, rows=RATIO_ROWS, append=barometers("80 kPa", "100 kPa")),
        "gauge": lambda: adapted(tmp_path, GAUGE, rows=GAUGE_ROWS, append=barometers("80 kPa", "100 kPa")),
    }
    result = made[kind]()
    book = written(result)
    for ws in book:
        assert [cell.coordinate for row in ws for cell in row if cell.data_type == "f"] == []
        assert ws.data_validations.dataValidation == []
        assert ws.protection.sheet
        unlocked = [cell for row in ws for cell in row if not cell.protection.locked]
        # Only what is for the tuner's words.
        assert all(cell.value is None for cell in unlocked)
        typed = {"Summary": set(range(1, 13)), "First start": {1, 3, 5}, "Inputs": {13}}
        assert {cell.column for cell in unlocked} == typed.get(ws.title, set())
        heads = [str(cell.value) for cell in ws[3] if cell.value is not None]
        assert heads == [why], ws.title
        words = " ".join(str(cell.value) for row in ws for cell in row if isinstance(cell.value, str))
        assert not [each for each in MUST_NOT_LOOK_LIVE if each in words], ws.title
    assert {"Rows", "Donor table"} <= set(book.sheetnames)
    assert not {"Steps", "Issued", "Issued inputs", "Derived"} & set(book.sheetnames)
    new = book["Tables"]
    place = book.defined_names["new_table"].attr_text.split("!")[1].replace("$", "")
    values = [[cell.value for cell in row] for row in new[place]]
    np.testing.assert_allclose(np.array(values, dtype=float), result.table.new, rtol=1e-12)
    donor = [[cell.value for cell in row[1:3]] for row in book["Donor table"]["A6:C7"]]
    np.testing.assert_allclose(donor, result.job.donor.table.values * 1e3, rtol=1e-12)


@pytest.mark.parametrize(("axis", "rows"), [(RATIO, RATIO_ROWS), (GAUGE, GAUGE_ROWS)])
def test_on_one_barometer_it_is_live_and_minds_that_there_is_one(
    axis: tuple[str, str], rows: str, tmp_path: Path
) -> None:
    cells = cells_of(content_of(adapted(tmp_path, axis, rows=rows, append=barometers("80 kPa", "80 kPa"))))
    formula = cells["Rows", "B7"].formula or ""
    same = "IF(donor_barometer_used=target_barometer_used,"
    assert formula.startswith((f"{same}$A7*", f"{same}Rows!$A7*"))
    assert formula.endswith(',"barometers differ")')


def test_another_unit_of_the_target_is_not_live(tmp_path: Path) -> None:
    result = adapted(tmp_path, append='\n[target.tables.fuel]\nload_unit = "bar absolute"\n')
    assert [*formulas_of(cells_of(content_of(result)))] == []


@pytest.mark.parametrize("columns", [2, 3, 4, 5])
def test_the_smallest_tables_with_every_kind_of_sign(columns: int, tmp_path: Path) -> None:
    cells = {40: "0.2,9,30,3,4", 70: "5,6,7,12,5", 100: "20,8,9,31,6"}
    rows = "load,1000,3000,5000,7000,8000\n" + "".join(f"{load},{text}\n" for load, text in cells.items())
    cut = "".join(",".join(line.split(",")[: columns + 1]) + "\n" for line in rows.splitlines())
    storage = "\n[target.tables.fuel]\nmaximum = 10\nminimum = 4\n"
    result = adapted(tmp_path, (LOAD, LOAD), rows=cut, append=storage)
    assert len(result.table.marks) >= 3
    assert "Tables" in {sheet for sheet, _ in cells_of(content_of(result))}
