"""The first-start card against a log: what the card predicts, what the log shows, and whether the two agree."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from basemap.constants import ZERO_CELSIUS
from basemap.logs.log import Log
from basemap.model.card import Card, CardLine
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import Scored
from basemap.rounding import rounded_down, rounded_up, without_noise

IDLE_SPEED, IDLE_KPA = 0.2, 12.0
"""How far from the card's idle point a moment still counts as idle: share of the speed, and kPa."""

WARM_START_K = 50.0 + ZERO_CELSIUS
"""Coolant that no weather has: hotter than this before a start, the engine ran a short while ago."""


@dataclass(frozen=True)
class Seen:
    """A number that a log shows, with its unit and its time in the log.

    Parameters
    ----------
    danger
        The side on which it is dangerous, towards which it is rounded; `None` for neither.
    highest
        The upper end of a range, of which `value` is the lower one: both are rounded outwards.
    """

    value: float
    unit: str
    at_s: float
    decimals: int = 1
    highest: float | None = None
    danger: Literal["low", "high"] | None = None

    @property
    def words(self) -> str:
        """The number or the range, with its unit, as a report shows it."""
        value = without_noise(self.value)
        if self.danger is None:
            number = f"{value:.{self.decimals}f}"
        else:
            number = (rounded_down if self.danger == "low" else rounded_up)(value, self.decimals)
        upto = "" if self.highest is None else f" to {rounded_up(without_noise(self.highest), self.decimals)}"
        return f"{number}{upto} {self.unit}".rstrip()


@dataclass(frozen=True)
class LogShows:
    """A log with what else the card needs: delay-corrected λ, pulses, steady stretches."""

    log: Log
    mixture: FloatArray
    pulse_s: FloatArray
    steady: BoolArray
    window_s: FloatArray
    idle_rpm: float
    idle_pa: float

    @property
    def key_on(self) -> BoolArray:
        """Where the engine has not turned yet."""
        turning = np.flatnonzero(self.log.rpm > 40.0)
        before = self.log.time_s < (self.log.time_s[turning[0]] if turning.size else np.inf)
        return np.asarray(before & (self.log.rpm < 40.0))

    @property
    def cranking(self) -> BoolArray:
        """Where the starter turns the engine, before it first runs."""
        running = np.flatnonzero(self.log.running)
        before = self.log.time_s < (self.log.time_s[running[0]] if running.size else np.inf)
        return np.asarray(before & (self.log.rpm > 40.0))

    @property
    def idle(self) -> BoolArray:
        """Where the engine idles: warm, steady, near the idle speed and idle pressure."""
        near = np.abs(self.log.rpm / self.idle_rpm - 1.0) < IDLE_SPEED
        return np.asarray(self.steady & near & (np.abs(self.log.manifold_pa - self.idle_pa) < IDLE_KPA * 1e3))

    @property
    def charging(self) -> BoolArray:
        """Where the engine runs, from half a minute after its first start."""
        running = np.flatnonzero(self.log.running)
        begin = self.log.time_s[running[0]] if running.size else np.inf
        return np.asarray(self.log.running & (self.log.time_s > begin + 30.0))


def _middle(read: LogShows, where: BoolArray, values: FloatArray, unit: str, decimals: int = 1) -> Seen | None:
    kept = where & np.isfinite(values)
    if not kept.any():
        return None
    return Seen(float(np.median(values[kept])), unit, float(read.log.time_s[kept][0]), decimals)


def _cold_soaked(read: LogShows, _: CardLine) -> Seen | None:
    """Coolant minus charge temperature at key-on; `None` if the engine was started warm, when they rightly differ."""
    coolant = read.log.coolant_k[read.key_on & np.isfinite(read.log.coolant_k)]
    if not coolant.size or np.median(coolant) > WARM_START_K:
        return None
    return _middle(read, read.key_on, read.log.coolant_k - read.log.charge_k, "K")


def _lowest(read: LogShows, where: BoolArray, values: FloatArray, unit: str) -> Seen | None:
    kept = np.flatnonzero(where & np.isfinite(values))
    if not kept.size:
        return None
    at = kept[values[kept].argmin()]
    return Seen(float(values[at]), unit, float(read.log.time_s[at]), danger="low")


def _leaner(seen: Seen | None) -> Seen | None:
    return seen and replace(seen, danger="high")


def _volts_charging(read: LogShows, line: CardLine) -> Seen | None:
    kept = np.flatnonzero(read.charging & np.isfinite(read.log.battery_v))
    if not kept.size:
        return None
    volts = read.log.battery_v[kept]
    # Switching a consumer on dips the voltage for a moment, so the lowest 1 % is ignored; the highest is not smoothed.
    low, high = float(np.quantile(volts, 0.01)), float(volts.max())
    outside = volts > (high if line.high is None else line.high)
    if not outside.any() and line.low is not None and low < line.low:
        outside = volts < line.low
    # The time is that of the first crossing of a limit; if none was crossed, that of the highest voltage.
    when = outside.argmax() if outside.any() else volts.argmax()
    return Seen(low, "V", float(read.log.time_s[kept[when]]), highest=high, danger="low")


_LOOK: dict[tuple[str, str], Callable[[LogShows, CardLine], Seen | None]] = {
    ("key_on", "map"): lambda read, _: _middle(read, read.key_on, read.log.manifold_pa / 1e3, "kPa"),
    ("key_on", "cold_soaked"): _cold_soaked,
    ("key_on", "battery_at_rest"): lambda read, _: _middle(read, read.key_on, read.log.battery_v, "V"),
    ("cranking", "battery"): lambda read, _: _lowest(read, read.cranking, read.log.battery_v, "V"),
    ("idle", "map"): lambda read, _: _middle(read, read.idle, read.log.manifold_pa / 1e3, "kPa"),
    ("idle", "pulse"): lambda read, _: _middle(read, read.idle, 1e3 * read.pulse_s, "ms", 2),
    ("idle", "duty"): lambda read, _: _middle(read, read.idle, 100.0 * read.pulse_s / read.window_s, "%"),
    ("idle", "lambda"): lambda read, _: _leaner(_middle(read, read.idle, read.mixture, "", 2)),
    ("charging", "battery"): _volts_charging,
    ("charging", "overvoltage"): _volts_charging,
}
_OPEN = {("idle", "map"): 5.0, ("idle", "pulse"): 0.25, ("idle", "duty"): 0.25}
"""Lines for which the card gives no band: how far from the predicted value still agrees, in kPa or as a share."""


def score(card: Card, read: LogShows) -> tuple[Scored, ...]:
    """Compare every line of the card that a log can show, in the card's order."""
    found = []
    for part in card.parts:
        for line in part.lines:
            look = _LOOK.get((part.key, line.key))
            if look is not None:
                found.append(
                    _scored(f"{part.title.split(':')[0]}: {line.words}", (part.key, line.key), line, look(read, line))
                )
    return tuple(found)


def _scored(name: str, key: tuple[str, str], line: CardLine, seen: Seen | None) -> Scored:
    if seen is None:
        return Scored(name, line.expect, "not in the log", None, None)
    return Scored(name, line.expect, seen.words, _within(key, line, seen), seen.at_s)


def _within(key: tuple[str, str], line: CardLine, seen: Seen) -> bool | None:
    highest = seen.value if seen.highest is None else seen.highest
    if line.low is None and line.high is None:
        if line.value is None or key not in _OPEN:
            return None
        reach = _OPEN[key] if line.unit == "kPa" else _OPEN[key] * abs(line.value)
        return abs(seen.value - line.value) <= reach
    above = line.low is None or key == ("charging", "overvoltage") or seen.value >= line.low
    return above and (line.high is None or highest <= line.high)
