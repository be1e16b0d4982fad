"""The quantity of a load axis, and interpolation of a table between its points or on the axes of another."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from basemap.constants import SAME
from basemap.model.installation import BoolArray, FloatArray

ESTIMATE_MARGIN = 1.2
"""Highest volumetric efficiency of an engine. A row's pressure on an air-mass axis is estimated as if it were 1."""

PART_LOAD_EFFICIENCY = (0.35, 0.95)
"""Ordinary volumetric efficiencies at part load, idle included. Common practice, no source."""

FULL_LOAD_EFFICIENCY = 0.85
"""Volumetric efficiency from which a row's air can be that of full load. Common practice, no source."""

LEAST_EFFICIENCY = 0.70
"""Lowest ordinary volumetric efficiency at full load. Common practice, no source."""

IndexArray = NDArray[np.intp]
Neighbours = tuple[IndexArray, IndexArray, FloatArray]
"""For each point the lower and the upper neighbour and the share of the upper."""


class LoadAxis(StrEnum):
    """What the load axis of a table counts."""

    MANIFOLD_PRESSURE = "manifold pressure"
    PRESSURE_RATIO = "pressure ratio"
    THROTTLE = "throttle"
    AIR_MASS = "air mass"


@dataclass(frozen=True)
class LoadPoints:
    """The points of a load axis, lowest load first; every array of shape (loads,), rising.

    Parameters
    ----------
    axis
        What they count.
    lookup
        What the ECU looks a row up by: pressure against vacuum or against its own barometer (Pa), MAP/BARO, or air
        per cylinder and cycle as the axis states it (in the axis's own unit, such as g/rev).
    similar
        Where two engines are at similar points: manifold pressure (Pa), MAP/BARO, or charge density (kg/m³).
    charge
        What the air of a cylinder is proportional to from row to row: manifold pressure (Pa), or the air per
        cylinder and cycle that the axis states (kg).
    """

    axis: LoadAxis
    lookup: FloatArray
    similar: FloatArray
    charge: FloatArray

    def rows(self, chosen: slice | BoolArray) -> LoadPoints:
        """Some of the points."""
        return LoadPoints(self.axis, self.lookup[chosen], self.similar[chosen], self.charge[chosen])

    def halfway(self) -> LoadPoints:
        """The points and those half way between them."""
        return LoadPoints(self.axis, halfway(self.lookup), halfway(self.similar), halfway(self.charge))


@dataclass(frozen=True)
class Interpolation:
    """Where the points of one pair of axes lie between those of another: bilinear weights, edges held.

    Parameters
    ----------
    rows, columns
        For each axis the lower and the upper neighbour and the share of the upper.
    outside
        Points beyond the other axes, shape (loads, speeds).
    beyond_top_row
        Loads above the other axis, shape (loads,).
    same
        Whether every point is one of the other axes, in its place: then nothing has to be read between.
    """

    rows: Neighbours
    columns: Neighbours
    outside: BoolArray
    beyond_top_row: BoolArray
    same: bool = False

    def of(self, values: FloatArray) -> FloatArray:
        """`values` (…, loads, speeds) read between their cells; a neighbour of weight 0 may be NaN."""
        if self.same:
            return values
        # A neighbour of weight 0 adds nothing if it is a number; a NaN must be kept out.
        mix = _mix if np.isfinite(values).all() else _mix_known
        low, high, share = self.rows
        between = mix(values[..., low, :], values[..., high, :], share[:, np.newaxis])
        low, high, share = self.columns
        return mix(between[..., low], between[..., high], share)

    def any_of(self, cells: BoolArray) -> BoolArray:
        """Where one of the cells that are read is set."""
        if self.same:
            return cells
        return np.asarray(self.of(cells.astype(np.float64)) > 0)

    def all_of(self, cells: BoolArray) -> BoolArray:
        """Where every cell that is read is set."""
        return ~self.any_of(~cells)


def interpolation(rows: tuple[FloatArray, FloatArray], columns: tuple[FloatArray, FloatArray]) -> Interpolation:
    """Where points lie between others.

    Parameters
    ----------
    rows, columns
        Rising points of the table that is read, and the points at which it is read.
    """
    if same_points(*rows) and same_points(*columns):
        down, along = (np.arange(axis.size) for axis in (rows[1], columns[1]))
        nothing = np.zeros((down.size, along.size), dtype=bool)
        share = np.zeros(down.size), np.zeros(along.size)
        return Interpolation((down, down, share[0]), (along, along, share[1]), nothing, nothing[:, 0], same=True)
    outside_rows, outside_columns = _outside(*rows), _outside(*columns)
    return Interpolation(
        rows=_neighbours(*rows),
        columns=_neighbours(*columns),
        outside=np.asarray(outside_rows[:, np.newaxis] | outside_columns),
        beyond_top_row=np.asarray(outside_rows & (rows[1] > rows[0][-1])),
    )


def halfway(axis: FloatArray) -> FloatArray:
    """An axis with the points half way between its own: shape (2n − 1,)."""
    fine = np.empty(2 * axis.size - 1)
    fine[::2], fine[1::2] = axis, 0.5 * (axis[:-1] + axis[1:])
    return fine


def halfway_grid(values: FloatArray) -> FloatArray:
    """A table with the points half way between its cells, as they are read bilinearly.

    Parameters
    ----------
    values
        Shape (loads, speeds).

    Returns
    -------
    Shape (2·loads − 1, 2·speeds − 1), every other point a cell itself; NaN where a cell that is read is.
    """
    fine = np.empty((2 * values.shape[0] - 1, 2 * values.shape[1] - 1))
    fine[::2, ::2] = values
    np.add(values[:-1], values[1:], out=fine[1::2, ::2])
    fine[1::2, ::2] *= 0.5
    np.add(fine[:, :-2:2], fine[:, 2::2], out=fine[:, 1::2])
    fine[:, 1::2] *= 0.5
    return fine


def halfway_all(cells: BoolArray) -> BoolArray:
    """A grid of truth values with the points half way between its cells: true where every cell that is read is."""
    fine = np.empty((2 * cells.shape[0] - 1, 2 * cells.shape[1] - 1), dtype=bool)
    fine[::2, ::2] = cells
    np.logical_and(cells[:-1], cells[1:], out=fine[1::2, ::2])
    np.logical_and(fine[:, :-2:2], fine[:, 2::2], out=fine[:, 1::2])
    return fine


def neighbours(values: FloatArray | BoolArray) -> FloatArray | BoolArray:
    """The four cells around each point of the finer table, shape (4, 2·loads − 1, 2·speeds − 1).

    Half way along a row or column they are two, each named twice; at a cell it is that cell.
    """
    rows, columns = np.arange(2 * values.shape[0] - 1), np.arange(2 * values.shape[1] - 1)
    return np.stack([
        values[np.ix_((rows + down) // 2, (columns + along) // 2)] for down in (0, 1) for along in (0, 1)
    ])  # fmt: skip


def same_points(one: FloatArray, other: FloatArray) -> bool:
    """Whether two axes have the same points."""
    return one.shape == other.shape and bool(np.all(np.abs(one - other) <= SAME * np.abs(one).max()))


def _mix(low: FloatArray, high: FloatArray, share: FloatArray) -> FloatArray:
    return np.asarray(low * (1.0 - share) + high * share)


def _mix_known(low: FloatArray, high: FloatArray, share: FloatArray) -> FloatArray:
    """As `_mix`, where a cell may be NaN: it must not spoil a point that lies on its neighbour."""
    with np.errstate(invalid="ignore"):
        mixed = _mix(low, high, share)
    return np.asarray(np.where(share == 0, low, np.where(share == 1, high, mixed)))


def _outside(axis: FloatArray, at: FloatArray) -> BoolArray:
    slack = SAME * max(abs(axis[0]), abs(axis[-1]))
    return np.asarray((at < axis[0] - slack) | (at > axis[-1] + slack))


def _neighbours(axis: FloatArray, at: FloatArray) -> Neighbours:
    steps = axis[1:] - axis[:-1]
    if not (steps > 0.0).all():
        raise ValueError(f"an axis does not rise: {axis.tolist()}")
    if axis.size == 1:
        only = np.zeros(at.size, dtype=np.intp)
        return only, only, np.zeros(at.size)
    low = np.searchsorted(axis[1:-1], at, side="right")
    share = (at - axis[low]) / steps[low]
    share[share < SAME] = 0.0
    share[share > 1.0 - SAME] = 1.0
    return low, low + 1, share
