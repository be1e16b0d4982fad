"""The result of `basemap learn`: what drives taught."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from basemap.model.band import LeanEnd
from basemap.model.drive import DriveLog, Event, LogColumn, Used
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.taught import Hold


@dataclass(frozen=True)
class Fault:
    """A fault that would explain the drive, or none.

    `weight` is the logarithm of how many times better the fault predicts the drive than no fault does. It is
    overconfident, and not a probability.
    """

    name: str
    weight: float
    says: str


@dataclass(frozen=True)
class Scored:
    """A line of the first-start card against the log; `within` is `None` if the log does not show it."""

    line: str
    predicted: str
    seen: str
    within: bool | None
    at_s: float | None


@dataclass(frozen=True)
class Formula:
    """The controller's own formula as the logged pulses show it.

    Parameters
    ----------
    factor, factor_standard
        κ relative to the settings in force, and its standard uncertainty.
    dead_time_ms, dead_time_standard_ms
        The dead time that it adds at `battery_v`.
    per_volt_ms, per_volt_standard_ms
        Change of the dead time per volt; `None` if the battery voltage hardly changed.
    told_ms, told_per_volt_ms
        The same by the settings.
    confirms
        Whether the factor is within the range assumed for any ECU, and the dead time is the one that it was told.
    """

    factor: float
    factor_standard: float
    dead_time_ms: float
    dead_time_standard_ms: float
    battery_v: float
    per_volt_ms: float | None
    per_volt_standard_ms: float | None
    told_ms: float
    told_per_volt_ms: float
    confirms: bool


@dataclass(frozen=True)
class InputNow:
    """An uncertain input after the drive, in its unit: its difference from the job, with its uncertainty."""

    name: str
    unit: str
    off: float
    standard_before: float
    standard_after: float


@dataclass(frozen=True)
class Next:
    """A point to drive: rev/min, load in the unit shown, and the share of the variance that goes away."""

    rpm: float
    load: float
    narrows: float


@dataclass(frozen=True)
class LearntTable:
    """The table before and after, every array of shape (loads, speeds), lowest load first.

    Parameters
    ----------
    before, new
        In the unit shown; `new` as it would be stored.
    mean_before, mean_after
        ln of λ over the intended, of the table that was loaded and of the new one, by the belief after the drive.
    standard_before, standard_after
        Standard uncertainty of ln λ before and after the drive.
    visited
        Cells that a stretch of the drive visits.
    support
        How far the visited points determine a cell, 0 to 1.
    lean_at_load
        How lean the leanest cell at load of the new table may still be; `None` if no cell is at load.
    """

    before: FloatArray
    new: FloatArray
    change_percent: FloatArray
    mean_before: FloatArray
    mean_after: FloatArray
    standard_before: FloatArray
    standard_after: FloatArray
    visited: BoolArray
    support: FloatArray
    lean_at_load: LeanEnd | None = None


@dataclass(frozen=True)
class Trace:
    """Expected and seen λ along the drives, one value a stretch, with the log it is of."""

    log: tuple[int, ...]
    at_s: FloatArray
    expected: FloatArray
    corrected: FloatArray
    seen: FloatArray


@dataclass(frozen=True)
class Along:
    """Expected and measured λ at every moment of one log, shape (moments,); NaN where there is none.

    Parameters
    ----------
    time_s
        Rising.
    expected
        What the commanded pulse should give, by what was believed before any drive.
    seen
        As the probe read it, moved to when the gas left the cylinders.
    """

    time_s: FloatArray
    expected: FloatArray
    seen: FloatArray


@dataclass(frozen=True)
class Learnt:
    """What the logs taught.

    Parameters
    ----------
    nothing
        Why nothing was learnt of the table though the log shows what has to be known; empty if it was.
    holds
        Crossed limits and large changes; a table to load is written once all are accepted.
    proved, proved_at
        Whether the probe was proved at two points, and at which.
    columns
        What the columns of the first log are.
    along
        The logs that were read now, by their SHA-256; of those learnt from before only the steady stretches are kept.
    begun_with
        The table from before any drive, where it was not the one that adapt writes.
    """

    events: tuple[Event, ...]
    card: tuple[Scored, ...]
    faults: tuple[Fault, ...]
    used: tuple[Used, ...]
    delays: tuple[tuple[float, float | None], ...]
    logs: tuple[DriveLog, ...]
    read_as: tuple[tuple[str, ...], ...]
    table: LearntTable | None
    next_points: tuple[Next, ...]
    controller: Formula | None
    inputs: tuple[InputNow, ...]
    holds: tuple[Hold, ...]
    proved: bool
    nothing: str
    trace: Trace | None
    columns: Mapping[str, LogColumn]
    proved_at: tuple[float, ...] = ()
    along: Mapping[str, Along] = field(default_factory=dict)
    begun_with: FloatArray | None = None

    @property
    def stopped(self) -> bool:
        """Whether something still holds the new table back."""
        return bool(self.nothing) or any(not hold.accepted for hold in self.holds)
