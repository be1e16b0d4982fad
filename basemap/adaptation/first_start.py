"""What the engine does on its first start: the pulse and the mixture while it cranks, and at idle.

Both are read as the ECU reads them: between the stored cells, with the settings in force.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.adaptation.controller import Sensed, commanded_pulse
from basemap.adaptation.further_tables import at_coolant, over_coolant, run_of
from basemap.adaptation.hardware import Delivery, delivery
from basemap.adaptation.outcomes import OnTarget
from basemap.adaptation.regions import Regions, around
from basemap.model.further_table import FurtherResult
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.model.settings import Settings
from basemap.model.table import FuelTable

CRANKING_V = (8.0, 9.0, 10.0)


class Cranking(NamedTuple):
    """The coldest start at `CRANKING_V` with the stored cranking table; NaN for what is not known.

    Parameters
    ----------
    pulse_s
        Commanded pulse, shape (3,), s. It follows the battery if the ECU adds the dead time.
    lambda_ratio
        λ over the λ with which the donor started at this temperature, shape (3,); +∞ where no fuel is delivered.
    relative_band
        Expanded uncertainty (k = 2) of λ, relative: the wider one of the two neighbouring cells.
    read_high
        λ ratio if the ECU reads a battery of 8 V as 9 V; if it adds no dead time, of a battery at 8 V to one at 9 V.
    settings
        In force in the ECU while it cranks.
    """

    pulse_s: FloatArray
    lambda_ratio: FloatArray
    relative_band: float
    read_high: float
    settings: Settings


def cranking_table(result: Result) -> FurtherResult | None:
    """The first table of pulses whose name says that it is for cranking."""
    return next((one for one in result.further_tables if one.cranks), None)


def cranking(result: Result) -> Cranking | None:
    """Work out the coldest start; `None` without a cranking table over coolant temperature."""
    found = cranking_table(result)
    axis = found.table.axis if found is not None else None
    if found is None or axis is None or axis.coolant_k is None:
        return None
    coldest = result.job.target.hardware.engine.coldest_start_k
    # The ECU reads between its stored cells first; only then does it add a dead time or apply a minimum pulse.
    cell = np.array([[over_coolant(axis, found.stored, coldest)]]) * found.table.shown.per_unit
    run = run_of(result.job, at_coolant(found.table, coldest), found.in_force)
    pulse, at = _over_battery(run.job, run.job.target.table, cell, run.settings.new, np.array(CRANKING_V))
    ratio = np.where(run.air_kg > 0, OnTarget(run.job, run.air_kg, at).ratio_of(pulse, at), np.nan)
    fuel, as_at_nine = at.fuel_kg(pulse).ravel(), at.fuel_kg(pulse[1]).ravel()
    order = np.argsort(axis.coolant_k)
    near = order[around(axis.coolant_k[order], coldest)]
    return Cranking(
        pulse_s=pulse.ravel(),
        lambda_ratio=ratio.ravel(),
        relative_band=float(np.max(result.band.further[found.name].expanded[near])),
        read_high=_leaner(fuel[1 if found.table.target.inside.dead_time else 0], as_at_nine[0]),
        settings=run.settings.new,
    )


class IdlePoint(NamedTuple):
    """The idle point with the stored table and the settings in force; NaN for what is not known.

    Parameters
    ----------
    pulse_s, duty
        Commanded pulse, s, and duty, a fraction.
    intended_lambda, predicted_lambda
        λ that is intended, and λ that results; +∞ where no fuel is delivered.
    relative_band
        Expanded uncertainty (k = 2) of λ, relative.
    read_high, read_low
        λ ratio if the battery is read 1 V too high and 1 V too low; if the ECU adds no dead time, of a battery 1 V
        lower and 1 V higher than the table was made for.
    """

    pulse_s: float
    duty: float
    intended_lambda: float
    predicted_lambda: float
    relative_band: float
    read_high: float
    read_low: float


def idle_point(result: Result) -> IdlePoint:
    """Work out what to expect at the idle point: the ECU reads between its cells, at the pressure there."""
    regions, job, table = Regions(result), result.job, result.table
    if regions.counts_air:
        # It is not known how much air idle takes, and so not which cell of this axis.
        return IdlePoint(*(math.nan,) * 7)
    engine, settings, volts = job.target.hardware.engine, result.in_force.new, job.target.table.battery_v
    cell = np.array([[regions.at_idle(table.stored) * job.target.shown.per_unit]])
    intended = np.array([[regions.at_idle(np.broadcast_to(job.target.table.intended_lambda, table.new.shape))]])
    here = replace(
        job.target.table,
        values=cell,
        rpm=np.array([engine.idle_rpm]),
        load_pa=np.array([engine.idle_pressure_pa]),
        own_pressure_pa=None,
        intended_lambda=intended,
    )
    # One volt below, the voltage itself, one volt above.
    pulse, at_each = _over_battery(job, here, cell, settings, np.array([volts - 1.0, volts, volts + 1.0]))
    at = delivery(job.target.hardware, here.pressure_pa, here.rpm, volts)
    on = OnTarget(job.with_side("target", table=here), np.array([[_air_kg(regions)]]), at)
    below, same, above = (at_each if here.inside.dead_time else at).fuel_kg(pulse).ravel()
    lean, rich = (below, above) if here.inside.dead_time else (above, below)
    # Drives showed this fuel to be too much, but no log has supported taking it out.
    left = 1.0 if table.taught is None else regions.at_idle(table.lambda_expected)
    return IdlePoint(
        pulse_s=float(pulse[1].item()),
        duty=float((pulse[1] / at.window_s).item()),
        intended_lambda=float(intended.item()),
        predicted_lambda=left * float((intended * on.ratio_of(pulse[1], at)).item()),
        relative_band=regions.at_idle(result.band.adapted),
        read_high=_leaner(same, lean),
        read_low=_leaner(same, rich),
    )


def _air_kg(regions: Regions) -> float:
    """Air of a cylinder at the idle point, kg: between the cells it is in proportion to the pressure.

    On a throttle axis a row has no pressure, and the air itself is read between the cells.
    """
    air = regions.table.target.air_kg
    if regions.by_throttle:
        return regions.at_idle(air)
    per_pressure = air / regions.job.target.table.points.charge[:, np.newaxis]
    return regions.at_idle(per_pressure) * regions.job.target.hardware.engine.idle_pressure_pa


def _over_battery(
    job: Job, table: FuelTable, cell: FloatArray, settings: Settings, volts: FloatArray
) -> tuple[FloatArray, Delivery]:
    """Pulses, s, that the ECU commands for one cell at some voltages, and the injectors there: (voltages, 1, 1)."""
    each = volts[:, np.newaxis, np.newaxis]
    at = delivery(job.target.hardware, table.pressure_pa, table.rpm, each)
    sensed = Sensed(at.pressure_across_pa, job.target.hardware.conditions.charge_temperature_k, each)
    pulse = commanded_pulse(cell, table, table.intended_lambda, settings, sensed)
    return np.broadcast_to(pulse, each.shape), at


def _leaner(right_kg: float, wrong_kg: float) -> float:
    """λ ratio of the wrong amount of fuel to the right one; +∞ where no fuel is left."""
    if math.isnan(right_kg) or math.isnan(wrong_kg):
        return math.nan
    return float(right_kg / wrong_kg) if wrong_kg > 0 else math.inf
