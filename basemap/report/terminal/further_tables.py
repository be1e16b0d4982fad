"""The further tables on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from basemap.model.axes import LoadAxis
from basemap.model.finding import Verdict
from basemap.model.further_table import FurtherAxis, FurtherBand, FurtherQuantity, FurtherResult
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.report.terminal.grid import PrintedTable, lines
from basemap.report.terminal.layout import columns, hanging, heading, indented
from basemap.report.words import harmless
from basemap.rounding import cells, percent_up

if TYPE_CHECKING:
    from rich.console import Console, RenderableType


def further_tables(result: Result, console: Console) -> list[RenderableType]:
    """Every further table as it is to be loaded, with its marked cells."""
    parts: list[RenderableType] = []
    for found in result.further_tables:
        stamp = " - DO NOT LOAD" if result.verdict is Verdict.REFUSE else ""
        parts += heading(f"new table: {harmless(found.name)}, {found.quantity.value}{stamp}")
        axis, band = found.table.axis, result.band.further.get(found.name)
        parts += _grid(found, console) if axis is None else [_list(found, axis, band)]
        parts.append(indented(what_became_of_it(found)))
        if band is not None:
            parts.append(indented(how_sure(found, band)))
        parts += [hanging("  -", [line], width=4) for line in _marks(found)]
    return parts


def what_became_of_it(found: FurtherResult) -> str:
    """How the cells were carried over, in one or two sentences."""
    return _carried_over(found) + _points(found)


def _points(found: FurtherResult) -> str:
    table, counts_air = found.table, found.table.load_axis is LoadAxis.AIR_MASS
    if table.scaled:
        return (
            " The air-mass axis is scaled with the swept volume: every cell stays at the same filling of the cylinder."
        )
    if table.origin is not None:
        full = ", at the same filling of the cylinder" if counts_air else ""
        return f" Interpolated from the donor's points to the target's own{full}."
    if table.load_axis is LoadAxis.THROTTLE:
        return " It keeps the same openings; if the throttles differ, these are not the same loads."
    return ""


def _carried_over(found: FurtherResult) -> str:
    if found.quantity is FurtherQuantity.PULSE_WIDTH:
        inside = "in" if found.table.target.inside.dead_time else "not in"
        return f"Pulses for a battery of {found.battery_v:g} V; the dead time is {inside} the cells."
    if found.table.commanded is not None:
        return "It belongs to the new fuel table: it holds the target's intended mixture instead of the donor's."
    if found.table.follows_fuel:
        return "The scale is for the fuel in use: every cell changes by the ratio of the stoichiometric ratios."
    if found.quantity is FurtherQuantity.AIR_FUEL_RATIO:
        return f"The scale calls {found.table.basis:g} lambda 1 on any fuel: unchanged."
    if found.table.load_axis is LoadAxis.THROTTLE:
        return "Unchanged."
    return "Unchanged: it means the same on any engine."


def how_sure(found: FurtherResult, band: FurtherBand) -> str:
    """The band of a table of pulses, in one sentence."""
    known = band.expanded[~np.isnan(band.expanded)]
    if not known.size:
        return "The uncertainty of the mixture is not known: no cell delivers fuel."
    low, high = percent_up(float(known.min())), percent_up(float(known.max()))
    span = f"±{high} %" if low == high else f"±{low} to ±{high} %"
    if np.isinf(known).any():
        span = "no limit on the lean side in some cells"
    drawn = int(band.simulated.sum())
    by = f"; by Monte Carlo in {cells(drawn)}, where most of the pulse is dead time" if drawn else ""
    axis = found.table.axis
    cold = (
        " This leaves out how much of the fuel evaporates in the cold." if axis and axis.coolant_k is not None else ""
    )
    return f"The mixture is within {span} of the donor's on this table (k = 2{by}).{cold}"


def _list(found: FurtherResult, axis: FurtherAxis, band: FurtherBand | None) -> RenderableType:
    decimals, pulse = found.table.decimals, found.quantity is FurtherQuantity.PULSE_WIDTH
    unit = f", {found.unit}" if found.unit else ""
    head = [harmless(f"{axis.name}, {axis.unit}"), f"old{unit}", f"new{unit}"]
    head += [f"pulse at {found.battery_v:g} V, ms"] if pulse else []
    head += ["λ ±, %"] if band else []
    rows = []
    for i, point in enumerate(axis.values):
        row = [f"{point:g}", _shown(found.old[i], found.table.shown.decimals), _shown(found.stored[i], decimals)]
        row += [_shown(found.pulse_s[i] * 1e3, 3)] if pulse else []
        rows.append([*row, percent_or_dash(band.expanded[i])] if band else row)
    return columns(rows, head=head, left=())


def percent_or_dash(relative: float) -> str:
    """A band in %, rounded up; a dash where it is not known."""
    return "-" if np.isnan(relative) else percent_up(relative)


def _shown(value: float, decimals: int) -> str:
    return "-" if np.isnan(value) else f"{value:.{decimals}f}"


def _grid(found: FurtherResult, console: Console) -> list[RenderableType]:
    load, rpm = found.axes
    everywhere = np.ones(found.new.shape, dtype=bool)
    grid = PrintedTable(
        values=found.stored,
        rpm=rpm.values,
        load=load.values,
        load_unit=load.unit,
        unit=found.unit,
        decimals=found.table.decimals,
        reachable=everywhere,
        least_decimals=1 if found.quantity is FurtherQuantity.AIR_FUEL_RATIO else 0,
    )
    return list(lines(grid, console))


def _marks(found: FurtherResult) -> list[str]:
    out = []
    for mark, where in found.marks.items():
        places = [found.at(tuple(int(i) for i in index)) for index in np.argwhere(where)]
        span = places[0] if len(places) == 1 else f"{places[0]} to {places[-1]}"
        words = f"{mark.in_words}, not adapted" if mark is Mark.CALIBRATE else mark.in_words
        out.append(harmless(f"{words}: {cells(len(places))}, {span}"))
    return out
