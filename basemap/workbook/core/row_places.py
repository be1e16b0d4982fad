"""Where the figures of the sheet Rows stand, known before the first is written, so that any formula can refer to them."""

from __future__ import annotations

from typing import Literal

from xlsxwriter.utility import xl_col_to_name

from basemap.workbook.core.book import HEAD_ROWS
from basemap.workbook.core.layout import Layout

SHEET = "Rows"
FIRST_ROW = HEAD_ROWS + 3
"""The first row of the loads, from 0."""

RowKey = Literal[
    "load", "map", "donor_across", "donor_flow", "donor_static", "donor_segment", "donor_dead", "donor_gain",
    "across", "flow", "static", "segment", "dead", "gain", "gain_old", "largest", "median", "smallest",
]  # fmt: skip
SpeedKey = Literal["rpm", "donor_window", "window", "largest", "median", "smallest"]

ROW_KEYS: tuple[RowKey, ...] = RowKey.__args__  # type: ignore[attr-defined]
SPEED_KEYS: tuple[SpeedKey, ...] = SpeedKey.__args__  # type: ignore[attr-defined]


_ROW_COLUMNS: dict[RowKey, str] = {key: f"{SHEET}!${xl_col_to_name(col)}" for col, key in enumerate(ROW_KEYS)}
_SPEED_COLUMNS: dict[SpeedKey, str] = {key: f"{SHEET}!${xl_col_to_name(col)}$" for col, key in enumerate(SPEED_KEYS)}


def row_cell(key: RowKey, i: int) -> str:
    """Address of a figure of a row, for formulas of tables."""
    return f"{_ROW_COLUMNS[key]}{FIRST_ROW + i + 1}"


def row_area(key: RowKey, rows: int) -> str:
    """Absolute address of the first `rows` figures of a column."""
    name = xl_col_to_name(ROW_KEYS.index(key))
    return f"{SHEET}!${name}${FIRST_ROW + 1}:${name}${FIRST_ROW + rows}"


def speed_cell(layout: Layout, key: SpeedKey, j: int) -> str:
    """Address of a figure of a speed."""
    return f"{_SPEED_COLUMNS[key]}{speeds_row(layout) + j + 1}"


def speed_area(layout: Layout, key: SpeedKey, cols: int) -> str:
    """Absolute address of the first `cols` figures over speed."""
    name, first = xl_col_to_name(SPEED_KEYS.index(key)), speeds_row(layout)
    return f"{SHEET}!${name}${first + 1}:${name}${first + cols}"


def speeds_row(layout: Layout) -> int:
    """The first row of the speeds, from 0."""
    return FIRST_ROW + layout.rows + 4
