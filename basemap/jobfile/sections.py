"""The sections of either side: what the target copies, and what the donor may leave out because it cancels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from pydantic import BaseModel

from basemap.adaptation.quantities.engine import MANIFOLD_PRESSURE
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.errors import InputError
from basemap.jobfile import schema
from basemap.jobfile.provenance import Provenance, default_quantity
from basemap.jobfile.quantities import UNKNOWN, Measured, check_range
from basemap.jobfile.table_sections import DonorTable, LambdaFile

_AnySection = TypeVar("_AnySection", bound=BaseModel)

TOGETHER = (
    frozenset({"barometer", "altitude"}),
    frozenset({"per_cylinder", "count"}),
    frozenset({"throttle_bore", "throttles"}),
    frozenset({"slope", "bent_line"}),
    frozenset({"bent_line", "added_time"}),
    frozenset({"blend", "parts", "stoichiometric", "density", "density_at"}),
)
"""Groups of keys that state one thing in different ways: a target that states one of a group copies none of it."""


class StatedSide(NamedTuple):
    """The sections of one side; those that the job leaves out are empty.

    Parameters
    ----------
    name
        ``donor`` or ``target``.
    copied
        Sections that the target takes over from the donor.
    """

    name: str
    provenance: Provenance
    conditions: schema.TargetConditions
    engine: schema.TargetEngine
    injectors: schema.InjectorsSection
    fuel: schema.TargetFuel
    settings: schema.TargetSettings
    copied: frozenset[str] = frozenset()

    @property
    def settings_for_hardware(self) -> schema.TargetSettings:
        """What its ECU was told, if that may stand in for the hardware: only on the donor's side."""
        return self.settings if self.name == "donor" else schema.TargetSettings.left_out()

    def place(self, key: str) -> str:
        """Full key of ``engine.displacement``."""
        return f"{self.name}.{key}"

    def error(self, key: str, problem: str) -> InputError:
        """Bad input under a key of this side."""
        return InputError(problem, file=self.provenance.file, place=self.place(key))

    def assume(self, name: str, key: str, *, unknown: bool = False, value: str | None = None) -> Measured | None:
        """List a default as assumed, unless the target copies it from the donor, where it is listed already."""
        if self.is_copied(name, key):
            return default_quantity(DEFAULTS[name])
        return self.provenance.assume(name, self.place(key), unknown=unknown, value=value)

    def is_copied(self, name: str, key: str) -> bool:
        """Whether this side copies the part from the donor, and with it a default that is listed there."""
        return key.split(".")[0] in self.copied and any(
            listed.key == f"donor.{key}" and listed.why == DEFAULTS[name].why for listed in self.provenance.assumed
        )

    def assume_quantity(self, name: str, key: str, *, unknown: bool) -> float:
        """The same for a default that is a quantity; its value, SI."""
        measured = self.assume(name, key, unknown=unknown)
        assert measured is not None
        return measured.value

    def absolute(self, measured: Measured, key: str, barometer_pa: float) -> float:
        """A manifold pressure against this side's own barometer, Pa."""
        absolute = measured.absolute(barometer_pa)
        try:
            check_range(absolute, MANIFOLD_PRESSURE)
        except InputError as error:
            raise error.within(file=self.provenance.file, place=self.place(key)) from None
        return absolute.value


def both_sides(job: schema.JobFile, provenance: Provenance) -> tuple[StatedSide, StatedSide]:
    """Donor and target, the target with what it copies."""
    donor, target = job.donor or schema.Donor.left_out(), job.target or schema.Target.left_out()
    copied = frozenset(target.same_as_donor or ())
    for name in target.same_as_donor or ():
        if getattr(donor, name) is None and not (name == "conditions" and job.conditions is not None):
            raise InputError(
                f'names "{name}", but the job has no [donor.{name}] section',
                file=provenance.file,
                place="target.same_as_donor",
            )
    one = StatedSide(
        name="donor",
        provenance=provenance,
        conditions=_over(donor.conditions, None, schema.TargetConditions),
        engine=_over(donor.engine, None, schema.TargetEngine),
        injectors=donor.injectors or schema.InjectorsSection.left_out(),
        fuel=_over(donor.fuel, None, schema.TargetFuel),
        settings=_over(donor.settings, None, schema.TargetSettings),
    )
    other = StatedSide(
        name="target",
        provenance=provenance,
        conditions=_over(
            donor.conditions if "conditions" in copied else None, target.conditions, schema.TargetConditions
        ),
        engine=_over(donor.engine if "engine" in copied else None, target.engine, schema.TargetEngine),
        injectors=_over(donor.injectors if "injectors" in copied else None, target.injectors, schema.InjectorsSection),
        fuel=_over(donor.fuel if "fuel" in copied else None, target.fuel, schema.TargetFuel),
        settings=_over(donor.settings if "settings" in copied else None, target.settings, schema.TargetSettings),
        copied=copied,
    )
    _declare_copied(provenance, other)
    return one, other


def _declare_copied(provenance: Provenance, target: StatedSide) -> None:
    """Count what the target copies as stated."""
    for name in target.copied:
        keys = getattr(target, name).model_fields_set
        prefixes = tuple(f"donor.{name}.{key}" for key in keys)
        copies = {
            key for key in provenance.declared if key in prefixes or key.startswith(tuple(f"{p}." for p in prefixes))
        }
        provenance.copied |= {"target" + key.removeprefix("donor") for key in copies} | {f"target.{name}"}
    provenance.copied -= provenance.declared
    provenance.declared |= provenance.copied


def _over(copied: BaseModel | None, own: BaseModel | None, into: type[_AnySection]) -> _AnySection:
    """A section with the keys of `own`, and those of `copied` that it does not state itself."""
    values = {} if copied is None else {name: getattr(copied, name) for name in copied.model_fields_set}
    if own is not None:
        for together in TOGETHER:
            if own.model_fields_set & together:
                values = {name: value for name, value in values.items() if name not in together}
        values |= {name: getattr(own, name) for name in own.model_fields_set}
    return into.model_construct(**values)


@dataclass(frozen=True)
class WhyNeeded:
    """Why each of the donor's inputs is needed, as the end of a sentence; `None` if it cancels."""

    flow: str | None
    fuel: str | None
    dead_time: str | None
    rail_pressure: str | None


def why_needed(
    donor: StatedSide, target: StatedSide, table: DonorTable, applies: tuple[str, ...] | str, *, other_ecu: bool = False
) -> WhyNeeded:
    """Why each of the donor's inputs is needed.

    The donor's flow, fuel and dead time cancel if its ECU was told the truth about them and the target's ECU can be
    told its own. With dead time inside the cells, or two slopes that the ECU was not told, nothing cancels; in a
    pulse-width table flow and fuel never do.

    Parameters
    ----------
    applies
        What the donor's ECU applies to a cell, or ``unknown``.
    other_ecu
        Whether the target's table holds a different quantity.
    """
    whole = None
    if applies == UNKNOWN:
        whole = 'ecu_applies = "unknown" is settled by the volumetric efficiency that the cells imply'
    elif "dead time" not in applies:
        whole = 'dead time is inside the cells (ecu_applies does not name "dead time")'
    elif donor.injectors.bent_line is not None and not donor.settings.bent_line:
        whole = "its ECU was not told both slopes of its injectors, so its cells are decoded through their pulses"
    elif donor.injectors.added_time is not None and not donor.settings.added_time:
        whole = "its ECU was not told what to add to short pulses, so its cells are decoded through their pulses"
    elif donor.settings.dead_time is not None and donor.settings.dead_time.percent is not None:
        whole = "its ECU multiplies its pulses for the battery, so its cells are decoded through their pulses"
    elif donor.settings.minimum_pulse is not None:
        whole = "its ECU never commands a pulse below its minimum, so its cells are decoded through their pulses"
    stuck = target.settings.cannot_be_told or ()
    told = donor.settings
    both = whole
    if table.quantity == "pulse width":
        both = both or "a pulse-width table is decoded with the injectors and the fuel that it was made for"
    flow = both or _kept("static_flow", stuck)
    if told.fuel_density is not None:
        flow = flow or "its ECU was told the density of its fuel, and the flow to enter depends on it"
    flow_known = donor.injectors.static_flow is not None or told.static_flow is not None
    fuel = both or _kept("stoichiometric", stuck)
    wanted = table.intended_lambda
    if isinstance(wanted, LambdaFile) and wanted.basis == "fuel in use":
        fuel = fuel or 'the basis "fuel in use" of the intended lambda refers to it'
    if flow_known:
        fuel = fuel or (
            "the flow to enter follows from the donor's static_flow and its fuel; give both, or leave both out"
        )
    rail = flow
    if flow_known:
        rail = rail or "the flow to enter follows from the donor's static_flow at its rail pressure"
    if donor.fuel.regulator == "fixed":
        rail = rail or "on a fixed rail the flow changes with the load"
    # An ECU other than the donor's refers to the target's own rail.
    if told.corrects_rail_pressure or (target.settings.corrects_rail_pressure and not other_ecu):
        rail = rail or "an ECU that corrects for the rail pressure needs it as its reference"
    return WhyNeeded(flow=flow, fuel=fuel, dead_time=whole or _kept("dead_time", stuck), rail_pressure=rail)


def _kept(name: str, stuck: tuple[str, ...]) -> str | None:
    return f"the target's ECU keeps the donor's value (cannot_be_told names {name})" if name in stuck else None
