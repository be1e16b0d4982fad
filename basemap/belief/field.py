"""The belief about how the target breathes: one Gaussian field over speed and pressure.

B(N, p) = η_target / η_donor at similar points, ln B over x = ln N and q = ln(p/p0). Where its standard deviations come
from is in ``docs/physics.md``, section *How the target breathes*.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from basemap.belief.posterior import Observed
from basemap.belief.square_root import square_root
from basemap.model.likeness import Likeness

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class FieldSpread:
    """Standard deviations of ln B, by what they vary with.

    Parameters
    ----------
    common
        s_c: of a factor on all cells.
    smooth
        s_r: of a deviation that changes smoothly with speed and pressure.
    part_load
        s_p: of a deviation in proportion to ln(p/p0), per unit of it: residual gas, overlap.
    """

    common: float
    smooth: float
    part_load: float


SPREADS = {
    Likeness.SAME_ENGINE: FieldSpread(0.020, 0.022, 0.015),
    Likeness.SAME_HEAD: FieldSpread(0.035, 0.036, 0.040),
    Likeness.ANOTHER_ENGINE: FieldSpread(0.080, 0.075, 0.130),
}
"""Wide open 3, 5 and 11 %, at 30 kPa 3.5, 7 and 19 %. The last is that of published engines, see docs/physics.md; the
others are our judgement of parts of one family."""

METER = FieldSpread(0.03, 0.0, 0.0)
"""If the ECU measures the air: the scale of its meter alone. Common practice, no source."""

SCALES = ((0.96, (0.55, 0.60)), (0.04, (0.15, 0.15)))
"""Shares of the smooth deviation's variance, and their lengths in ln N and ln(p/p0).

In simulated drives, half these lengths made cells that were not visited 1.5 times worse, and twice these lengths made
the bands too narrow.
"""


@dataclass(frozen=True)
class Points:
    """Where the field is asked for, each array of shape (n,).

    Parameters
    ----------
    speed
        x = ln N, N in rev/min.
    pressure
        q = ln(p/p0), of the target's manifold pressure over its barometer; NaN where it is not known.
    """

    speed: FloatArray
    pressure: FloatArray

    @classmethod
    def at(cls, rpm: FloatArray | float, pressure_over_barometer: FloatArray | float) -> Points:
        """Points at speeds (rev/min) and pressure ratios that broadcast, flattened row by row."""
        speeds, ratios = np.broadcast_arrays(np.asarray(rpm, np.float64), np.asarray(pressure_over_barometer))
        with np.errstate(divide="ignore", invalid="ignore"):
            return cls(np.log(speeds).ravel(), np.log(ratios.astype(np.float64)).ravel())

    @property
    def size(self) -> int:
        """How many they are."""
        return self.speed.size

    @property
    def part_load(self) -> FloatArray:
        """min(q, 0), shape (n,)."""
        return np.minimum(self.pressure, 0.0)

    def one(self, index: int) -> Points:
        """One of them."""
        return Points(self.speed[index : index + 1], self.pressure[index : index + 1])

    def only(self, chosen: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Points:
        """Some of them: a mask, or indices."""
        return Points(self.speed[chosen], self.pressure[chosen])


def covariance(spread: FieldSpread, one: Points, other: Points) -> FloatArray:
    """K: covariance of ln B between n points and m others before anything was observed, shape (n, m)."""
    apart = np.subtract.outer(one.speed, other.speed), np.subtract.outer(one.pressure, other.pressure)
    smooth = sum(
        share * np.exp(-0.5 * ((apart[0] / along) ** 2 + (apart[1] / down) ** 2)) for share, (along, down) in SCALES
    )
    part_load = np.multiply.outer(one.part_load, other.part_load)
    return np.asarray(spread.common**2 + spread.smooth**2 * smooth + spread.part_load**2 * part_load)


class Evidence(NamedTuple):
    """Observations of ln B itself.

    Parameters
    ----------
    points
        Where, m of them.
    values
        ln B as observed, shape (m,).
    noise
        Covariance of the errors of the observations, shape (m, m).
    """

    points: Points
    values: FloatArray
    noise: FloatArray


@dataclass(frozen=True)
class Field:
    """The belief in ln B, from its spread and from what was observed.

    The mean is a deviation from whatever physics says about the two engines, and so is the evidence.
    """

    spread: FieldSpread
    evidence: Evidence | None = None
    observed: Observed | None = None

    def given(self, evidence: Evidence) -> Field:
        """The belief with this evidence, instead of any that it had."""
        prior = covariance(self.spread, evidence.points, evidence.points)
        return replace(self, evidence=evidence, observed=Observed.of(evidence.values, prior + evidence.noise))

    def mean(self, points: Points) -> FloatArray:
        """Mean of ln B, shape (n,)."""
        if self.observed is None:
            return np.zeros(points.size)
        return self.observed.shift(self._with_evidence(points))

    def standard(self, points: Points) -> FloatArray:
        """Standard deviation of ln B, shape (n,); NaN where the pressure is not known."""
        return np.sqrt(np.maximum(self._variance(points), 0.0))

    def covariance(self, one: Points, other: Points) -> FloatArray:
        """Covariance of ln B between n points and m others, shape (n, m)."""
        prior = covariance(self.spread, one, other)
        if self.observed is None:
            return prior
        return np.asarray(prior - self.observed.known(self._with_evidence(one), self._with_evidence(other)))

    def factor(self, points: Points) -> FloatArray:
        """F with F·Fᵀ the covariance of the points: mean + F·(independent unit normals) is one draw; (n, rank).

        Rows are NaN where the pressure is not known.
        """
        known = np.isfinite(points.pressure) & np.isfinite(points.speed)
        found = square_root(self._columns(points.only(known)), self._variance(points.only(known)))
        factor = np.full((points.size, found.shape[1]), np.nan)
        factor[known] = found
        return factor

    def _columns(self, points: Points) -> Callable[[int], FloatArray]:
        """The covariance of n points, column by column, each of shape (n,)."""
        if self.observed is None:
            return lambda index: covariance(self.spread, points, points.one(index))[:, 0]
        observed, whitened = self.observed, self.observed.whiten(self._with_evidence(points))

        def column(index: int) -> FloatArray:
            one = points.one(index)
            known = whitened @ observed.whiten(self._with_evidence(one)).T
            return np.asarray((covariance(self.spread, points, one) - known)[:, 0])

        return column

    def _variance(self, points: Points) -> FloatArray:
        spread = self.spread
        prior = spread.common**2 + spread.smooth**2 + (spread.part_load * points.part_load) ** 2
        if self.observed is None:
            return np.asarray(prior)
        return np.asarray(prior - self.observed.known_variance(self._with_evidence(points)))

    def _with_evidence(self, points: Points) -> FloatArray:
        assert self.evidence is not None
        return covariance(self.spread, points, self.evidence.points)
