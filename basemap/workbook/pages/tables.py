"""Old and new side by side with the change below, where the table is narrow enough; else a page each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from basemap.model.finding import Verdict
from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.model.table import TableQuantity
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, merge, merged_text, number, text
from basemap.workbook.core.charts import change_charts
from basemap.workbook.core.grid import (
    SIGNS,
    Axes,
    WorkbookTable,
    axes_of,
    axis_width_px,
    column_width_px,
    plain_scale,
    scale,
    signs_of,
    write_grid,
)
from basemap.workbook.core.interpolate import ends
from basemap.workbook.core.layout import PAGE_RATIO, GridName, Layout, TablePlace, row_height_px
from basemap.workbook.formulas.live_cells import NOTHING, CellFormulas
from basemap.workbook.pages.rows import tidy

GAP_PX = 14.0
ABREAST_ROW_PX = 17
ABREAST_ZOOM = 65
"""At this zoom two tables of 16 rows, one below the other, fit on a screen of 1366 × 768 with a spreadsheet program around them."""
SMALLEST_CHART_PX = (230.0, 500.0)
"""The least height and width of two charts side by side."""
PAGE_PX = 1060.0
"""Width of the printable part of a landscape page at full size, pixels."""
SMALLEST_CHANGE_SCALE = 5.0
"""The change scale reaches at least this many per cent, so that a tiny change stays pale."""
SMALLEST_CHARTED_CHANGE = 0.1
"""Per cent: a chart of a change that is more even than this would show rounding only."""


def table_format(decimals: int) -> str:
    """About three significant figures, for a narrow column; the cell keeps its full value."""
    if decimals >= 2:
        return "[>=99.95]0;[>=9.995]0.0;0.00"
    return "[>=99.95]0;0.0"


CHANGE_FORMAT = "[>=9.95]+0;[<0]-0.0;+0.0"
"""A change with its sign, in per cent; from 10 % on without decimals."""


class _ThreeTables(NamedTuple):
    """Old, new and change, with their axes; without the change where old and new are different quantities."""

    layout: Layout
    axes: Axes
    grids: dict[GridName, WorkbookTable]
    width_px: float


def write_tables(book: Book, layout: Layout) -> None:
    """Write the page, or the pages, of old, new and change."""
    shown = _shown(book, layout)
    if layout.abreast:
        _write_page(book, shown, ("old", "new", "change"), "Tables", "Old, new and change")
        return
    titles: dict[GridName, str] = {"old": "Old table", "new": "New table", "change": "Change, new against old"}
    for name, title in titles.items():
        _write_page(book, shown, (name,), layout.place(name).sheet, title)


def quantity_words(book: Book) -> str:
    """What a cell of the new fuel table is, with its unit."""
    job = book.result.job
    return f"{job.target.table.quantity.value}, {job.target.shown.unit}"


def axes_words(book: Book) -> str:
    """What runs along the axes."""
    job = book.result.job
    return f"rows: {job.target.table.points.axis.value}, {job.target.shown.load_unit} · columns: engine speed, rev/min"


def _shown(book: Book, layout: Layout) -> _ThreeTables:
    table, axes = book.result.table, axes_of(book)
    signs = signs_of(table.marks, table.new.shape)
    job = book.result.job
    decimals = [2 if one.quantity is TableQuantity.PULSE_WIDTH else 1 for one in (job.donor.table, job.target.table)]
    other = job.other_quantity
    cells = _scale_cells(layout)
    formulas = CellFormulas(book.result, layout)
    before, after = (table_format(one) for one in decimals)
    grids: dict[GridName, WorkbookTable] = {
        "old": WorkbookTable(
            "Old", book.if_live(f"{_old_words(book)}; may be changed", _old_words(book)), table.old, before,
            plain_scale if other else scale(style.TABLE_SCALE, cells["old"]),
            instead="–", editable=True, limits=(0.0, 1e4, "a fuel table has no negative cells"),
        ),
        "new": WorkbookTable(
            "New", _new_words(book), table.new, after, scale(style.TABLE_SCALE, cells["new"]), signs=signs, formula=formulas.new
        ),
    }  # fmt: skip
    if not other:
        grids["change"] = WorkbookTable(
            "Change", "new against old, %", tidy(table.change_percent), CHANGE_FORMAT,
            scale(style.CHANGE_SCALE, cells["change"]), instead=NOTHING, formula=formulas.change,
        )  # fmt: skip
    return _ThreeTables(layout, axes, grids, _cell_width(layout, axes, signs, table.new))


def _old_words(book: Book) -> str:
    """What the old cells are: as the file has them, or as the ECU reads them on other axes; else their quantity."""
    job = book.result.job
    as_read = "as read" if job.keeps_axes else "as the target's ECU reads it"
    return f"{job.donor.table.quantity.value}, {job.donor.shown.unit}" if job.other_quantity else as_read


def _new_words(book: Book) -> str:
    """What to do with the new table, of which three digits are shown: a tenth too little is a lean cell."""
    return "DO NOT LOAD: there is a stop" if book.result.verdict is Verdict.REFUSE else "in full digits: sheet To load"


def _cell_width(layout: Layout, axes: Axes, signs: tuple[tuple[str, ...], ...], new: FloatArray) -> float:
    sign = max((sign for row in signs for sign in row), key=style.width_px, default="")
    samples = [f"99.9{sign}", "+9.9", *axes.rpm]
    if bool(np.isnan(new).any()):
        samples.append("no pulse")
    tables = 2 if layout.abreast else 1
    spare = (PAGE_PX - tables * axis_width_px(axes) - (tables - 1) * GAP_PX) / (tables * layout.cols)
    return max(column_width_px(samples), spare)


def _scale_cells(layout: Layout) -> dict[GridName, tuple[str, str, str]]:
    """The cells with the low, middle and high end of each table's scale, on the table's own sheet."""
    row = _legend_row(layout) + 2
    cells: dict[GridName, tuple[str, str, str]] = {}
    for name in ("old", "new", "change"):
        place = layout.place(name if name != "old" or not layout.abreast else "new")
        low, middle, high = (_absolute(row, first) for first, _ in _swatches(place))
        cells[name] = (low, middle, high)
    return cells


def _swatches(place: TablePlace) -> list[tuple[int, int]]:
    """First and last column of the three swatches, within the table's own columns, since a neighbour has its own."""
    width = 2 if place.cols >= 6 else 1
    first = place.col if place.cols >= 3 else place.col - 1
    return [(first + width * step, first + width * (step + 1) - 1) for step in range(3)]


def _absolute(row: int, col: int) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell

    return str(xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True))


def _legend_row(layout: Layout) -> int:
    """The row below the lowest table."""
    return layout.place("change").last_row + 1


def _write_page(book: Book, shown: _ThreeTables, names: Sequence[GridName], sheet: str, title: str) -> None:
    layout, axis = shown.layout, axis_width_px(shown.axes)
    widths: list[float] = []
    for _ in names[: 2 if layout.abreast else 1]:
        widths += [*([GAP_PX] if widths else []), axis, *([shown.width_px] * layout.cols)]
    page = open_page(book, sheet, widths, tab=style.DONOR_LINE)
    page_head(page, title, f"{quantity_words(book)} · {axes_words(book)}")
    if layout.abreast:
        page.ws.set_zoom(ABREAST_ZOOM)
    row_px = ABREAST_ROW_PX if layout.abreast else row_height_px(sum(widths), layout.rows, 260)
    for name in names:
        for i in range(layout.rows):
            page.ws.set_row_pixels(layout.place(name).row + i, row_px)
        if name in shown.grids:
            write_grid(page, layout.place(name), shown.axes, shown.grids[name])
        else:
            _no_change(page, layout.place(name))
    last = _legend(page, shown, [name for name in names if name in shown.grids])
    if "change" in names and "change" in shown.grids and _varies(page.result):
        last = _charts(page, layout, last, (sum(widths), row_px))
    for name in names:
        book.names.define(book.workbook, f"{name}_table", layout.place(name).area())
    page.ws.freeze_panes(HEAD_ROWS + 2, 1)
    finish_page(page, last, one_page=True)


def _varies(result: Result) -> bool:
    """Whether the change differs enough from cell to cell for a chart to show a shape."""
    change = result.table.change_percent[result.table.reachable]
    known = change[np.isfinite(change)]
    return bool(known.size) and float(np.ptp(known)) >= SMALLEST_CHARTED_CHANGE


def _no_change(page: Page, place: TablePlace) -> None:
    """Why there is no table of the change."""
    job = page.result.job
    words = (
        f"No change is shown: the old cells are {job.donor.table.quantity.value}, {job.donor.shown.unit}, and the new ones "
        f"{job.target.table.quantity.value}, {job.target.shown.unit}."
    )
    lines = page.paragraph(place.row - 2, (place.col - 1, place.last_col), words, font_color=style.QUIET)
    page.ws.set_row(place.row - 2, style.height_pt(lines))
    for row in range(place.row - 1, place.last_row + 1):
        page.ws.set_row_pixels(row, 1)  # its place stays, for formulas refer to it


def _legend(page: Page, shown: _ThreeTables, names: Sequence[GridName]) -> int:
    """The legend: both scales, the outline, and every sign that occurs. Return its last row."""
    row = _legend_row(shown.layout) + 1
    page.ws.set_row(row - 1, 8)
    last = row + 1
    if "change" in names:
        _change_scale(page, shown.layout, shown.layout.place("change"), row)
    if set(names) & {"old", "new"}:
        first: GridName = "new" if "new" in names else "old"
        _table_scale(page, shown.layout, shown.layout.place(first), row)
    if "new" in names:
        last = max(last, _sign_list(page, shown.layout.place("new"), row + 3))
    return last


def _table_scale(page: Page, layout: Layout, place: TablePlace, row: int) -> None:
    table = page.result.table
    unit = page.result.job.target.shown.unit
    names: tuple[GridName, ...] = ("new",) if page.result.job.other_quantity else ("old", "new")
    low, high = ends(np.concatenate([getattr(table, name).ravel() for name in names]))
    both = ",".join(layout.place(name).area() for name in names)
    words = f"Old and new share one scale, {unit}" if len(names) > 1 else f"Scale of the new table, {unit}"
    ends_at = [_absolute(row + 1, first) for first, _ in _swatches(place)]
    middle = f"=({ends_at[0]}+{ends_at[2]})/2"
    figures = ((low, f"=MIN({both})"), ((low + high) / 2, middle), (high, f"=MAX({both})"))
    _scale(page, place, (row, words), figures, style.TABLE_SCALE, "0.0")


def _change_scale(page: Page, layout: Layout, place: TablePlace, row: int) -> None:
    low, high = ends(tidy(page.result.table.change_percent))
    end, area = max(high, -low, SMALLEST_CHANGE_SCALE), layout.place("change").area()
    top = f"=MAX({SMALLEST_CHANGE_SCALE:g},MAX({area}),-MIN({area}))"
    figures = ((-end, f"=-{_absolute(row + 1, _swatches(place)[2][0])}"), (0.0, None), (end, top))
    _scale(
        page, place, (row, "Less fuel in the cell – no change – more, %"), figures, style.CHANGE_SCALE, CHANGE_FORMAT
    )


def _scale(
    page: Page,
    place: TablePlace,
    heading: tuple[int, str],
    figures: Sequence[tuple[float, str | None]],
    colours: Sequence[str],
    shape: str,
) -> None:
    """Swatches with the figures of the scale's ends and middle; the scale takes them from these cells."""
    book, ws, (row, words) = page.book, page.ws, heading
    merged_text(ws, (row, place.col - 1, row, place.last_col), words, book.style(font_size=9, font_color=style.QUIET))
    for (col, last), colour, (figure, formula) in zip(_swatches(place), colours, figures, strict=True):
        look = book.style(bg_color=colour, align="center", font_size=9, num_format=shape)
        merge(ws, (row + 1, col, row + 1, last), look)
        if formula is None:
            number(ws, row + 1, col, figure, look)
        else:
            live(ws, row + 1, col, formula, figure, look)


def _sign_list(page: Page, place: TablePlace, row: int) -> int:
    """The outline and every sign that occurs, with the number of its cells. Return the last row."""
    table = page.result.table
    lines = ["Outlined: what the target can reach. Grey: not reachable."]
    words: dict[str, list[str]] = {}
    for mark, (sign, meaning) in SIGNS.items():
        if mark in table.marks:
            count = int(table.marks[mark].sum())
            words.setdefault(sign, []).append(f"{meaning} ({count} {'cell' if count == 1 else 'cells'})")
    lines += [f"{sign}  {'; '.join(meanings)}" for sign, meanings in words.items()]
    for offset, line in enumerate(lines):
        count = page.paragraph(
            row + offset, (place.col - 1, place.last_col), line, font_size=9, font_color=style.QUIET, valign="top"
        )
        page.ws.set_row(row + offset, style.height_pt(count, 9) + 2)
    return row + len(lines) - 1


def _charts(page: Page, layout: Layout, last: int, size_px: tuple[float, float]) -> int:
    """The charts of the change, beside its table or in the room below. Return the last row."""
    width_px, row_px = size_px
    beside = (layout.rows + 2) * row_px, (width_px - GAP_PX) / 2
    if layout.abreast and beside[0] >= SMALLEST_CHART_PX[0] and beside[1] >= SMALLEST_CHART_PX[1]:
        place, right = layout.place("change"), layout.place("new")
        change_charts(page, layout, (place.row - 2, right.col - 1), (beside[1] - 4, beside[0]))
        return last
    used = 110 + layout.rows * row_px + (last - _legend_row(layout) + 2) * 22
    height = max(width_px * PAGE_RATIO - used, 230.0)
    rows = round(height / 24)
    first = last + 2
    for row in range(first, first + rows):
        page.ws.set_row_pixels(row, 24)
    text(page.ws, first - 1, 0, "", None)
    change_charts(page, layout, (first, 0), (width_px - 4, rows * 24.0))
    return first + rows - 1
