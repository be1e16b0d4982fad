"""A workbook that comes back: what was changed is said, and its new table is a donor's table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl import load_workbook

from basemap.errors import InputError
from basemap.model.result import Result
from basemap.report.workbook import write_workbook
from basemap.report.workbook.returned import compare_workbooks
from basemap.tables.read import read_grid
from tests.report.workbook.libreoffice import needs_libreoffice, recalculated
from tests.report.workbook.variants import VARIANTS
from tests.report.workbook.what_if import Change, run_again

STUCK = VARIANTS[2]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return STUCK.result(tmp_path_factory.mktemp("job"))


@pytest.fixture(scope="module")
def issued(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("issued") / "crane.xlsx"
    write_workbook(result, path)
    return path


def edited(issued: Path, path: Path, entries: dict[tuple[str, int, int], Any]) -> Path:
    """A copy with values written into named areas."""
    book = load_workbook(issued)
    for (name, row, col), value in entries.items():
        ((sheet, address),) = list(book.defined_names[name].destinations)
        found = book[sheet][address.replace("$", "")]
        cell = found[row][col] if isinstance(found, tuple) else found
        cell.value = value
    book.save(path)
    return path


def test_nothing_changed(issued: Path) -> None:
    assert compare_workbooks(issued, issued).edits == ()


def test_each_kind_of_change_is_said(issued: Path, result: Result, tmp_path: Path) -> None:
    entries = {("target_static_flow", 0, 0): 640, ("old_table", 1, 2): 55.5, ("new_table", 2, 1): 44}
    said = [str(edit) for edit in compare_workbooks(issued, edited(issued, tmp_path / "back.xlsx", entries)).edits]
    table, load = result.job.donor_table, result.job.donor_table.load_pa / 1e3
    old, new = result.table.old[1, 2], result.table.new[2, 1]
    assert [line.split(";")[0] for line in said if "_table" not in line] == [
        f"old table ({table.rpm[2]:g} rpm, {load[1]:g} kPa",
        said[1],
        f"new table ({table.rpm[1]:g} rpm, {load[2]:g} kPa",
    ]
    assert said[0].endswith(f"): {old:.10g} became 55.5")
    assert said[1] == f"target_static_flow ({_where(issued)}): 610 became 640"
    assert said[2].endswith("): a formula was replaced by 44")
    assert compare_workbooks(issued, tmp_path / "back.xlsx").edits[2].before == pytest.approx(new, rel=1e-12)


def test_another_workbook_is_refused(issued: Path, tmp_path: Path) -> None:
    book = load_workbook(issued)
    del book.defined_names["new_table"]
    book.save(tmp_path / "other.xlsx")
    with pytest.raises(InputError) as refused:
        compare_workbooks(issued, tmp_path / "other.xlsx")
    assert str(refused.value) == (
        f"{tmp_path / 'other.xlsx'}: is not a workbook that this program wrote: it has no cell named new_table; "
        'expected the .xlsx that "basemap adapt" wrote, or that file as it came back'
    )


def test_names_for_millions_of_cells_are_refused(issued: Path, tmp_path: Path) -> None:
    from openpyxl.workbook.defined_name import DefinedName

    book = load_workbook(issued)
    for number in range(40):
        name = f"stray_{'abcdefghij'[number % 10]}_{'klmno'[number // 10]}"
        book.defined_names[name] = DefinedName(name, attr_text="Summary!$A$1:$T$2000")
    many = tmp_path / "many.xlsx"
    book.save(many)
    with pytest.raises(InputError) as caught:
        compare_workbooks(issued, many)
    named = str(caught.value).split("has names for ")[1].split(" cells")[0]
    assert int(named) > 40 * 40_000
    assert str(caught.value) == (
        f"{many}: has names for {named} cells, more than the 1000000 that are looked at; expected the workbook that was "
        "issued as it came back, with no names added"
    )


def test_its_new_table_is_what_is_read(issued: Path, result: Result) -> None:
    """Without a word about sheet or cells: what viewers see, the model's own values."""
    grid = read_grid(issued)
    assert np.array_equal(grid.rpm, result.job.donor_table.rpm)
    assert np.allclose(grid.load, result.job.donor_table.load_pa / 1e3, rtol=1e-12)
    # A sheet holds fifteen digits or more of each number.
    assert np.allclose(grid.values, result.table.new, rtol=1e-12)


@needs_libreoffice
@pytest.mark.libreoffice
def test_what_libreoffice_saves_is_read_as_edited(issued: Path, result: Result, tmp_path: Path) -> None:
    returned = edited(issued, tmp_path / "back.xlsx", {("target_static_flow", 0, 0): 640})
    (saved,) = recalculated([returned], tmp_path)
    assert [str(edit) for edit in compare_workbooks(issued, saved).edits] == [
        f"target_static_flow ({_where(issued)}): 610 became 640"
    ]
    change = Change("", (), (("target.injectors.static_flow", "640 cc/min"),))
    assert np.allclose(read_grid(saved).values, run_again(STUCK, change, tmp_path).table.new, rtol=1e-9)


def _where(issued: Path) -> str:
    ((sheet, address),) = list(load_workbook(issued).defined_names["target_static_flow"].destinations)
    return f"{sheet}!{address.replace('$', '')}"
