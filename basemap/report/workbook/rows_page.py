"""What every row (load) and every column (speed) of the table has in common: pressures, flows, dead times, windows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from xlsxwriter.utility import xl_col_to_name

from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.report.workbook import style
from basemap.report.workbook.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.report.workbook.cells import live, merged_text, number, text
from basemap.report.workbook.layout import Layout

RowKey = Literal[
    "load", "map", "donor_across", "donor_flow", "donor_static", "donor_dead", "donor_gain",
    "across", "flow", "static", "dead", "gain", "gain_old", "largest", "median", "smallest",
]  # fmt: skip
SpeedKey = Literal["rpm", "donor_window", "window", "largest", "median", "smallest"]

SHEET = "Rows"
_FIRST_ROW = HEAD_ROWS + 3
_WIDTH_PX = 84.0


@dataclass(frozen=True)
class Column:
    """One column: its heading and unit, its figures, and the formula of one of them where it is live."""

    heading: str
    unit: str
    values: FloatArray
    number_format: str = "0.0000"
    formula: Callable[[int], str] | None = None


ROW_KEYS: tuple[RowKey, ...] = RowKey.__args__  # type: ignore[attr-defined]
SPEED_KEYS: tuple[SpeedKey, ...] = SpeedKey.__args__  # type: ignore[attr-defined]


def row_cell(key: RowKey, i: int) -> str:
    """Address of a row's figure, as a table's formula refers to it."""
    return f"{SHEET}!${xl_col_to_name(ROW_KEYS.index(key))}{_FIRST_ROW + i + 1}"


def row_area(key: RowKey, rows: int) -> str:
    """Absolute address of the first `rows` figures of a column."""
    name = xl_col_to_name(ROW_KEYS.index(key))
    return f"{SHEET}!${name}${_FIRST_ROW + 1}:${name}${_FIRST_ROW + rows}"


def speed_cell(layout: Layout, key: SpeedKey, j: int) -> str:
    """Address of a speed's figure."""
    return f"{SHEET}!${xl_col_to_name(SPEED_KEYS.index(key))}${_speeds_row(layout) + j + 1}"


def speed_area(layout: Layout, key: SpeedKey, cols: int) -> str:
    """Absolute address of the first `cols` figures over speed."""
    name, first = xl_col_to_name(SPEED_KEYS.index(key)), _speeds_row(layout)
    return f"{SHEET}!${name}${first + 1}:${name}${first + cols}"


def _speeds_row(layout: Layout) -> int:
    return _FIRST_ROW + layout.rows + 4


def write_rows(book: Book, layout: Layout) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, [_WIDTH_PX] * len(ROW_KEYS), tab=style.GREY_LINE)
    page_head(page, "Rows and columns", "what the tables' formulas share")
    _block(page, _FIRST_ROW, [_row_columns(book)[key] for key in ROW_KEYS], _ROW_GROUPS)
    _block(page, _speeds_row(layout), [_speed_columns(book)[key] for key in SPEED_KEYS], _SPEED_GROUPS)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, _speeds_row(layout) + layout.cols - 1)


_ROW_GROUPS = (("every load", 2), ("donor, as tuned", 5), ("target", 6), ("change over the row, %", 3))
_SPEED_GROUPS = (("every speed", 3), ("change over the column, %", 3))


def _row_columns(book: Book) -> dict[RowKey, Column]:
    table, job = book.result.table, book.result.job
    donor, target = table.donor, table.target
    largest, median, smallest = spread_of_change(book)
    nothing = np.full(table.new.shape[0], np.nan)
    return {
        "load": Column("load", job.shown.load_unit, job.shown.load, "General"),
        "map": Column(_pressure_heading(job), "kPa", job.target_table.load_pa / 1e3, "0.00"),
        "donor_across": Column("Δp", "kPa", donor.pressure_across_pa[:, 0] / 1e3, "0.00"),
        "donor_flow": Column("flow", "g/s", donor.line_flow_kg_s[:, 0] * 1e3),
        "donor_static": Column("static flow", "g/s", donor.static_flow_kg_s[:, 0] * 1e3),
        "donor_dead": Column("dead time", "ms", donor.dead_time_s[:, 0] * 1e3),
        "donor_gain": Column("pulse per cell", "", nothing),
        "across": Column("Δp", "kPa", target.pressure_across_pa[:, 0] / 1e3, "0.00"),
        "flow": Column("flow", "g/s", target.line_flow_kg_s[:, 0] * 1e3),
        "static": Column("static flow", "g/s", target.static_flow_kg_s[:, 0] * 1e3),
        "dead": Column("dead time", "ms", target.dead_time_s[:, 0] * 1e3),
        "gain": Column("pulse per cell", "", nothing),
        "gain_old": Column("…, old settings", "", nothing),
        "largest": Column("largest", "%", largest, "+0.00;-0.00;0.00"),
        "median": Column("median", "%", median, "+0.00;-0.00;0.00"),
        "smallest": Column("smallest", "%", smallest, "+0.00;-0.00;0.00"),
    }


def _pressure_heading(job: Job) -> str:
    """On an air-mass axis the pressure is an estimate; on others it may differ from the donor's."""
    if job.target_table.points.axis is LoadAxis.AIR_MASS:
        return "target's MAP, estimate"
    return "manifold pressure" if job.one_pressure_axis else "target's MAP"


def _speed_columns(book: Book) -> dict[SpeedKey, Column]:
    table, job = book.result.table, book.result.job
    largest, median, smallest = spread_of_change(book, over_speed=True)
    return {
        "rpm": Column("speed", "rev/min", job.rpm, "General"),
        "donor_window": Column("donor's window", "ms", table.donor.window_s[0] * 1e3),
        "window": Column("target's window", "ms", table.target.window_s[0] * 1e3),
        "largest": Column("largest", "%", largest, "+0.00;-0.00;0.00"),
        "median": Column("median", "%", median, "+0.00;-0.00;0.00"),
        "smallest": Column("smallest", "%", smallest, "+0.00;-0.00;0.00"),
    }


def spread_of_change(book: Book, *, over_speed: bool = False) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Largest, median and smallest change, %, of every row (or every column) over what the target can reach."""
    table = book.result.table
    change = np.where(table.reachable, tidy(table.change_percent), np.nan)
    lines = list(change.T) if over_speed else list(change)
    known = [line[np.isfinite(line)] for line in lines]
    return (
        np.array([float(line.max()) if line.size else np.nan for line in known]),
        np.array([float(np.median(line)) if line.size else np.nan for line in known]),
        np.array([float(line.min()) if line.size else np.nan for line in known]),
    )


def tidy(change: FloatArray) -> FloatArray:
    """Change in per cent without the last-bit noise that would show as −0.0."""
    return np.asarray(np.where(np.abs(change) < 1e-9, 0.0, change))


def _block(page: Page, first: int, columns: list[Column], groups: tuple[tuple[str, int], ...]) -> None:
    book, ws, start = page.book, page.ws, 0
    for words, span in groups:
        look = book.style(bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", left=1, left_color="white")
        merged_text(ws, (first - 3, start, first - 3, start + span - 1), words, look)
        start += span
    head = book.style(bg_color=style.PANEL, align="center", bold=True, font_size=9, text_wrap=True)
    unit = book.style(bg_color=style.PANEL, align="center", font_size=9, font_color=style.QUIET, bottom=1)
    ws.set_row(first - 2, 26)
    for col, column in enumerate(columns):
        text(ws, first - 2, col, column.heading, head)
        text(ws, first - 1, col, column.unit, unit)
        look = book.style(align="center", num_format=column.number_format)
        for i, value in enumerate(column.values):
            if column.formula is not None and np.isfinite(value):
                live(ws, first + i, col, column.formula(i), float(value), look)
            else:
                number(ws, first + i, col, float(value), look)
