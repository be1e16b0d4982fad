"""The extremes of the target that Summary shows: live numbers over what it can reach."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from basemap.model.installation import FloatArray
from basemap.report.words import place_of
from basemap.workbook.core.book import Book
from basemap.workbook.core.grid import axes_of
from basemap.workbook.core.layout import GridName, Layout
from basemap.workbook.formulas.live_cells import NOT_KNOWN
from basemap.workbook.pages.rows import tidy


class Glance(NamedTuple):
    """One number: its value or words instead, its unit with the place as issued, and its formula."""

    name: str
    value: float | str
    place: str
    number_format: str
    formula: str


class _Sought(NamedTuple):
    """An extreme: of which table, which end, how it is shown."""

    name: str
    table: GridName
    values: FloatArray
    function: Literal["MAX", "MIN"]
    unit: str
    number_format: str


def extremes_of_pulses(book: Book, layout: Layout) -> list[Glance]:
    """The highest duty and the shortest pulse."""
    table = book.result.table
    duty = _Sought("Highest duty", "duty", table.duty * 100, "MAX", "%", '[>=100]"■ "0;[>85]"▲ "0.0;0.0')
    return [
        _extreme(book, layout, duty),
        _extreme(book, layout, _Sought("Shortest pulse", "pulse", table.pulse_s * 1e3, "MIN", "ms", "0.000")),
    ]


def extremes_of_change(book: Book, layout: Layout) -> list[Glance]:
    """The highest and the lowest change; none where the new cells are another quantity than the old ones."""
    if book.result.job.other_quantity:
        return []
    change, signed = tidy(book.result.table.change_percent), "+0.00;-0.00;0.00"
    return [
        _extreme(book, layout, _Sought("Highest change", "change", change, "MAX", "%", signed)),
        _extreme(book, layout, _Sought("Lowest change", "change", change, "MIN", "%", signed)),
    ]


def _extreme(book: Book, layout: Layout, one: _Sought) -> Glance:
    """The extreme over what can be reached, with the first cell, row by row, that holds it."""
    axes, place = axes_of(book), layout.place(one.table)
    area = place.area(axes.reach_rows, axes.reach_cols)
    values = one.values[: axes.reach_rows, : axes.reach_cols]
    formula = f'=IF(COUNT({area})=0,"{NOT_KNOWN}",{one.function}({area}))'
    if not np.isfinite(values).any():
        return Glance(one.name, NOT_KNOWN, one.unit, one.number_format, formula)
    flat = int(np.nanargmax(values) if one.function == "MAX" else np.nanargmin(values))
    row, col = (int(index) for index in np.unravel_index(flat, values.shape))
    where = f"{one.unit} · {place_of(book.result.job, row, col)}"
    return Glance(one.name, float(values[row, col]), where, one.number_format, formula)
