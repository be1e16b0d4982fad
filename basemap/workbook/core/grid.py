"""One table on a page: axes, figures with their signs, colours, and an outline around the reachable cells."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark
from basemap.workbook.core import style
from basemap.workbook.core.book import Book, Page
from basemap.workbook.core.cells import live, number, text
from basemap.workbook.core.layout import TablePlace

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Area = tuple[int, int, int, int]
Look = Callable[[Book, "Worksheet", Area], None]
Formula = Callable[[int, int], str]

CELL_SIZE = 10.0
_PADDING_PX = 6.0

SIGNS: Mapping[Mark, tuple[str, str]] = {
    Mark.NO_PRESSURE: ("!", "no pressure across the injector"),
    Mark.SATURATED: ("!", "injector open throughout"),
    Mark.NO_FUEL: ("!", Mark.NO_FUEL.in_words),
    Mark.DONOR_SATURATED: ("?", "donor's injector open throughout: its air is not known"),
    Mark.DONOR_NO_FUEL: ("?", "donor's cell gives no fuel: its air is not known"),
    Mark.LAYOUT_DIFFERS: ("L", "throttles not known to be like the donor's"),
    Mark.BREATHING_NOT_KNOWN: ("?", "the estimate of its breathing gives no air"),
    Mark.ABOVE_MAXIMUM: ("§", "outside what the table can hold"),
    Mark.BELOW_MINIMUM: ("§", "outside what the table can hold"),
    Mark.MINIMUM_PULSE: ("†", "the ECU commands its minimum pulse instead: rich"),
    Mark.SHORT_PULSE: ("†", "below the shortest pulse"),
    Mark.DELIVERY_NOT_KNOWN: ("‡", "battery far below the dead-time data: delivery not known"),
    Mark.EXTRAPOLATED: ("‡", "dead time extrapolated"),
    Mark.ABOVE_LINE: ("^", "above 85 % duty"),
    Mark.DONOR_ABOVE_LINE: ("^", "donor above 85 % duty"),
    Mark.OUTSIDE: ("*", "outside donor data: its edge is held"),
    Mark.NOT_VISITED: ("*", "the donor never ran there: adapted as it stands"),
    Mark.NOT_THROTTLED: ("|", "donor as wide open: not throttled"),
    Mark.BREATHING_ESTIMATED: ("≈", "breathing estimated"),
    Mark.CALIBRATE: ("~", "calibrate on the engine"),
}
"""Sign and words of every mark, the gravest first; cells that cannot be reached are grey instead."""


class Axes(NamedTuple):
    """The axes of a table as text, and how many of its rows and columns can be reached."""

    rpm: tuple[str, ...]
    load: tuple[str, ...]
    load_unit: str
    reach_rows: int
    reach_cols: int

    @property
    def corner(self) -> str:
        """The unit of the load, where it is short enough for the corner of the table."""
        return self.load_unit if len(self.load_unit) <= 6 else "load"


def axes_of(book: Book) -> Axes:
    """The axes of the fuel table."""
    job, reachable = book.result.job, book.result.table.reachable
    return Axes(
        rpm=tuple(f"{speed:.10g}" for speed in job.rpm),
        load=tuple(f"{load:.6g}" for load in job.target.shown.load),
        load_unit=job.target.shown.load_unit,
        reach_rows=int(reachable.any(axis=1).sum()),
        reach_cols=int(reachable.any(axis=0).sum()),
    )


@dataclass(frozen=True)
class WorkbookTable:
    """A table to show.

    Parameters
    ----------
    caption, aside
        Its heading, and small words to the right of it.
    values
        Shape (loads, speeds).
    number_format
        The number format of a spreadsheet, whose conditions may add signs.
    instead, endless
        Words for NaN and for infinity.
    signs
        The sign of each cell, empty for none; `None` where the number format adds it.
    look
        Colours the reachable cells.
    formula
        The formula of a cell, where the table is live.
    editable, limits
        Whether the cells are inputs; their limits, and the reason for these.
    """

    caption: str
    aside: str
    values: FloatArray
    number_format: str
    look: Look
    instead: str = "no pulse"
    endless: str = "no fuel"
    signs: tuple[tuple[str, ...], ...] | None = None
    formula: Formula | None = None
    editable: bool = False
    limits: tuple[float, float, str] | None = None
    properties: Mapping[str, Any] = field(default_factory=dict)


def signs_of(marks: Mapping[Mark, BoolArray], shape: tuple[int, ...]) -> tuple[tuple[str, ...], ...]:
    """The gravest sign of every cell."""
    signs = np.full(shape, "", dtype=object)
    for mark, (sign, _) in reversed(list(SIGNS.items())):
        if mark in marks:
            signs[marks[mark]] = sign
    return tuple(tuple(str(sign) for sign in row) for row in signs)


def column_width_px(samples: list[str]) -> float:
    """Width of a column of figures in which each of `samples` fits."""
    return style.widest_px(samples, CELL_SIZE) + _PADDING_PX


def axis_width_px(axes: Axes) -> float:
    """Width of the load axis."""
    return max(style.widest_px((*axes.load, axes.corner), CELL_SIZE, bold=True) + _PADDING_PX + 2, 34.0)


def write_grid(page: Page, place: TablePlace, axes: Axes, grid: WorkbookTable) -> None:
    """Write a table: caption two rows above its body, speeds one row above, loads in the column on its left."""
    if page.book.not_live and grid.editable:
        grid = replace(grid, editable=False, limits=None)
    _caption(page, place, grid)
    _axes(page, place, axes)
    looks: dict[tuple[object, ...], Format] = {}
    for i, row in enumerate(grid.values.tolist()):
        for j, value in enumerate(row):
            kind = _kind(axes, grid, i, j)
            if kind not in looks:
                looks[kind] = page.book.style(**_properties(axes, grid, i, j))
            _cell(page, place, grid, (i, j), value, looks[kind])
    if grid.limits is not None:
        _limit(page.ws, place, grid)
    area = place.row, place.col, place.row + axes.reach_rows - 1, place.col + axes.reach_cols - 1
    grid.look(page.book, page.ws, area)


def _kind(axes: Axes, grid: WorkbookTable, i: int, j: int) -> tuple[object, ...]:
    """All that decides the style of a cell: its sign, and where it is relative to the outline."""
    last_row, last_col = axes.reach_rows - 1, axes.reach_cols - 1
    sign = grid.signs[i][j] if grid.signs is not None else ""
    return sign, i == 0, j == 0, i < last_row, i > last_row, j < last_col, j > last_col


def _limit(ws: Worksheet, place: TablePlace, grid: WorkbookTable) -> None:
    """Set the limits of the cells, with the reason that a refused number gets."""
    assert grid.limits is not None
    low, high, why = grid.limits
    ws.data_validation(
        place.row, place.col, place.last_row, place.last_col,
        {
            "validate": "decimal", "criteria": "between", "minimum": low, "maximum": high, "ignore_blank": False,
            "error_title": grid.caption[:32], "error_message": f"Between {low:g} and {high:g}: {why}.",
        },
    )  # fmt: skip


def _caption(page: Page, place: TablePlace, grid: WorkbookTable) -> None:
    book, row, first, last = page.book, place.row - 2, place.col - 1, place.last_col
    line: dict[str, Any] = {"bottom": 2, "bottom_color": style.BAR}
    if grid.editable:
        line["bg_color"] = style.INPUT_FILL
    page.ws.set_row(row, 20)
    empty = book.style(**line)
    for col in range(first, last + 1):
        text(page.ws, row, col, "", empty)
    text(page.ws, row, first, grid.caption, book.style(**line, bold=True, font_size=12))
    aside = book.style(**line, font_size=9, italic=True, font_color=style.QUIET, align="right")
    text(page.ws, row, last, grid.aside, aside)


def _axes(page: Page, place: TablePlace, axes: Axes) -> None:
    book, ws = page.book, page.ws
    head = {
        "bg_color": style.AXIS,
        "font_color": style.ON_BAR,
        "bold": True,
        "align": "center",
        "border_color": "white",
    }
    size = 9 if place.cols > 8 else CELL_SIZE
    ws.set_row(place.row - 1, 19)
    text(ws, place.row - 1, place.col - 1, axes.corner, book.style(**{**head, "bold": False}, font_size=9))
    across, down = book.style(**head, font_size=size, right=1), book.style(**head, font_size=CELL_SIZE, bottom=1)
    for j, speed in enumerate(axes.rpm):
        number(ws, place.row - 1, place.col + j, float(speed), across)
    for i, load in enumerate(axes.load):
        number(ws, place.row + i, place.col - 1, float(load), down)


def _cell(page: Page, place: TablePlace, grid: WorkbookTable, at: tuple[int, int], value: float, look: Format) -> None:
    i, j = at
    words = grid.endless if value == math.inf else grid.instead
    row, col = place.row + i, place.col + j
    if grid.formula is not None:
        live(page.ws, row, col, grid.formula(i, j), value if math.isfinite(value) else words, look)
    else:
        number(page.ws, row, col, value, look, instead=words)


def _signed(number_format: str, sign: str) -> str:
    """A number format with a sign after each of its sections."""
    return ";".join(f'{section}"{sign}"' for section in number_format.split(";"))


def _properties(axes: Axes, grid: WorkbookTable, i: int, j: int) -> dict[str, Any]:
    reachable = i < axes.reach_rows and j < axes.reach_cols
    properties: dict[str, Any] = {
        "align": "center",
        "font_size": CELL_SIZE,
        "num_format": grid.number_format,
        "border": 1,
        "border_color": style.PAPER,
        **grid.properties,
    }
    if grid.editable:
        properties |= {"locked": False, "font_color": style.INPUT_INK}
    if grid.signs is not None and grid.signs[i][j]:
        properties["num_format"] = _signed(grid.number_format, grid.signs[i][j])
    if not reachable:
        properties |= {"bg_color": style.UNREACHABLE, "font_color": style.UNREACHABLE_INK, "italic": True}
    edges = {
        "top": i == 0 and reachable,
        "bottom": i == axes.reach_rows - 1 and j < axes.reach_cols,
        "left": j == 0 and reachable,
        "right": j == axes.reach_cols - 1 and i < axes.reach_rows,
    }
    for side, outlined in edges.items():
        if outlined:
            properties |= {side: 2, f"{side}_color": style.INK}
    return properties


def scale(colours: tuple[str, str, str], ends: tuple[str, str, str]) -> Look:
    """A three-colour scale that takes its ends from cells of the same sheet, so that it follows an edit."""

    def look(_book: Book, ws: Worksheet, area: Area) -> None:
        options: dict[str, Any] = {"type": "3_color_scale"}
        for side, colour, end in zip(("min", "mid", "max"), colours, ends, strict=True):
            options |= {f"{side}_type": "formula", f"{side}_value": f"={end}", f"{side}_color": colour}
        ws.conditional_format(*area, options)

    return look


def bands(rules: tuple[tuple[str, float, str, bool], ...]) -> Look:
    """Bands of colour: (criterion, threshold, fill, bold), of which the first that applies decides; words get red."""

    def look(book: Book, ws: Worksheet, area: Area) -> None:
        first = first_cell(area)
        alarm = book.workbook.add_format({"bg_color": style.LEAN_STOP, "bold": True})
        ws.conditional_format(
            *area, {"type": "formula", "criteria": f"=ISTEXT({first})", "format": alarm, "stop_if_true": True}
        )
        for criterion, threshold, fill, bold in rules:
            shade = book.workbook.add_format({"bg_color": fill, "bold": bold})
            ws.conditional_format(
                *area,
                {"type": "cell", "criteria": criterion, "value": threshold, "format": shade, "stop_if_true": True},
            )

    return look


def plain_scale(book: Book, ws: Worksheet, area: Area) -> None:
    """A pale scale from the least to the greatest figure."""
    del book
    low, middle, high = style.QUANTITY_SCALE
    ws.conditional_format(*area, {"type": "3_color_scale", "min_color": low, "mid_color": middle, "max_color": high})


def first_cell(area: Area) -> str:
    """Relative address of the first cell of an area."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    return str(xl_rowcol_to_cell(area[0], area[1]))
