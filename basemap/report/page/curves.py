"""Line plots as SVG: axes with labels, straight lines between known points, crosses for what is off the scale."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from basemap.model.installation import FloatArray
from basemap.report.words import number

WIDTH, HEIGHT = 340.0, 210.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 10.0, 10.0, 36.0
_APART = 6.0
"""Crosses on the upper edge that are closer together than this are drawn as one."""


class Tick(NamedTuple):
    """A place on an axis and its label."""

    at: float
    text: str


class Curve(NamedTuple):
    """A line with a name: runs of known points, and places of crosses on the upper edge for what is off the scale."""

    name: str
    pieces: tuple[str, ...]
    beyond: tuple[float, ...]


class Curves(NamedTuple):
    """A line plot.

    Parameters
    ----------
    label
        Of the horizontal axis.
    zero
        Height of the zero line; `None` where it is outside the frame.
    beyond
        What a cross means.
    shaded
        Outline of the shaded stretches, as an SVG path.
    upright
        Places of vertical lines.
    """

    title: str
    unit: str
    label: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    curves: tuple[Curve, ...]
    zero: float | None
    beyond: str
    shaded: str = ""
    upright: tuple[float, ...] = ()


class OneLine(NamedTuple):
    """A line to draw: shape (points,); NaN breaks it, infinity is a cross."""

    name: str
    across: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class Frame:
    """The frame of a plot: title, unit, horizontal axis with its ends and labels, and what a cross means."""

    title: str
    unit: str
    label: str
    ends: tuple[float, float]
    marks: Sequence[float]
    beyond: str

    def x(self, values: FloatArray) -> FloatArray:
        """Horizontal places of some values, shape as given."""
        low, high = self.ends
        return np.asarray(np.round(LEFT + (WIDTH - LEFT - RIGHT) * (values - low) / (high - low), 1))

    def ticks(self) -> tuple[Tick, ...]:
        """The labels of the horizontal axis."""
        within = [mark for mark in self.marks if self.ends[0] <= mark <= self.ends[1]]
        return tuple(Tick(float(self.x(np.array(mark))), self.spell(mark)) for mark in within)

    def spell(self, mark: float) -> str:
        """The text of a label."""
        return number(mark)


def curves(
    frame: Frame,
    lines: Sequence[OneLine],
    *,
    base: float | None = None,
    shaded: str = "",
    upright: Sequence[float] = (),
) -> Curves | None:
    """Draw lines; `None` where none of them has a known point.

    Parameters
    ----------
    base
        A value that the scale includes in any case.
    """
    finite = np.concatenate([line.values[np.isfinite(line.values)] for line in lines] or [np.zeros(0)])
    if not finite.size:
        return None
    reached = finite if base is None else np.append(finite, base)
    marks = round_numbers(float(reached.min()), float(reached.max()))
    low, high = marks[0], marks[-1]

    def y(values: FloatArray) -> FloatArray:
        return np.asarray(np.round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (values - low) / (high - low), 1))

    drawn = tuple(
        Curve(
            line.name,
            tuple(_pieces(frame.x(line.across).tolist(), y(line.values).tolist())),
            _apart(frame.x(line.across[line.values == np.inf])),
        )
        for line in lines
    )
    return Curves(
        frame.title,
        frame.unit,
        frame.label,
        frame.ticks(),
        tuple(Tick(float(y(np.array(value))), number(value)) for value in marks),
        drawn,
        float(y(np.array(0.0))) if low < 0.0 < high else None,
        frame.beyond,
        shaded,
        tuple(frame.x(np.array(upright, dtype=np.float64)).tolist()),
    )


def _apart(places: FloatArray) -> tuple[float, ...]:
    """Places without those too close to the one before."""
    kept: list[float] = []
    for place in places.tolist():
        if not kept or place - kept[-1] >= _APART:
            kept.append(place)
    return tuple(kept)


def _pieces(across: Sequence[float], up: Sequence[float]) -> Iterator[str]:
    """Runs of known points, in the notation of SVG."""
    run: list[str] = []
    for x, y in [*zip(across, up, strict=True), (math.nan, math.nan)]:
        if math.isfinite(y):
            run.append(f"{x:g},{y:g}")
        elif run:
            yield " ".join(run)
            run = []


def round_numbers(low: float, high: float) -> list[float]:
    """From four to eight round numbers that enclose a span."""
    low, high = round(low, 9), round(high, 9)
    if high - low < 1e-6:
        high = low + 1.0
    size = (high - low) / 4.0
    power = 10.0 ** math.floor(math.log10(size))
    step = next(one * power for one in (1.0, 2.0, 5.0, 10.0) if one * power >= size * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(at * step, 9) for at in range(first, max(last, first + 1) + 1)]
