"""What the cells of a row (load) or a column (speed) have in common: pressures, flows, dead times, windows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from statistics import median
from typing import Literal, NamedTuple, TypeVar

import numpy as np
from xlsxwriter.utility import xl_col_to_name

from basemap.model.axes import LoadAxis
from basemap.model.installation import Cycle, FloatArray
from basemap.model.job import Job
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, merged_text, number, text
from basemap.workbook.core.grid import axes_of
from basemap.workbook.core.layout import Layout, TablePlace
from basemap.workbook.core.row_places import (
    FIRST_ROW,
    ROW_KEYS,
    SHEET,
    SPEED_KEYS,
    RowKey,
    SpeedKey,
    row_cell,
    speeds_row,
)
from basemap.workbook.formulas.row import Live
from basemap.workbook.formulas.rows_formulas import live_rows
from basemap.workbook.inputs.input_cell import is_cancelled, plain

_Key = TypeVar("_Key", bound=str)

_WIDTH_PX = 84.0


class Column(NamedTuple):
    """One column of the sheet: heading, unit, values, and where it is live the formula of each value."""

    heading: str
    unit: str
    values: FloatArray
    number_format: str = "0.0000"
    formula: Callable[[int], str] | None = None
    instead: str = "–"


def write_rows(book: Book, layout: Layout) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, [_WIDTH_PX] * len(ROW_KEYS), tab=style.GREY_LINE)
    page_head(
        page,
        "Rows and columns",
        book.if_live("what the tables' formulas share", "what every row and column has in common"),
    )
    _block(page, FIRST_ROW, [*_in_order(_row_columns(book, layout), ROW_KEYS)], _ROW_GROUPS)
    _block(page, speeds_row(layout), [*_in_order(_speed_columns(book, layout), SPEED_KEYS)], _SPEED_GROUPS)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, speeds_row(layout) + layout.cols - 1)


_ROW_GROUPS = (("every load", 2), ("donor, as tuned", 6), ("target", 7), ("change over the row, %", 3))
_SPEED_GROUPS = (("every speed", 3), ("change over the column, %", 3))
_SIGNED = "+0.00;-0.00;0.00"


def _row_columns(book: Book, layout: Layout) -> dict[RowKey, Column]:
    job = book.result.job
    gain_unit = f"{'mg' if is_cancelled(job) else 'ms'}/{job.donor.shown.unit}, λ 1"
    heads: dict[RowKey, tuple[str, str, str]] = {
        "map": (pressure_words(job), "kPa", "0.00"),
        "donor_across": ("Δp", "kPa", "0.00"),
        "donor_flow": ("flow", "g/s", "0.0000"),
        "donor_static": ("static flow", "g/s", "0.0000"),
        "donor_segment": ("pressure segment", "", "0"),
        "donor_dead": ("dead time", "ms", "0.0000"),
        "donor_gain": ("air per cell" if is_cancelled(job) else "pulse per cell", gain_unit, "0.000000"),
        "across": ("Δp", "kPa", "0.00"),
        "flow": ("flow", "g/s", "0.0000"),
        "static": ("static flow", "g/s", "0.0000"),
        "segment": ("pressure segment", "", "0"),
        "dead": ("dead time", "ms", "0.0000"),
        "gain": ("pulse per cell", f"ms/{job.target.shown.unit}, λ 1", "0.000000"),
        "gain_old": ("…, old settings", f"ms/{job.target.shown.unit}, λ 1", "0.000000"),
    }
    formulas = _figures(book) if book.not_live else live_rows(book.result, row_cell)
    nothing = np.full(layout.rows, np.nan)
    columns: dict[RowKey, Column] = {
        "load": Column("load", job.target.shown.load_unit, job.target.shown.load, "General")
    }
    for key, (heading, unit, shape) in heads.items():
        live_one = formulas.get(key)
        if live_one is None:
            columns[key] = Column(heading, unit, nothing, shape)
        else:
            columns[key] = Column(heading, unit, live_one.values, shape, live_one.formula, "no pressure")
    change, reach = layout.place("change"), axes_of(book)
    spread = spread_of_change(book)
    for index, (key, function) in enumerate(_SPREADS.items()):
        columns[key] = Column(key, "%", spread[index], _SIGNED, _over(function, change, reach.reach_cols, by_row=True))
    return columns


def pressure_words(job: Job) -> str:
    """The name of the pressure of a row: an estimate on an air-mass axis, else that of both sides or the target's."""
    if job.target.table.points.axis is LoadAxis.AIR_MASS:
        return "target's MAP, estimate"
    return "manifold pressure" if job.one_pressure_axis else "target's MAP"


def _figures(book: Book) -> Mapping[RowKey, Live]:
    """The values of the target's rows, where nothing is live; the donor has other rows then."""
    job, target = book.result.job, book.result.table.target
    values: dict[RowKey, FloatArray] = {
        "map": _of_row(np.broadcast_to(job.target.table.pressure_pa, job.target.table.values.shape)) / 1e3,
        "across": _of_row(target.pressure_across_pa) / 1e3,
        "flow": _of_row(target.line_flow_kg_s) * 1e3,
        "static": _of_row(target.static_flow_kg_s) * 1e3,
        "dead": _of_row(target.dead_time_s) * 1e3,
    }
    return {key: Live(None, figures) for key, figures in values.items()}


def _of_row(values: FloatArray) -> FloatArray:
    """The value that all cells of a row share; NaN where they differ, as pressures behind a throttle do."""
    return np.where((values == values[:, :1]).all(axis=1), values[:, 0], np.nan)


_SPREADS: dict[Literal["largest", "median", "smallest"], str] = {
    "largest": "MAX",
    "median": "MEDIAN",
    "smallest": "MIN",
}


def _over(function: str, place: TablePlace, reach: int, *, by_row: bool) -> Callable[[int], str]:
    """Formulas of a function over the reachable part of each row, or of each column."""

    def formula(index: int) -> str:
        area = place.row_area(index, reach) if by_row else place.col_area(index, reach)
        return f'=IF(COUNT({area})=0,"–",{function}({area}))'

    return formula


def _speed_columns(book: Book, layout: Layout) -> dict[SpeedKey, Column]:
    table, job = book.result.table, book.result.job
    minute_ms = plain(60_000.0 * (2.0 if job.donor.hardware.engine.cycle is Cycle.FOUR_STROKE else 1.0))
    rpm = f"{SHEET}!${xl_col_to_name(SPEED_KEYS.index('rpm'))}"

    def window(side: str) -> Callable[[int], str]:
        return lambda j: f"={minute_ms}/{rpm}{speeds_row(layout) + j + 1}/{side}_openings_used"

    columns: dict[SpeedKey, Column] = {
        "rpm": Column("speed", "rev/min", job.rpm, "General"),
        "donor_window": Column("donor's window", "ms", table.donor.window_s[0] * 1e3, formula=window("donor")),
        "window": Column("target's window", "ms", table.target.window_s[0] * 1e3, formula=window("target")),
    }
    spread, change, reach = spread_of_change(book, over_speed=True), layout.place("change"), axes_of(book)
    for index, (key, function) in enumerate(_SPREADS.items()):
        columns[key] = Column(key, "%", spread[index], _SIGNED, _over(function, change, reach.reach_rows, by_row=False))
    return columns


def spread_of_change(book: Book, *, over_speed: bool = False) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Largest, median and smallest change of the reachable cells of every row, or of every column, %."""
    change, reach = tidy(book.result.table.change_percent), axes_of(book)
    lines = list(change[: reach.reach_rows].T) if over_speed else list(change[:, : reach.reach_cols])
    known = [line[np.isfinite(line)] for line in lines]
    return (
        np.array([float(line.max()) if line.size else np.nan for line in known]),
        np.array([median(line.tolist()) if line.size else np.nan for line in known]),
        np.array([float(line.min()) if line.size else np.nan for line in known]),
    )


def tidy(change: FloatArray) -> FloatArray:
    """A change in per cent without rounding noise, which would show as −0.0."""
    return np.asarray(np.where(np.abs(change) < 1e-9, 0.0, change))


def _in_order(columns: Mapping[_Key, Column], keys: tuple[_Key, ...]) -> list[Column]:
    return [columns[key] for key in keys]


def _block(page: Page, first: int, columns: list[Column], groups: tuple[tuple[str, int], ...]) -> None:
    book, ws, start = page.book, page.ws, 0
    for words, span in groups:
        look = book.style(
            bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", left=1, left_color="white"
        )
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
            if column.formula is not None:
                live(
                    ws, first + i, col, column.formula(i), float(value) if np.isfinite(value) else column.instead, look
                )
            else:
                number(ws, first + i, col, float(value), look)
