"""The result of a run: arrays in SI, findings in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from basemap.model.band import Band
from basemap.model.demand import FuelDemand
from basemap.model.finding import Finding, HowFar, NotJudged, Severity, Verdict
from basemap.model.further_table import FurtherResult
from basemap.model.installation import FloatArray
from basemap.model.settings import InForce
from basemap.model.table_result import LAMBDA_CASES, Point, TableResult

if TYPE_CHECKING:
    import pandas as pd

    from basemap.model.job import Job
    from basemap.model.sensor import SensorResult


@dataclass(frozen=True)
class Setting:
    """A setting to enter in the target's ECU.

    `old` and `enter` are numbers in `unit`; a setting with several points has tuples over `battery_v` or `open_ms`.
    `enter` is `None` if the ECU cannot be told (`in_force` is then the value that it keeps), and `old` is `None` if it
    is unknown. `exact` is the number to enter if the field could hold it, and `None` if it can; the cells make up the
    difference. `guessed` says that `enter` is a guess rather than data of the fitted part. `old_assumed` says that the
    donor's setting is not stated: `old` is then the true value of its hardware.
    """

    name: str
    unit: str
    old: float | tuple[float, ...] | None
    enter: float | tuple[float, ...] | None
    basis: str
    in_force: float | tuple[float, ...] | None = None
    battery_v: tuple[float, ...] = ()
    exact: float | tuple[float, ...] | None = None
    open_ms: tuple[float, ...] = ()
    old_assumed: bool = False
    guessed: bool = False

    @property
    def words(self) -> str:
        """Its name in words."""
        return self.name.replace("_", " ")

    @property
    def points(self) -> tuple[str, str, tuple[float, ...]]:
        """Name, unit and points of the axis of a list; no points if the setting is one number."""
        return ("time open", "ms", self.open_ms) if self.open_ms else ("battery", "V", self.battery_v)


@dataclass(frozen=True)
class VoltageSweep:
    """λ actual / λ intended over battery voltage, new table with the settings to enter.

    Parameters
    ----------
    battery_v
        Shape (n,).
    places
        Name of each place (idle, cruise, wide open) → (rpm, load Pa, ratio with shape (n,)).
    leanest, richest
        Extremes over the reachable cells, shape (n,).
    """

    battery_v: FloatArray
    places: Mapping[str, tuple[float, float, FloatArray]]
    leanest: FloatArray
    richest: FloatArray


@dataclass(frozen=True)
class TemperatureSweep:
    """λ actual / λ intended over the charge temperature, new table with the settings to enter.

    Parameters
    ----------
    charge_k
        The coldest, the stated and the hottest, rising, shape (n,).
    places
        Name of each place (idle, cruise, wide open) → (rpm, load Pa, ratio with shape (n,)).
    leanest, richest
        Extremes over the reachable cells, shape (n,).
    coldest
        In every cell at the coldest charge, shape (loads, speeds).
    """

    charge_k: FloatArray
    places: Mapping[str, tuple[float, float, FloatArray]]
    leanest: FloatArray
    richest: FloatArray
    coldest: FloatArray


@dataclass(frozen=True)
class Computed:
    """The numbers of a job, before any rule has judged them.

    `in_force` holds the settings of either controller, worked out once for everything that asks for them.
    `cancelled` names the inputs that the job leaves out because they cancel; `sensors` are those that the job states.
    `without_effect` names settings that the job states and that do nothing in it.
    `on_donor_axes` is the same job with the target's table on the donor's axes, if it has axes of its own: findings
    about the donor's table are about its own cells.
    """

    job: Job
    table: TableResult
    settings: tuple[Setting, ...]
    sweep: VoltageSweep
    cancelled: tuple[str, ...]
    in_force: InForce = field(kw_only=True)
    temperature_sweep: TemperatureSweep = field(kw_only=True)
    fuel_demand: FuelDemand = field(kw_only=True)
    sensors: tuple[SensorResult, ...] = field(default=(), kw_only=True)
    further_tables: tuple[FurtherResult, ...] = field(default=(), kw_only=True)
    on_donor_axes: Computed | None = field(default=None, kw_only=True)
    without_effect: tuple[str, ...] = field(default=(), kw_only=True)


@dataclass(frozen=True)
class Result(Computed):
    """The answer to a job.

    Parameters
    ----------
    verdict
        What to do with the donor's map.
    how_far
        How far to go with the new table, and why: the number behind it, with its cell.
    lean_ends
        Lean end of the band, λ over the intended, ``at load`` (where it is leanest) and ``light load``; applied
        evidence and `richer_at_load` counted.
    """

    verdict: Verdict
    findings: tuple[Finding, ...]
    not_judged: tuple[NotJudged, ...]
    accepted: tuple[str, ...]
    limits: tuple[str, ...]
    band: Band
    how_far: HowFar
    how_far_because: str
    lean_ends: Mapping[str, Point | None]

    @property
    def stops(self) -> tuple[Finding, ...]:
        """Stops that nothing has met or accepted."""
        return tuple(f for f in self.findings if f.severity is Severity.STOP and not f.accepted)

    def frame(self, which: str = "new") -> pd.DataFrame:
        """A table as a DataFrame, index load in the unit shown, columns rpm.

        `which` is a field of `TableResult` (``old``, ``new``, ``duty`` …) or one of the four λ outcomes.
        """
        import pandas as pd

        data = self.table.lambda_ratio.get(which) if which in LAMBDA_CASES else getattr(self.table, which)
        index = pd.Index(self.job.target.shown.load, name=f"load, {self.job.target.shown.load_unit}")
        return pd.DataFrame(data, index=index, columns=pd.Index(self.job.rpm, name="rpm"))
