"""A drive as data: points at which the engine ran, pulses that its ECU commanded, and λ that a probe read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from basemap.model.installation import FloatArray


@dataclass(frozen=True)
class LogColumn:
    """What the user says of one column of a log.

    Parameters
    ----------
    column
        Its header.
    unit
        `None` if the file makes it clear.
    basis
        Of an air/fuel ratio: the ratio that its scale shows at λ = 1.
    dead_time_included
        Of a pulse.
    """

    column: str
    unit: str | None = None
    basis: float | None = None
    dead_time_included: bool | None = None


@dataclass(frozen=True)
class DrivePoints:
    """Points of a drive, every array of shape (n,).

    Parameters
    ----------
    rpm
        Engine speed, rev/min.
    pressure_pa
        Manifold pressure as read, Pa absolute.
    charge_k
        Charge temperature as read, K.
    battery_v
        Battery voltage as read, V.
    pulse_s
        Commanded pulse of one opening, dead time included, s.
    """

    rpm: FloatArray
    pressure_pa: FloatArray
    charge_k: FloatArray
    battery_v: FloatArray
    pulse_s: FloatArray


def stacked(points: Sequence[DrivePoints]) -> DrivePoints:
    """Points one after another along their last axis."""
    names = [one.name for one in fields(DrivePoints)]
    return DrivePoints(*(np.concatenate([getattr(part, name) for part in points], axis=-1) for name in names))


@dataclass(frozen=True)
class Chunks:
    """Steady stretches of one or more drives, one observation each; every array of shape (n,).

    Parameters
    ----------
    at_s, for_s
        Beginning in its own log, and length, s.
    points
        Means over the stretch.
    log_lambda
        Mean of ln λ as the probe read it, moved to when the gas left the cylinders.
    variance
        Of `log_lambda`, from what differs between one stretch and the next.
    log_formula
        ln of logged over commanded pulse, dead time and trim apart; NaN where none was logged, or where a trim that
        was not logged may be in it.
    """

    at_s: FloatArray
    for_s: FloatArray
    points: DrivePoints
    log_lambda: FloatArray
    variance: FloatArray
    log_formula: FloatArray

    @property
    def size(self) -> int:
        """How many there are."""
        return int(self.log_lambda.size)

    def rows(self) -> FloatArray:
        """As one array, shape (n, 10), the columns of `COLUMNS`."""
        points = [getattr(self.points, one.name) for one in fields(DrivePoints)]
        return np.column_stack([self.at_s, self.for_s, *points, self.log_lambda, self.variance, self.log_formula])

    @classmethod
    def of_rows(cls, rows: FloatArray) -> Chunks:
        """The reverse of `rows`."""
        columns = np.asarray(rows, dtype=np.float64).reshape(-1, len(COLUMNS)).T
        return cls(columns[0], columns[1], DrivePoints(*columns[2:7]), *columns[7:])


COLUMNS = (
    *("at_s", "for_s", "rpm", "pressure_pa", "charge_k", "battery_v", "pulse_s"),
    *("log_lambda", "variance", "log_formula"),
)


@dataclass(frozen=True)
class DriveLog:
    """What one log contributes.

    Parameters
    ----------
    file, sha256
        The log.
    chunks
        Its steady stretches.
    key_on_pa
        Manifold pressure before the engine turns, Pa; `None` if the log does not hold it.
    commanded
        Whether the pulses were not logged, but worked out from the table that was loaded.
    """

    file: str
    sha256: str
    chunks: Chunks
    key_on_pa: float | None = None
    commanded: bool = False


@dataclass(frozen=True)
class Event:
    """Something that a log shows at a time.

    Parameters
    ----------
    kind
        Such as ``charging voltage high``.
    at_s, for_s
        When it began, and how long it lasted altogether, s.
    value, limit, unit
        The worst value, and the limit that it is compared with.
    stop
        Whether the engine has to be stopped for it.
    says
        In words, one sentence.
    """

    kind: str
    at_s: float
    for_s: float
    value: float
    limit: float
    unit: str
    stop: bool
    says: str


@dataclass(frozen=True)
class Used:
    """The part of the logs that could be compared: seconds in all, in chunks, and left out by reason."""

    seconds: float
    compared_s: float
    chunks: int
    left_out: Mapping[str, float] = field(default_factory=dict)


def together(logs: tuple[DriveLog, ...]) -> Chunks:
    """The chunks of several logs, one after the other."""
    rows = [log.chunks.rows() for log in logs]
    return Chunks.of_rows(np.concatenate(rows) if rows else np.zeros((0, len(COLUMNS))))
