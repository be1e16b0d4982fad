"""Random engines that breathe plausibly, some with switching cams or boost; the package is not used.

The engines vary more than real ones, so that a rule that finds nothing here finds nothing on a real map either. The
ranges are common practice, no source: volumetric efficiency wide open 0.72 to 1.02, a switching cam 5 to 18 %.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

Step = Callable[[float, float], float]
"""A factor on the volumetric efficiency at a speed (rev/min) and a manifold pressure (kPa)."""


@dataclass(frozen=True)
class RandomBreathing:
    """Volumetric efficiency over speed and manifold pressure: a hump, pipe waves, residual gas and steps."""

    base: float
    gain: float
    peak_rpm: float
    width_rpm: float
    ripple: float
    ripple_rpm: float
    residual: float
    fade_kpa: float
    steps: tuple[Step, ...]

    def ve(self, rpm: float, kpa: float) -> float:
        """Volumetric efficiency, referred to the manifold."""
        hump = self.base + self.gain * math.exp(-(((rpm - self.peak_rpm) / self.width_rpm) ** 2))
        pipes = 1.0 + self.ripple * math.cos(2.0 * math.pi * rpm / self.ripple_rpm)
        kept = 1.0 - self.residual * math.exp(-(kpa - 20.0) / self.fade_kpa)
        return hump * pipes * kept * math.prod(step(rpm, kpa) for step in self.steps)


def random_breathing(rng: random.Random, rev_limit: float, *, boosted: bool) -> RandomBreathing:
    """A random engine: one in four has a switching cam, and a boosted one changes where boost begins."""
    steps: list[Step] = []
    if rng.random() < 0.25:
        steps.append(cam_switch(rng, rev_limit))
    if boosted:
        steps.append(onset_of_boost(rng, rev_limit))
    base = rng.uniform(0.58, 0.78)
    return RandomBreathing(
        base=base,
        gain=rng.uniform(0.84, 0.98) - base,
        peak_rpm=rev_limit * rng.uniform(0.45, 0.85),
        width_rpm=rev_limit * rng.uniform(0.3, 0.6),
        ripple=rng.uniform(0.0, 0.03),
        ripple_rpm=rev_limit * rng.uniform(0.25, 0.6),
        residual=rng.uniform(0.15, 0.42),
        fade_kpa=rng.uniform(18.0, 40.0),
        steps=tuple(steps),
    )


def cam_switch(rng: random.Random, rev_limit: float) -> Step:
    """A cam that switches at one speed, at every load or above one, at once or over some hundred rev/min."""
    at, size = rev_limit * rng.uniform(0.4, 0.8), rng.choice([-0.06, 1.0, 1.0]) * rng.uniform(0.05, 0.18)
    width, from_kpa = rng.choice([1.0, 150.0, 400.0]), rng.choice([0.0, 0.0, 45.0, 60.0, 80.0])
    return lambda rpm, kpa: 1.0 + size * sigmoid((rpm - at) / width) if kpa >= from_kpa else 1.0


def onset_of_boost(rng: random.Random, rev_limit: float) -> Step:
    """The effect of boost besides its pressure: above the barometer, from the speed at which the boost builds up."""
    size, wide = rng.uniform(-0.10, 0.10), rng.choice([2.0, 8.0, 25.0])
    comes = rev_limit * rng.uniform(0.25, 0.5)
    return lambda rpm, kpa: 1.0 + size * sigmoid((kpa - 105.0) / wide) * sigmoid((rpm - comes) / 200.0)


def sigmoid(x: float) -> float:
    """The logistic function, from 0 to 1, without overflow."""
    return 0.5 * (1.0 + math.tanh(0.5 * x))


def random_speeds(rng: random.Random, rev_limit: float, count: int | None = None) -> list[int]:
    """Speeds of a table, 6 to 20, evenly spaced or closer at low speed; the last is at or just above the rev limit."""
    count = count or rng.choice([6, 8, 10, 12, 16, 16, 20])
    first = rng.choice([500, 600, 700, 800, 1000])
    return _spread(first, math.ceil(rev_limit / 100) * 100, count, rng.choice([1.0, 1.0, 1.4, 1.7]), 50)


def random_loads_kpa(rng: random.Random, top: float, count: int | None = None) -> list[float]:
    """Loads of a table, kPa, 5 to 20, evenly spaced or closer at either end."""
    count = count or rng.choice([5, 6, 8, 10, 12, 16, 16, 20])
    first = rng.choice([15, 20, 25, 30])
    return [float(point) for point in _spread(first, round(top), count, rng.choice([0.75, 1.0, 1.0, 1.3]), 1)]


def _spread(first: int, last: int, count: int, power: float, step: int) -> list[int]:
    shares = [(index / (count - 1)) ** power for index in range(count)]
    return sorted({first, last, *(round((first + (last - first) * share) / step) * step for share in shares[1:-1])})
