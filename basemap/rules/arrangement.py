"""Cells out of line with their axes: turned over, or moved by one row or one column from where they belong.

The implied volumetric efficiency gets a score for how unlike an engine it is: how much it falls along load, how little
of its rise is at low load, and how rough it is along both axes. The same cells get that score in every other
arrangement that a slip can make. If another one looks much more like an engine, the file is questioned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np

from basemap.model.axes import LoadAxis
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, Cycle, FloatArray
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip

TURNED, MOVED = 0.25, 0.6
"""By how much another arrangement must look more like an engine. Of 500 random sound tables of invented engines, none
did by more than 0.06 (turned over) or 0.42 (moved). Common practice, no source."""

LEAST_POINTS = 6
"""A table with fewer rows or columns says too little about its shape."""

LOW, HIGH = 0.4, 0.6
"""Shares of the load axis up to which, and from which, its rise is compared."""

PRESSURES = (LoadAxis.MANIFOLD_PRESSURE, LoadAxis.PRESSURE_RATIO)


@dataclass(frozen=True)
class _Part:
    """Cells and their axes: ln of what the cells hold, and ln of what their axes add to it, shape (loads, speeds)."""

    content: FloatArray
    of_axes: FloatArray
    rpm: FloatArray
    load: FloatArray

    @cached_property
    def unlike(self) -> float:
        """How unlike an engine's the cells look; lower is more alike."""
        values = self.content - self.of_axes
        rough = _rough(values, self.rpm) + _rough(values.T, self.load)
        if not np.isfinite(rough) or rough <= 0.0:
            return math.nan
        return _down(values) - _bend(values, self.load) + math.log(rough)


def _rough(values: FloatArray, axis: FloatArray) -> float:
    """Mean distance from the line through the neighbours along the last axis, ln."""
    share = (axis[1:-1] - axis[:-2]) / (axis[2:] - axis[:-2])
    off = np.abs(values[:, 1:-1] - values[:, :-2] * (1.0 - share) - values[:, 2:] * share)
    return _mean(off)


def _mean(values: FloatArray) -> float:
    mean = float(values.sum()) / values.size
    if math.isfinite(mean):
        return mean
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else math.nan


def _down(values: FloatArray) -> float:
    """Share of the changes along load that go down: burnt gas stays behind at low load, so they should go up."""
    steps = values[1:] - values[:-1]
    steps = np.where(np.isfinite(steps), steps, 0.0)
    way = float(np.abs(steps).sum())
    return float(np.maximum(-steps, 0.0).sum()) / way if way > 0.0 else 0.0


def _bend(values: FloatArray, load: FloatArray) -> float:
    """How much more the efficiency changes at low load than at high, ln."""
    rows = values.sum(axis=1) / values.shape[1]
    if not np.isfinite(rows).all():
        rows = np.array([_mean(row) for row in values])
    place = (load - load[0]) / (load[-1] - load[0])
    known = np.isfinite(rows)
    if known.sum() < 2:
        return 0.0
    low, high = (float(np.interp(share, place[known], rows[known])) for share in (LOW, HIGH))
    return (low - float(rows[known][0])) - abs(float(rows[known][-1]) - high)


class _Other(NamedTuple):
    """Another arrangement: its words, how much better it must look, and the cells as they are and rearranged."""

    words: str
    limit: float
    here: _Part
    there: _Part

    @property
    def better(self) -> float:
        """How much more it looks like an engine; NaN if that is not known."""
        return self.here.unlike - self.there.unlike


def _others(part: _Part) -> Iterator[_Other]:
    """Every wrong arrangement that a slip can make, each with the cells put right again."""
    content = part.content

    def rearranged(change: Callable[[FloatArray], FloatArray]) -> _Part:
        return _Part(change(content), part.of_axes, part.rpm, part.load)

    if content.shape[0] == content.shape[1]:
        yield _Other("transposed, rows and columns swapped", TURNED, part, rearranged(np.transpose))
    for words, step, along in (
        ("one row too low, the first row in last place", 1, 0),
        ("one row too high, the last row in first place", -1, 0),
        ("one column too low, the first column in last place", 1, 1),
        ("one column too high, the last column in first place", -1, 1),
    ):
        yield _Other(words, MOVED, part, rearranged(partial(np.roll, shift=step, axis=along)))
    yield _Other("upside down, the highest load first", TURNED, part, rearranged(np.flipud))
    low, high = slice(None, -1), slice(1, None)
    for words, cells, axis in (
        ("one row too low, the first row lost", low, high),
        ("one row too high, the last row lost", high, low),
    ):
        yield _Other(words, MOVED, _rows(part, cells, cells), _rows(part, cells, axis))


def _rows(part: _Part, cells: slice, axis: slice) -> _Part:
    """Some rows of the cells on some rows of the axes."""
    return _Part(part.content[cells], part.of_axes[axis], part.rpm, part.load[axis])


def _part_of(case: Case) -> _Part | None:
    """The donor's visited cells; `None` if there are too few."""
    table, visited = case.job.donor.table, case.table.visited
    rows, columns = (np.asarray(visited.any(axis=axis)) for axis in (1, 0))
    turnable = case.table.implied_ve.shape[0] == case.table.implied_ve.shape[1]
    if turnable:  # a table to be transposed must stay square
        rows, columns = np.ones_like(rows), np.ones_like(columns)
    if min(rows.sum(), columns.sum()) < LEAST_POINTS or table.points.axis not in PRESSURES:
        return None
    inside = table.inside
    with np.errstate(invalid="ignore", divide="ignore"):
        ve = np.log(case.table.implied_ve)
        of_axes = np.zeros_like(ve)
        if inside.pressure:
            of_axes = of_axes + np.log(table.load_pa)[:, np.newaxis]
        if inside.intended_lambda:
            of_axes = of_axes - np.log(table.intended_lambda)
    part = _cut(ve + of_axes, rows, columns), _cut(of_axes, rows, columns)
    return _Part(*part, table.rpm[columns], table.load_pa[rows])


def _cut(values: FloatArray, rows: BoolArray, columns: BoolArray) -> FloatArray:
    finite = np.where(np.isfinite(values), values, np.nan)
    return np.asarray(finite[rows][:, columns])


def _beside_axes(case: Case) -> Iterator[Answer]:
    part = None if case.job.donor.hardware.engine.cycle is Cycle.TWO_STROKE else _part_of(case)
    if part is None:
        return
    found = [other for other in _others(part) if other.better > other.limit]
    if not found:
        return
    likeliest = max(found, key=lambda other: other.better)
    yield Trip(
        Severity.CAUTION,
        f"The donor's cells look out of line with their axes, {likeliest.words}: moved back they would be smoother "
        f"and would rise with load as an engine's do (score {likeliest.better:.2f}; caution above "
        f"{likeliest.limit:g}).",
        value=likeliest.better,
        limit=likeliest.limit,
    )


BESIDE_AXES = Rule(
    name="beside-its-axes",
    title="Cells out of line with their axes",
    threshold="The implied volumetric efficiency gets a score for how unlike an engine it is: the share of its way "
    "along load that goes down, minus how much more it rises at low load than at high, plus the logarithm of its "
    f"mean second difference along both axes. Caution where that score falls by more than {TURNED:g} with the table "
    f"transposed (as many rows as columns), or by more than {MOVED:g} with its rows or columns moved by one. Judged "
    f"from {LEAST_POINTS} by {LEAST_POINTS} cells, over manifold pressure or pressure ratio, four-stroke.",
    why="Cells pasted the wrong way round, or one row off, pass every other check: each number by itself is ordinary. "
    "A transposed table is 30 % lean in one corner and as rich in another.",
    source=PRACTICE,
    remedy="1. Compare the four corners of the file with those in the controller. 2. Paste the cells again, in line "
    "with their own axes. 3. Adapt again.",
    judge=_beside_axes,
    about_donor=True,
)
