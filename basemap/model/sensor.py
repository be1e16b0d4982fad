"""Sensors: the scale of the map against the scale of the fitted sensor."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from basemap.model.installation import BoolArray, FloatArray
from basemap.physics.sensor import Tabulated, Thermistor

NOISE = 1e-9
"""Rounding noise of a reading, in the unit of its scale: far smaller than any sensor resolves."""


class SensorKind(StrEnum):
    """The quantity that a sensor measures, as its scale states it."""

    LAMBDA = "lambda"
    AIR_FUEL_RATIO = "air/fuel ratio"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    POSITION = "position"


class SensorQuantity(StrEnum):
    """The quantity behind a kind: an air/fuel ratio is λ once it is divided by its basis."""

    LAMBDA = "lambda"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    POSITION = "position"


QUANTITY_OF = {
    SensorKind.LAMBDA: SensorQuantity.LAMBDA,
    SensorKind.AIR_FUEL_RATIO: SensorQuantity.LAMBDA,
    SensorKind.PRESSURE: SensorQuantity.PRESSURE,
    SensorKind.TEMPERATURE: SensorQuantity.TEMPERATURE,
    SensorKind.POSITION: SensorQuantity.POSITION,
}


@dataclass(frozen=True)
class ShownIn:
    """The unit in which a scale is written: SI = zero + size · shown."""

    unit: str
    size: float
    zero: float = 0.0

    def of(self, value: FloatArray | float) -> FloatArray:
        """SI → the unit shown."""
        return _without_noise((np.asarray(value) - self.zero) / self.size)

    def difference(self, value: FloatArray | float) -> FloatArray:
        """A difference in SI → in the unit shown."""
        return _without_noise(np.asarray(value) / self.size)


def _without_noise(shown: FloatArray) -> FloatArray:
    """Set differences that are only rounding noise to 0."""
    return np.where(np.abs(shown) < NOISE, 0.0, shown)


@dataclass(frozen=True)
class SensorScale:
    """The scale of a sensor, from voltage to value: points, or a thermistor.

    Parameters
    ----------
    kind
        The quantity that it measures.
    volts
        Rising, shape (n,), V.
    values
        Values at those voltages, shape (n,): λ, Pa absolute, K, or a fraction of the travel.
    shown
        The unit in which the job states it.
    thermistor
        The curve of a sensor that is stated by resistances; it is used between and outside the points.
    """

    kind: SensorKind
    volts: FloatArray
    values: FloatArray
    shown: ShownIn
    thermistor: Thermistor | None = None

    @property
    def quantity(self) -> SensorQuantity:
        """The quantity of its values."""
        return QUANTITY_OF[self.kind]

    @property
    def knots_v(self) -> FloatArray:
        """Every point, V."""
        return self.volts

    @property
    def known(self) -> tuple[float, float]:
        """Lowest and highest value that it states."""
        ends = self.value_at(self.volts[[0, -1]])
        return float(ends.min()), float(ends.max())

    def value_at(self, volts: FloatArray | float) -> FloatArray:
        """The values that a controller with this scale reads at voltages: linear between points, held at the ends."""
        if self.thermistor is not None:
            return self.thermistor.value_at(np.clip(volts, self.volts[0], self.volts[-1]))
        return Tabulated(self.volts, self.values).value_at(volts)

    def volts_at(self, value: FloatArray | float) -> FloatArray:
        """Voltage at which it has a value, V."""
        return (self.thermistor or Tabulated(self.volts, self.values)).volts_at(value)

    def true(self, volts: FloatArray | float) -> FloatArray:
        """The true values at voltages: interpolated, and extrapolated outside the points; NaN where there is none."""
        volts = np.asarray(volts, dtype=np.float64)
        if self.thermistor is not None:
            return self.thermistor.value_at(volts)
        slopes = np.diff(self.values) / np.diff(self.volts)
        below = self.values[0] + slopes[0] * (volts - self.volts[0])
        above = self.values[-1] + slopes[-1] * (volts - self.volts[-1])
        within = np.interp(volts, self.volts, self.values)
        return np.where(volts < self.volts[0], below, np.where(volts > self.volts[-1], above, within))

    def within(self, volts: FloatArray) -> BoolArray:
        """Which voltages lie between its first and its last point."""
        return np.asarray((volts >= self.volts[0]) & (volts <= self.volts[-1]))


@dataclass(frozen=True)
class SensorComparison:
    """The map's reading compared with the true value, over the fitted sensor's voltages.

    Parameters
    ----------
    volts, true, read
        Rising voltages, V; true and read values in SI; all of shape (n,).
    lambda_ratio
        Resulting actual over intended λ, shape (n,); +∞ where the map reads zero; `None` if the sensor does not change
        the mixture by a simple ratio.
    judged
        The voltages in the range in which the sensor is judged, shape (n,).
    """

    volts: FloatArray
    true: FloatArray
    read: FloatArray
    lambda_ratio: FloatArray | None
    judged: BoolArray

    @property
    def error(self) -> FloatArray:
        """Read minus true, SI."""
        return self.read - self.true

    def largest(self, where: BoolArray) -> int | None:
        """Index of the largest error among some voltages; `None` if there are none."""
        indices = np.flatnonzero(where)
        return int(indices[np.abs(self.error[indices]).argmax()]) if indices.size else None

    def spread_out(self, count: int) -> list[int]:
        """Indices of at most `count` voltages, evenly spread over the range."""
        wanted = np.linspace(self.volts[0], self.volts[-1], count)
        return sorted({int(np.abs(self.volts - volts).argmin()) for volts in wanted})

    def ratio_ends(self, where: BoolArray) -> tuple[float, float] | None:
        """Richest and leanest λ ratio among some voltages; `None` if there is none."""
        if self.lambda_ratio is None or not (where & ~np.isnan(self.lambda_ratio)).any():
            return None
        ratios = self.lambda_ratio[where & ~np.isnan(self.lambda_ratio)]
        return float(ratios.min()), float(ratios.max())


@dataclass(frozen=True)
class EnterPoint:
    """One point of the map's table.

    Parameters
    ----------
    volts
        Voltage of the point, V.
    old, enter
        The old value (`None` if unknown) and the value to enter, in the unit shown.
    note
        A remark on this point; usually empty.
    """

    volts: float
    old: float | None
    enter: float
    note: str = ""


@dataclass(frozen=True)
class SensorResult:
    """One sensor: the map's scale against the fitted one, and the table to enter.

    Parameters
    ----------
    name
        As the job calls it: ``wideband``, ``map``, ``iat``, ``ect``, ``tp``, or the user's own.
    kind
        The kind of the map's scale, else of the fitted sensor's.
    shown
        The unit of the table to enter: the map's own.
    fitted, held
        The scale of the fitted sensor, as its maker states it, and the scale in the map; `None` if the job does not
        state it.
    as_loaded
        The map's scale left untouched, against the true values; `None` unless the job states both scales.
    points
        The table to enter, at the map's voltages, or at the maker's if those are unknown; empty if the fitted sensor is
        unknown.
    entered
        The table entered, against the true values: the error left between the points; `None` if `as_loaded` is.
    stuck
        Whether the table cannot be entered, so that `as_loaded` is what the engine runs on.
    judged_between
        Range of true values in which it is judged, SI.
    """

    name: str
    kind: SensorKind
    shown: ShownIn
    fitted: SensorScale | None
    held: SensorScale | None
    as_loaded: SensorComparison | None
    points: tuple[EnterPoint, ...]
    entered: SensorComparison | None
    stuck: bool
    judged_between: tuple[float, float]

    @property
    def quantity(self) -> SensorQuantity:
        """The quantity that it measures."""
        return QUANTITY_OF[self.kind]

    @property
    def left_between(self) -> int | None:
        """Index in `entered` of the largest error between the first and the last point of the table entered."""
        if self.entered is None:
            return None
        volts = self.entered.volts
        return self.entered.largest((volts >= self.points[0].volts) & (volts <= self.points[-1].volts))

    @property
    def in_force(self) -> SensorComparison | None:
        """The comparison with everything entered that can be entered."""
        return self.as_loaded if self.stuck else self.entered
