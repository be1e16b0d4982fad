"""What a run found: arrays in SI, findings in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from basemap.model.belief import BreathingBelief
from basemap.model.demand import FuelDemand
from basemap.model.further_table import FurtherBand, FurtherResult
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark
from basemap.model.settings import InForce
from basemap.model.taught import Taught

if TYPE_CHECKING:
    import pandas as pd

    from basemap.model.job import Job
    from basemap.model.sensor import SensorResult

LambdaCase = Literal[
    "old_table_old_settings", "old_table_new_settings", "new_table_old_settings", "new_table_new_settings"
]
LAMBDA_CASES: tuple[LambdaCase, ...] = (
    "old_table_old_settings",
    "old_table_new_settings",
    "new_table_old_settings",
    "new_table_new_settings",
)


class Severity(StrEnum):
    """How much a finding weighs."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


class Scope(StrEnum):
    """What a stop concerns: the whole file, or a load or speed above which nothing is known."""

    FILE = "file"
    LIMIT = "limit"


class Verdict(StrEnum):
    """Whether the donor's map can be used."""

    SUITS = "suits as it is"
    ADAPT = "adapt first"
    REFUSE = "do not use"


class HowFar(StrEnum):
    """How far to go with the new table before anything has been measured on the engine."""

    LOAD = "load, watched"
    LIGHT = "light load until measured"
    IDLE = "idle only until measured"


@dataclass(frozen=True)
class Finding:
    """One result of a rule: what is wrong, how serious it is, and what to do.

    `value` and `limit` are in the unit that the message names. `cells` are (load index, speed index) pairs.
    `limit_load_pa` and `limit_rpm` say, for scope ``limit``, the highest load or speed that is known. Findings of one
    `cause` are one thing to whoever reads them.
    """

    rule: str
    severity: Severity
    message: str
    remedy: str
    source: str
    scope: Scope = Scope.FILE
    table: str | None = "fuel"
    value: float | None = None
    limit: float | None = None
    cells: tuple[tuple[int, int], ...] = ()
    accepted: bool = False
    limit_load_pa: float | None = None
    limit_rpm: float | None = None
    cause: str = ""


@dataclass(frozen=True)
class NotJudged:
    """A rule that could not be judged, and the job-file keys it misses.

    `message` says what is not known without them. Where the rule `can_stop`, nothing shows that it would not.
    """

    rule: str
    missing: tuple[str, ...]
    message: str = ""
    can_stop: bool = False


@dataclass(frozen=True)
class Setting:
    """A setting to enter in the target's ECU.

    `old` and `enter` are numbers in `unit`; for what runs over points they are tuples over `battery_v` or `open_ms`.
    `enter` is `None` where the ECU cannot be told (`in_force` is then what it keeps) and `old` is `None` where it is
    not known. `exact` is what would be entered if the field could hold it, where it cannot; the cells make up the rest.
    `guessed` says that `enter` itself is a guess, and no data of the fitted part. `old_assumed` says that nobody read
    what the donor's ECU holds: `old` is then what its hardware would be told.
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
    def points(self) -> tuple[str, str, tuple[float, ...]]:
        """What a list runs over: its name, unit and points; no points where it is one number."""
        return ("time open", "ms", self.open_ms) if self.open_ms else ("battery", "V", self.battery_v)


@dataclass(frozen=True)
class Chain:
    """One side's numbers from pulse to air, each of shape (loads, speeds) after broadcasting.

    Parameters
    ----------
    pressure_across_pa
        Δp across the injector, Pa.
    line_flow_kg_s, static_flow_kg_s
        ṁ of the flow line and fully open, one injector, kg/s.
    dead_time_s, told_dead_time_s
        τ of the hardware and of the settings, s.
    pulse_s
        Commanded pulse of one opening, dead time included, s.
    fuel_kg, air_kg
        Per cylinder and cycle, kg.
    window_s
        Time between the starts of two openings, Tc/k, s.
    """

    pressure_across_pa: FloatArray
    line_flow_kg_s: FloatArray
    static_flow_kg_s: FloatArray
    dead_time_s: FloatArray
    told_dead_time_s: FloatArray
    pulse_s: FloatArray
    fuel_kg: FloatArray
    air_kg: FloatArray
    window_s: FloatArray

    @property
    def duty(self) -> FloatArray:
        """Pulse over window; above 1 where the injector never closes."""
        return self.pulse_s / self.window_s


@dataclass(frozen=True)
class Point:
    """A λ ratio at an engine speed (rev/min) and a load in the unit shown."""

    ratio: float
    rpm: float
    load: float


@dataclass(frozen=True)
class LeanEnd:
    """How lean the mixture of some cells may be wherever it is leanest, within k = 2.

    Parameters
    ----------
    ratio
        λ over the intended that the leanest of them exceeds with a probability of 2.3 %.
    cell
        (row, column) of the one that is most likely to be as lean as that.
    """

    ratio: float
    cell: tuple[int, int]


@dataclass(frozen=True)
class Between:
    """λ of the stored table at the cells and half way between neighbouring ones, with the settings to enter.

    Parameters
    ----------
    rpm, load_pa, load
        Axes with the points half way between: rev/min, Pa, and the load in the unit shown. Every other point is a
        cell's own.
    lambda_ratio
        λ actual / λ intended, shape (loads, speeds) of these axes; +∞ where no fuel is delivered, NaN where a
        neighbour is empty or cannot be reached.
    """

    rpm: FloatArray
    load_pa: FloatArray
    load: FloatArray
    lambda_ratio: FloatArray

    @property
    def only_between(self) -> FloatArray:
        """`lambda_ratio` with NaN at the cells themselves."""
        ratio = self.lambda_ratio.copy()
        ratio[::2, ::2] = float("nan")
        return ratio

    @property
    def extremes(self) -> tuple[Point, Point] | None:
        """Leanest and richest point between the cells; `None` where there is none."""
        import numpy as np

        ratio = self.only_between
        known = ~np.isnan(ratio)
        if not known.any():
            return None

        def at(index: int) -> Point:
            row, column = np.unravel_index(index, ratio.shape)
            return Point(float(ratio[row, column]), float(self.rpm[column]), float(self.load[row]))

        lean, rich = np.where(known, ratio, -np.inf).argmax(), np.where(known, ratio, np.inf).argmin()
        return at(int(lean)), at(int(rich))


@dataclass(frozen=True)
class CommonFactor:
    """A factor on all cells that makes them fit the table, and the number to enter that takes it back.

    `factor` is what remains of a cell once `enter`, in `unit`, stands for the setting instead of what
    `Computed.settings` says.
    """

    factor: float
    setting: str
    unit: str
    enter: float


@dataclass(frozen=True)
class Richer:
    """The new table with more fuel at load than intended; arrays of shape (loads, speeds).

    Parameters
    ----------
    share
        Extra fuel, a share of what is intended.
    new, stored
        Cells in the unit shown, unrounded and as stored.
    pulse_s, duty
        Of the target with these cells.
    """

    share: FloatArray
    new: FloatArray
    stored: FloatArray
    pulse_s: FloatArray
    duty: FloatArray


@dataclass(frozen=True)
class TableResult:
    """One table, adapted. Arrays have shape (loads, speeds), lowest load first; NaN stands for what cannot be.

    Parameters
    ----------
    old, new, stored
        In the unit shown (``%``, ``ms``), which differs where the quantity does. `new` is unrounded and unclipped;
        `stored` is what the table makes of it.
    lambda_ratio
        λ actual / λ intended on the target for the four outcomes; +∞ where no fuel is delivered.
    stored_lambda_ratio
        The same for the stored table with the settings to enter.
    donor, target
        The donor as it was tuned; the target with the new table and the settings to enter.
    implied_ve
        Volumetric efficiency that the donor's cells imply, referred to the manifold, fraction.
    reachable, visited
        Cells the target can reach; cells for which the donor has data.
    between
        The stored table half way between its cells.
    common_factor
        Offered if cells do not fit the table.
    keeps_quantity
        Whether old and new cells are the same quantity, so that a change in per cent means something.
    breathing
        How the target is believed to breathe, and what the new cells hold of it.
    richer
        The cells to load where the job wants them richer at load.
    taught
        What drives taught about the cells, which the new ones hold; `None` before any drive.
    lambda_table_left
        λ actual / λ intended of the new table with the new settings where the ECU's lambda table is left as it was;
        `None` where that is as intended, or not known for another box.
    """

    name: str
    old: FloatArray
    new: FloatArray
    stored: FloatArray
    lambda_ratio: Mapping[LambdaCase, FloatArray]
    stored_lambda_ratio: FloatArray
    donor: Chain
    target: Chain
    implied_ve: FloatArray
    reachable: BoolArray
    visited: BoolArray
    marks: Mapping[Mark, BoolArray]
    between: Between
    breathing: BreathingBelief
    common_factor: CommonFactor | None = None
    keeps_quantity: bool = True
    lambda_table_left: FloatArray | None = None
    richer: Richer | None = None
    taught: Taught | None = None

    @property
    def to_load(self) -> FloatArray:
        """What the grid file holds: the stored cells, richer at load where the job asks for that."""
        return self.stored if self.richer is None else self.richer.stored

    @property
    def breathing_factor(self) -> FloatArray | None:
        """Factor on the air of every cell for how the target breathes; `None` where nothing is applied."""
        return self.breathing.factor

    @property
    def taught_factor(self) -> FloatArray | None:
        """Factor on the fuel of every cell by what drives taught; `None` before any drive."""
        return None if self.taught is None else self.taught.factor

    @property
    def lambda_expected(self) -> FloatArray:
        """λ that is expected of the new table over the arithmetic one, shape (loads, speeds)."""
        import numpy as np

        return self.breathing.lambda_expected if self.taught is None else np.asarray(np.exp(self.taught.left))

    @property
    def pulse_s(self) -> FloatArray:
        """Pulse of the target with the new table and the settings to enter, s."""
        return self.target.pulse_s

    @property
    def duty(self) -> FloatArray:
        """Duty of the target with the new table and the settings to enter, a fraction."""
        return self.target.duty

    @property
    def expected_extremes(self) -> tuple[FloatArray, FloatArray]:
        """Leanest and richest λ ratio that is expected, new settings entered: of the cells unrounded and as stored."""
        import numpy as np

        expected = self.lambda_expected
        new, kept = self.lambda_ratio["new_table_new_settings"] * expected, self.stored_lambda_ratio * expected
        return np.fmax(new, kept), np.fmin(new, kept)

    @property
    def change_percent(self) -> FloatArray:
        """New against old, %; NaN where the old cell is 0 or the new one cannot be, or is another quantity."""
        import numpy as np

        if not self.keeps_quantity:
            return np.full(self.new.shape, np.nan)

        with np.errstate(divide="ignore", invalid="ignore"):
            change = 100.0 * (self.new / self.old - 1.0)
        return np.where(np.isfinite(change), change, np.nan)


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
class Share:
    """One uncertain input in the budget of λ after adapting.

    Parameters
    ----------
    name, keys
        In words, and the job-file keys it stands for.
    standard, unit
        Standard uncertainty of the input, in `unit`.
    assumed
        Whether its spread is a default of the program.
    places
        Place (idle, cruise, wide open) → share of the variance there, 0…1.
    after
        Place → the expanded band there had it been measured; empty where it cannot be.
    slopes
        Place, and ``worst cell`` → ∂ln λ/∂x there, relative λ per `unit`.
    measured_to, worst_after
        Standard uncertainty that a careful measurement leaves, in `unit`, and the expanded band of the worst
        reachable cell then; `None` where the input cannot be measured.
    """

    name: str
    keys: tuple[str, ...]
    standard: float
    unit: str
    assumed: bool
    places: Mapping[str, float]
    after: Mapping[str, float]
    slopes: Mapping[str, float]
    measured_to: float | None
    worst_after: float | None


@dataclass(frozen=True)
class Band:
    """How sure λ is: expanded uncertainties (k = 2) of ln λ, shape (loads, speeds); λ's own ends are exp(±U) times it.

    Parameters
    ----------
    adapted, as_loaded
        Of the new table with the settings to enter, and of the donor's table with its settings left in.
    of_parts
        `adapted` of what can be measured on parts: all but how the target breathes.
    simulated
        Cells whose band comes from Monte Carlo, because their pulse is too short for first order.
    worst, worst_cell
        Largest band of a reachable cell and its (row, column); NaN and `None` where no cell has one.
    shares
        The inputs, most useful to measure first.
    advice
        What to measure first, at load and at idle.
    first
        Place → the input whose measurement would help most there; none where only the engine can settle it.
    measurable
        Inputs that can be measured on the bench → what each alone makes of the band, shape (loads, speeds).
    samples
        Worlds drawn by Monte Carlo; 0 where none was needed or asked for.
    leaner_limit, leaner
        A λ ratio, and the probability of being leaner than it, shape (loads, speeds); NaN where nothing was drawn.
    further
        The same of the further tables of pulses, by name.
    lean_at_load
        The lean end of all cells at load together, nothing written richer; `None` where no mixture is known there.
    """

    adapted: FloatArray
    of_parts: FloatArray
    as_loaded: FloatArray
    simulated: BoolArray
    worst: float
    worst_cell: tuple[int, int] | None
    shares: tuple[Share, ...]
    advice: str
    samples: int
    leaner_limit: float
    leaner: FloatArray
    further: Mapping[str, FurtherBand] = field(default_factory=dict)
    first: Mapping[str, str] = field(default_factory=dict)
    measurable: Mapping[str, FloatArray] = field(default_factory=dict)
    lean_at_load: LeanEnd | None = None


@dataclass(frozen=True)
class Computed:
    """The numbers of a job, before any rule has judged them.

    `in_force` holds the settings of either controller, worked out once for everything that asks for them.
    `cancelled` names the inputs that the job leaves out because they cancel; `sensors` are those that the job states.
    `without_effect` names settings that the job states and that do nothing in it.
    `on_donor_axes` is the same job with the target's table on the donor's axes, where it has others: what is said of
    the donor's table is said of its own cells.
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
