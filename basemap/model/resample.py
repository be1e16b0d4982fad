"""A table read on other breakpoints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.model.installation import BoolArray, FloatArray


@dataclass(frozen=True)
class Grid:
    """Rising axes of a table.

    Parameters
    ----------
    load
        Shape (loads,), in the unit of the axis.
    rpm
        Shape (speeds,), rev/min.
    """

    load: FloatArray
    rpm: FloatArray

    @property
    def shape(self) -> tuple[int, int]:
        """Of a table on these axes."""
        return len(self.load), len(self.rpm)


@dataclass(frozen=True)
class Resampled:
    """Values on the new axes, and where the old ones did not reach.

    Parameters
    ----------
    values
        Shape (loads, speeds) of the new axes, unit of the values given.
    held
        Same shape: true where load or speed is outside the old axes and the edge was held.
    """

    values: FloatArray
    held: BoolArray


def resample(values: FloatArray, old: Grid, new: Grid) -> Resampled:
    """Bilinear in (load, rpm), edges held.

    Feed it what is smooth and physical, never a pulse with its dead time inside. On an old breakpoint the cell comes
    back to the bit. A cell that is empty (NaN) empties the points between it and its neighbours, and no others.

    Parameters
    ----------
    values
        Shape of `old`.
    old, new
        The axes that the values stand on, and those that they are wanted on.
    """
    if values.shape != old.shape:
        raise ValueError(f"values have shape {values.shape}, their axes {old.shape}")
    row, up = _segment(new.load, old.load)
    column, along = _segment(new.rpm, old.rpm)
    next_row = np.minimum(row + 1, len(old.load) - 1)
    next_column = np.minimum(column + 1, len(old.rpm) - 1)
    low = _between(values[np.ix_(row, column)], values[np.ix_(row, next_column)], along[np.newaxis, :])
    high = _between(values[np.ix_(next_row, column)], values[np.ix_(next_row, next_column)], along[np.newaxis, :])
    held = _beyond(new.load, old.load)[:, np.newaxis] | _beyond(new.rpm, old.rpm)[np.newaxis, :]
    return Resampled(_between(low, high, up[:, np.newaxis]), held)


def _segment(at: FloatArray, points: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Index of the segment that serves each value, and the place along it from 0 to 1."""
    if not (np.diff(points) > 0.0).all():
        raise ValueError(f"an axis does not rise: {points.tolist()}")
    if len(points) == 1:
        return np.zeros(len(at), dtype=np.intp), np.zeros(len(at))
    inside = np.clip(at, points[0], points[-1])
    index = np.clip(np.searchsorted(points, inside, side="right") - 1, 0, len(points) - 2)
    return index, np.asarray((inside - points[index]) / (points[index + 1] - points[index]))


def _between(start: FloatArray, end: FloatArray, along: FloatArray) -> FloatArray:
    """Linear from start to end; a neighbour of no weight may be empty or endless."""
    with np.errstate(invalid="ignore"):
        mixed = start * (1.0 - along) + end * along
    return np.where(along == 0.0, start, np.where(along == 1.0, end, mixed))


def _beyond(at: FloatArray, points: FloatArray) -> BoolArray:
    """Whether each value lies outside the points."""
    return np.asarray((at < points[0]) | (at > points[-1]))


def halfway(axis: FloatArray) -> FloatArray:
    """An axis with the points half way between its own: shape (2n − 1,)."""
    fine = np.empty(2 * axis.size - 1)
    fine[::2], fine[1::2] = axis, 0.5 * (axis[:-1] + axis[1:])
    return fine


def neighbours(values: FloatArray | BoolArray) -> FloatArray | BoolArray:
    """The four cells around each point of the finer table, shape (4, 2·loads − 1, 2·speeds − 1).

    Half way along a row or column they are two, each named twice; at a cell it is that cell.
    """
    rows, columns = np.arange(2 * values.shape[0] - 1), np.arange(2 * values.shape[1] - 1)
    return np.stack([
        values[np.ix_((rows + down) // 2, (columns + along) // 2)] for down in (0, 1) for along in (0, 1)
    ])  # fmt: skip
