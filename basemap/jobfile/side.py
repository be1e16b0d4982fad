"""One side of a job, donor or target, with what it copies from the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from pydantic import BaseModel

from basemap.adaptation.quantities.engine import MANIFOLD_PRESSURE
from basemap.errors import InputError
from basemap.jobfile import schema
from basemap.jobfile.defaults import DEFAULTS
from basemap.jobfile.quantities import Measured, check_range
from basemap.jobfile.record import Record, default_quantity

_AnySection = TypeVar("_AnySection", bound=BaseModel)

TOGETHER = (
    frozenset({"barometer", "altitude"}),
    frozenset({"per_cylinder", "count"}),
    frozenset({"throttle_bore", "throttles"}),
    frozenset({"slope", "two_slope"}),
    frozenset({"two_slope", "added_time"}),
    frozenset({"blend", "parts", "stoichiometric", "density", "density_at"}),
)
"""Keys that say the same thing in different ways: a target that gives one drops what it would copy of the others."""


@dataclass(frozen=True)
class StatedSide:
    """The sections of one side; an empty one stands for what the job does not have.

    Parameters
    ----------
    name
        ``donor`` or ``target``.
    copied
        Sections that the target takes over from the donor.
    """

    name: str
    record: Record
    conditions: schema.ConditionsSection
    engine: schema.TargetEngine
    injectors: schema.InjectorsSection
    fuel: schema.FuelSection
    settings: schema.TargetSettings
    copied: frozenset[str] = frozenset()

    def place(self, key: str) -> str:
        """Full key of ``engine.displacement``."""
        return f"{self.name}.{key}"

    def error(self, key: str, problem: str) -> InputError:
        """Bad input under a key of this side."""
        return InputError(problem, file=self.record.file, place=self.place(key))

    def assume(self, name: str, key: str, *, unknown: bool = False, value: str | None = None) -> Measured | None:
        """List a default as assumed, unless it is that of a section of the donor's, where it is listed already."""
        if self.is_copied(name, key):
            return default_quantity(DEFAULTS[name])
        return self.record.assume(name, self.place(key), unknown=unknown, value=value)

    def is_copied(self, name: str, key: str) -> bool:
        """Whether a default is in force for the donor's part that this side copies."""
        return key.split(".")[0] in self.copied and any(
            listed.key == f"donor.{key}" and listed.why == DEFAULTS[name].why for listed in self.record.assumed
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
            raise error.within(file=self.record.file, place=self.place(key)) from None
        return absolute.value


def both_sides(job: schema.JobFile, record: Record) -> tuple[StatedSide, StatedSide]:
    """Donor and target, the target with what it copies."""
    donor, target = job.donor or schema.Donor(), job.target or schema.Target()
    copied = frozenset(target.same_as_donor or ())
    for name in target.same_as_donor or ():
        if getattr(donor, name) is None and not (name == "conditions" and job.conditions is not None):
            raise InputError(
                f'names "{name}", but the job has no [donor.{name}]', file=record.file, place="target.same_as_donor"
            )
    one = StatedSide(
        name="donor",
        record=record,
        conditions=donor.conditions or schema.ConditionsSection(),
        engine=_over(donor.engine, None, schema.TargetEngine),
        injectors=donor.injectors or schema.InjectorsSection(),
        fuel=donor.fuel or schema.FuelSection(),
        settings=_over(donor.settings, None, schema.TargetSettings),
    )
    other = StatedSide(
        name="target",
        record=record,
        conditions=_over(
            donor.conditions if "conditions" in copied else None, target.conditions, schema.ConditionsSection
        ),
        engine=_over(donor.engine if "engine" in copied else None, target.engine, schema.TargetEngine),
        injectors=_over(donor.injectors if "injectors" in copied else None, target.injectors, schema.InjectorsSection),
        fuel=_over(donor.fuel if "fuel" in copied else None, target.fuel, schema.FuelSection),
        settings=_over(donor.settings if "settings" in copied else None, target.settings, schema.TargetSettings),
        copied=copied,
    )
    _declare_copied(record, other)
    return one, other


def _declare_copied(record: Record, target: StatedSide) -> None:
    """What the target copies is as good as stated."""
    for name in target.copied:
        keys = getattr(target, name).model_fields_set
        prefixes = tuple(f"donor.{name}.{key}" for key in keys)
        copies = {key for key in record.declared if key in prefixes or key.startswith(tuple(f"{p}." for p in prefixes))}
        record.copied |= {"target" + key.removeprefix("donor") for key in copies} | {f"target.{name}"}
    record.copied -= record.declared
    record.declared |= record.copied


def _over(copied: BaseModel | None, own: BaseModel | None, into: type[_AnySection]) -> _AnySection:
    """A section with the keys of `own`, and those of `copied` that it does not give itself."""
    values = {} if copied is None else {name: getattr(copied, name) for name in copied.model_fields_set}
    if own is not None:
        for together in TOGETHER:
            if own.model_fields_set & together:
                values = {name: value for name, value in values.items() if name not in together}
        values |= {name: getattr(own, name) for name in own.model_fields_set}
    return into.model_construct(**values)
