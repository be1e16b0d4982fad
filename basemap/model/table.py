"""A fuel table and the meaning of its cells, on SI axes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from basemap.constants import FORMULA_PRESSURE
from basemap.model.axes import Interpolation, LoadAxis, LoadPoints, interpolation, same_points
from basemap.model.installation import BoolArray, FloatArray


class TableQuantity(StrEnum):
    """The quantity of a fuel table."""

    VOLUMETRIC_EFFICIENCY = "volumetric efficiency"
    PULSE_WIDTH = "pulse width"


def change_percent(old: FloatArray, new: FloatArray) -> FloatArray:
    """New against old, %; 0 where both are 0, NaN where only the old cell is 0 or there is no new cell."""
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.where(new == old, 0.0, 100.0 * (new / old - 1.0))
    return np.where(np.isfinite(change), change, np.nan)


@dataclass(frozen=True)
class Inside:
    """What is already inside a cell, so that the ECU does not apply it again."""

    pressure: bool = False
    intended_lambda: bool = False
    dead_time: bool = False


@dataclass(frozen=True)
class FuelTable:
    """A fuel table over engine speed and load.

    Parameters
    ----------
    name
        The table's name in the job.
    quantity
        The quantity of its cells.
    values
        Shape (loads, speeds), lowest load first; VE as a fraction, pulse width in s.
    rpm, load_pa
        Rising axes: rev/min, Pa absolute. On an air-mass axis the pressure is an estimate, m·R·T/V.
    inside
        What is already inside the cells.
    intended_lambda
        The mixture it is meant to give, shape of `values`.
    battery_v
        The voltage at which it was (or will be) tuned, V.
    reference_pressure_pa
        p_ref: the pressure for which a cell stands, Pa.
    own_points
        What the load axis counts, where that is not manifold pressure against vacuum.
    own_pressure_pa
        Manifold pressure of every cell, where that is no property of its row: shape (…, loads, speeds), Pa. `load_pa`
        is then a stand-in that only rises: the barometer times the throttle's opening.
    as_read
        The same cells as the file has them, in its own unit: going to SI and back would cost them their last digit.
    applied_pa
        What the ECU multiplies by where that is not the manifold's pressure: the barometer, Pa.
    """

    name: str
    quantity: TableQuantity
    values: FloatArray
    rpm: FloatArray
    load_pa: FloatArray
    inside: Inside
    intended_lambda: FloatArray
    battery_v: float
    reference_pressure_pa: float = FORMULA_PRESSURE
    own_points: LoadPoints | None = None
    own_pressure_pa: FloatArray | None = None
    applied_pa: float | None = None
    as_read: FloatArray | None = None

    @property
    def points(self) -> LoadPoints:
        """What the load axis counts."""
        load = self.load_pa
        return self.own_points or LoadPoints(LoadAxis.MANIFOLD_PRESSURE, load, load, load)

    def rows(self, rows: slice | BoolArray) -> FuelTable:
        """The table with some of its rows only."""
        return replace(
            self,
            values=self.values[rows],
            load_pa=self.load_pa[rows],
            intended_lambda=self.intended_lambda[rows],
            own_points=self.own_points and self.own_points.rows(rows),
            own_pressure_pa=None if self.own_pressure_pa is None else self.own_pressure_pa[rows],
            as_read=None if self.as_read is None else self.as_read[rows],
        )

    @property
    def pressure_pa(self) -> FloatArray:
        """Manifold pressure of every row, shape (loads, 1), or of every cell where rows have none, Pa."""
        return self.load_pa[:, np.newaxis] if self.own_pressure_pa is None else self.own_pressure_pa

    @property
    def multiplied_by_pa(self) -> FloatArray:
        """What the ECU multiplies a cell by where it applies pressure, Pa."""
        return self.pressure_pa if self.applied_pa is None else np.asarray(self.applied_pa)


def cell_for_cell(donor: FuelTable, target: FuelTable) -> bool:
    """Whether every cell of the target's table is at the point similar to that of the donor's cell in its place."""
    return same_points(donor.rpm, target.rpm) and same_points(donor.points.similar, target.points.similar)


def same_axes(donor: FuelTable, target: FuelTable) -> bool:
    """Whether the target's ECU would use the donor's table, loaded untouched, cell for cell."""
    return same_points(donor.rpm, target.rpm) and same_points(donor.points.lookup, target.points.lookup)


def at_similar_points(donor: FuelTable, target: FuelTable) -> Interpolation:
    """Where the target's cells lie in the donor's table: at its speed and at the similar load."""
    return interpolation((donor.points.similar, target.points.similar), (donor.rpm, target.rpm))


@dataclass(frozen=True)
class Storage:
    """How the target's ECU stores a cell, in the unit in which the table is shown.

    Give `decimals`, or a `step` of which every stored cell is a multiple; by default the donor's decimals are used.
    """

    decimals: int | None = None
    minimum: float | None = None
    maximum: float | None = None
    step: float | None = None


@dataclass(frozen=True)
class Shown:
    """How a table is shown: units and axis values as in the donor's file.

    Parameters
    ----------
    unit
        Unit of the cells, such as ``%`` or ``ms``.
    per_unit
        SI value of one such unit (0.01 for %, 0.001 for ms).
    load
        The load axis in `load_unit`, lowest first.
    load_unit
        As the job writes it, such as ``kPa`` or ``psi gauge``.
    decimals
        The most decimals that the donor's cells have.
    """

    unit: str
    per_unit: float
    load: FloatArray
    load_unit: str
    decimals: int


__all__ = [
    "BoolArray",
    "FloatArray",
    "FuelTable",
    "Inside",
    "Shown",
    "Storage",
    "TableQuantity",
]
