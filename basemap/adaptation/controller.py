"""The ECU: a cell becomes a pulse, and the reverse.

The commanded pulse is linear in the cell: ``pulse = gain · cell + offset``. One gain serves both directions. An ECU
that holds both slopes of a flow line bends ``gain · cell`` at the bend before it adds the offset.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.constants import R_DRY_AIR
from basemap.model.installation import FloatArray
from basemap.model.settings import Settings
from basemap.model.table import FuelTable, TableQuantity
from basemap.physics.bent_line import mass_for, pulse_for


class Sensed(NamedTuple):
    """What the ECU measures in a cell: Δp over the rail, charge temperature and battery voltage."""

    pressure_across_pa: FloatArray
    charge_temperature_k: float
    battery_v: FloatArray | float


def gain(table: FuelTable, intended_lambda: FloatArray, settings: Settings, sensed: Sensed) -> FloatArray:
    """Pulse per unit of the cell, without dead time, shape (loads, speeds), s per fraction or s per s."""
    found = _GAIN[table.quantity](table, intended_lambda, settings, sensed)
    if settings.battery_factor is None or table.inside.dead_time:
        return found
    return found * settings.battery_factor.at(sensed.battery_v)


def offset(table: FuelTable, settings: Settings, sensed: Sensed) -> FloatArray:
    """Time that the ECU adds to every pulse: its dead time, unless that is inside the cell, s."""
    told = settings.dead_time_s(sensed.battery_v)
    return np.zeros_like(told) if table.inside.dead_time else told


def commanded_pulse(
    cell: FloatArray, table: FuelTable, intended_lambda: FloatArray, settings: Settings, sensed: Sensed
) -> FloatArray:
    """Pulse that the ECU commands for a cell, s."""
    effective = cell * gain(table, intended_lambda, settings, sensed)
    if settings.bend is not None:
        effective = pulse_for(effective, 0.0, settings.bend)
    if settings.added is not None:
        effective = settings.added.longer(effective)
    return at_least(effective + offset(table, settings, sensed), cell, settings)


def at_least(pulse_s: FloatArray, cell: FloatArray, settings: Settings) -> FloatArray:
    """Pulses as an ECU with a minimum pulse commands them, s; a cell of zero stays no pulse at all."""
    if settings.minimum_pulse_s == 0.0:
        return np.asarray(pulse_s)
    with np.errstate(invalid="ignore"):
        return np.where((cell > 0) & (pulse_s < settings.minimum_pulse_s), settings.minimum_pulse_s, pulse_s)


def cell_for(
    pulse_s: FloatArray, table: FuelTable, intended_lambda: FloatArray, settings: Settings, sensed: Sensed
) -> FloatArray:
    """Cell that makes the ECU command a pulse; the inverse of `commanded_pulse`. May come out ≤ 0."""
    numerator = pulse_s - offset(table, settings, sensed)
    if settings.bend is not None:
        numerator = mass_for(numerator, 0.0, settings.bend)
    if settings.added is not None:
        numerator = settings.added.by_line(numerator)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(numerator / gain(table, intended_lambda, settings, sensed))


def rail_pressure_factor(settings: Settings, sensed: Sensed) -> FloatArray:
    """F_p: the flow that the ECU believes in over the one that it was told."""
    if not settings.corrects_rail_pressure:
        return np.ones_like(sensed.pressure_across_pa)
    return np.asarray(np.sqrt(np.maximum(sensed.pressure_across_pa, 0.0) / settings.flow_pressure_pa))


def believed_temperature(settings: Settings, sensed: Sensed) -> float:
    """T if the ECU corrects for the charge temperature, else the ECU's own constant."""
    return sensed.charge_temperature_k if settings.corrects_charge_temperature else settings.reference_temperature_k


def _ve_gain(table: FuelTable, intended_lambda: FloatArray, settings: Settings, sensed: Sensed) -> FloatArray:
    pressure = table.reference_pressure_pa if table.inside.pressure else table.multiplied_by_pa
    lambda_ = 1.0 if table.inside.intended_lambda else intended_lambda
    air = settings.formula_factor * pressure * settings.cylinder_volume_m3 / R_DRY_AIR
    fuel = air / (believed_temperature(settings, sensed) * settings.stoichiometric * lambda_)
    with np.errstate(divide="ignore"):
        return np.asarray(fuel / (settings.openings * settings.flow_kg_s * rail_pressure_factor(settings, sensed)))


def _pulse_gain(table: FuelTable, intended_lambda: FloatArray, settings: Settings, sensed: Sensed) -> FloatArray:
    pressure = 1.0 if table.inside.pressure else table.multiplied_by_pa / table.reference_pressure_pa
    lambda_ = 1.0 if table.inside.intended_lambda else intended_lambda
    temperature = settings.reference_temperature_k / believed_temperature(settings, sensed)
    with np.errstate(divide="ignore"):
        return np.asarray(pressure / lambda_ * temperature / rail_pressure_factor(settings, sensed))


_GAIN = {TableQuantity.VOLUMETRIC_EFFICIENCY: _ve_gain, TableQuantity.PULSE_WIDTH: _pulse_gain}
