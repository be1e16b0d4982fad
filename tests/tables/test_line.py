"""Tables with one axis: read, refused, and written back as they were."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.tables.line import read_line, render_line
from tests.builders.cases import each

SHAPES = {
    "two columns": "-20,38.5\n0,25.2\n80,9.2\n",
    "two rows": "-20,0,80\n38.5,25.2,9.2\n",
    "labels above": "Invented\ndegC,ms\n-20,38.5\n0,25.2\n80,9.2\n",
    "labels before": "degC,-20,0,80\nms,38.5,25.2,9.2\n",
    "semicolons and decimal commas": "degC;ms\n-20;38,5\n0;25,2\n80;9,2\n",
    "tabs, falling axis": "80\t9.2\n0\t25.2\n-20\t38.5\n",
    "blanks, padded": "degC   ms\n-20  38.5\n  0  25.2\n 80   9.2\n",
    "quoted, no line feed at the end": '"-20","38.5"\n"0","25.2"\n"80","9.2"',
    "comments and Windows ends": "# mine\r\n-20,38.5\r\n# warm\r\n0,25.2\r\n80,9.2\r\n",
    "byte order mark": "\ufeffdegC,ms\n-20,38.5\n0,25.2\n80,9.2\n",
    "something beside it": "-20,38.5,cold\n0,25.2,\n80,9.2,warm\n",
}


def written(folder: Path, content: str, name: str = "crank.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode("utf-8"))
    return path


@pytest.mark.law
@pytest.mark.parametrize("shape", SHAPES)
def test_it_is_read_and_comes_back_as_it_was(tmp_path: Path, shape: str) -> None:
    path = written(tmp_path, SHAPES[shape])
    found = read_line(path)
    assert found.axis.tolist() == [-20.0, 0.0, 80.0]
    assert found.values.tolist() == [38.5, 25.2, 9.2]
    assert render_line(found.values, found.layout) == path.read_bytes()


@pytest.mark.law
@pytest.mark.parametrize("shape", SHAPES)
def test_other_values_are_read_back_as_written(tmp_path: Path, shape: str) -> None:
    layout = read_line(written(tmp_path, SHAPES[shape])).layout
    other = np.array([101.5, 0.0, 7.3])
    again = written(tmp_path, "", "again.csv")
    again.write_bytes(render_line(other, layout))
    found = read_line(again, decimal=layout.decimal_mark)
    assert found.values.tolist() == other.tolist()
    assert found.axis.tolist() == [-20.0, 0.0, 80.0]


@pytest.mark.parametrize(
    ("content", "unit"),
    [
        ("degC,ms\n0,2\n20,1\n", "ms"),
        ("degC,0,20\n%,2,1\n", "%"),
        ("%/s,x\n0,2\n20,1\n", None),
        ("0,2\n5,2\n20,1\n", None),
    ],
)
def test_the_unit_is_that_of_the_values_label(tmp_path: Path, content: str, unit: str | None) -> None:
    assert read_line(written(tmp_path, content)).unit == unit


def test_decimals_are_those_of_the_file_or_as_asked(tmp_path: Path) -> None:
    found = read_line(written(tmp_path, "degC,ms\n0,2.25\n20,1.5\n80,1\n"))
    assert found.layout.decimals == 2
    new = np.array([2.25, 1.256, np.nan])
    assert render_line(new, found.layout) == b"degC,ms\n0,2.25\n20,1.26\n80,\n"
    assert render_line(new, found.layout, 3) == b"degC,ms\n0,2.250\n20,1.256\n80,\n"


def test_between_blanks_an_empty_cell_shows(tmp_path: Path) -> None:
    found = read_line(written(tmp_path, "0 2.5\n20 1.5\n80 1.0\n", "crank.txt"))
    assert render_line(np.array([2.5, np.nan, -0.01]), found.layout) == b"0 2.5\n20 -\n80 0.0\n"


def test_no_infinity_is_written(tmp_path: Path) -> None:
    found = read_line(written(tmp_path, SHAPES["two columns"]))
    with pytest.raises(ValueError, match="do not fit 3 points"):
        render_line(np.array([1.0, np.inf, 2.0]), found.layout)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (
            "a,b\nc,d\n",
            "crank.csv: no table was found: expected a row of axis values, and below it rows that each begin with "
            "their own axis value, at least 2 × 2 values, separated by commas, semicolons, tabs or spaces",
        ),
        (
            "0,1\n2,3\n",
            "crank.csv: A1 (row 1, column 1): two points can be read as two columns or as two rows: write a label "
            "above each column, or before each row",
        ),
        (
            "kPa,1000,2000\n30,1,2\n60,3,4\n90,5,6\n",
            "crank.csv: B1 (row 1, column 2): the numbers of A1:C4 are not a table with one axis: expected two "
            "columns or two rows of numbers, the axis first, with at least two points and nothing else but labels",
        ),
        (
            "0,1\n2,3\n4,5\n\n6,7\n8,9\n",
            "crank.csv: A5 (row 5, column 1): there are numbers here, outside those of A1:B3: expected two columns or "
            "two rows of numbers, the axis first, with at least two points and nothing else but labels",
        ),
        ("0,1\n2,x\n4,5\n", 'crank.csv: B2 (row 2, column 2): the cell holds "x": expected a number here'),
        ("0,1\n2,\n4,5\n", "crank.csv: B2 (row 2, column 2): the cell is blank: expected a number here"),
        (
            "0,1\n20,2\n10,5\n",
            "crank.csv: A3 (row 3, column 1): the axis changes direction here: 10 comes after 20; expected values "
            "that only rise or only fall",
        ),
        ("0,1\n20,2\n20,5\n", "crank.csv: A3 (row 3, column 1): the axis has 20 twice, first at A2"),
    ],
)
def test_refusals(tmp_path: Path, content: str, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        read_line(written(tmp_path, content), shown_name="crank.csv")
    assert str(caught.value) == problem


def test_a_sheet_is_only_for_a_workbook(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_line(written(tmp_path, SHAPES["two rows"]), shown_name="crank.csv", sheet="Crank")
    assert str(caught.value) == "crank.csv: the file is text: sheet is for an .xlsx workbook only"


def workbook(rows: dict[str, list[list[object]]]) -> io.BytesIO:
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    for title, lines in rows.items():
        sheet = book.create_sheet(title)
        for line in lines:
            sheet.append(line)
    stream = io.BytesIO()
    book.save(stream)
    stream.seek(0)
    return stream


def test_a_workbook_is_written_back_as_text() -> None:
    stream = workbook({"Crank": [["Invented"], [], [None, "degC", "ms"], [None, -20, 38.5], [None, 80, 9.25]]})
    found = read_line("-", stdin=stream)
    assert (found.axis.tolist(), found.values.tolist(), found.unit) == ([-20.0, 80.0], [38.5, 9.25], "ms")
    assert render_line(np.array([30.0, 9.25]), found.layout) == b"degC,ms\n-20,30\n80,9.25\n"


def test_a_sheet_and_a_range_of_a_workbook() -> None:
    rows: list[list[object]] = [["degC", -20, 0, 80], ["ms", 38.5, 25.2, 9.2], ["other", 1, 2, 3]]
    stream = workbook({"Fuel": [["x", 1, 2]], "Start": rows})
    found = read_line("-", stdin=stream, sheet="Start", cells="A1:D2")
    assert found.values.tolist() == [38.5, 25.2, 9.2]
    assert render_line(found.values, found.layout) == b"degC,-20,0,80\nms,38.5,25.2,9.2\n"


@each(
    ("sheet", "cells", "problem"),
    [
        (None, None, 'standard input: more than one sheet has content: say which one you mean, sheet = "A" or "B"'),
        ("C", None, 'standard input: the workbook has no sheet "C": expected "A" or "B"'),
        ("A", "D4:E9", "standard input: the workbook is empty there: expected a table of numbers"),
        ("A", "D4:D9", 'standard input: cells = "D4:D9" is too small: expected two columns or two rows'),
    ],
)
def test_refusals_of_a_workbook(sheet: str | None, cells: str | None, problem: str) -> None:
    stream = workbook({"A": [[0, 1], [2, 3], [4, 5]], "B": [[0, 1], [2, 3], [4, 5]]})
    with pytest.raises(InputError) as caught:
        read_line("-", stdin=stream, sheet=sheet, cells=cells)
    assert str(caught.value) == problem
