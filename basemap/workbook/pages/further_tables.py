"""The further tables, one below the other: figures as issued, not live."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from basemap.model.further_table import FurtherAxis, FurtherBand, FurtherQuantity, FurtherResult
from basemap.model.marks import Mark
from basemap.report.terminal.further_tables import how_sure, what_became_of_it
from basemap.report.words import marks_at
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import number, text
from basemap.workbook.core.towards_danger import band_percent, error_percent

if TYPE_CHECKING:
    from xlsxwriter.format import Format

SHEET = "Further tables"
_FEWEST_COLS = 7
_AXIS_PX, _CELL_PX, _MARKS_PX = 150.0, 84.0, 260.0


def write_further_tables(book: Book) -> None:
    """Write the sheet, where the job has further tables."""
    found = book.result.further_tables
    if not found:
        return
    wide = max([_FEWEST_COLS, *(1 + one.new.shape[1] for one in found if one.new.ndim > 1)])
    widths = [_AXIS_PX, *[_CELL_PX] * (wide - 2), _MARKS_PX]
    page = open_page(book, SHEET, widths, landscape=wide > _FEWEST_COLS, tab=style.TARGET_LINE)
    page_head(page, SHEET, "as issued, not live: nothing here follows an edit")
    row = HEAD_ROWS
    for one in found:
        row = _table(page, row, one, book.result.band.further.get(one.name)) + 2
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, row - 2)


def _table(page: Page, row: int, found: FurtherResult, band: FurtherBand | None) -> int:
    """Write one table with its heading; return the row after it."""
    book, last = page.book, page.last_col
    line = {"bottom": 2, "bottom_color": style.BAR}
    for col in range(last + 1):
        text(page.ws, row, col, "", book.style(**line))
    unit = f", {found.unit}" if found.unit else ""
    text(page.ws, row, 0, f"{found.name}: {found.quantity.value}{unit}", book.style(**line, bold=True, font_size=12))
    said = [what_became_of_it(found), *([how_sure(found, band)] if band else [])]
    lines = page.paragraph(row + 1, (0, last), " ".join(said), font_size=9, font_color=style.QUIET, valign="top")
    page.ws.set_row(row + 1, style.height_pt(lines, 9))
    axis = found.table.axis
    return _grid(page, row + 2, found, band) if axis is None else _list(page, row + 2, found, axis, band)


def _list(page: Page, row: int, found: FurtherResult, axis: FurtherAxis, band: FurtherBand | None) -> int:
    unit = f", {found.unit}" if found.unit else ""
    pulse = found.quantity is FurtherQuantity.PULSE_WIDTH
    heads = [f"{axis.name}, {axis.unit}", f"old{unit}", f"new{unit}", "change, %"]
    heads += [f"{found.battery_v:g} V: pulse, ms"] if pulse else []
    heads += ["λ ±, % (k = 2)"] if band else []
    page.ws.set_row(row, 26)
    for col in range(page.last_col):
        text(page.ws, row, col, heads[col] if col < len(heads) else "", _head(page))
    text(page.ws, row, page.last_col, "marks", _head(page))
    changes = error_percent(1.0 + found.change_percent / 100.0)
    for i, point in enumerate(axis.values):
        at = row + 1 + i
        number(page.ws, at, 0, float(point), _axis(page))
        number(page.ws, at, 1, float(found.old[i]), _figure(page, found.table.shown.decimals))
        look = _figure(page, found.table.decimals, alarm=bool(np.isnan(found.stored[i])), bold=True)
        number(page.ws, at, 2, float(found.stored[i]), look, instead="no pulse")
        number(page.ws, at, 3, float(changes[i]), page.book.style(align="center", num_format="+0.0;-0.0;0.0"))
        if pulse:
            number(page.ws, at, 4, float(found.pulse_s[i]) * 1e3, _figure(page, 3), instead="no pulse")
        if band:
            number(
                page.ws,
                at,
                5,
                band_percent(band.expanded)[i],
                _figure(page, 1),
                instead="no limit" if np.isinf(band.expanded[i]) else "–",
            )
        text(
            page.ws,
            at,
            page.last_col,
            ", ".join(mark.in_words for mark in marks_at(found.marks, (i,))),
            _remark(page, found, (i,)),
        )
    return row + 1 + axis.values.size


def _grid(page: Page, row: int, found: FurtherResult, band: FurtherBand | None) -> int:
    load, rpm = found.axes
    blocks = [("old", found.old, found.table.shown.decimals), ("new", found.stored, found.table.decimals)]
    if band:
        blocks.append(("λ ±, % (k = 2)", band_percent(band.expanded), 1))
    for words, values, decimals in blocks:
        text(page.ws, row, 0, f"{words}: {load.unit} \\ rpm", _head(page))
        for j, speed in enumerate(rpm.values):
            number(page.ws, row, 1 + j, float(speed), _head(page))
        donors = found.table.origin.axes[0] if found.table.scaled and found.table.origin and words == "old" else load
        for i, point in enumerate(donors.values):
            number(page.ws, row + 1 + i, 0, float(point), _axis(page))
            for j in range(rpm.values.size):
                look = _figure(page, decimals, alarm=bool(np.isnan(values[i, j])))
                number(page.ws, row + 1 + i, 1 + j, float(values[i, j]), look, instead="no pulse")
        row += load.values.size + 2
    return row - 1


def _head(page: Page) -> Format:
    return page.book.style(
        bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9, text_wrap=True
    )


def _axis(page: Page) -> Format:
    return page.book.style(bg_color=style.PANEL, align="center", bold=True)


def _figure(page: Page, decimals: int, *, alarm: bool = False, bold: bool = False) -> Format:
    shown = "0" if decimals == 0 else "0." + "0" * decimals
    fill = {"bg_color": style.STOP_FILL} if alarm else {}
    return page.book.style(align="center", num_format=shown, bold=bold, **fill)


def _remark(page: Page, found: FurtherResult, index: tuple[int, ...]) -> Format:
    calibrate = found.marks.get(Mark.CALIBRATE)
    ink = style.CAUTION if calibrate is not None and calibrate[index] else style.QUIET
    return page.book.style(font_size=9, font_color=ink)
