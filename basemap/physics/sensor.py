"""Sensor scales: what a voltage means, and how far one scale is from another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from basemap.errors import InputError
from basemap.physics import thermistor

FloatArray = NDArray[np.float64]

_PARTS = 128
_PASSES = 6
"""Each pass narrows the search 64-fold: six find the place to 1e-11 of a segment, and the error there far better."""


class Scale(Protocol):
    """Volts to value and back. Values are in any one unit; temperatures of a thermistor in K."""

    @property
    def knots_v(self) -> FloatArray:
        """Voltages at which the scale has a corner, shape (n,), V."""

    @property
    def known(self) -> tuple[float, float]:
        """Lowest and highest value that the scale can state."""

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        """Value that a voltage stands for."""

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        """Voltage at which the sensor shows a value, V."""


@dataclass(frozen=True)
class Tabulated:
    """Linear between the points and held at the ends, as an ECU reads a table.

    Parameters
    ----------
    points_v
        Rising voltages, shape (n,), two or more [V].
    values
        Shape (n,), in the scale's unit.
    """

    points_v: FloatArray
    values: FloatArray

    def __post_init__(self) -> None:
        _check_points(self.points_v, self.values)

    @property
    def knots_v(self) -> FloatArray:
        """Every point, V."""
        return self.points_v

    @property
    def known(self) -> tuple[float, float]:
        """Between the ends of the table."""
        return float(np.min(self.values)), float(np.max(self.values))

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        """Value that a voltage stands for."""
        return np.asarray(np.interp(volts, self.points_v, self.values))

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        """Voltage of a value, NaN outside the table, V. Values that do not rise or fall throughout are refused."""
        steps = np.diff(self.values)
        if not ((steps > 0.0).all() or (steps < 0.0).all()):
            raise InputError(
                "the values of a sensor's scale must rise or fall throughout, or one reading would mean two voltages; "
                f"correct {', '.join(f'{value:g}' for value in self.values)}"
            )
        order = np.argsort(self.values)
        return np.asarray(np.interp(value, self.values[order], self.points_v[order], left=np.nan, right=np.nan))


@dataclass(frozen=True)
class Linear:
    """A straight line through two points, continued beyond them.

    Parameters
    ----------
    points_v
        Two voltages, rising, shape (2,) [V].
    values
        Shape (2,), in the scale's unit.
    """

    points_v: FloatArray
    values: FloatArray

    def __post_init__(self) -> None:
        _check_points(self.points_v, self.values)
        if len(self.points_v) != 2 or self.values[0] == self.values[1]:
            raise InputError("a linear scale takes two points with two different values")

    @property
    def knots_v(self) -> FloatArray:
        """None."""
        return np.empty(0)

    @property
    def known(self) -> tuple[float, float]:
        """Everything."""
        return -np.inf, np.inf

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        """Value that a voltage stands for."""
        return _line(volts, self.points_v, self.values)

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        """Voltage of a value, V."""
        return _line(value, self.values, self.points_v)


@dataclass(frozen=True)
class Thermistor:
    """A thermistor to ground below a pull-up resistor.

    Parameters
    ----------
    coefficients
        A, B, C of Steinhart and Hart, temperature in K, resistance in ohm.
    pull_up_ohm
        Resistor between supply and input [ohm].
    supply_v
        Supply of the divider [V].
    """

    coefficients: tuple[float, float, float]
    pull_up_ohm: float
    supply_v: float

    def __post_init__(self) -> None:
        if not (self.pull_up_ohm > 0.0 and self.supply_v > 0.0):
            raise InputError(
                f"a pull-up of {self.pull_up_ohm:g} ohm on {self.supply_v:g} V reads nothing; give both above 0"
            )

    @property
    def knots_v(self) -> FloatArray:
        """None."""
        return np.empty(0)

    @property
    def known(self) -> tuple[float, float]:
        """Every temperature."""
        return 0.0, np.inf

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        """Temperature of a voltage, K; NaN at and beyond 0 V and the supply, where no resistance gives it."""
        read = np.asarray(volts, dtype=np.float64)
        possible = np.where((read > 0.0) & (read < self.supply_v), read, np.nan)
        return thermistor.temperature(self.pull_up_ohm * possible / (self.supply_v - possible), self.coefficients)

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        """Voltage at a temperature in K, V."""
        resistance = thermistor.resistance(value, self.coefficients)
        return np.asarray(self.supply_v / (1.0 + self.pull_up_ohm / resistance))


def _check_points(points_v: FloatArray, values: FloatArray) -> None:
    """Refuse anything but two or more rising voltages with a value each."""
    if len(points_v) != len(values):
        raise InputError(f"{len(points_v)} voltages and {len(values)} values; give one value for every voltage")
    if len(points_v) < 2:
        raise InputError("a scale is proved at two points, never at one; give two voltages or more with their values")
    if not (np.isfinite(points_v).all() and np.isfinite(values).all() and (np.diff(points_v) > 0.0).all()):
        listed = ", ".join(f"{volts:g}" for volts in points_v)
        raise InputError(f"the voltages of a scale must rise, each with a value, but they are {listed}; sort them")


def _line(at: float | FloatArray, starts: FloatArray, ends: FloatArray) -> FloatArray:
    """The straight line through two points."""
    along = (np.asarray(at, dtype=np.float64) - starts[0]) / (starts[1] - starts[0])
    return np.asarray(ends[0] * (1.0 - along) + ends[1] * along)


class Readings(NamedTuple):
    """What a sensor shows beside what is true, in the order of the voltages.

    Parameters
    ----------
    volts
        Shape (n,) [V].
    true, read
        What the fitted sensor means by the voltage, and what is made of it; unit of the scales.
    """

    volts: FloatArray
    true: FloatArray
    read: FloatArray

    @property
    def error(self) -> FloatArray:
        """Read less true."""
        return self.read - self.true

    @property
    def worst(self) -> int:
        """Index of the largest error in either direction, or of the first voltage that cannot be read."""
        return int(np.argmax(np.abs(self.error)))


def reading_error(held: Scale, fitted: Scale, lowest: float, highest: float) -> Readings:
    """How far off a fitted sensor is read with another sensor's scale, over a range of true values.

    Parameters
    ----------
    held
        The scale that the ECU holds.
    fitted
        The scale of the sensor that is fitted.
    lowest, highest
        Range of true values; cut to what the fitted sensor's scale can state: see the ends of `true` [unit of scale].

    Returns
    -------
    Readings
        At both ends, every corner of either scale, a hundred voltages, and the largest error between each two corners.

    Raises
    ------
    InputError
        If the fitted sensor's scale states nothing in the range.

    Notes
    -----
    Comparison of two functions; no source needed.
    """
    from_v, to_v = _span(fitted, lowest, highest)
    inner = np.concatenate([held.knots_v, fitted.knots_v])
    corners = np.unique([from_v, *inner[(inner > from_v) & (inner < to_v)], to_v])
    worst = _largest_between(corners, lambda volts: held.value_at(volts) - fitted.value_at(volts))
    volts = np.unique(np.concatenate([corners, worst, np.linspace(from_v, to_v, 100)]))
    return Readings(volts, fitted.value_at(volts), held.value_at(volts))


def _span(fitted: Scale, lowest: float, highest: float) -> tuple[float, float]:
    """The voltages between which a sensor shows a range of values, lower voltage first."""
    low, high = max(lowest, fitted.known[0]), min(highest, fitted.known[1])
    if not low < high:
        raise InputError(
            f"the fitted sensor's scale states values from {fitted.known[0]:g} to {fitted.known[1]:g}, "
            f"none between {lowest:g} and {highest:g}; give points of its scale in that range"
        )
    ends = np.sort(fitted.volts_at(np.array([low, high])))
    if not np.isfinite(ends).all():
        raise InputError(
            f"the fitted sensor's scale has no voltage for {low:g} or {high:g}; give points nearer to them"
        )
    return float(ends[0]), float(ends[1])


def largest_error_between_points(table: Tabulated, fitted: Scale, lowest: float, highest: float) -> Readings:
    """Largest error left between each two points of a table that was entered for a sensor.

    Parameters
    ----------
    table
        As entered: rounded values and all.
    fitted
        The scale of the sensor that is fitted.
    lowest, highest
        Range of true values that matters; where the table ends within it, see `reading_error` [unit of scale].

    Returns
    -------
    Readings
        One for each pair of neighbouring points that is at least partly in the range.

    Raises
    ------
    InputError
        If no part of the table is in the range.

    Notes
    -----
    A search on 128 parts of each segment, refined about the best until the place is known to 1e-11 of the segment.
    Comparison of two functions; no source needed.
    """
    from_v, to_v = _span(fitted, lowest, highest)
    edges = np.clip(table.points_v, from_v, to_v)
    inner = fitted.knots_v[(fitted.knots_v > edges[0]) & (fitted.knots_v < edges[-1])]
    if not edges[0] < edges[-1]:
        raise InputError(
            f"the table's voltages end outside {from_v:.3g}…{to_v:.3g} V, where the sensor works; enter points there"
        )
    corners = np.unique([*edges, *inner])
    volts = _largest_between(corners, lambda at: table.value_at(at) - fitted.value_at(at))
    return Readings(volts, fitted.value_at(volts), table.value_at(volts))


def _largest_between(corners_v: FloatArray, error: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Voltage of the largest error between each two corners, where the error is smooth; a NaN counts as the largest."""
    start, end = corners_v[:-1], corners_v[1:]
    first = np.arange(len(start))
    for _ in range(_PASSES):
        grid = np.linspace(start, end, _PARTS + 1, axis=1)
        best = np.argmax(np.abs(error(grid)), axis=1)
        start = grid[first, np.maximum(best - 1, 0)]
        end = grid[first, np.minimum(best + 1, _PARTS)]
    return np.asarray(grid[first, best])
