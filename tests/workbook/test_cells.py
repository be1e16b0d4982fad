from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
import xlsxwriter
from openpyxl import load_workbook

from basemap.workbook.core import cells
from basemap.workbook.core.names import Names, is_readable
from basemap.workbook.core.towards_danger import band_percent, error_percent

SHEET_PACKAGE = Path(cells.__file__).parent

HARMFUL = [
    '=HYPERLINK("http://invented.example","click")',
    "=1+1",
    "+1+1",
    "@SUM(1)",
    "-2+3",
    "=",
    "\t=1",
    "{=1+1}",
    "#REF!",
    "http://invented.example",
    "12345",
]


def _read_back(words: str) -> tuple[object, str]:
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream)
    cells.text(book.add_worksheet(), 0, 0, words)
    book.close()
    cell = load_workbook(io.BytesIO(stream.getvalue())).active["A1"]  # type: ignore[index]
    return cell.value, cell.data_type


@pytest.mark.law
def test_figures_are_rounded_towards_the_danger() -> None:
    """By hand: a band of 5.01 % is never shown as 5.0 %, nor a mixture 0.04 % lean as none; noise is nothing."""
    bands, ratios = np.array([[0.0501, 0.05], [np.inf, np.nan]]), np.array([1.0004, 0.9, 1.0 + 1e-12, np.inf])
    assert band_percent(bands) == pytest.approx(np.array([[5.1, 5.0], [np.inf, np.nan]]), nan_ok=True)
    assert error_percent(ratios).tolist() == [0.1, -10.0, 0.0, np.inf]


@pytest.mark.parametrize("words", HARMFUL)
def test_text_stays_text(words: str) -> None:
    value, kind = _read_back(words)
    assert str(value).strip() == words.strip()
    assert kind in {"s", "inlineStr", "e"}
    assert not (kind == "e" and words != "#REF!")


@pytest.mark.parametrize(
    ("words", "kept"),
    [
        ("a\ufffeb\uffffc", "abc"),
        ("lone \ud800 surrogate", "lone  surrogate"),
        ("bell\x07 escape\x1b[2J null\x00", "bell escape[2J null"),
        ("two\r\nlines\rthree", "two\nlines\nthree"),
        ("λ 20 °C \U0001f600", "λ 20 °C \U0001f600"),
    ],
)
def test_what_xml_forbids_is_left_out(words: str, kept: str) -> None:
    assert cells.clean(words) == kept
    assert _read_back(words)[0] == kept


def test_long_text_is_cut_visibly() -> None:
    kept = cells.clean("x" * 40_000)
    assert len(kept) == 32_767
    assert kept.endswith("x…")
    assert cells.clean("x" * 32_767) == "x" * 32_767


def test_a_header_escapes_its_own_codes_and_stays_on_one_line() -> None:
    assert cells.header_text("A&B &D\nnext") == "A&&B &&D next"
    assert cells.header_text("x" * 100, 10) == "x" * 9 + "…"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_becomes_words(value: float) -> None:
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream)
    cells.number(book.add_worksheet(), 0, 0, value, instead="no pulse")
    book.close()
    assert load_workbook(io.BytesIO(stream.getvalue())).active["A1"].value == "no pulse"  # type: ignore[index]


def test_a_formula_needs_a_value_that_a_cell_can_hold() -> None:
    book = xlsxwriter.Workbook(io.BytesIO())
    sheet = book.add_worksheet()
    with pytest.raises(ValueError, match="no cached value for =1/0"):
        cells.live(sheet, 0, 0, "=1/0", math.nan)
    with pytest.raises(ValueError, match="formula of 8193 characters"):
        cells.live(sheet, 0, 0, "=" + "1" * 8192, 1.0)
    book.close()


@pytest.mark.parametrize("call", ["write_formula(", "write_string(", "write_number(", "merge_range(", ".write("])
def test_one_module_writes_cells(call: str) -> None:
    callers = {path.name for path in SHEET_PACKAGE.glob("*.py") if call in path.read_text(encoding="utf-8")}
    assert callers <= {"cells.py"}


@pytest.mark.parametrize(
    "name", ["tau1", "R", "C", "A1", "displacement", "donor__flow", "donor_flow2", "Donor_flow", "x_"]
)
def test_a_name_that_could_be_an_address_is_none(name: str) -> None:
    assert not is_readable(name)
    book = xlsxwriter.Workbook(io.BytesIO())
    with pytest.raises(ValueError, match=f"no name for a cell: {name}"):
        Names().define(book, name, "Sheet1!$A$1")
