"""The sheet of inputs: what may be changed, within limits that give a reason when they refuse."""

from __future__ import annotations

from typing import Any

from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.model.job import SIDES, SideName
from basemap.workbook.core import style
from basemap.workbook.core.book import AS_ISSUED, HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, number, text
from basemap.workbook.core.flow import Flow, item, significant
from basemap.workbook.core.input_look import INPUT_LOOK
from basemap.workbook.core.not_live import as_issued
from basemap.workbook.inputs.dead_time_blocks import SHEET, blocks_of, top_of_dead_times
from basemap.workbook.inputs.input_cell import InputCell, plain
from basemap.workbook.inputs.inputs import INPUTS_TOP
from basemap.workbook.inputs.quantities import Group
from basemap.workbook.pages.dead_time import write_block

_SIDE_WIDTHS = (104.0, 66.0, 84.0, 84.0)
_WIDTHS = (236.0, *_SIDE_WIDTHS, *_SIDE_WIDTHS, 84.0, 84.0, 60.0)
_FIRST: dict[SideName, int] = {"donor": 1, "target": 1 + len(_SIDE_WIDTHS)}
_USED_FIRST = 1 + 2 * len(_SIDE_WIDTHS)
_USED: dict[SideName, int] = {"donor": _USED_FIRST, "target": _USED_FIRST + 1}
_LAST = len(_WIDTHS) - 1
_REMARK = _LAST + 1
"""The column for the tuner's words; headings and notes end before it."""
_REMARK_PX = 170.0
_PADDING_PX = 10.0
_LEGEND_PT, _HEAD_PT, _ROW_PT, _GAP_PT = 100.0, 19.0, 17.0, 6.0
"""Heights: everything above the first heading, a heading, a row, a gap."""
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}
NOT_HERE = (
    "Inputs that stand elsewhere: the old table (sheet Tables or Old), and the intended lambda where it is a table (a sheet of its "
    "own). What only the rules read, such as limits of speed and pressure, octane, power and idle, stands on the sheet As "
    "written: change it in the job and run again."
)


def write_inputs(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, _widths(book), tab=style.CAUTION)
    page_head(page, "Inputs", book.if_live("change a marked cell, and what follows from it is worked out again", ""))
    flow = Flow(page, HEAD_ROWS)
    _legend(flow)
    assert flow.row == INPUTS_TOP
    for group in Group:
        _group(flow, group)
    _dead_times(flow)
    last = flow.row - 1
    book.names.define(book.workbook, "input_remarks", f"{SHEET}!{xl_range_abs(INPUTS_TOP, _REMARK, last, _REMARK)}")
    if not book.not_live:
        flow.line(item(0, _LAST, NOT_HERE, font_size=9, font_color=style.QUIET))
        _as_issued(flow)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def _as_issued(flow: Flow) -> None:
    """The list of what does not follow an edit, with the reasons."""
    flow.gap(6)
    flow.heading("What does not follow an edit", "as issued until the job is run again")
    for one in as_issued(flow.page.result):
        words = f"{one.what[0].upper()}{one.what[1:]}"
        flow.line(item(0, 2, words), item(3, _LAST, f"{one.why}.", font_color=style.QUIET), font_size=9, **_HAIR)


def _dead_times(flow: Flow) -> None:
    """The dead times over the battery's voltage, side by side."""
    page, blocks = flow.page, blocks_of(flow.page.result)
    assert flow.row == top_of_dead_times(page.result.job)
    last = max(one.last_row for one in blocks) + 2
    flow.gap(_up_to_next_page(page, last - flow.row))
    flow.heading("Dead time over battery voltage", "time offset of the flow line (SAE J1832)")
    for one in blocks:
        write_block(page, blocks, one)
    for row in range(flow.row, last + 1):
        page.ws.set_row_pixels(row, 20)
        text(page.ws, row, _REMARK, "", page.book.remark_style)
    flow.row = last + 1
    flow.gap(6)


def _up_to_next_page(page: Page, rows: int) -> float:
    """Height of the gap that keeps the next `rows` rows together on one page of paper, points."""
    groups = [sum(1 for _ in rows_of(page.book, group)) for group in Group]
    used = _LEGEND_PT + sum(_HEAD_PT + count * _ROW_PT + _GAP_PT for count in groups if count)
    paper_pt = 512.0 / 784.0 * 0.75 * sum(page.widths_px)  # the printable part of landscape A4, fitted in width
    left = paper_pt - used
    # Programs differ by a few rows in what they put on a page: a blank above the rows is better than a table cut in two.
    spare = 4 * _ROW_PT
    return left + spare + _GAP_PT if -spare < left < _ROW_PT * (rows + 5) else _GAP_PT


def rows_of(book: Book, group: Group) -> dict[str, dict[SideName, InputCell]]:
    """The cells below a heading, row by row: of each quantity the donor's and the target's."""
    cells = [cell for cell in book.inputs if cell.group is group]
    return {
        stem: {cell.side: cell for cell in cells if cell.name.split("_", 1)[1] == stem}
        for stem in dict.fromkeys(cell.name.split("_", 1)[1] for cell in cells)
    }


def _widths(book: Book) -> list[float]:
    """Widths of the columns; those of units, spreads and origins hold their longest words."""
    widths = [*_WIDTHS, _REMARK_PX]
    for side in SIDES:
        for offset, words in enumerate(("unit", "spread", "origin"), start=1):
            texts = [str(getattr(cell, words)) for cell in book.inputs if cell.side == side]
            longest = style.widest_px((f"▲ {text}" if words == "origin" else text for text in texts), 9) + _PADDING_PX
            widths[_FIRST[side] + offset] = max(widths[_FIRST[side] + offset], longest)
    return widths


def _legend(flow: Flow) -> None:
    """What a marked cell means, and how far the new table differs from the issued one."""
    page, book = flow.page, flow.page.book
    if book.not_live:
        _not_live(flow)
        return
    flow.line(item(0, 0, "may be changed", **{**INPUT_LOOK, "locked": True}),
              item(1, _LAST, "Cells that look like this are inputs, each with its limits; so are tables with this colour behind the heading. "
                   "All other cells are locked, without a password.",
                   font_color=style.QUIET), height_pt=19)  # fmt: skip
    row = flow.row
    flow.line(
        item(0, 0, "Against the issued table", bold=True),
        item(1, 4, "as issued", "=issued_status", bold=True),
        item(5, 7, "largest difference in a cell", align="right", font_color=style.QUIET),
        item(8, 8, 0.0, "=largest_difference", bold=True, num_format="0.0000"),
        item(9, _LAST, page.result.job.target.shown.unit, font_color=style.QUIET),
        height_pt=19,
    )
    warn = book.workbook.add_format({"bg_color": style.CAUTION_FILL, "font_color": style.CAUTION})
    page.ws.conditional_format(
        row, 1, row, 4, {"type": "formula", "criteria": f'=$B${row + 1}<>"{AS_ISSUED}"', "format": warn}
    )
    flow.gap(5)


def _not_live(flow: Flow) -> None:
    """Why nothing follows an edit, in a cell with the name by which a returned workbook is recognised."""
    book = flow.page.book
    words = f"{AS_ISSUED}, not live: {book.not_live}, so no formula leads from one cell to another."
    row = flow.line(
        item(0, 0, "Figures only", bold=True),
        item(1, _LAST, f"{words} Change the job and run again.", bg_color=style.PANEL),
        height_pt=19,
    )
    book.names.define(book.workbook, "issued_status", _address(row, 1))
    flow.gap(5)
    flow.gap(5)


def _group(flow: Flow, group: Group) -> None:
    rows = rows_of(flow.page.book, group)
    if not rows:
        return
    _group_head(flow, group)
    for here in rows.values():
        _row(flow.page, flow.row, here)
        flow.row += 1
    flow.gap(_GAP_PT)


def _group_head(flow: Flow, group: Group) -> None:
    page, book, row = flow.page, flow.page.book, flow.row
    line = {"bottom": 2, "bottom_color": style.BAR}
    page.ws.set_row(row, _HEAD_PT)
    for col in range(_REMARK + 1):
        text(page.ws, row, col, "", book.style(**line))
    text(page.ws, row, 0, group.value, book.style(**line, bold=True, font_size=12))
    small = {**line, "font_size": 9, "font_color": style.QUIET, "align": "center", "valign": "bottom"}
    for side in SIDES:
        first = _FIRST[side]
        for offset, words in enumerate((side, "unit", "spread", "origin")):
            bold = offset == 0
            text(page.ws, row, first + offset, words, book.style(**small, bold=bold))
        text(page.ws, row, _USED[side], f"{side}, used", book.style(**small))
    text(page.ws, row, _REMARK, "remarks", book.style(**small))
    flow.row += 1


def _row(page: Page, row: int, here: dict[SideName, InputCell]) -> None:
    book, ws = page.book, page.ws
    ws.set_row(row, _ROW_PT)
    any_cell = next(iter(here.values()))
    text(ws, row, 0, any_cell.label, book.style(**_HAIR))
    text(ws, row, _REMARK, "", book.remark_style)
    for cell in here.values():
        _input(page, row, cell)
        if not isinstance(cell.value, str):
            _used(page, row, cell)
            text(ws, row, _LAST, cell.used_unit, book.style(**_HAIR, font_size=9, font_color=style.QUIET))
        else:
            for col in (_USED[cell.side], _LAST):
                text(ws, row, col, "", book.style(**_HAIR))


def _input(page: Page, row: int, cell: InputCell) -> None:
    """The cell itself, its unit, spread and origin."""
    book, ws, col = page.book, page.ws, _FIRST[cell.side]
    book.names.define(book.workbook, cell.name, _address(row, col))
    shape = "General" if isinstance(cell.value, str) else significant(cell.value, 9)
    if cell.follows:
        look = book.style(**_HAIR, align="center", italic=True, font_color=style.QUIET, num_format=shape)
        live(ws, row, col, f"={cell.follows}", cell.value, look)
    elif isinstance(cell.value, str):
        locked = {**_HAIR, "align": "center", "font_color": style.QUIET}
        text(ws, row, col, cell.value, book.style(**INPUT_LOOK if cell.changeable else locked))
    else:
        number(ws, row, col, cell.value, book.style(**INPUT_LOOK, num_format=shape))
    if cell.changeable:
        ws.data_validation(row, col, row, col, validation(cell))
    quiet = {**_HAIR, "font_size": 9, "font_color": style.QUIET, "align": "center"}
    warned = cell.origin in {"assumed", "guessed"}
    text(ws, row, col + 1, cell.unit, book.style(**quiet))
    text(ws, row, col + 2, cell.spread, book.style(**quiet))
    words = f"▲ {cell.origin}" if warned else cell.origin
    text(ws, row, col + 3, words, book.style(**{**quiet, "font_color": style.CAUTION} if warned else quiet))


def _used(page: Page, row: int, cell: InputCell) -> None:
    """The figure in the unit of the formulas."""
    book, col = page.book, _USED[cell.side]
    formula = cell.used_formula or _scaled(cell)
    value = used_value(cell, page)
    look = book.style(**_HAIR, align="center", font_size=9, num_format=significant(value, 8))
    live(page.ws, row, col, f"={formula}", value, look)
    book.names.define(book.workbook, cell.used_cell, _address(row, col))


def used_value(cell: InputCell, page: Page) -> float:
    """The model's own value of the figure that the formulas use."""
    if not cell.used_formula:
        return cell.used
    where = page.result.job.side(cell.side).hardware
    if cell.name.endswith("_altitude"):
        return where.conditions.barometer_pa / 1e3
    return where.injectors.per_cylinder


def _scaled(cell: InputCell) -> str:
    scaled = cell.name if cell.size == 1.0 else f"{cell.name}*{plain(cell.size)}"
    if cell.zero == 0.0:
        return scaled
    return f"{scaled}{'+' if cell.zero > 0 else '-'}{plain(abs(cell.zero))}"


def _address(row: int, col: int) -> str:
    return f"{SHEET}!{xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True)}"


def validation(cell: InputCell) -> dict[str, Any]:
    """Limits of an input, with the reason for a refusal."""
    refused = {"error_title": f"{cell.label[:28]}", "ignore_blank": False}
    if cell.choices:
        return {
            **refused,
            "validate": "list",
            "source": list(cell.choices),
            "error_message": f"Choose {cell.why}."[:250],
        }
    low, high = float(f"{cell.low:.6g}"), float(f"{cell.high:.6g}")
    words = f"Between {low:g} and {high:g} {cell.unit}: {cell.why}."
    kind = "integer" if cell.whole else "decimal"
    return {
        **refused, "validate": kind, "criteria": "between", "minimum": low, "maximum": high, "error_message": words[:250],
    }  # fmt: skip
