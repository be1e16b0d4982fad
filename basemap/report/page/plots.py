"""The plots on the page of a result: dead time and mixture over voltage, and the mixture of every way to load it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.report.brief.mixture import outcomes
from basemap.report.brief.verdict import span
from basemap.report.dead_times import LAST_DIGIT, dead_times
from basemap.report.page.curves import RIGHT, WIDTH, Curves, Frame, OneLine, Tick, curves, round_numbers
from basemap.report.words import number

_ROW = 38.0
_MOST_LEAN = 60.0
"""Per cent: an engine misfires long before, and a higher value would flatten all other lines."""


class Span(NamedTuple):
    """One way to load it, as a bar from the richest to the leanest cell; `to_edge` where that cell gets no fuel."""

    name: str
    words: str
    y: float
    x: float
    width: float
    to_edge: bool


class Spans(NamedTuple):
    """Every way to load it, on one scale."""

    ticks: tuple[Tick, ...]
    zero: float
    height: float
    spans: tuple[Span, ...]


def dead_time_curves(result: Result) -> Curves | None:
    """Of each side: the dead times of its injectors, and those that its ECU was told, ms."""
    lines: list[tuple[str, FloatArray]] = []
    for side, times in dead_times(result).items():
        hardware, told = times.hardware, times.told
        if hardware is not None and told is not None and np.allclose(hardware, told, rtol=1e-6, atol=1e-9):
            lines.append((f"{side}: hardware and told", hardware * 1e3))
            continue
        lines += [(f"{side}: {name}", of * 1e3) for name, of in (("hardware", hardware), ("told", told))
                  if of is not None]  # fmt: skip
    return _over_voltage("Dead time at the full rail pressure", "ms", result.sweep.battery_v, lines)


def mixture_curves(result: Result) -> Curves | None:
    """The error of λ over battery voltage, %; `None` where there is none."""
    sweep = result.sweep
    named = [("leanest", sweep.leanest), ("richest", sweep.richest)]
    named += [(name, ratio) for name, (_, _, ratio) in sweep.places.items()]
    lines = [(name, np.asarray(100.0 * (ratio - 1.0))) for name, ratio in named]
    known = [abs(value) for _, values in lines for value in values.tolist() if not math.isnan(value)]
    if not known or max(known) < 100.0 * LAST_DIGIT:
        return None
    return _over_voltage("Mixture over battery voltage, + lean, − rich", "%", sweep.battery_v, lines)


def _over_voltage(title: str, unit: str, volts: FloatArray, lines: Sequence[tuple[str, FloatArray]]) -> Curves | None:
    ends = float(volts.min()), float(volts.max())
    named = [OneLine(name, volts, np.where(values > _MOST_LEAN, np.inf, values)) for name, values in lines]
    frame = Frame(title, unit, "battery, V", ends, round_numbers(*ends), f"more than {_MOST_LEAN:g} {unit}, or no fuel")
    return curves(frame, named, base=0.0)


def spans(result: Result) -> Spans | None:
    """Leanest to richest of every way to load it, error of λ in %."""
    rows = [(name, found[0].ratio, found[1].ratio) for name, found in outcomes(result) if found is not None]
    known = [100.0 * (one - 1.0) for _, *pair in rows for one in pair if math.isfinite(one)]
    if not rows or not known:
        return None
    marks = round_numbers(min(0.0, *known), max(0.0, *known))
    low, high = marks[0], marks[-1]
    edge = WIDTH - RIGHT

    def x(ratio: float) -> float:
        percent = 100.0 * (ratio - 1.0)
        return round(RIGHT + (edge - RIGHT) * (percent - low) / (high - low), 1) if math.isfinite(percent) else edge

    drawn = tuple(
        Span(name, span(lean, rich), at * _ROW, x(rich), max(2.0, round(x(lean) - x(rich), 1)), math.isinf(lean))
        for at, (name, lean, rich) in enumerate(rows)
    )
    ticks = tuple(Tick(x(1.0 + value / 100.0), number(value)) for value in marks)
    return Spans(ticks, x(1.0), len(rows) * _ROW, drawn)
