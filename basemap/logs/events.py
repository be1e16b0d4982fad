"""The dangers in a log: limits of the first-start card that were crossed, with their time.

Limits are compared with the values as logged, neither smoothed nor averaged; only a climbing voltage is a trend.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from basemap.constants import FUEL_PRESSURE_LOW, LEAN_CAUTION, LEAN_STOP, LEANEST_WIDE_OPEN, ZERO_CELSIUS
from basemap.logs.log import Log
from basemap.logs.probe import Delay, Ends, at_cylinders
from basemap.model.drive import Event
from basemap.model.installation import BoolArray, FloatArray
from basemap.rounding import rounded_down, rounded_up, without_noise

CRANKING_LOW_V, CRANKING_STOP_V = 9.0, 8.0
CHARGING_STOP_V, CHARGING_STOP_S = 15.5, 1.0
CHARGING_NEVER_V = 16.0
CHARGING_HIGH_V, CHARGING_HIGH_S = 15.0, 2.0
CHARGING_LOW_V, CHARGING_LOW_AFTER_S = 13.0, 30.0
"""The limits that the card states: common practice; 16 V is ISO 16750-2, from memory."""
CLIMB_V, CLIMB_TO_V, CLIMB_OVER_S, CLIMB_MEAN_S = 0.35, 14.7, 120.0, 20.0
"""A voltage climbs if it rises by at least `CLIMB_V` within `CLIMB_OVER_S`, to `CLIMB_TO_V` or more, which is higher
than a regulator holds it (common practice, no source)."""
LEAN_FOR_S = 0.3
LOAD, WIDE_OPEN = 0.8, 0.95
"""Manifold pressure over the barometer from which the engine is at load, and wide open (common practice)."""
PEGGED_FOR_S = 0.5
COOLANT_HIGH_K, COOLANT_STOP_K = ZERO_CELSIUS + 108.0, ZERO_CELSIUS + 115.0
"""Common practice, no source: above the second, a pressurised cooling system is near boiling over."""
FUEL_FOR_S = 1.0
STUCK_WITHIN_K, STUCK_WHILE_K = 0.5, 30.0
"""Under a bonnet a charge temperature that moves by no more than the first is stuck, or a default, if the coolant
warmed by the second meanwhile. Common practice, no source."""


@dataclass(frozen=True)
class Expected:
    """The expectations that a log is compared with to find dangers.

    Parameters
    ----------
    intended
        λ that the table is meant to give, shape (moments,).
    barometer_pa
        The target's barometric pressure.
    fuel_pressure_pa
        Gauge pressure expected in the rail, shape (moments,); NaN where none is expected.
    """

    intended: FloatArray
    barometer_pa: float
    fuel_pressure_pa: FloatArray


def events(log: Log, late: Delay, ends: Ends, cut: BoolArray, expected: Expected) -> tuple[Event, ...]:
    """Every limit that was crossed, the most dangerous first."""
    found = [
        *_cranking(log),
        *_charging(log),
        *_mixture(log, late, ends, cut, expected),
        *_coolant(log),
        *_charge_stuck(log),
        *_fuel_pressure(log, expected),
    ]
    return tuple(sorted(found, key=most_dangerous_first))


_ORDER = (
    *("charging voltage high", "probe at its lean end", "lean at load", "fuel pressure low", "coolant hot"),
    *("charging voltage climbing", "cranking voltage low", "charging voltage low"),
    "charge temperature stuck",
)


def most_dangerous_first(event: Event) -> tuple[bool, int, float]:
    """Sort key of an event: stops first, then by the harm to the engine, then by time."""
    return not event.stop, _ORDER.index(event.kind), event.at_s


def _cranking(log: Log) -> Iterator[Event]:
    turning = (log.rpm > 40.0) & (log.rpm < 450.0)
    # An engine that stalls turns slowly too; only what comes before it first runs is cranking.
    running = np.flatnonzero(log.running)
    turning &= log.time_s < (log.time_s[running[0]] if running.size else np.inf)
    for limit, stop in ((CRANKING_STOP_V, True), (CRANKING_LOW_V, False)):
        low = turning & (log.battery_v < limit)
        if low.any():
            value = float(np.min(log.battery_v[low]))
            says = (
                f"{_down(value, 1)} V while cranking, below {limit:g} V: charge or replace the battery before the next "
                "start"
            )
            yield _event("cranking voltage low", log, low, value, limit, "V", stop, says)
            return


def _charging(log: Log) -> Iterator[Event]:
    volts, running = log.battery_v, _after_start(log, 0.0)
    never = running & (volts > CHARGING_NEVER_V)
    high = _for(log, running & (volts > CHARGING_STOP_V), CHARGING_STOP_S)
    caution = _for(log, running & (volts > CHARGING_HIGH_V), CHARGING_HIGH_S)
    if (never | high).any():
        worst = float(np.max(volts[never | high]))
        limit = CHARGING_NEVER_V if never.any() else CHARGING_STOP_V
        says = (
            f"battery up to {_up(worst, 1)} V: switch the engine off and do not drive again; the alternator is not "
            "regulated"
        )
        yield _event("charging voltage high", log, never | high, worst, limit, "V", True, says)
    elif caution.any():
        worst = float(np.max(volts[caution]))
        says = (
            f"battery up to {_up(worst, 1)} V, above {CHARGING_HIGH_V:g} V: have the charging system checked before "
            "you go on"
        )
        yield _event("charging voltage high", log, caution, worst, CHARGING_HIGH_V, "V", False, says)
    climb = _climbing(log)
    if climb is not None:
        yield climb
    low = _for(log, _after_start(log, CHARGING_LOW_AFTER_S) & (volts < CHARGING_LOW_V), 5.0)
    if low.any():
        worst = float(np.min(volts[low]))
        says = f"battery down to {_down(worst, 1)} V while running: it is not being charged enough, and dead times grow"
        yield _event("charging voltage low", log, low, worst, CHARGING_LOW_V, "V", False, says)


def _climbing(log: Log) -> Event | None:
    """A voltage that climbs above what a regulator holds; its time is that at which the climb first shows."""
    import pandas as pd

    running = _after_start(log, CHARGING_LOW_AFTER_S)
    if running.sum() * log.step_s < 60.0:
        return None
    width = max(2, round(CLIMB_MEAN_S / log.step_s))
    # Consumers pull the voltage down while they are on, so only its upper edge shows what the regulator does.
    edge = np.asarray(pd.Series(np.where(running, log.battery_v, np.nan)).rolling(width, min_periods=width // 2)
                      .quantile(0.9))  # fmt: skip
    back = max(1, round(CLIMB_OVER_S / log.step_s))
    before = np.asarray(pd.Series(edge).rolling(back, min_periods=1).min())
    with np.errstate(invalid="ignore"):
        climbs = (edge - before >= CLIMB_V) & (edge >= CLIMB_TO_V)
    if not climbs.any():
        return None
    first, top = int(np.flatnonzero(climbs)[0]), float(np.nanmax(edge))
    rate = 60.0 * float(edge[first] - before[first]) / CLIMB_OVER_S
    says = (
        f"battery climbs by some {max(rate, 0.1):.1f} V a minute, to {_up(float(edge[first]), 1)} V here: stop before "
        "15.5 V; a working regulator holds the voltage"
    )
    return _event("charging voltage climbing", log, climbs, top, CLIMB_TO_V, "V", True, says)


def _mixture(log: Log, late: Delay, ends: Ends, cut: BoolArray, expected: Expected) -> Iterator[Event]:
    moved = at_cylinders(log, late.seconds, log.lambda_read)
    from basemap.logs.probe import near

    fuelled = log.running & ~near(log.time_s, cut, 1.0, 1.5)
    at_load = fuelled & (log.manifold_pa >= LOAD * expected.barometer_pa)
    leanest = _leanest_at_load(log, expected)
    with np.errstate(invalid="ignore"):
        lean = moved > leanest
    lean = _for(log, at_load & lean, LEAN_FOR_S)
    if lean.any():
        index = int(np.flatnonzero(lean)[np.nanargmax((moved / expected.intended)[lean])])
        value, limit = float(moved[index]), float(leanest[index])
        says = (
            f"lambda {_up(value, 2)} at {log.rpm[index]:.0f} rpm, {log.manifold_pa[index] / 1e3:.0f} kPa, where "
            f"{expected.intended[index]:.2f} is intended: no load until that is corrected"
        )
        yield _event("lean at load", log, lean, value, limit, "lambda", True, says)
    standing = at_cylinders(log, late.seconds, ends.at_lean(log.lambda_read).astype(np.float64)) > 0.5
    pegged = _for(log, fuelled & _after_start(log, 10.0) & standing, PEGGED_FOR_S)
    if pegged.any() and ends.lean is not None:
        says = (
            f"the probe reads its lean end, {ends.lean:.2f}, with fuel on: stop, and find the cause before the next "
            "start; the real mixture may be leaner still"
        )
        yield _event("probe at its lean end", log, pegged, ends.lean, ends.lean, "lambda", True, says)


def _leanest_at_load(log: Log, expected: Expected) -> FloatArray:
    """Leanest λ allowed at load: 10 % above the intended; wide open also 1, or 5 % above the intended if leaner."""
    stop = LEAN_STOP * expected.intended
    no_leaner = np.maximum(LEAN_CAUTION * expected.intended, LEANEST_WIDE_OPEN)
    return np.where(log.manifold_pa >= WIDE_OPEN * expected.barometer_pa, np.minimum(stop, no_leaner), stop)


def _coolant(log: Log) -> Iterator[Event]:
    for limit, stop in ((COOLANT_STOP_K, True), (COOLANT_HIGH_K, False)):
        hot = log.coolant_k > limit
        if hot.any():
            value = float(np.nanmax(log.coolant_k)) - ZERO_CELSIUS
            what = "stop and let it cool" if stop else "ease off, and check the cooling"
            says = f"coolant {_up(value, 0)} degC, above {limit - ZERO_CELSIUS:.0f}: {what}"
            yield _event("coolant hot", log, hot, value, limit - ZERO_CELSIUS, "degC", stop, says)
            return


def _charge_stuck(log: Log) -> Iterator[Event]:
    """A log compares nothing but one day's air: with a stuck sensor the table is right on such a day only."""
    running = _after_start(log, 0.0) & np.isfinite(log.charge_k) & np.isfinite(log.coolant_k)
    if not running.any():
        return
    moved, warmed = (float(np.ptp(values[running])) for values in (log.charge_k, log.coolant_k))
    if moved > STUCK_WITHIN_K or warmed < STUCK_WHILE_K:
        return
    value = float(np.median(log.charge_k[running])) - ZERO_CELSIUS
    says = (
        f"charge temperature {value:.0f} degC throughout, while the coolant warmed by {warmed:.0f} K: the sensor is "
        "stuck or not connected; on a colder day the mixture gets 1 % leaner for every 3 K, so mend it and log again"
    )
    yield _event("charge temperature stuck", log, running, value, STUCK_WITHIN_K, "degC", False, says)


def _fuel_pressure(log: Log, expected: Expected) -> Iterator[Event]:
    if log.fuel_pressure_pa is None:
        return
    with np.errstate(invalid="ignore", divide="ignore"):
        share = log.fuel_pressure_pa / expected.fuel_pressure_pa
        low = _for(log, _after_start(log, 3.0) & (share < FUEL_PRESSURE_LOW), FUEL_FOR_S)
    if low.any():
        index = int(np.flatnonzero(low)[np.nanargmin(share[low])])
        value, limit = (
            float(log.fuel_pressure_pa[index]) / 1e3,
            FUEL_PRESSURE_LOW * float(expected.fuel_pressure_pa[index]) / 1e3,
        )
        says = (
            f"fuel pressure {_down(value, 0)} kPa where {limit / FUEL_PRESSURE_LOW:.0f} kPa is expected, at "
            f"{log.rpm[index]:.0f} rpm: no load until the pressure holds, because the mixture gets leaner as it falls"
        )
        yield _event("fuel pressure low", log, low, value, limit, "kPa", True, says)


def _up(value: float, decimals: int) -> str:
    """A reading that is dangerous when high, rounded up."""
    return rounded_up(without_noise(value), decimals)


def _down(value: float, decimals: int) -> str:
    """A reading that is dangerous when low, rounded down."""
    return rounded_down(without_noise(value), decimals)


def _after_start(log: Log, seconds: float) -> BoolArray:
    """Where the engine has run for at least so many seconds since it last started."""
    running = log.running
    begin = np.where(running & ~np.concatenate([[False], running[:-1]]), log.time_s, -np.inf)
    return np.asarray(running & (log.time_s - np.maximum.accumulate(begin) >= seconds))


def _for(log: Log, here: BoolArray, seconds: float) -> BoolArray:
    """Only those runs of True that last at least so many seconds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], here, [False]]).astype(np.int8)))
    kept = np.zeros(here.shape, dtype=bool)
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if log.time_s[last - 1] - log.time_s[first] >= seconds - 1.5 * log.step_s:
            kept[first:last] = True
    return kept


def _event(
    kind: str, log: Log, here: BoolArray, value: float, limit: float, unit: str, stop: bool, says: str
) -> Event:  # fmt: skip
    at = float(log.time_s[np.flatnonzero(here)[0]])
    return Event(kind, at, float(here.sum() * log.step_s), value, limit, unit, stop, says)
