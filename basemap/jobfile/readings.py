"""``ecu_applies = "unknown"``: which reading of the cells implies a volumetric efficiency that an engine can have."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import delivery
from basemap.adaptation.setting_fields import in_force
from basemap.constants import R_DRY_AIR
from basemap.errors import InputError
from basemap.jobfile.side import StatedSide
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.table import Inside

APPLICABLE = ("pressure", "lambda", "dead time")
WIDE_OPEN = 0.60, 1.20
"""Implied VE at the highest row up to the barometer beyond which a file is not what it says. Common practice."""
LIGHT_LOAD = 0.35, 0.95
"""Implied VE from 30 to 60 kPa. Common practice."""
LIGHT_LOAD_PA = 30e3, 60e3
SAME = 1e-9


@dataclass(frozen=True)
class CellMeaning:
    """One way to read the cells and the volumetric efficiency that it implies.

    `light_load` is `None` where the table has no row from 30 to 60 kPa.
    """

    applies: tuple[str, ...]
    inside: Inside
    wide_open: float
    light_load: float | None

    @property
    def plausible(self) -> bool:
        """Whether an engine can have it."""
        light = self.light_load is None or LIGHT_LOAD[0] <= self.light_load <= LIGHT_LOAD[1]
        return WIDE_OPEN[0] <= self.wide_open <= WIDE_OPEN[1] and light

    def __str__(self) -> str:
        names = ", ".join(f'"{name}"' for name in self.applies)
        light = "" if self.light_load is None else f" and {_shown(self.light_load)} at 30 to 60 kPa"
        return f"[{names}] implies a VE of {_shown(self.wide_open)} wide open{light}"


def _shown(efficiency: float) -> str:
    """Two decimals; none where the pulses would be shorter than the dead time."""
    return "none" if math.isnan(efficiency) else f"{efficiency:.2f}"


def choose_reading(donor: StatedSide, job: Job, own_lambda: bool) -> Inside:
    """The only plausible reading of the donor's cells.

    Parameters
    ----------
    donor
        The side that says "unknown".
    job
        Complete but for what is inside the donor's cells.
    own_lambda
        Whether the target is meant to run another mixture than the donor.

    Raises
    ------
    InputError
        With every reading, where none or more than one is plausible.
    """
    readings = all_readings(job, own_lambda)
    plausible = [reading for reading in readings if reading.plausible]
    shown = "; ".join(str(reading) for reading in readings)
    key = "tables.fuel.ecu_applies"
    if len(plausible) != 1:
        count = "no reading" if not plausible else "more than one reading"
        raise InputError(
            f'"unknown" cannot be settled, as {count} of the cells is plausible: {shown}; say which it is',
            file=donor.record.file,
            place=donor.place(key),
        )
    donor.assume("ecu applies, unknown", key, unknown=True, value=f"{plausible[0]}, of: {shown}")
    return plausible[0].inside


def all_readings(job: Job, own_lambda: bool) -> list[CellMeaning]:
    """Every reading. Where lambda is 1 throughout on both sides, whether the ECU applies it makes no difference."""
    neutral = not own_lambda and bool(np.all(np.abs(job.donor.table.intended_lambda - 1.0) < SAME))
    names = tuple(name for name in APPLICABLE if not (neutral and name == "lambda"))
    readings = []
    for count in range(len(names), -1, -1):
        for chosen in combinations(names, count):
            applies = tuple(name for name in APPLICABLE if name in chosen or (neutral and name == "lambda"))
            inside = Inside("pressure" not in applies, "lambda" not in applies, "dead time" not in applies)
            readings.append(_reading(job, applies, inside))
    return readings


def _reading(job: Job, applies: tuple[str, ...], inside: Inside) -> CellMeaning:
    efficiency = implied_ve(job, inside)
    table, conditions = job.donor.table, job.donor.hardware.conditions
    limit = job.donor.hardware.engine.rev_limit_rpm or float(table.rpm[-1])
    columns = (table.rpm >= 0.3 * limit) & (table.rpm <= 0.9 * limit)
    engine = job.donor.hardware.engine
    end = conditions.barometer_pa if engine.peak_pressure_pa is None else engine.peak_pressure_pa
    visited = np.flatnonzero(table.load_pa <= end * (1 + SAME))
    top = int(visited[-1]) if visited.size else 0
    light = (table.load_pa >= LIGHT_LOAD_PA[0]) & (table.load_pa <= LIGHT_LOAD_PA[1])
    return CellMeaning(
        applies,
        inside,
        wide_open=_median(efficiency[top][columns]),
        light_load=_median(efficiency[light][:, columns]) if light.any() else None,
    )


def _median(values: FloatArray) -> float:
    """NaN where a pulse is shorter than the dead time, or where nothing is left: then it is not plausible."""
    return float(np.median(values)) if values.size else float("nan")


def implied_ve(job: Job, inside: Inside) -> FloatArray:
    """Volumetric efficiency that the donor's cells imply if read so, shape (loads, speeds)."""
    table = replace(job.donor.table, inside=inside)
    settings = in_force(job).donor
    conditions, engine = job.donor.hardware.conditions, job.donor.hardware.engine
    at = delivery(job.donor.hardware, table.pressure_pa, table.rpm, table.battery_v)
    sensed = Sensed(at.pressure_across_pa, conditions.charge_temperature_k, table.battery_v)
    pulse = ecu.commanded_pulse(table.values, table, table.intended_lambda, settings, sensed)
    air = table.intended_lambda * job.donor.hardware.fuel.stoichiometric * at.line_fuel_kg(pulse)
    charge = table.pressure_pa * engine.cylinder_volume_m3 / (R_DRY_AIR * conditions.charge_temperature_k)
    return np.asarray(air / charge)
