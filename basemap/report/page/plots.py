"""Drawings of the page: dead time and mixture over the battery's voltage, and the mixture of every way to load it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.report.brief.mixture import outcomes
from basemap.report.brief.verdict import span
from basemap.report.dead_times import dead_times
from basemap.report.words import number

WIDTH, HEIGHT = 340.0, 210.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 10.0, 10.0, 36.0
_ROW = 38.0
_NOTHING = 5e-4
"""Errors of λ below this would all print as 0.0 %."""
_MOST_LEAN = 60.0
"""Per cent: an engine misfires long before, and what lies above would flatten everything else."""


@dataclass(frozen=True)
class Tick:
    """A place on an axis, and what stands there."""

    at: float
    text: str


@dataclass(frozen=True)
class Curve:
    """A named line: straight pieces between known points, and crosses on the upper edge for what lies beyond it."""

    name: str
    pieces: tuple[str, ...]
    beyond: tuple[float, ...]


@dataclass(frozen=True)
class Curves:
    """Lines over the battery's voltage; `beyond` says what a cross stands for."""

    title: str
    unit: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    curves: tuple[Curve, ...]
    zero: float | None
    beyond: str


@dataclass(frozen=True)
class Span:
    """One way to load it: from the richest to the leanest cell; `to_edge` where that is without fuel, off the scale."""

    name: str
    words: str
    y: float
    x: float
    width: float
    to_edge: bool


@dataclass(frozen=True)
class Spans:
    """Every way to load it, on one scale."""

    ticks: tuple[Tick, ...]
    zero: float
    height: float
    spans: tuple[Span, ...]


def dead_time_curves(result: Result) -> Curves | None:
    """What the injectors of either side do, and what its ECU holds, ms."""
    lines: list[tuple[str, FloatArray]] = []
    for side, times in dead_times(result).items():
        hardware, told = times.hardware, times.told
        if hardware is not None and told is not None and np.allclose(hardware, told, rtol=1e-6, atol=1e-9):
            lines.append((f"{side}: hardware and told", hardware * 1e3))
            continue
        lines += [(f"{side}: {name}", of * 1e3) for name, of in (("hardware", hardware), ("told", told))
                  if of is not None]  # fmt: skip
    return _curves("Dead time at the full rail pressure", "ms", result.sweep.battery_v, lines)


def mixture_curves(result: Result) -> Curves | None:
    """Error of λ that is left over voltage, %; `None` where there is none."""
    sweep = result.sweep
    named = [("leanest", sweep.leanest), ("richest", sweep.richest)]
    named += [(name, ratio) for name, (_, _, ratio) in sweep.places.items()]
    lines = [(name, np.asarray(100.0 * (ratio - 1.0))) for name, ratio in named]
    known = [abs(value) for _, values in lines for value in values.tolist() if not math.isnan(value)]
    if not known or max(known) < 100.0 * _NOTHING:
        return None
    return _curves("Mixture over battery voltage, + lean, - rich", "%", sweep.battery_v, lines)


def _curves(title: str, unit: str, volts: FloatArray, lines: Sequence[tuple[str, FloatArray]]) -> Curves | None:
    drawn = [(name, np.where(values > _MOST_LEAN, np.inf, values)) for name, values in lines]
    finite = np.concatenate([values[np.isfinite(values)] for _, values in drawn] or [np.zeros(0)])
    if not finite.size:
        return None
    marks = _round_numbers(min(0.0, float(finite.min())), float(finite.max()))
    low, high = marks[0], marks[-1]
    ends = float(volts.min()), float(volts.max())

    def x(value: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (value - ends[0]) / (ends[1] - ends[0]), 1)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (value - low) / (high - low), 1)

    across = tuple(Tick(x(value), number(value)) for value in _round_numbers(*ends) if ends[0] <= value <= ends[1])
    up = tuple(Tick(y(value), number(value)) for value in marks)
    curves = tuple(
        Curve(
            name,
            tuple(_pieces([(x(v), y(one)) if math.isfinite(one) else None for v, one in pairs])),
            tuple(x(v) for v, one in pairs if one == math.inf),
        )
        for name, values in drawn
        for pairs in [list(zip(volts.tolist(), values.tolist(), strict=True))]
    )
    beyond = f"more than {_MOST_LEAN:g} {unit}, or no fuel"
    return Curves(title, unit, across, up, curves, y(0.0) if low < 0.0 < high else None, beyond)


def _pieces(points: Sequence[tuple[float, float] | None]) -> Iterator[str]:
    """Runs of known points, as SVG writes them."""
    run: list[str] = []
    for point in [*points, None]:
        if point is not None:
            run.append(f"{point[0]},{point[1]}")
        elif run:
            yield " ".join(run)
            run = []


def _round_numbers(low: float, high: float) -> list[float]:
    """From four to eight round numbers that enclose a span."""
    low, high = round(low, 9), round(high, 9)
    if high - low < 1e-6:
        high = low + 1.0
    size = (high - low) / 4.0
    power = 10.0 ** math.floor(math.log10(size))
    step = next(one * power for one in (1.0, 2.0, 5.0, 10.0) if one * power >= size * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(at * step, 9) for at in range(first, max(last, first + 1) + 1)]


def spans(result: Result) -> Spans | None:
    """Leanest to richest of every way to load it, error of λ in %."""
    rows = [(name, found[0].ratio, found[1].ratio) for name, found in outcomes(result) if found is not None]
    known = [100.0 * (one - 1.0) for _, *pair in rows for one in pair if math.isfinite(one)]
    if not rows or not known:
        return None
    marks = _round_numbers(min(0.0, *known), max(0.0, *known))
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
