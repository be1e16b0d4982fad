"""What happens when it is loaded: the four outcomes, and the mixture over battery voltage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.model import ecu
from basemap.model.axes import FULL_LOAD_BREATH, PART_LOAD_BREATH, LoadAxis
from basemap.model.ecu import Sensed, Settings
from basemap.model.hardware import Delivery, delivery
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import LambdaCase, VoltageSweep
from basemap.model.settings import InForce

SWEEP_V = np.arange(8.0, 16.01, 0.5)
CRUISE_RPM = 2500.0
CRUISE_PA = 50_000.0


@dataclass(frozen=True)
class OnTarget:
    """The target's hardware with the air it draws in every cell.

    Parameters
    ----------
    air_kg
        Per cylinder and cycle, NaN where it is not known.
    delivery
        At the battery voltage of the target's table.
    """

    job: Job
    air_kg: FloatArray
    delivery: Delivery

    @property
    def sensed(self) -> Sensed:
        """What the target's ECU measures."""
        conditions = self.job.target.conditions
        return Sensed(
            self.delivery.pressure_across_pa, conditions.charge_temperature_k, self.job.target_table.battery_v
        )

    def lambda_ratio(self, cells: FloatArray, command: FloatArray, settings: Settings) -> FloatArray:
        """λ actual / λ intended of a table with some settings, open loop.

        Parameters
        ----------
        cells
            Shape (loads, speeds), SI.
        command
            The λ table that the ECU runs with.

        Returns
        -------
        Shape (loads, speeds); +∞ where no fuel is delivered, NaN where the air is not known or there is no cell.
        """
        pulse = ecu.commanded_pulse(cells, self.job.target_table, command, settings, self.sensed)
        return self.ratio_of(pulse, self.delivery)

    def ratio_of(self, pulse_s: FloatArray, at: Delivery) -> FloatArray:
        """λ actual / λ intended of pulses."""
        fuel = at.fuel_kg(pulse_s)
        needed = self.air_kg / (self.job.target.fuel.stoichiometric * self.job.target_table.intended_lambda)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = needed / fuel
        # No fuel is no fuel, whatever the air; without air there is no mixture to speak of.
        starved = ~np.isnan(pulse_s) & (fuel == 0) & (self.air_kg != 0)
        known = ~np.isnan(pulse_s) & (self.air_kg > 0)
        return np.asarray(np.where(starved, np.inf, np.where(known, ratio, np.nan)))


def four_outcomes(on: OnTarget, new: FloatArray, settings: InForce) -> dict[LambdaCase, FloatArray]:
    """λ actual / λ intended for {old, new table} × {old, new settings}, all on the target.

    The old table runs with the donor's λ table. Where the donor's settings are not known its outcomes are NaN, and so
    are both of the old table where the target's cells are another quantity: it cannot be loaded.
    """
    job = on.job
    old, old_command = (
        old_as_looked_up(job, values) for values in (job.donor_table.values, job.donor_table.intended_lambda)
    )
    new_command = job.target_table.intended_lambda
    ratios: dict[LambdaCase, FloatArray] = {
        "old_table_old_settings": on.lambda_ratio(old, old_command, settings.old),
        "old_table_new_settings": on.lambda_ratio(old, old_command, settings.new),
        "new_table_old_settings": on.lambda_ratio(new, new_command, settings.old),
        "new_table_new_settings": on.lambda_ratio(new, new_command, settings.new),
    }
    if not (job.donor_flow_known and job.donor_fuel_known and job.donor_dead_time_known):
        unknown = np.full_like(new, np.nan)
        ratios |= {"old_table_old_settings": unknown, "new_table_old_settings": unknown}
    if job.other_quantity:
        nothing = np.full_like(new, np.nan)
        ratios |= {"old_table_old_settings": nothing, "old_table_new_settings": nothing}
    return ratios


def old_as_looked_up(job: Job, values: FloatArray) -> FloatArray:
    """Cells of the donor as the target's ECU finds them in the untouched table: between its points, its edge held."""
    return values if job.keeps_axes else job.as_looked_up().of(values)


def voltage_sweep(on: OnTarget, new: FloatArray, settings: InForce, reachable: BoolArray) -> VoltageSweep:
    """λ error left from 8 to 16 V by whatever the target's ECU cannot be told.

    The cells stay those made for the table's own voltage; only the battery changes.
    """
    job = on.job
    volts = SWEEP_V[:, np.newaxis, np.newaxis]
    table = job.target_table
    at = delivery(job.target, table.pressure_pa, table.rpm, volts)
    sensed = Sensed(at.pressure_across_pa, job.target.conditions.charge_temperature_k, volts)
    pulse = ecu.commanded_pulse(new, table, table.intended_lambda, settings.new, sensed)
    ratio = on.ratio_of(pulse, at)
    judged = reachable & np.isfinite(new) & (on.air_kg > 0)
    within = ratio[:, judged]
    empty = np.full(SWEEP_V.shape, np.nan)
    return VoltageSweep(
        battery_v=SWEEP_V,
        places={
            name: (place.rpm, place.load_pa, ratio[(slice(None), *place.cell)]) for name, place in places(job).items()
        },
        leanest=within.max(axis=1) if within.size else empty,
        richest=within.min(axis=1) if within.size else empty,
    )


@dataclass(frozen=True)
class Place:
    """A place of a job: the (row, column) of the cell nearest to it, and that cell's speed and load."""

    cell: tuple[int, int]
    rpm: float
    load_pa: float


def places(job: Job) -> dict[str, Place]:
    """The places at which a job is looked at: idle, cruise and wide open, each at its nearest cell."""
    engine, table = job.target.engine, job.target_table
    middle = float(job.rpm[len(job.rpm) // 2])
    wanted = {
        "idle": (engine.idle_rpm, engine.idle_pressure_pa),
        "cruise": (CRUISE_RPM, CRUISE_PA),
        "wide open": (middle, job.target.conditions.barometer_pa),
    }
    if table.points.axis is LoadAxis.AIR_MASS:
        # How well it breathes there is not known: the shortest pulse at idle, ordinary figures elsewhere.
        breaths = (PART_LOAD_BREATH[0], sum(PART_LOAD_BREATH) / 2.0, FULL_LOAD_BREATH)
        wanted = {
            name: (rpm, load * breath) for (name, (rpm, load)), breath in zip(wanted.items(), breaths, strict=True)
        }
    found = {}
    for name, (rpm, load_pa) in wanted.items():
        row = int(np.abs(table.load_pa - load_pa).argmin())
        column = int(np.abs(table.rpm - rpm).argmin())
        found[name] = Place((row, column), float(table.rpm[column]), float(table.load_pa[row]))
    return found
