"""The probe in the exhaust: its delay behind the cylinders, and the ends of its range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.logs.log import Log
from basemap.model.installation import BoolArray, FloatArray

LAG_S = 0.1
EXHAUST_M3 = 1.5e-3
"""Rough volume between the valves and the probe; the beginnings of fuel cuts show how far off the delay is."""
HOT = 2.5
"""Rough temperature of the exhaust gas on its way to the probe, over that of the charge."""
CLEAR_S = 1.0
"""Time before and after a reading at the end of the range in which no reading counts."""
_END_RUN_S = 0.25
_LONGEST_DELAY_S = 2.5


@dataclass(frozen=True)
class Delay:
    """How late the probe shows what left the cylinders.

    Parameters
    ----------
    seconds
        Delay in every moment, shape (moments,).
    found_s
        How much longer than the rough estimate the fuel cuts show it to be, s; `None` if there were too few of them.
    """

    seconds: FloatArray
    found_s: float | None


def delay(log: Log, displacement_m3: float, cut: BoolArray) -> Delay:
    """Delay of the probe: 0.1 s, two revolutions and the exhaust's volume over its flow, corrected by the fuel cuts.

    Parameters
    ----------
    cut
        Where the engine turns and no fuel is commanded.
    """
    turning = np.maximum(log.rpm, 300.0)
    flow = turning / 120.0 * displacement_m3 * np.nan_to_num(log.manifold_pa, nan=5e4) / 1e5 * HOT
    rough = LAG_S + 2.0 * 60.0 / turning + EXHAUST_M3 / np.maximum(flow, 1e-4)
    rough = np.minimum(np.nan_to_num(rough, nan=0.5), _LONGEST_DELAY_S)
    found = _by_cuts(log, cut, rough)
    if len(found) < 3:
        return Delay(rough, None)
    more = float(np.clip(np.median(found), -0.2, 0.6))
    return Delay(np.clip(rough + more, 0.05, _LONGEST_DELAY_S), more)


def _by_cuts(log: Log, cut: BoolArray, rough: FloatArray) -> list[float]:
    """For the beginning of every fuel cut: how much later than the rough delay the reading is half way to lean."""
    found = []
    reach, before = max(2, round(2.0 / log.step_s)), max(2, round(0.5 / log.step_s))
    for start in np.flatnonzero(cut[1:] & ~cut[:-1]) + 1:
        if start < before or not cut[start : start + max(2, round(0.8 / log.step_s))].all():
            continue
        mixture = 1.0 / log.lambda_read[start - before : start + reach]
        rich, after = float(np.nanmedian(mixture[:before])), mixture[before:]
        lean = float(np.nanmin(after))
        if not lean < 0.85 * rich:
            continue
        half = int(np.flatnonzero(after < 0.5 * (rich + lean))[0])
        found.append(float(log.time_s[start + half] - log.time_s[start] - rough[start]))
    return found


def at_cylinders(log: Log, late: FloatArray, values: FloatArray) -> FloatArray:
    """Readings of the probe, moved to the time at which their gas left the cylinders; NaN beyond the end of the log."""
    when = log.time_s + late
    known = np.isfinite(values)
    if known.sum() < 2:
        return np.full(values.shape, np.nan)
    moved = np.interp(when, log.time_s[known], values[known], right=np.nan)
    gone = np.interp(when, log.time_s, (~known).astype(np.float64), right=1.0) > 0
    return np.where(gone, np.nan, moved)


@dataclass(frozen=True)
class Ends:
    """The ends of the probe's range as the log shows them; `None` for an end that it never reaches."""

    rich: float | None
    lean: float | None

    def at_rich(self, values: FloatArray) -> BoolArray:
        """Where a reading is at the rich end."""
        return np.zeros(values.shape, dtype=bool) if self.rich is None else np.asarray(values <= self.rich * 1.002)

    def at_lean(self, values: FloatArray) -> BoolArray:
        """Where a reading is at the lean end."""
        return np.zeros(values.shape, dtype=bool) if self.lean is None else np.asarray(values >= self.lean * 0.998)


def ends(log: Log) -> Ends:
    """Find the ends of the probe's range: an extreme value at which the reading stays for a while."""
    values = log.lambda_read
    known = values[np.isfinite(values)]
    if not known.size:
        return Ends(None, None)
    run = max(3, round(_END_RUN_S / log.step_s))
    low, high = float(known.min()), float(known.max())
    rich = low if low < 0.9 and _stands(values <= low * 1.0005, run) else None
    lean = high if high > 1.1 and _stands(values >= high * 0.9995, run) else None
    return Ends(rich, lean)


def _stands(here: BoolArray, run: int) -> bool:
    return longest_run(here) >= run


def longest_run(here: BoolArray) -> int:
    """Length of the longest unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], here, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def near(time_s: FloatArray, here: BoolArray, before_s: float, after_s: float) -> BoolArray:
    """Moments from `before_s` before to `after_s` after any moment that is set in `here`."""
    total = np.concatenate([[0], np.cumsum(here)])
    first = np.searchsorted(time_s, time_s - after_s, side="left")
    last = np.searchsorted(time_s, time_s + before_s, side="right")
    return np.asarray(total[last] - total[first] > 0)
