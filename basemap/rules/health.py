"""Whether the donor's table looks tuned: spikes, flat areas, half-tuned areas, odd axes.

It is judged on the logarithm of the implied volumetric efficiency, so that a pulse-width table is judged without its
dead time and all differences are relative. A break is a step of six robust standard deviations (from the median
absolute deviation) of the table's own second differences, and of at least 4 %.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray
from basemap.rounding import cells, excess
from basemap.rules.case import Case, pairs
from basemap.rules.grading import worst
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip
from basemap.rules.slips import SLIP

LEAST_BREAK = 0.04
DEVIATIONS = 6.0
NORMAL = 1.4826
"""Median absolute deviation → standard deviation of a normal distribution."""

FLAT_SIDE, FLAT_SIDE_COARSE = 3, 4
COARSE = 0.005
"""Rounding, relative to the cells, above which three equal cells in a row mean nothing."""

SHORTEST_EDGE = 3
WHOLE_EDGE = 0.8
CORNER = 0.75
UNEVEN = 5.0


def _log_ve(case: Case) -> FloatArray:
    """Logarithm of the implied volumetric efficiency in the cells that are judged and have one; else NaN."""
    ve = case.table.implied_ve
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(case.tuned_or_read & (ve > 0) & np.isfinite(ve), np.log(ve), np.nan)


def _threshold(deviations: FloatArray) -> float:
    """Size from which a step counts as a break, ln: the least that matters, or more if the table itself is rough."""
    finite = deviations[np.isfinite(deviations)]
    if finite.size == 0:
        return np.inf
    spread = NORMAL * _middle(np.abs(finite - _middle(finite)))
    return max(LEAST_BREAK, DEVIATIONS * spread)


def _middle(values: FloatArray) -> float:
    """The median; of two middle values, the larger one, so that it is a value of the table."""
    half = values.size // 2
    return float(np.partition(values, half)[half])


def _severity(case: Case, found: BoolArray) -> Severity:
    return Severity.CAUTION if (found & case.at_load).any() else Severity.NOTE


# Spikes


def _off_neighbours(values: FloatArray, axis: FloatArray) -> FloatArray:
    """How far each value lies from the line through its neighbours along the last axis.

    At the ends the line through the next two is continued. NaN where a neighbour is NaN.
    """
    left = np.concatenate([[1], np.arange(axis.size - 2), [axis.size - 3]])
    right = np.concatenate([[2], np.arange(2, axis.size), [axis.size - 2]])
    share = (axis - axis[left]) / (axis[right] - axis[left])
    return np.asarray(values - values[:, left] * (1.0 - share) - values[:, right] * share)


def _spikes(case: Case, ln: FloatArray, edges: list[_Edge]) -> Iterator[Trip]:
    rpm, load = case.job.donor.table.rpm, case.job.donor.table.load_pa
    ways = []
    if rpm.size >= 3:
        ways.append(_off_neighbours(ln, rpm))
    if load.size >= 3:
        ways.append(_off_neighbours(ln.T, load).T)
    if not ways:
        return
    along, across = ways[0], ways[-1]
    # A ridge or a slope is off along only one axis; a spike is off along both, with the same sign.
    height = np.where(along * across > 0, np.minimum(np.abs(along), np.abs(across)), 0.0)
    limit = max(_threshold(way) for way in ways)
    high = (height > limit) & case.reachable
    if not high.any():
        return
    # The cells beside a spike are off as well: only the highest counts.
    found = high & (height >= _highest_around(height))
    for edge in edges:
        # The corner of an area that steps is off its neighbours by half the step, along both axes.
        found &= ~(edge.beside & (height < CORNER * abs(edge.step)))
    if not found.any():
        return
    cell = worst(height, found, above=True)
    size = float(np.exp(np.copysign(height[cell], along[cell])))
    # A lost digit at light load stops the engine, or overfuels it, whatever the pedal does.
    severity = Severity.CAUTION if abs(size - 1.0) > SLIP else _severity(case, found)
    yield Trip(
        severity,
        f"Spikes in the donor's table: at {case.address(cell)} it is {excess(size)} % "
        f"{'above' if size > 1 else 'below'} its neighbours ({cells(int(found.sum()))} more than "
        f"{100 * float(np.expm1(limit)):.1f} % off).",
        "Look at these cells of the donor's file: a typing error, or one bad reading. Smooth them and adapt again.",
        value=100.0 * abs(size - 1.0),
        limit=100.0 * float(np.expm1(limit)),
        cells=pairs(found),
    )


def _highest_around(height: FloatArray) -> FloatArray:
    """The highest of the nine values around every cell."""
    padded = np.pad(height, 1)
    return np.asarray(sliding_window_view(padded, (3, 3)).max(axis=(2, 3)))


# Flat areas


def _flat(case: Case) -> Iterator[Trip]:
    old = np.where(case.tuned_or_read & (case.table.old > 0), case.table.old, np.nan)
    step = 10.0**-case.job.donor.shown.decimals
    typical = _middle(old[np.isfinite(old)]) if np.isfinite(old).any() else np.nan
    side = FLAT_SIDE_COARSE if step > COARSE * typical else FLAT_SIDE
    equal = np.count_nonzero(old[:, 1:] == old[:, :-1])
    if min(old.shape) < side or equal < side * (side - 1):
        return
    windows = sliding_window_view(old, (side, side))
    same = windows.max(axis=(2, 3)) == windows.min(axis=(2, 3))
    if not same.any():
        return
    found = np.zeros(old.shape, dtype=bool)
    for row, column in pairs(same):
        found[row : row + side, column : column + side] = True
    found &= case.reachable
    if not found.any():
        return
    first = pairs(found)[0]
    yield Trip(
        _severity(case, found),
        f"Flat areas in the donor's table: {cells(int(found.sum()))} in blocks of one value, such as "
        f"{case.table.old[first]:g} {case.job.donor.shown.unit} from {case.address(first)} up (at least {side} by "
        f"{side} equal cells).",
        "A flat area was filled in, not tuned. Treat it as unknown, and tune these cells on the target.",
        value=float(found.sum()),
        limit=0.0,
        cells=pairs(found),
    )


# Half-tuned areas


def _jumps(values: FloatArray, axis: FloatArray) -> FloatArray:
    """How far each step along the last axis is from what the steps beside it lead to expect; NaN at the ends."""
    gaps = np.diff(axis)
    slopes = np.diff(values, axis=1) / gaps
    jumps = np.full(slopes.shape, np.nan)
    jumps[:, 1:-1] = (slopes[:, 1:-1] - 0.5 * (slopes[:, :-2] + slopes[:, 2:])) * gaps[1:-1]
    return jumps


def _runs(broken: BoolArray) -> BoolArray:
    """Only those marks that are in runs of at least three along the first axis."""
    if broken.shape[0] < SHORTEST_EDGE:
        return np.zeros_like(broken)
    whole = sliding_window_view(broken, SHORTEST_EDGE, axis=0).all(axis=2)
    found = np.zeros_like(broken)
    for start in range(SHORTEST_EDGE):
        found[start : start + whole.shape[0]] |= whole
    return found


@dataclass(frozen=True)
class _Edge:
    """Steps along one axis: the cells beside them, the largest step with its two cells, and the limit, ln."""

    beside: BoolArray
    step: float
    cells: tuple[tuple[int, ...], tuple[int, ...]]
    limit: float


def _edge(values: FloatArray, axis: FloatArray, reachable: BoolArray, *, whole: bool) -> _Edge | None:
    """Steps between neighbouring columns that run along at least three rows; through all of them only if `whole`."""
    if axis.size < 4:
        return None
    jumps = _jumps(values, axis)
    limit = _threshold(jumps)
    size = np.where(np.isfinite(jumps), np.abs(jumps), 0.0)
    if not (size > limit).any():
        return None
    # Beside a step, the next one is off by half of it in the other direction: only the largest counts.
    none = np.zeros((size.shape[0], 1))
    peak = (size > limit) & (size >= np.hstack([none, size[:, :-1]])) & (size >= np.hstack([size[:, 1:], none]))
    edge = _runs(peak & (jumps > 0)) | _runs(peak & (jumps < 0))
    if not whole:
        edge[:, edge.sum(axis=0) >= WHOLE_EDGE * np.maximum(np.isfinite(jumps).sum(axis=0), 1)] = False
    edge &= reachable[:, 1:] & reachable[:, :-1]
    if not edge.any():
        return None
    beside = np.zeros(values.shape, dtype=bool)
    beside[:, 1:] |= edge
    beside[:, :-1] |= edge
    row, column = worst(size, edge, above=True)
    return _Edge(beside, float(jumps[row, column]), ((row, column), (row, column + 1)), limit)


def _turned(edge: _Edge | None) -> _Edge | None:
    """An edge that was found in the transposed table."""
    if edge is None:
        return None
    first, second = edge.cells
    return replace(edge, beside=edge.beside.T, cells=(first[::-1], second[::-1]))


def _edges(case: Case, ln: FloatArray) -> list[_Edge]:
    """Edges between areas, along either axis."""
    rpm, load = case.job.donor.table.rpm, case.job.donor.table.load_pa
    # An edge at one speed through nearly every load is an engine's own: a cam or a runner that switches.
    ways = (
        _edge(ln, rpm, case.reachable, whole=False),
        _turned(_edge(ln.T, load, case.reachable.T, whole=True)),
    )
    return [edge for edge in ways if edge is not None]


def _half_tuned(case: Case, edges: list[_Edge]) -> Iterator[Trip]:
    if not edges:
        return
    largest = max(edges, key=lambda edge: abs(edge.step))
    beside = np.logical_or.reduce([edge.beside for edge in edges])
    size, limit = float(np.exp(largest.step)), 100.0 * float(np.expm1(largest.limit))
    yield Trip(
        _severity(case, beside),
        f"Half tuned: between {case.address(largest.cells[0])} and {case.address(largest.cells[1])} the donor's table "
        f"steps {'up' if size > 1 else 'down'} by {excess(size)} % more than on either side, along {SHORTEST_EDGE} "
        f"cells or more (limit {limit:.1f} %; {cells(int(beside.sum()))} beside such edges).",
        "One area was tuned and the one next to it was not. Find out which, and tune the other on the target.",
        value=100.0 * abs(size - 1.0),
        limit=limit,
        cells=pairs(beside),
    )


# Axes


def _odd_axes(case: Case) -> Iterator[Trip]:
    table = case.job.donor.table
    for axis, of_speed in ((table.rpm, True), (table.load_pa, False)):
        gaps = np.diff(axis)
        if gaps.size < 2:
            continue
        ratios = np.maximum(gaps[1:] / gaps[:-1], gaps[:-1] / gaps[1:])
        at = int(np.argmax(ratios))
        if ratios[at] <= UNEVEN:
            continue
        points = [case.speed(axis[i]) if of_speed else case.load_of(i) for i in range(at, at + 3)]
        yield Trip(
            Severity.NOTE,
            f"The {'speed' if of_speed else 'load'} axis is uneven: of {', '.join(points[:2])} and {points[2]} one "
            f"gap is {ratios[at]:.3g} times the other (note above {UNEVEN:g}): a typing error, or a missing point.",
            "Compare the axis with the one in the ECU, point by point: a wrong breakpoint moves every cell next to it.",
            value=float(ratios[at]),
            limit=UNEVEN,
        )


def _table_health(case: Case) -> Iterator[Answer]:
    ln = _log_ve(case)
    edges = _edges(case, ln)
    yield from _spikes(case, ln, edges)
    yield from _half_tuned(case, edges)
    yield from _flat(case)
    yield from _odd_axes(case)


TABLE_HEALTH = Rule(
    name="table-health",
    title="Health of the donor's table",
    threshold="In cells that the donor visited or the target reaches: a cell that differs from its neighbours along "
    f"both axes, or a step along {SHORTEST_EDGE} cells or more, in either case by over {100 * LEAST_BREAK:g} % and "
    f"over {DEVIATIONS:g} robust standard deviations of the table's second differences; or {FLAT_SIDE} by "
    f"{FLAT_SIDE} cells of one value ({FLAT_SIDE_COARSE} by {FLAT_SIDE_COARSE} where cells are stored coarser than "
    f"{100 * COARSE:g} %): note; at load, or a cell more than {100 * SLIP:g} % off: caution. Neighbouring gaps "
    f"of an axis more than {UNEVEN:g} to 1: note.",
    why="An engine breathes smoothly. Where its table is not smooth, somebody mistyped, guessed or never tuned it, "
    "and that is carried over too.",
    source=PRACTICE,
    remedy="Check these cells of the donor's file first.",
    judge=_table_health,
    about_donor=True,
)
