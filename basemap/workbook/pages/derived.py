"""The single numbers between inputs and tables, each with its name and its formula as text."""

from __future__ import annotations

from typing import Any

from xlsxwriter.utility import xl_rowcol_to_cell

from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item, significant
from basemap.workbook.formulas.derived import sections
from basemap.workbook.formulas.derived_dead_times import Derived

SHEET = "Derived"
_WIDTHS = (316.0, 92.0, 62.0, 226.0, 470.0)
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}


def write_derived(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, _WIDTHS, tab=style.GREY_LINE)
    page_head(page, "Derived numbers", "live: from the inputs, by the formulas shown")
    flow = Flow(page, HEAD_ROWS)
    for section in sections(book.result):
        if not section.numbers:
            continue
        flow.heading(section.heading)
        flow.table_head(
            item(0, 0, "what"),
            item(1, 1, "figure", align="center"),
            item(2, 2, "unit"),
            item(3, 3, "name"),
            item(4, 4, "formula"),
        )
        for one in section.numbers:
            _line(flow, one)
        flow.gap(6)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def _line(flow: Flow, one: Derived) -> None:
    book = flow.page.book
    row = flow.line(
        item(0, 0, one.label),
        item(1, 1, one.value, f"={one.formula}", num_format=significant(one.value, 8), align="center", bold=True),
        item(2, 2, one.unit, font_size=9, font_color=style.QUIET),
        item(3, 3, one.name, font_size=9),
        item(4, 4, f"= {_spaced(one.formula)}", font_size=8.5, font_color=style.QUIET),
        **_HAIR,
    )
    book.names.define(book.workbook, one.name, f"{SHEET}!{xl_rowcol_to_cell(row, 1, row_abs=True, col_abs=True)}")


def _spaced(formula: str) -> str:
    """A formula with blanks at which its line can be broken."""
    for sign in ("*", "/", ","):
        formula = formula.replace(sign, f" {sign} " if sign != "," else ", ")
    return formula
