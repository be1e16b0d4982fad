"""The forward model with its hardware varied: what may truly be fitted, while the ECUs keep their settings.

The cells, the settings in force and the donor's told values are stored numbers: they do not vary. Hardware, fuel and
the voltages at the injectors vary, on both sides, because the air was decoded with the donor's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from basemap.adaptation.chain import decode, settled, transfer
from basemap.adaptation.hardware import delivery
from basemap.adaptation.outcomes import OnTarget, old_as_looked_up
from basemap.adaptation.setting_fields import in_force
from basemap.belief.breathing import Believed
from basemap.model.installation import FloatArray, Installation
from basemap.model.job import Job
from basemap.model.settings import InForce, Settings


@dataclass(frozen=True)
class World:
    """One possible truth, or many at once: any number may be an array of shape (samples, 1, 1).

    Parameters
    ----------
    donor, target
        The hardware that is truly fitted.
    efficiency
        Factor on the air that the target draws: its true volumetric efficiency over the one taken from the donor.
    formula
        Factor on κ, the same on both sides.
    donor_lambda
        Factor on the mixture that the donor's table was meant to give, if the target is meant to have its own.
    """

    donor: Installation
    target: Installation
    efficiency: float = 1.0
    formula: float = 1.0
    donor_lambda: float = 1.0


def nominal(job: Job) -> World:
    """The world in which every input is what the job says."""
    return World(job.donor.hardware, job.target.hardware)


@dataclass(frozen=True)
class Loaded:
    """A table with its λ table and the settings it runs with, as stored in the ECU.

    Parameters
    ----------
    cells, command
        SI and λ, shape (loads, speeds).
    settings
        In force on the target.
    """

    cells: FloatArray
    command: FloatArray
    settings: Settings


@dataclass(frozen=True)
class Forward:
    """λ actual / λ intended on the target as a function of the world.

    Parameters
    ----------
    job
        Fixes the tables and what either ECU was told.
    settings
        In force at the nominal world.
    believed
        How the target breathes: the cells hold the applied part, and its uncertainty is one of the inputs.
    """

    job: Job
    settings: InForce
    believed: Believed

    @classmethod
    def of(cls, job: Job) -> Forward:
        """The forward model of a job without a result, with its settings frozen at their nominal values."""
        return cls(job, in_force(job), Believed.of(job))

    def new(self, cells: FloatArray) -> Loaded:
        """The new table with the settings to enter; `cells` in SI."""
        return Loaded(cells, self.job.target.table.intended_lambda, self.settings.new)

    def old(self) -> Loaded:
        """The donor's table with the donor's settings left in."""
        table = self.job.donor.table
        cells, command = (old_as_looked_up(self.job, values) for values in (table.values, table.intended_lambda))
        return Loaded(cells, command, self.settings.old)

    def lambda_ratio(self, loaded: Loaded, world: World) -> FloatArray:
        """λ actual / λ intended, shape (loads, speeds), or (samples, loads, speeds) in a world of samples."""
        (ratio,) = self.lambda_ratios((loaded,), world)
        return ratio

    def lambda_ratios(self, several: Sequence[Loaded], world: World) -> list[FloatArray]:
        """The same for several tables, whose air is the same."""
        told = self.job.donor.table
        table = replace(told, intended_lambda=told.intended_lambda * world.donor_lambda)
        job = replace(
            self.job,
            donor=replace(self.job.donor, hardware=world.donor, table=table),
            target=replace(self.job.target, hardware=world.target),
        )
        settings = replace(
            self.settings,
            donor=with_formula(self.settings.donor, world),
            new=with_formula(self.settings.new, world),
        )
        job = settled(job, settings)
        air = transfer(job, decode(job, settings).air_kg, self.believed.breathing.factor) * world.efficiency
        target = job.target.table
        at = delivery(world.target, target.pressure_pa, target.rpm, target.battery_v)
        on = OnTarget(job, air, at)
        return [on.lambda_ratio(each.cells, each.command, with_formula(each.settings, world)) for each in several]


def with_formula(settings: Settings, world: World) -> Settings:
    """Settings with the formula factor of a world."""
    return replace(settings, formula_factor=settings.formula_factor * world.formula)
