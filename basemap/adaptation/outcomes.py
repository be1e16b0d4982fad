"""What happens when a table is loaded: the four outcomes, and the mixture over battery voltage."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import Delivery, delivery
from basemap.adaptation.throttle import over_throttle
from basemap.model.axes import FULL_LOAD_EFFICIENCY, PART_LOAD_EFFICIENCY, LoadAxis
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import VoltageSweep
from basemap.model.settings import InForce, Settings
from basemap.model.table_result import LambdaCase

SWEEP_V = np.arange(8.0, 16.01, 0.5)
AT_ONCE = 131_072
"""Cells worked out in one go, over all voltages: arrays of a megabyte stay in the processor's cache."""

IDLE_PLACE, CRUISE_PLACE, WIDE_OPEN_PLACE = "idle", "cruise", "wide open"
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
        conditions = self.job.target.hardware.conditions
        return Sensed(
            self.delivery.pressure_across_pa, conditions.charge_temperature_k, self.job.target.table.battery_v
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
        if cells.ndim == 2 and cells.size > AT_ONCE and self.air_kg.ndim == 2:
            ratio = np.empty(cells.shape)
            for rows in row_blocks(cells.shape, AT_ONCE):
                ratio[rows] = self.rows(rows).lambda_ratio(cells[rows], command[rows], settings)
            return ratio
        pulse = ecu.commanded_pulse(cells, self.job.target.table, command, settings, self.sensed)
        return self.ratio_of(pulse, self.delivery)

    def rows(self, rows: slice) -> OnTarget:
        """The same for some of the rows."""
        loads = self.air_kg.shape[0]
        if (rows.start, rows.stop) == (0, loads):
            return self
        table = self.job.target.table.rows(rows)
        return OnTarget(
            replace(self.job, target=replace(self.job.target, table=table)),
            self.air_kg[rows],
            self.delivery.rows(rows, loads),
        )

    def ratio_of(self, pulse_s: FloatArray, at: Delivery) -> FloatArray:
        """λ actual / λ intended of pulses."""
        fuel = at.fuel_kg(pulse_s)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.asarray(self._needed_kg / fuel)
        if self._all_air and at.flows_everywhere:
            return ratio  # it is NaN without a pulse, and ∞ without fuel, by itself
        # Without fuel λ is ∞ whatever the air, but without air there is no mixture.
        no_pulse = np.isnan(pulse_s)
        np.copyto(ratio, np.nan, where=no_pulse | ~(self.air_kg > 0))
        np.copyto(ratio, np.inf, where=~no_pulse & (fuel == 0) & (self.air_kg != 0))
        return ratio

    @cached_property
    def _needed_kg(self) -> FloatArray:
        """Fuel that gives every cell its intended lambda, kg."""
        return self.air_kg / (self.job.target.hardware.fuel.stoichiometric * self.job.target.table.intended_lambda)

    @cached_property
    def _all_air(self) -> bool:
        return bool((self.air_kg > 0).all())


def four_outcomes(on: OnTarget, new: FloatArray, settings: InForce) -> dict[LambdaCase, FloatArray]:
    """λ actual / λ intended for {old, new table} × {old, new settings}, all on the target.

    The old table runs with the donor's λ table. Outcomes with the old settings are NaN if the donor's settings are not
    known. Those of the old table are NaN if the target's cells are another quantity: it cannot be loaded.
    """
    job = on.job
    old, old_command = (
        old_as_looked_up(job, values) for values in (job.donor.table.values, job.donor.table.intended_lambda)
    )
    new_command = job.target.table.intended_lambda
    ratios: dict[LambdaCase, FloatArray] = {
        "old_table_old_settings": on.lambda_ratio(old, old_command, settings.old),
        "old_table_new_settings": on.lambda_ratio(old, old_command, settings.new),
        "new_table_old_settings": on.lambda_ratio(new, new_command, settings.old),
        "new_table_new_settings": on.lambda_ratio(new, new_command, settings.new),
    }
    if not (job.donor.flow_known and job.donor.fuel_known and job.donor.dead_time_known):
        unknown = np.full_like(new, np.nan)
        ratios |= {"old_table_old_settings": unknown, "new_table_old_settings": unknown}
    if job.other_quantity:
        nothing = np.full_like(new, np.nan)
        ratios |= {"old_table_old_settings": nothing, "old_table_new_settings": nothing}
    return ratios


def lambda_table_left(on: OnTarget, new: FloatArray, settings: InForce) -> FloatArray | None:
    """λ actual / λ intended of the new table with the new settings, where the ECU's lambda table is left as it was.

    `None` if it may be left, and for another ECU, whose lambda table is not the donor's.
    """
    job = on.job
    if not job.needs_lambda_table or job.other_quantity:
        return None
    return on.lambda_ratio(new, job.lambda_left, settings.new)


def old_as_looked_up(job: Job, values: FloatArray) -> FloatArray:
    """Cells of the donor as the target's ECU finds them in the untouched table: between its points, its edge held."""
    return values if job.keeps_axes else job.as_looked_up().of(values)


def voltage_sweep(on: OnTarget, new: FloatArray, settings: InForce, reachable: BoolArray) -> VoltageSweep:
    """λ error that is left from 8 to 16 V because the target's ECU cannot be told everything.

    The cells are those for the table's own voltage; only the battery changes.
    """
    judged = reachable & np.isfinite(new) & (on.air_kg > 0)
    looked_at = places(on.job)
    leanest, richest = (np.full(SWEEP_V.shape, np.nan) for _ in range(2))
    at_places = {name: np.empty(SWEEP_V.shape) for name in looked_at}
    if judged.any():
        leanest, richest = (np.full(SWEEP_V.shape, extreme) for extreme in (-np.inf, np.inf))
    for rows in row_blocks(new.shape, AT_ONCE // SWEEP_V.size):
        ratio, counts = _ratio_at(on.rows(rows), new[rows], settings.new, SWEEP_V), judged[rows]
        if counts.any():
            np.maximum(leanest, ratio.max(axis=(1, 2), where=counts, initial=-np.inf), out=leanest)
            np.minimum(richest, ratio.min(axis=(1, 2), where=counts, initial=np.inf), out=richest)
        for name, place in looked_at.items():
            row, column = place.cell
            if rows.start <= row < rows.stop:
                at_places[name][:] = ratio[:, row - rows.start, column]
    return VoltageSweep(
        battery_v=SWEEP_V,
        places={name: (place.rpm, place.load_pa, at_places[name]) for name, place in looked_at.items()},
        leanest=leanest,
        richest=richest,
    )


def row_blocks(shape: tuple[int, ...], cells: int) -> list[slice]:
    """Rows of a table of `shape` in blocks of at most `cells` cells, at least one row each."""
    loads, each = shape[0], max(1, cells // max(1, shape[1]))
    return [slice(first, min(first + each, loads)) for first in range(0, loads, each)]


def _ratio_at(on: OnTarget, cells: FloatArray, settings: Settings, battery_v: FloatArray) -> FloatArray:
    """λ actual / λ intended at battery voltages, shape (voltages, loads, speeds)."""
    job, table, volts = on.job, on.job.target.table, battery_v[:, np.newaxis, np.newaxis]
    at = delivery(job.target.hardware, table.pressure_pa, table.rpm, volts)
    sensed = Sensed(at.pressure_across_pa, job.target.hardware.conditions.charge_temperature_k, volts)
    return on.ratio_of(ecu.commanded_pulse(cells, table, table.intended_lambda, settings, sensed), at)


class OperatingPoint(NamedTuple):
    """A place of a job: the (row, column) of the cell nearest to it, and that cell's speed and load."""

    cell: tuple[int, int]
    rpm: float
    load_pa: float


def places(job: Job) -> dict[str, OperatingPoint]:
    """The places at which a job is looked at: idle, cruise and wide open, each at its nearest cell."""
    engine, table = job.target.hardware.engine, job.target.table
    middle = float(job.rpm[len(job.rpm) // 2])
    wanted = {
        IDLE_PLACE: (engine.idle_rpm, engine.idle_pressure_pa),
        CRUISE_PLACE: (CRUISE_RPM, CRUISE_PA),
        WIDE_OPEN_PLACE: (middle, job.target.hardware.conditions.barometer_pa),
    }
    if table.points.axis is LoadAxis.AIR_MASS:
        # The volumetric efficiency is not known: the lowest at idle, for the shortest pulse, ordinary ones elsewhere.
        efficiencies = (PART_LOAD_EFFICIENCY[0], sum(PART_LOAD_EFFICIENCY) / 2.0, FULL_LOAD_EFFICIENCY)
        wanted = {
            name: (rpm, load * efficiency)
            for (name, (rpm, load)), efficiency in zip(wanted.items(), efficiencies, strict=True)
        }
    pressure = np.broadcast_to(table.pressure_pa, table.values.shape)
    found = {}
    for name, (rpm, load_pa) in wanted.items():
        column = int(np.abs(table.rpm - rpm).argmin())
        along = pressure[:, column]
        # Over throttle opening the highest row is wide open; a cell of unknown pressure is never the nearest.
        away = np.where(np.isnan(along), np.inf, np.abs(along - load_pa))
        row = table.load_pa.size - 1 if over_throttle(table) and name == WIDE_OPEN_PLACE else int(away.argmin())
        found[name] = OperatingPoint((row, column), float(table.rpm[column]), float(along[row]))
    return found
