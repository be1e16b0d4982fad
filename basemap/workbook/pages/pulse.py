"""Pulse, duty, air and injector flow of the target with the new table and the settings to enter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from basemap.model.installation import FloatArray
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, merge, merged_text, text
from basemap.workbook.core.grid import Look, WorkbookTable, axes_of, bands, plain_scale, write_grid
from basemap.workbook.core.layout import GridName, Layout, row_height_px
from basemap.workbook.core.row_places import RowKey, row_cell
from basemap.workbook.formulas.live_cells import NOT_KNOWN, CellFormulas
from basemap.workbook.pages.outcomes import block_widths
from basemap.workbook.pages.tables import axes_words

_TITLES: dict[GridName, str] = {"pulse": "Pulse", "duty": "Duty", "air": "Air", "pressure": "Manifold pressure"}


def write_pulse(book: Book, layout: Layout) -> None:
    """Write the page, or a page for each table; with the flow of every row, or else the pressure of every cell."""
    names = tuple(_TITLES if _by_cell(book) else [name for name in _TITLES if name != "pressure"])
    if layout.abreast:
        last = "manifold pressure" if _by_cell(book) else "injector flow"
        _write_page(book, layout, names, "Pulse", f"Pulse, duty, air and {last}")
        return
    for name in names:
        _write_page(book, layout, (name,), layout.place(name).sheet, _TITLES[name])


def _by_cell(book: Book) -> bool:
    """Whether the manifold pressure differs from cell to cell of a row."""
    return book.result.job.target.table.own_pressure_pa is not None


def _write_page(book: Book, layout: Layout, names: Sequence[GridName], sheet: str, title: str) -> None:
    axes, grids = axes_of(book), pulse_grids(book, layout)
    blocks = 2 if len(names) > 1 else 1
    widths = block_widths(layout, axes, ["no pulse", "88.88▼"], blocks)
    page = open_page(book, sheet, widths, tab=style.THIRD_LINE)
    page_head(page, title, f"target, new table with the settings to enter · {axes_words(book)}")
    row_px = row_height_px(sum(widths), layout.rows * blocks, 90 + 90 * blocks)
    for name in names:
        place = layout.place(name)
        for i in range(place.rows):
            page.ws.set_row_pixels(place.row + i, row_px)
        write_grid(page, place, axes, grids[name])
        book.names.define(book.workbook, f"{name}_table", place.area())
    last = layout.place(names[-1]).last_row
    if "air" in names and layout.abreast and not _by_cell(book):
        _flow_table(page, layout)
    row = last + 2
    page.paragraph(row, (0, page.last_col), _legend(book), font_size=9, font_color=style.QUIET)
    page.ws.set_row(row, 17)
    page.ws.freeze_panes(HEAD_ROWS if blocks > 1 else HEAD_ROWS + 2, 1)
    finish_page(page, row, one_page=True)


def _legend(book: Book) -> str:
    shortest = book.result.job.target.hardware.injectors.shortest_pulse_s
    limit = (
        "the shortest pulse is not known" if shortest is None else f"▼ below the shortest pulse, {shortest * 1e3:g} ms"
    )
    return f"Pulse: dead time included, one opening; {limit}.   Duty: ▲ above 85 %, ■ open throughout (100 %)."


def pulse_grids(book: Book, layout: Layout) -> dict[GridName, WorkbookTable]:
    """The tables of this page."""
    formulas = CellFormulas(book.result, layout)
    table, shortest = book.result.table, book.result.job.target.hardware.injectors.shortest_pulse_s
    pulse_format = "0.00" if shortest is None else f'[<{shortest * 1e3:.6g}]0.00"▼";0.00'
    return {
        "pulse": WorkbookTable(
            "Pulse", "ms, one opening, dead time included", table.pulse_s * 1e3, pulse_format, _pulse_look(shortest),
            formula=formulas.pulse,
        ),
        "duty": WorkbookTable("Duty", "%", table.duty * 100, '[>=100]0"■";[>85]0.0"▲";0.0', _DUTY_BANDS, formula=formulas.duty),
        "air": WorkbookTable(
            "Air", "mg per cylinder and cycle", table.target.air_kg * 1e6, "0", plain_scale, instead=NOT_KNOWN,
            formula=formulas.air,
        ),
        "pressure": WorkbookTable(
            "Manifold pressure", "kPa, worked out from the air", _manifold_kpa(book), "0.0", plain_scale,
            instead=NOT_KNOWN,
        ),
    }  # fmt: skip


def _manifold_kpa(book: Book) -> FloatArray:
    table = book.result.job.target.table
    return np.broadcast_to(table.pressure_pa, table.values.shape) / 1e3


_DUTY_BANDS = bands(
    (
        (">=", 100.0, style.LEAN_STOP, True),
        (">", 85.0, style.LEAN_CAUTION, True),
        (">", 70.0, style.LEAN_SLIGHT, False),
    )
)


def _pulse_look(shortest_s: float | None) -> Look:
    return plain_scale if shortest_s is None else bands((("<", shortest_s * 1e3, style.LEAN_CAUTION, True),))


def _flow_table(page: Page, layout: Layout) -> None:
    """Write pressure across the injector, flow and dead time: one row for each load, as they are the same at all speeds."""
    book, ws, target = page.book, page.ws, page.result.table.target
    air = layout.place("air")
    first = layout.place("duty").col - 1
    line = {"bottom": 2, "bottom_color": style.BAR}
    for col in range(first, page.last_col + 1):
        text(ws, air.row - 2, col, "", book.style(**line))
    text(ws, air.row - 2, first, "Injector flow", book.style(**line, bold=True, font_size=12))
    spans = _spans(page, first)
    heads = (page.result.job.target.shown.load_unit, "Δp, kPa", "flow, g/s", "dead time, ms")
    look = book.style(bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9)
    for span, words in zip(spans, heads, strict=True):
        merged_text(ws, (air.row - 1, span[0], air.row - 1, span[1]), words, look)
    for i in range(air.rows):
        figures: tuple[tuple[float, str, RowKey], ...] = (
            (page.result.job.target.shown.load[i], "General", "load"),
            (target.pressure_across_pa[i, 0] / 1e3, "0.0", "across"),
            (target.line_flow_kg_s[i, 0] * 1e3, "0.000", "flow"),
            (target.dead_time_s[i, 0] * 1e3, "0.000", "dead"),
        )
        for span, (figure, shape, key) in zip(spans, figures, strict=True):
            cell = book.style(align="center", num_format=shape, bottom=1, bottom_color=style.HAIRLINE)
            merge(ws, (air.row + i, span[0], air.row + i, span[1]), cell)
            live(ws, air.row + i, span[0], f"={row_cell(key, i)}", float(figure), cell)


def _spans(page: Page, first: int) -> list[tuple[int, int]]:
    """The column of the axis, then three equal parts of the other columns."""
    cells = page.last_col - first
    starts = [first + 1 + round(k * cells / 3) for k in range(4)]
    return [(first, first), *((starts[k], starts[k + 1] - 1) for k in range(3))]
