"""What was issued, as plain numbers, and what was edited since."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.model.job import SIDES
from basemap.workbook.core import style
from basemap.workbook.core.book import AS_ISSUED, EDITED, HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, number, text
from basemap.workbook.core.grid import WorkbookTable, plain_scale
from basemap.workbook.core.layout import ISSUED_LAMBDA_GRIDS, LAMBDA_GRIDS, GridName, Layout
from basemap.workbook.formulas.live_cells import NO_PULSE, CellFormulas
from basemap.workbook.inputs.dead_time_blocks import SHEET as INPUTS_SHEET
from basemap.workbook.inputs.dead_time_blocks import blocks_of
from basemap.workbook.inputs.ecu_inputs import uniform_lambda
from basemap.workbook.pages.steps import write_stack

SHEET = "Issued inputs"
_WIDTHS = (330.0, 130.0, 130.0, 90.0)
_TOLERANCE = 1e-9
"""By how much two calculations of the same table may differ, relative to the largest cell."""


class _Watched(NamedTuple):
    """One input: its name, where it is now, and its value as issued."""

    label: str
    now: str
    value: float | str


def write_issued(book: Book, layout: Layout) -> None:
    """Write the issued tables, the issued inputs, and the status that every page shows."""
    table, formulas = book.result.table, CellFormulas(book.result, layout)
    grids: list[tuple[GridName, WorkbookTable]] = [
        ("issued_new", WorkbookTable("New table, as issued", "plain numbers", table.new, "0.0000", plain_scale, instead=NO_PULSE)),
        (
            "difference",
            WorkbookTable("Live table less issued", "0 where it is as issued", np.zeros_like(table.new), "0.0000", plain_scale,
                 formula=formulas.difference),
        ),
        ("issued_old", WorkbookTable("Old table, as issued", "plain numbers", table.old, "0.0000", plain_scale)),
    ]  # fmt: skip
    for side in _lambda_tables(book):
        source = book.result.job.donor.table if side == "donor_lambda" else book.result.job.target.table
        name: GridName = "issued_donor_lambda" if side == "donor_lambda" else "issued_target_lambda"
        grids.append(
            (
                name,
                WorkbookTable(
                    f"Intended λ, {side.split('_')[0]}'s, as issued",
                    "plain numbers",
                    source.intended_lambda,
                    "0.000",
                    plain_scale,
                ),
            )
        )
    write_stack(book, layout, "Issued tables", grids, tab=style.GREY_LINE)
    book.names.define(book.workbook, "issued_table", layout.place("issued_new").area())
    _write_inputs(book, layout)


def _lambda_tables(book: Book) -> list[GridName]:
    return [name for name in ("donor_lambda", "target_lambda") if f"{name}_table" in book.names.at]


def _watched(book: Book) -> list[_Watched]:
    rows = [_Watched(cell.name, cell.name, cell.value) for cell in book.inputs if cell.changeable]
    for one in blocks_of(book.result):
        if one.follows:
            continue
        for index, volts in enumerate(one.dead_time.battery_v):
            rows.append(_dead_time_point(f"{one.volts} ({index + 1})", one.top + index, one.col, float(volts)))
            for row, times in enumerate(() if one.filled_from else one.dead_time.time_s):
                label = f"{one.times} ({index + 1}, {row + 1})"
                rows.append(_dead_time_point(label, one.top + index, one.col + 1 + row, times[index] * 1e3 / one.size))
    return rows + [_Watched(*one) for one in book.watched]


def _dead_time_point(label: str, row: int, col: int, value: float) -> _Watched:
    return _Watched(label, f"'{INPUTS_SHEET}'!{xl_rowcol_to_cell(row, col)}", value)


def _write_inputs(book: Book, layout: Layout) -> None:
    page = open_page(book, SHEET, _WIDTHS, landscape=False, tab=style.GREY_LINE)
    page_head(page, "Issued inputs", "plain numbers, and what stands there now")
    rows, first = _watched(book), HEAD_ROWS + 7
    _status(page, layout, (first, first + len(rows) - 1))
    head = book.style(bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center")
    for col, words in enumerate(("input", "as issued", "now", "edited")):
        text(page.ws, first - 1, col, words, head)
    for index, one in enumerate(rows):
        _input_row(page, first + index, one)
    page.ws.freeze_panes(first, 0)
    finish_page(page, first + len(rows) - 1, repeat=(first - 1, first - 1))


def _input_row(page: Page, row: int, one: _Watched) -> None:
    book, ws = page.book, page.ws
    hair = {"bottom": 1, "bottom_color": style.HAIRLINE}
    look = book.style(**hair, align="center", num_format="0.#########")
    text(ws, row, 0, one.label, book.style(**hair))
    if isinstance(one.value, str):
        text(ws, row, 1, one.value, look)
    else:
        number(ws, row, 1, one.value, look)
    live(ws, row, 2, f"={one.now}", one.value, look)
    live(
        ws, row, 3, f"=IF(C{row + 1}=B{row + 1},0,1)", 0.0, book.style(**hair, align="center", num_format='"edited";;')
    )


def _status(page: Page, layout: Layout, rows: tuple[int, int]) -> None:
    """Write the count of edited inputs, the largest difference of a cell, and the status that follows from both."""
    book, ws, sheet = page.book, page.ws, f"'{SHEET}'!"
    table = book.result.table
    edited = [f"SUM({xl_range_abs(rows[0], 3, rows[1], 3)})", _unequal(layout, "old", "issued_old")]
    for side in SIDES:
        name = LAMBDA_GRIDS[side]
        if f"{name}_table" in book.names.at and not uniform_lambda(book.result.job, side):
            edited.append(_unequal(layout, name, ISSUED_LAMBDA_GRIDS[side]))
    difference = layout.place("difference").area()
    largest = f'IF(COUNT({difference})<{table.new.size},"in kind",MAX(MAX({difference}),-MIN({difference})))'
    known = table.new[np.isfinite(table.new)]
    tolerance = _TOLERANCE * (float(np.abs(known).max()) if known.size else 1.0)
    same = f"AND(edited_inputs=0,ISNUMBER(largest_difference),largest_difference<={tolerance:.3E})"
    lines: tuple[tuple[str, str, str, float | str], ...] = (
        ("edited_inputs", "inputs and cells of the old table edited since", "+".join(edited), 0.0),
        ("largest_difference", f"largest difference of a new cell, {book.result.job.target.shown.unit}", largest, 0.0),
        (
            "issued_status",
            "the live sheets are",
            f'IFERROR(IF({same},"{AS_ISSUED}","{EDITED}"),"{EDITED}")',
            AS_ISSUED,
        ),
    )
    for offset, (title, words, formula, value) in enumerate(lines):
        row = HEAD_ROWS + 1 + offset
        text(ws, row, 0, words, book.style(bold=True))
        live(ws, row, 1, f"={formula}", value, book.style(bold=True, num_format="0.######", align="left"))
        book.names.define(book.workbook, title, f"{sheet}{xl_rowcol_to_cell(row, 1, row_abs=True, col_abs=True)}")


def _unequal(layout: Layout, now: GridName, issued: GridName) -> str:
    return f"SUMPRODUCT(1*({layout.place(now).area()}<>{layout.place(issued).area()}))"
