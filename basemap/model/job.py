"""A job: two installations, a table, and where every number came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from basemap.model.companion import Companion
from basemap.model.installation import DonorState, FloatArray, Installation, Told
from basemap.model.sensor import Scale
from basemap.model.table import FuelTable, Shown, Storage


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
        Of the spread, SI; `None` where none was given. With `k2` it is an expanded uncertainty (k = 2), else the
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
class Job:
    """Everything a run needs, in SI, immutable.

    Parameters
    ----------
    shown, donor_shown
        How the target's table is shown, and the donor's where that differs.
    cannot_be_told
        Settings that keep the donor's value: ``displacement``, ``static_flow``, ``stoichiometric``,
        ``openings_per_cycle``, ``dead_time``.
    donor_flow_known, donor_fuel_known, donor_dead_time_known
        False where the job leaves it out because it cancels: the installation then holds a stand-in that no
        result may show.
    declared
        Keys that the job states, so that a rule can tell a default from a fact.
    same_as_donor
        Sections of the target that are the donor's own parts: what is uncertain about them enters once.
    donor_sensors, target_sensors
        Sensor scales by name: what the map holds, and what the makers of the fitted parts state.
    layout
        How the donor's file is written, opaque to the model: whoever writes the new table hands it back to its reader.
    companions
        The further tables, in the order of the job.
    """

    title: str
    donor: Installation
    target: Installation
    donor_told: Told
    target_told: Told
    donor_table: FuelTable
    target_table: FuelTable
    shown: Shown
    storage: Storage = field(default_factory=Storage)
    cannot_be_told: frozenset[str] = frozenset()
    donor_state: DonorState = DonorState.UNKNOWN
    donor_flow_known: bool = True
    donor_fuel_known: bool = True
    donor_dead_time_known: bool = True
    declared: frozenset[str] = frozenset()
    inputs: Mapping[str, Input] = field(default_factory=dict)
    assumed: tuple[Assumption, ...] = ()
    sources: tuple[Source, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
    stem: str = "job"
    same_as_donor: frozenset[str] = frozenset()
    layout: object | None = None
    donor_sensors: Mapping[str, Scale] = field(default_factory=dict)
    target_sensors: Mapping[str, Scale] = field(default_factory=dict)
    companions: tuple[Companion, ...] = ()
    donor_shown: Shown | None = None

    @property
    def rpm(self) -> FloatArray:
        """Engine speeds of the table, rev/min."""
        return self.donor_table.rpm

    @property
    def other_quantity(self) -> bool:
        """Whether the target's cells are another quantity than the donor's: then they are of two different boxes."""
        return self.target_table.quantity is not self.donor_table.quantity

    @property
    def shown_of_donor(self) -> Shown:
        """How the donor's table is shown."""
        return self.donor_shown or self.shown
