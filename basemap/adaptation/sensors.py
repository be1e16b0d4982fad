"""The map's sensor scales against the sensors that are fitted, and the tables to enter."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.sensor import EnterPoint, SensorComparison, SensorQuantity, SensorResult, SensorScale, ShownIn
from basemap.physics.sensor import reading_error

STUCK = "sensors"
"""The word of ``target.settings.cannot_be_told`` for scales that stay as they are."""

LAMBDA_JUDGED = (0.7, 1.2)
TEMPERATURE_JUDGED_K = (263.15, 373.15)

LISTED = 33
"""Voltages, spread evenly over the fitted sensor's range, at which the scales are always compared."""

BEYOND = "beyond the maker's points, continued"
NO_READING = "short or open circuit, as it was"


def sensor_results(job: Job) -> tuple[SensorResult, ...]:
    """Every sensor of a job, those of the map first, each in the order of the job file."""
    names = dict.fromkeys([*job.donor.sensors, *job.target.sensors])
    return tuple(_result(job, name) for name in names)


def _result(job: Job, name: str) -> SensorResult:
    held, fitted = job.donor.sensors.get(name), job.target.sensors.get(name)
    known = held or fitted
    assert known is not None
    between = _judged_between(job, known.quantity)
    stuck = STUCK in job.cannot_be_told
    shown = known.shown
    if fitted is None:
        return SensorResult(name, known.kind, shown, None, held, None, (), None, stuck, between)
    points = tuple(_points(fitted, held, shown))
    if held is None:
        return SensorResult(name, known.kind, shown, fitted, None, None, points, None, stuck, between)
    entered = SensorScale(
        known.kind,
        np.array([point.volts for point in points]),
        np.array([shown.zero + shown.size * point.enter for point in points]),
        shown,
    )
    return SensorResult(
        name=name,
        kind=known.kind,
        shown=shown,
        fitted=fitted,
        held=held,
        as_loaded=_reading(name, fitted, held, between),
        points=points,
        entered=_reading(name, fitted, entered, between),
        stuck=stuck,
        judged_between=between,
    )


def _judged_between(job: Job, quantity: SensorQuantity) -> tuple[float, float]:
    """The range of true values in which a sensor is judged, SI."""
    if quantity is SensorQuantity.LAMBDA:
        return LAMBDA_JUDGED
    if quantity is SensorQuantity.TEMPERATURE:
        return TEMPERATURE_JUDGED_K
    if quantity is SensorQuantity.PRESSURE:
        return float(job.target.table.load_pa[0]), job.target.hardware.peak_pressure_pa
    return 0.0, 1.0


def _points(fitted: SensorScale, held: SensorScale | None, shown: ShownIn) -> Iterator[EnterPoint]:
    """The fitted sensor's values at the map's voltages; at a voltage that it cannot give, the map's value stays."""
    own = held or fitted
    true = fitted.true(own.volts)
    for volts, value, old, inside in zip(own.volts, true, own.values, fitted.within(own.volts), strict=True):
        before = _clean(shown.of(old))
        if np.isnan(value):
            enter, note = before, NO_READING
        else:
            enter, note = _clean(shown.of(value)), "" if inside else BEYOND
        yield EnterPoint(float(volts), before if held is not None else None, enter, note)


def _clean(number: FloatArray) -> float:
    """A number without the rounding noise of a unit conversion: 10, not 9.999999999999998."""
    return float(f"{float(number):.12g}")


def _reading(name: str, fitted: SensorScale, by: SensorScale, between: tuple[float, float]) -> SensorComparison:
    """Errors over the fitted sensor's range, with the largest in the judged range."""
    low, high = fitted.known
    inner = max(low, between[0]), min(high, between[1])
    spans = [(low, high), inner] if inner[0] < inner[1] else [(low, high)]
    even = np.linspace(fitted.volts[0], fitted.volts[-1], LISTED)
    volts = np.unique(np.concatenate([even, *(reading_error(by, fitted, *span).volts for span in spans)]))
    true, read = fitted.true(volts), by.value_at(volts)
    slack = 1e-9 * (between[1] - between[0])
    judged = (true >= between[0] - slack) & (true <= between[1] + slack)
    return SensorComparison(volts, true, read, _RATIOS[fitted.quantity](name, true, read), np.asarray(judged))


def _over(above: FloatArray, below: FloatArray) -> FloatArray:
    """A ratio: +∞ if the denominator is zero or less; NaN if the numerator is too, or if either is not known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(below <= 0, np.inf, above / below)
        return np.where((below <= 0) & ~(above > 0), np.nan, ratio)


def _closed_loop(_name: str, true: FloatArray, read: FloatArray) -> FloatArray:
    """Closed loop brings the sensor's reading to the intended λ, so the true λ is off by true over read."""
    return _over(true, read)


def _manifold(name: str, true: FloatArray, read: FloatArray) -> FloatArray | None:
    """Fuel is metered for the pressure that is read, but air comes in at the true one."""
    return _over(true, read) if name == "map" else None


def _charge(name: str, true: FloatArray, read: FloatArray) -> FloatArray | None:
    """Cold air is denser: air that is read as warmer than it is gets too little fuel."""
    return _over(read, true) if name == "iat" else None


def _none(_name: str, _true: FloatArray, _read: FloatArray) -> None:
    return None


_RATIOS: dict[SensorQuantity, Callable[[str, FloatArray, FloatArray], FloatArray | None]] = {
    SensorQuantity.LAMBDA: _closed_loop,
    SensorQuantity.PRESSURE: _manifold,
    SensorQuantity.TEMPERATURE: _charge,
    SensorQuantity.POSITION: _none,
}
