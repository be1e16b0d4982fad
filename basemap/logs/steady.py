"""The gate: which moments of a drive can be compared, and the steady stretches that they form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.constants import ZERO_CELSIUS
from basemap.logs.log import Log
from basemap.logs.probe import CLEAR_S, Delay, Ends, at_cylinders, near
from basemap.model.drive import COLUMNS, Chunks, DrivePoints, Used
from basemap.model.installation import BoolArray, FloatArray

WARM_K = ZERO_CELSIUS + 70.0
LOOK_BACK_S = 1.1
MOST_CHANGE = 0.10
"""Largest change of ln of the manifold pressure, and of ln of the expected λ, over the time looked back."""
FASTEST_SWEEP = 0.35
"""Largest relative change of engine speed per second: pulls at full load still count as steady."""
AFTER_CUT_S = 5.0
LONGEST_S, SHORTEST_S = 1.6, 0.35
COMPARABLE = (0.60, 1.60)
"""Range of λ in which a mixture burns well enough for the probe to measure it."""
ALONE = 0.010
"""Standard uncertainty of one stretch, from what the model leaves out: wall film, delay, differences between
cylinders."""
INDEPENDENT_S = 0.3
"""Readings closer in time than this count as one."""
STUCK_S = 5.0


@dataclass(frozen=True)
class Gate:
    """Which moments can be compared, and why the others cannot.

    Parameters
    ----------
    good
        Moments that can be compared, shape (moments,).
    reasons
        Reason → moments that it leaves out and no reason before it did, shape (moments,).
    """

    good: BoolArray
    reasons: dict[str, BoolArray]


def fuel_cut(log: Log) -> BoolArray:
    """Where the engine turns and no fuel is commanded."""
    if log.pulse_s is not None:
        return np.asarray((np.nan_to_num(log.pulse_s, nan=1.0) < 0.2e-3) & (log.rpm > 600.0))
    # Overrun without a logged pulse: the throttle is shut and the reading is as lean as the probe can show.
    high = float(np.nanmax(log.lambda_read, initial=0.0))
    shut = log.manifold_pa < 40e3
    return np.asarray((log.lambda_read >= 0.97 * high) & (high > 1.25) & shut & (log.rpm > 1200.0))


def gate(log: Log, late: Delay, ends: Ends, log_expected: FloatArray, volts: tuple[float, float]) -> Gate:
    """Decide for every moment whether it can be compared.

    Parameters
    ----------
    log_expected
        ln of the λ that the commanded pulse should give, shape (moments,); NaN where no fuel is delivered.
    volts
        Lowest and highest battery voltage for which dead times are known.
    """
    time = log.time_s
    read = log.lambda_read
    standing = ends.at_rich(read) | ends.at_lean(read)
    # The reading that belongs to a moment comes after it, by the delay.
    reading_near_end = at_cylinders(log, late.seconds, near(time, standing, CLEAR_S, CLEAR_S).astype(np.float64)) > 0
    moved = at_cylinders(log, late.seconds, read)
    gaps = np.isnan(log.rpm) | np.isnan(log.manifold_pa) | np.isnan(log.battery_v) | np.isnan(log.charge_k)
    speed_change = np.abs(np.gradient(np.log(np.maximum(_smoothed(log.rpm, log), 1.0)), time))
    checks = {
        "engine not running": ~(log.rpm > 450.0),
        "channel missing": gaps | np.isnan(log.coolant_k),
        "engine cold": ~(log.coolant_k >= WARM_K),
        "fuel cut": near(time, fuel_cut(log), LOOK_BACK_S, AFTER_CUT_S),
        "probe at the end of its range": reading_near_end,
        "channel stuck": _stuck(log, standing),
        "battery outside the dead-time data": ~((log.battery_v >= volts[0]) & (log.battery_v <= volts[1])),
        "no reading from the probe": ~((moved > COMPARABLE[0]) & (moved < COMPARABLE[1])),
        "no fuel expected": ~np.isfinite(log_expected),
        "not steady": (speed_change > FASTEST_SWEEP)
        | (_range_before(log, np.log(np.maximum(log.manifold_pa, 1.0))) > MOST_CHANGE)
        | (_range_before(log, log_expected) > MOST_CHANGE),
    }
    left = np.ones(time.shape, dtype=bool)
    reasons = {}
    for reason, bad in checks.items():
        reasons[reason] = left & bad
        left = left & ~bad
    return Gate(left, reasons)


def chunks(
    log: Log,
    late: Delay,
    found: Gate,
    points: DrivePoints,
    log_expected: FloatArray,
    log_formula: FloatArray,
) -> Chunks:
    """Divide the moments that can be compared into stretches of up to 1.6 s, each of which is one observation.

    Parameters
    ----------
    log_expected
        ln of the λ that the pulse should give, shape (moments,).
    log_formula
        ln of logged over commanded pulse, shape (moments,).
    """
    read = np.log(np.where(found.good, at_cylinders(log, late.seconds, log.lambda_read), 1.0))
    labels = _stretches(log, found.good)
    kept = labels >= 0
    if not kept.any():
        return Chunks.of_rows(np.zeros((0, len(COLUMNS))))
    number = labels[kept]
    count = np.bincount(number)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(number, weights=values[kept]) / count)

    at = np.full(count.size, np.inf)
    np.minimum.at(at, number, log.time_s[kept])
    duration = np.asarray(count * log.step_s, dtype=np.float64)
    off = (read - np.where(found.good, log_expected, 0.0))[kept]
    middle = np.bincount(number, weights=off) / count
    scatter = np.bincount(number, weights=(off - middle[number]) ** 2) / np.maximum(count - 1, 1)
    scatter = np.maximum(scatter, float(np.median(scatter)))
    variance = ALONE**2 + scatter / np.maximum(duration / INDEPENDENT_S, 1.0)
    # Errors multiply, so ln λ is averaged; what it is compared with is worked out at the mean point of the stretch.
    means = DrivePoints(
        *(mean(getattr(points, name)) for name in ("rpm", "pressure_pa", "charge_k", "battery_v", "pulse_s"))
    )
    return Chunks(at, duration, means, mean(read), variance, mean(log_formula))


def used(log: Log, found: Gate, made: Chunks) -> Used:
    """How much of a log was compared, and why the rest was not, in seconds."""
    left_out = {reason: float(bad.sum() * log.step_s) for reason, bad in found.reasons.items() if bad.any()}
    short = float(found.good.sum() * log.step_s - made.for_s.sum())
    if short > 0.5 * log.step_s:
        left_out["too short a stretch"] = short
    return Used(float(log.time_s[-1] - log.time_s[0]), float(made.for_s.sum()), made.size, left_out)


def _stretches(log: Log, good: BoolArray) -> NDArray[np.intp]:
    """The stretch that every moment belongs to, from 0; -1 for none."""
    broken = np.diff(log.time_s, prepend=log.time_s[0]) > 3.0 * log.step_s
    starts = good & (~np.concatenate([[False], good[:-1]]) | broken)
    run = np.cumsum(starts) - 1
    begin = np.where(starts, log.time_s, -np.inf)
    since = log.time_s - np.maximum.accumulate(begin)
    with np.errstate(invalid="ignore"):
        part = np.where(good, np.floor(np.where(good, since, 0.0) / LONGEST_S), 0.0)
    key = np.where(good, run * 1e6 + part, -1.0)
    _, number, count = np.unique(key, return_inverse=True, return_counts=True)
    kept = good & (count[number] * log.step_s >= SHORTEST_S)
    result = np.full(good.shape, -1, dtype=np.intp)
    if kept.any():
        result[kept] = np.unique(number[kept], return_inverse=True)[1]
    return result


def _range_before(log: Log, values: FloatArray) -> FloatArray:
    """Largest minus smallest value over the time looked back; infinite where one is missing."""
    import pandas as pd

    width = max(2, round(LOOK_BACK_S / log.step_s) + 1)
    series = pd.Series(_smoothed(values, log))
    rolled = series.rolling(width, min_periods=width)
    return np.asarray((rolled.max() - rolled.min()).fillna(np.inf), dtype=np.float64)


def _smoothed(values: FloatArray, log: Log) -> FloatArray:
    """Mean over 0.2 s, so that noise does not count as a change."""
    width = max(1, round(0.2 / log.step_s))
    if width < 2:
        return values
    kernel = np.ones(width) / width
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.asarray(np.convolve(padded, kernel, mode="valid"), dtype=np.float64)


def _stuck(log: Log, standing: BoolArray) -> BoolArray:
    """Where speed, pressure or λ stays the same for seconds in which another of them moves."""
    import pandas as pd

    width = max(3, round(STUCK_S / log.step_s))
    # A reading at the end of its range is reported by its own reason.
    mixture = np.where(standing, np.nan, log.lambda_read)
    channels = (log.rpm, log.manifold_pa, mixture)
    rolled = [pd.Series(values).rolling(width, center=True, min_periods=width - 1) for values in channels]
    spread = [np.asarray(one.max() - one.min()) for one in rolled]
    middle = [np.asarray(one.mean()) for one in rolled]
    moves = (
        np.fmax.reduce([s / np.maximum(m, 1e-9) for s, m in zip(spread[:2], middle[:2], strict=True)], axis=0) > 0.15
    )
    still = np.any([one == 0.0 for one in spread], axis=0)
    return near(log.time_s, np.asarray(still & moves), STUCK_S / 2, STUCK_S / 2)
