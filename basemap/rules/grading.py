"""A number against its limits: the one place that decides between a stop and a caution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray


@dataclass(frozen=True)
class Limits:
    """Where a caution and a stop begin.

    Parameters
    ----------
    caution, stop
        `None` if there is none. A value at the limit is still allowed.
    above
        Whether values above the limit are dangerous; else those below it.
    stops_at
        Whether a value exactly at the stop is a stop already.
    """

    caution: float | None = None
    stop: float | None = None
    above: bool = True
    stops_at: bool = False

    def past_caution(self, values: FloatArray) -> BoolArray:
        """Which values are beyond the caution; NaN never is."""
        if self.caution is None:
            return np.zeros(values.shape, dtype=bool)
        return np.asarray(values > self.caution if self.above else values < self.caution)

    def past_stop(self, values: FloatArray) -> BoolArray:
        """Which values are beyond the stop; NaN never is."""
        if self.stop is None:
            return np.zeros(values.shape, dtype=bool)
        past = values > self.stop if self.above else values < self.stop
        return np.asarray(past | (values == self.stop) if self.stops_at else past)


@dataclass(frozen=True)
class Grade:
    """How a number, or the worst of many, stands against its limits.

    Parameters
    ----------
    severity
        Stop or caution.
    limit
        The limit that is passed.
    value, adverse
        The central value of the worst cell, and the adverse end of its band.
    past
        Which values pass the limit, by their adverse end if not `shown`.
    cell
        Index of the worst of them.
    shown
        False if the central value is within `limit`, and only the adverse end of its band is not.
    """

    severity: Severity
    limit: float
    value: float
    adverse: float
    past: BoolArray
    cell: tuple[int, ...]
    shown: bool = True

    @property
    def count(self) -> int:
        """How many values pass the limit."""
        return int(np.count_nonzero(self.past))


def grade(values: FloatArray | float, limits: Limits, band: FloatArray | float | None = None) -> Grade | None:
    """Grade the worst of some values; `None` if all are within the limits.

    A stop needs a central value beyond its limit. If only the adverse end of the band passes it, that is a caution,
    which comes before a caution of the central value.

    Parameters
    ----------
    values
        Central values, any shape; NaN is left out.
    limits
        Caution and stop.
    band
        Expanded uncertainty (k = 2) of the logarithm of each, broadcasting to `values`; `None` if it is not known.
    """
    central = np.asarray(values, dtype=np.float64)
    adverse = central if band is None else _adverse(central, band, limits.above)
    for severity, limit, ranked, past in (
        (Severity.STOP, limits.stop, central, limits.past_stop(central)),
        (Severity.CAUTION, limits.stop, adverse, limits.past_stop(adverse)),
        (Severity.CAUTION, limits.caution, central, limits.past_caution(central)),
    ):
        if limit is not None and past.any():
            cell = worst(ranked, past, limits.above)
            shown = ranked is central
            return Grade(severity, limit, float(central[cell]), float(adverse[cell]), past, cell, shown)
    return None


def _adverse(central: FloatArray, band: FloatArray | float, above: bool) -> FloatArray:
    """The end of the band on the dangerous side; the central value where the band is not known."""
    width = np.nan_to_num(np.asarray(band, dtype=np.float64), posinf=np.inf)
    return np.asarray(central * np.exp(width if above else -width))


def worst(values: FloatArray, among: BoolArray, above: bool) -> tuple[int, ...]:
    """Index of the highest (or lowest) of the marked values; at least one must be marked."""
    ranked = np.where(among, values if above else -values, -np.inf)
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(ranked)), ranked.shape))
