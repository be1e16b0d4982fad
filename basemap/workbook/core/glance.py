"""The few numbers of the target that are read first: idle, and the extremes over what it can reach."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from basemap.adaptation.first_start import idle_point
from basemap.adaptation.units_shown import manifold_pressure
from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.workbook.core.book import AS_ISSUED, Book
from basemap.workbook.core.grid import axes_of
from basemap.workbook.core.layout import GridName, Layout
from basemap.workbook.formulas.live_cells import NO_PULSE, NOT_KNOWN, NOTHING
from basemap.workbook.pages.rows import tidy


class Glance(NamedTuple):
    """One number: its value or the words instead, its unit with the place as issued, and its formula."""

    name: str
    value: float | str
    place: str
    number_format: str = "0.00"
    formula: str | None = None


def glances(book: Book, layout: Layout) -> tuple[list[Glance], list[Glance]]:
    """The numbers of the first page: at idle, and the extremes."""
    return _idle(book), _extremes(book, layout)


def _idle(book: Book) -> list[Glance]:
    """Those of the first-start card, read between the cells: they are as issued, and no single cell holds them."""
    job, point = book.result.job, idle_point(book.result)
    engine, unit = job.target.hardware.engine, manifold_pressure(job)
    at = f"{unit.name} · {engine.idle_rpm:g} rpm"
    pressure = Glance("Manifold pressure", unit.number(engine.idle_pressure_pa), at, "0.0")
    if job.target.table.points.axis is LoadAxis.AIR_MASS:
        return [pressure, Glance("Pulse at idle", NOTHING, "not known: the axis counts air")]
    return [
        pressure,
        Glance("Pulse at idle", _known(1e3 * point.pulse_s), f"ms · {AS_ISSUED}", "0.00"),
        Glance("Duty at idle", _known(100.0 * point.duty), f"% · {AS_ISSUED}", "0.0"),
    ]


class _Sought(NamedTuple):
    """An extreme: of which table, which end, how it is shown."""

    name: str
    table: GridName
    values: FloatArray
    function: Literal["MAX", "MIN"]
    unit: str
    number_format: str


def _extremes(book: Book, layout: Layout) -> list[Glance]:
    table = book.result.table
    signed = "+0.0;-0.0;0.0"
    change = tidy(table.change_percent)
    sought = (
        _Sought("Highest duty", "duty", table.duty * 100, "MAX", "%", '[>=100]"■ "0;[>85]"▲ "0.0;0.0'),
        _Sought("Shortest pulse", "pulse", table.pulse_s * 1e3, "MIN", "ms", "0.000"),
        _Sought("Highest change", "change", change, "MAX", "%", signed),
        _Sought("Lowest change", "change", change, "MIN", "%", signed),
    )
    return [_extreme(book, layout, one) for one in sought]


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
    return Glance(
        one.name, float(values[row, col]), f"{one.unit} · {_place(book, row, col)}", one.number_format, formula
    )


def _known(value: float) -> float | str:
    return value if np.isfinite(value) else NO_PULSE


def _place(book: Book, row: int, col: int) -> str:
    job = book.result.job
    return f"{job.rpm[col]:g} rpm, {job.target.shown.load[row]:.6g} {job.target.shown.load_unit}"
