"""Expected and seen λ along a drive; of every short span only the lowest and the highest value are drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.model.drive import Chunks, DriveLog
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import Along, Learnt
from basemap.report.page.curves import BOTTOM, HEIGHT, TOP, Curves, Frame, OneLine, curves

SPANS = 250
"""How many spans a drive is divided into: about as many as a phone shows side by side."""
MOST_DRIVES = 8
_MOST, _LEAST = 1.6, 0.5
"""The range of λ that is drawn: outside there is nothing to compare, and it would flatten the rest."""
_JOINED_S = 0.5
_STEPS_S = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


class _OverTime(Frame):
    """A frame whose horizontal axis is a clock."""

    def spell(self, mark: float) -> str:
        """Minutes and seconds."""
        return f"{int(mark) // 60}:{int(mark) % 60:02d}"


@dataclass(frozen=True)
class Drives:
    """The drives that are drawn, and the number of those that are not."""

    drawn: tuple[Curves, ...]
    left_out: int


def drives(found: Learnt) -> Drives:
    """The drives that were read now, then those learnt from before, the latest first."""
    known = list(_each(found))
    known.sort(key=lambda one: one[0].sha256 not in found.along)
    every = [_drawn(found, *one) for one in known[:MOST_DRIVES]]
    return Drives(tuple(one for one in every if one is not None), max(0, len(known) - MOST_DRIVES))


def _each(found: Learnt) -> Iterator[tuple[DriveLog, Along, FloatArray]]:
    """Every log, the last first: λ over time, moment by moment where known, and λ as expected now for each stretch."""
    trace = found.trace
    for number, log in reversed(list(enumerate(found.logs))):
        now = np.zeros(0) if trace is None else trace.corrected[np.array(trace.log) == number]
        if log.sha256 in found.along:
            yield log, found.along[log.sha256], now
        elif trace is not None:
            here = np.array(trace.log) == number
            yield log, Along(log.chunks.at_s, trace.expected[here], trace.seen[here]), now


def _drawn(found: Learnt, log: DriveLog, along: Along, now: FloatArray) -> Curves | None:
    made = log.chunks
    whole = log.sha256 in found.along
    ends = float(along.time_s[0]), float((along.time_s if whole else made.at_s + made.for_s)[-1])
    frame = _OverTime(
        f"λ along the drive: {log.file}", "", "minutes:seconds",
        ends, _clock_marks(*ends), f"above {_MOST:g}",
    )  # fmt: skip
    series = ("seen", along.seen), ("expected before", along.expected)
    if whole:
        lines = [OneLine(name, *thinned(along.time_s, _within(values))) for name, values in series]
    else:
        lines = [_along_stretches(name, made, values) for name, values in series]
    if now.size:
        lines.append(_along_stretches("expected now", made, now))
    upright = [event.at_s for event in found.events if event.stop] if len(found.along) == 1 and whole else []
    return curves(frame, lines, shaded=_shaded(frame, made), upright=upright)


def _within(values: FloatArray) -> FloatArray:
    """Values above the range as infinite, which is drawn as a cross; values below it left out."""
    with np.errstate(invalid="ignore"):
        return np.where(values > _MOST, np.inf, np.where(values < _LEAST, np.nan, values))


def _along_stretches(name: str, made: Chunks, values: FloatArray) -> OneLine:
    """A line with one value for each stretch, broken between stretches that are apart."""
    starts, ends = made.at_s, made.at_s + made.for_s
    alone = np.append(starts[1:] - ends[:-1] > _JOINED_S, True)
    gap = np.where(alone, np.nan, values)
    across = np.column_stack([starts, ends, ends]).ravel()
    return OneLine(name, *thinned(across, _within(np.column_stack([values, values, gap]).ravel())))


def thinned(across: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The lowest and the highest point of each span, so that no peak is lost; few points are kept as they are.

    >>> across, values = thinned(np.arange(1e5), np.sin(np.arange(1e5)))
    >>> across.size <= 2 * SPANS, float(values.max()) > 0.9999999
    (True, True)
    """
    if values.size <= 2 * SPANS:
        return across, values
    low, high = float(across[0]), float(across[-1])
    span = np.minimum(((across - low) / max(high - low, 1e-9) * SPANS).astype(np.intp), SPANS - 1)
    kept = np.unique(np.concatenate([_first(span, values), _first(span, -values)]))
    return across[kept], values[kept]


def _first(span: NDArray[np.intp], values: FloatArray) -> NDArray[np.intp]:
    """Index of the lowest value of each span; of any value where it has no number."""
    order = np.lexsort((values, span))
    begins: BoolArray = np.append(True, span[order][1:] != span[order][:-1])
    return np.asarray(order[begins])


def _clock_marks(begin: float, end: float) -> list[float]:
    step = next((one for one in _STEPS_S if (end - begin) / one <= 7), _STEPS_S[-1])
    return [float(mark) for mark in range(int(np.ceil(begin / step)) * step, int(end) + 1, step)]


def _shaded(frame: Frame, made: Chunks) -> str:
    """The stretches as one SVG path; those that touch are merged."""
    left, right = frame.x(made.at_s), frame.x(made.at_s + made.for_s)
    if not left.size:
        return ""
    begins = np.append(True, left[1:] - np.maximum.accumulate(right)[:-1] > 0.3)
    first = np.flatnonzero(begins)
    last = np.append(first[1:], left.size) - 1
    height = HEIGHT - TOP - BOTTOM
    pairs = zip(left[first].tolist(), np.maximum(right[last], left[first] + 0.4).tolist(), strict=True)
    return "".join(f"M{x:g} {TOP:g}H{end:g}v{height:g}H{x:g}z" for x, end in pairs)
