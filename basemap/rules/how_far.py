"""How far to go with the new table before anything has been measured on the engine."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.adaptation.outcomes import CRUISE_PLACE, places
from basemap.model.finding import HowFar
from basemap.model.table_result import Point
from basemap.rounding import excess
from basemap.rules.case import Case
from basemap.rules.mixture import AT_LOAD_WITHIN

LIGHT_LOAD_WITHIN = 0.35
"""Lean end of the band while cruising up to which it may be driven at light load. Common practice, no source."""

BY_ONE_INPUT = 0.25
"""Band at load that one input may cause if it can be measured on the bench. Common practice, no source."""

DOUBTFUL = -3.0
"""Standard deviations below what was believed from which makers' figures are sooner wrong than true: two such engines
differ by as much once in 700 pairs. Common practice, no source."""

_AT_LOAD = "at load"


class Going(NamedTuple):
    """How far to go, and why.

    Parameters
    ----------
    how_far
        The words.
    at_load, light_load
        Lean end of the band, λ over the intended: wherever it is leanest at load, with the likeliest cell, and while
        cruising; `None` if it is not known.
    because
        The number behind the words, with its cell.
    """

    how_far: HowFar
    at_load: Point | None
    light_load: Point | None
    because: str


def going(case: Case, *, lean_by_power: bool = False) -> Going:
    """How far to go with a job's new table.

    Parameters
    ----------
    lean_by_power
        Whether the target's rated power needs more air than its table has fuel for.
    """
    end = case.lean_at_load
    at_load = None if end is None else _point(case, end.ratio, end.cell)
    cruise = places(case.job)[CRUISE_PLACE].cell
    light = _point(case, float(case.lean_ends[cruise]), cruise)
    blamed = largest_at_load(case)
    if blamed is not None and blamed[1] > BY_ONE_INPUT:
        because = f"at load the {blamed[0]} alone may put the mixture {excess(np.exp(blamed[1]))} % off: measure it"
        return Going(HowFar.IDLE, at_load, light, because)
    if light is None or light.ratio > 1.0 + LIGHT_LOAD_WITHIN:
        return Going(HowFar.IDLE, at_load, light, _because(case, "at light load", light))
    if at_load is None or at_load.ratio > 1.0 + AT_LOAD_WITHIN:
        return Going(HowFar.LIGHT, at_load, light, _because(case, _AT_LOAD, at_load))
    if lean_by_power:
        because = "at load it runs lean if it makes its rated power: the table holds too little fuel for that"
        return Going(HowFar.LIGHT, at_load, light, because)
    if figures_doubtful(case):
        because = "the makers' figures say less air by more than two such engines differ: check them"
        return Going(HowFar.LIGHT, at_load, light, because)
    return Going(HowFar.LOAD, at_load, light, _because(case, _AT_LOAD, at_load))


def figures_doubtful(case: Case) -> bool:
    """Whether the makers' figures take the target for so much worse that they are sooner wrong: a drive tells more."""
    return case.table.taught is None and case.table.breathing.surprise < DOUBTFUL


def largest_at_load(case: Case) -> tuple[str, float, tuple[int, ...]] | None:
    """The measurable input that causes the widest band at load, its part of the band of ln λ, and the cell."""
    known = {
        name: np.where(case.at_load, part, np.nan)
        for name, part in case.measurable.items()
        if np.isfinite(np.where(case.at_load, part, np.nan)).any()
    }
    if not known:
        return None
    name = max(known, key=lambda each: float(np.nanmax(known[each])))
    cell = np.unravel_index(int(np.nanargmax(known[name])), known[name].shape)
    return name, float(np.nanmax(known[name])), tuple(int(index) for index in cell)


def _point(case: Case, ratio: float, cell: tuple[int, int]) -> Point | None:
    row, column = cell
    shown = case.job.target.shown.load
    return None if np.isnan(ratio) else Point(ratio, float(case.job.rpm[column]), float(shown[row]))


def _because(case: Case, where: str, point: Point | None) -> str:
    if point is None:
        return f"how lean it may be {where} is not known"
    address = f"{point.rpm:g} rpm, {point.load:g} {case.job.target.shown.load_unit}".rstrip()
    if point.ratio <= 1.0:
        return f"{where} it is no leaner than intended (k = 2)"
    if where == _AT_LOAD:
        return f"it may be {excess(point.ratio)} % lean at load (likeliest {address}; k = 2)"
    return f"it may be {excess(point.ratio)} % lean {where} ({address}; k = 2)"
