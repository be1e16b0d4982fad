"""A job: two sides, and where every number came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from basemap.constants import R_DRY_AIR
from basemap.model.axes import Interpolation, LoadAxis, interpolation, same_points
from basemap.model.further_table import FurtherTable
from basemap.model.installation import DonorState, FloatArray, Installation, Told
from basemap.model.likeness import Breathing, Likeness
from basemap.model.sensor import SensorScale
from basemap.model.table import FuelTable, Shown, Storage, at_similar_points, cell_for_cell, same_axes

if TYPE_CHECKING:
    from basemap.model.drive import DriveLog, LogColumn

SideName = Literal["donor", "target"]
SIDES: tuple[SideName, SideName] = ("donor", "target")


@dataclass(frozen=True)
class Input:
    """One quantity as the user wrote it.

    Parameters
    ----------
    key
        Dotted job-file key, such as ``donor.injectors.static_flow``.
    text
        As written, such as ``280 cc/min ± 3 %``.
    value
        SI.
    shown, unit
        The number and unit as written.
    half_width
        Of the spread, SI; `None` if none was given. With `k2` it is an expanded uncertainty (k = 2), else the
        half-width of a rectangle (GUM 4.3.7).
    origin
        ``declared``, ``default``, ``assumed``, or the section's ``basis`` (measured, printed, told, guessed).
    """

    key: str
    text: str
    value: float
    shown: float
    unit: str
    half_width: float | None = None
    k2: bool = False
    origin: str = "declared"


@dataclass(frozen=True)
class Assumption:
    """A value that the program put in because the job does not know it.

    `unknown` says that the user wrote "unknown" (a caution), rather than leaving out what has a stated default.
    """

    key: str
    value: str
    half_width: str | None
    why: str
    moves: str = ""
    unknown: bool = False


@dataclass(frozen=True)
class Source:
    """A file that was read, with its SHA-256."""

    file: str
    sha256: str


@dataclass(frozen=True)
class Side:
    """One side of a job: its hardware, what its ECU was told, its table and its sensors.

    Parameters
    ----------
    shown
        Units and decimals in which the table is shown.
    sensors
        Scales by name: what the donor's map holds, or what the makers of the target's fitted parts state.
    flow_known, fuel_known, dead_time_known
        False if the job leaves it out because it cancels: `hardware` then has a stand-in that no result may show.
    """

    hardware: Installation
    told: Told
    table: FuelTable
    shown: Shown
    sensors: Mapping[str, SensorScale] = field(default_factory=dict)
    flow_known: bool = True
    fuel_known: bool = True
    dead_time_known: bool = True


@dataclass(frozen=True)
class Job:
    """Everything a run needs, in SI, immutable.

    Parameters
    ----------
    cannot_be_told
        Settings that keep the donor's value: ``displacement``, ``static_flow``, ``stoichiometric``,
        ``openings_per_cycle``, ``dead_time``.
    declared
        Keys that the job states, so that a rule can tell a default from a fact, including those that the target takes
        from the donor.
    copied
        Keys of the target that are stated only for the donor: they mean the same parts and are no second statement.
    same_as_donor
        Sections of the target that mean the donor's own parts, so that their uncertainty counts once.
    layout
        How the donor's file is written, opaque to the model; the reader of the file writes the new table with it.
    further_tables
        The further tables, in the order of the job.
    breathing
        How the target is taken to breathe; the further tables breathe the same.
    breathing_by_default
        Whether the program chose that, from what the job states, because the job does not choose.
    breathing_both_ways
        Whether evidence of how the target breathes may take fuel away as well.
    likeness
        What the two engines share.
    richer_at_load
        By how much cells at load are written richer than intended, a share of the fuel.
    cylinder_trims
        Whether the donor's map holds trims per cylinder; `None` if the job does not say.
    lambda_follows_fuel
        Whether the donor's intended lambda is in an air/fuel scale that means the fuel in use.
    setting_fields
        What fields of the target's ECU can hold, by the name of the setting, in the unit in which it is entered.
    log_columns
        What the columns of a log are, by channel.
    probe_proved
        Whether the wideband was proved at two points.
    drives
        What was learnt from before.
    loaded
        The table that is in the target's ECU, where a log has been learnt from, in the unit shown.
    crossed
        Limits that the last drive crossed.
    begun_with
        The table that was in the target's ECU before any drive, in the unit shown; `None` if it was the new one.
    """

    title: str
    donor: Side
    target: Side
    storage: Storage = field(default_factory=Storage)
    cannot_be_told: frozenset[str] = frozenset()
    donor_state: DonorState = DonorState.UNKNOWN
    declared: frozenset[str] = frozenset()
    copied: frozenset[str] = frozenset()
    inputs: Mapping[str, Input] = field(default_factory=dict)
    assumed: tuple[Assumption, ...] = ()
    sources: tuple[Source, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
    stem: str = "job"
    same_as_donor: frozenset[str] = frozenset()
    layout: object | None = None
    further_tables: tuple[FurtherTable, ...] = ()
    breathing: Breathing = Breathing.SAME
    breathing_by_default: bool = False
    breathing_both_ways: bool = False
    likeness: Likeness = Likeness.ANOTHER_ENGINE
    richer_at_load: float = 0.0
    cylinder_trims: bool | None = None
    setting_fields: Mapping[str, Storage] = field(default_factory=dict)
    log_columns: Mapping[str, LogColumn] = field(default_factory=dict)
    probe_proved: bool = False
    drives: tuple[DriveLog, ...] = ()
    loaded: FloatArray | None = None
    crossed: tuple[str, ...] = ()
    begun_with: FloatArray | None = None
    lambda_follows_fuel: bool = False

    def side(self, name: SideName) -> Side:
        """The donor or the target, by name: where both are treated alike."""
        return self.donor if name == "donor" else self.target

    def with_side(self, name: SideName, **changes: Any) -> Job:
        """The same job with fields of one side changed."""
        side = replace(self.side(name), **changes)
        return replace(self, donor=side) if name == "donor" else replace(self, target=side)

    @property
    def rpm(self) -> FloatArray:
        """Engine speeds of the target's table, rev/min."""
        return self.target.table.rpm

    @cached_property
    def cell_for_cell(self) -> bool:
        """Whether every cell of the target's table is at the point similar to that of the donor's cell in its place."""
        return cell_for_cell(self.donor.table, self.target.table)

    @property
    def one_pressure_axis(self) -> bool:
        """Whether both tables have the same speeds and manifold pressures, cell for cell."""
        donor, target = self.donor.table, self.target.table
        rows_have = donor.points.axis not in (LoadAxis.AIR_MASS, LoadAxis.THROTTLE)
        pressures = rows_have and same_points(donor.load_pa, target.load_pa)
        return pressures and self.cell_for_cell and self.keeps_axes

    @cached_property
    def keeps_axes(self) -> bool:
        """Whether the target's ECU would use the donor's table, loaded untouched, cell for cell."""
        return same_axes(self.donor.table, self.target.table)

    @property
    def donor_charge(self) -> FloatArray:
        """Charge of the donor's cylinder at the similar points of the target's rows: Pa, or kg on an air-mass axis."""
        donor, target = self.donor.table.points, self.target.table.points
        if donor.axis is LoadAxis.THROTTLE:
            return target.charge
        return np.asarray(target.similar * (donor.charge[-1] / donor.similar[-1]))

    @property
    def donor_load_pa(self) -> FloatArray:
        """Manifold pressure of the donor at the similar points of the target's rows, Pa."""
        donor = self.donor.table
        return np.asarray(self.target.table.points.similar * (donor.load_pa[-1] / donor.points.similar[-1]))

    @property
    def keeps_donor_grid(self) -> bool:
        """Whether the target's table has the donor's axes, as shown and as they are looked up."""
        shown = self.donor.shown
        written = shown.load_unit == self.target.shown.load_unit and np.array_equal(shown.load, self.target.shown.load)
        return written and self.cell_for_cell and self.keeps_axes

    def on_donor_axes(self) -> Job:
        """The same job with the target's table on the donor's own axes; the further tables are left out."""
        donor = self.donor.table
        conditions, volume = self.target.hardware.conditions, self.target.hardware.engine.cylinder_volume_m3
        points, similar = donor.points, donor.points.similar
        load, charge = similar, similar
        if points.axis is LoadAxis.PRESSURE_RATIO:
            load = charge = similar * conditions.barometer_pa
        elif points.axis is LoadAxis.THROTTLE:
            load, charge = similar * conditions.barometer_pa, points.charge
        elif points.axis is LoadAxis.AIR_MASS:
            load, charge = similar * R_DRY_AIR * conditions.charge_temperature_k, similar * volume
        table = replace(
            self.target.table,
            values=np.full_like(donor.values, np.nan),
            rpm=donor.rpm,
            load_pa=load,
            own_points=replace(points, charge=charge),
            own_pressure_pa=None,
            intended_lambda=donor.intended_lambda,
        )
        return replace(
            self,
            further_tables=(),
            target=replace(self.target, table=table, shown=self.donor.shown, sensors={}),
            donor=replace(self.donor, sensors={}),
        )

    @cached_property
    def at_similar_points(self) -> Interpolation:
        """Where the target's cells lie in the donor's table: at its speed and at the similar load."""
        return at_similar_points(self.donor.table, self.target.table)

    def as_looked_up(self) -> Interpolation:
        """Where the target's cells lie in the donor's table, where its ECU looks them up in that."""
        donor, target = self.donor.table, self.target.table
        return interpolation((donor.points.lookup, target.points.lookup), (donor.rpm, target.rpm))

    @cached_property
    def lambda_left(self) -> FloatArray:
        """The lambda that the target's ECU commands in its cells where its lambda table is left as the donor's was."""
        donor = self.donor.table.intended_lambda
        left = donor if self.keeps_axes else self.as_looked_up().of(donor)
        if self.lambda_follows_fuel:
            left = left * (self.donor.hardware.fuel.stoichiometric / self.target.hardware.fuel.stoichiometric)
        return np.asarray(left)

    @cached_property
    def lambda_differs(self) -> bool:
        """Whether the target's intended lambda differs from that of a lambda table left as it was."""
        return not same_points(self.lambda_left, self.target.table.intended_lambda)

    @property
    def needs_lambda_table(self) -> bool:
        """Whether the new table gives the intended lambda only with another lambda table in the ECU."""
        return not self.target.table.inside.intended_lambda and (self.lambda_differs or self.other_quantity)

    @property
    def other_quantity(self) -> bool:
        """Whether the target's cells hold a different quantity from the donor's: then the two ECUs are different."""
        return self.target.table.quantity is not self.donor.table.quantity
