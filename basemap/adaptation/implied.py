"""What a donor's cells imply: volumetric efficiency wide open and at part load, and power at the rated speed."""

from __future__ import annotations

import math
from statistics import median

import numpy as np

from basemap.adaptation.throttle import over_throttle
from basemap.constants import R_DRY_AIR
from basemap.model.axes import LEAST_EFFICIENCY, PART_LOAD_EFFICIENCY, LoadAxis
from basemap.model.installation import BoolArray, FloatArray, Induction, Installation
from basemap.model.job import Job
from basemap.model.table import FuelTable

VE_LOW, VE_LOWEST = LEAST_EFFICIENCY, 0.60
VE_HIGH, VE_HIGHEST = 1.05, 1.20
VE_PART_LOW, VE_PART_HIGH = PART_LOAD_EFFICIENCY
POWER_CAUTION, POWER_STOP = 0.15, 0.30

VE_SPEEDS = (0.30, 0.90)
PART_LOAD_PA = (30_000.0, 60_000.0)

FUEL_PER_ENERGY = {Induction.ATMOSPHERIC: 0.305, Induction.BOOSTED: 0.365}
"""Brake specific fuel consumption of petrol at full load, kg/kWh. Common practice, no source."""

AIR_PER_FUEL = 14.6
"""Stoichiometric ratio that goes with it: air per kWh is nearly the same for every liquid fuel."""

REFERENCE_PA, REFERENCE_K = 99_000.0, 298.15
"""Air to which makers refer a rated power, 99 kPa and 25 °C. ISO 1585."""

_SECONDS_PER_HOUR = 3600.0


def volumetric_efficiency(installation: Installation, table: FuelTable, air_kg: FloatArray) -> FloatArray:
    """Volumetric efficiency from the air per cylinder and cycle, referred to manifold conditions.

    On an air-mass axis the pressure is not known, and the air is compared with what the axis states.
    """
    if counts_air(table):
        return np.asarray(air_kg / table.points.charge[:, np.newaxis])
    charge = table.pressure_pa * installation.engine.cylinder_volume_m3
    return np.asarray(air_kg * R_DRY_AIR * installation.conditions.charge_temperature_k / charge)


def counts_air(table: FuelTable) -> bool:
    """Whether the load axis of a table counts air, so that a row's pressure is only an estimate."""
    return table.points.axis is LoadAxis.AIR_MASS


def highest_visited_row(visited: BoolArray) -> int | None:
    """The highest row that the donor has visited; `None` if there is none."""
    rows = np.nonzero(visited.any(axis=1))[0]
    return int(rows[-1]) if rows.size else None


def middle_speeds(job: Job, visited_row: BoolArray) -> BoolArray:
    """The donor's visited columns from 30 to 90 % of its rev limit; if there are none, all its visited columns."""
    rpm = job.donor.table.rpm
    limit = job.donor.hardware.engine.rev_limit_rpm or float(rpm[-1])
    low, high = (share * limit for share in VE_SPEEDS)
    middle = visited_row & (rpm >= low) & (rpm <= high)
    return np.asarray(middle if middle.any() else visited_row)


def median_ve(job: Job, ve: FloatArray, visited: BoolArray, row: int) -> float | None:
    """Median of a row over the middle of the donor's speeds; `None` if no cell of it is known."""
    known = ve[row, middle_speeds(job, visited[row])]
    known = known[np.isfinite(known)]
    # Not np.median, which loads numpy's masked arrays.
    return median(known.tolist()) if known.size else None


def part_load_rows(job: Job) -> list[int]:
    """Rows from 30 to 60 kPa; none if rows have no pressure."""
    if counts_air(job.donor.table) or over_throttle(job.donor.table):
        return []
    load = job.donor.table.load_pa
    low, high = PART_LOAD_PA
    return np.nonzero((load >= low * (1 - 1e-9)) & (load <= high * (1 + 1e-9)))[0].tolist()


def implied_power_w(installation: Installation, table: FuelTable, ve: FloatArray) -> float:
    """Power at the rated speed and full load in the reference air, ``P = air flow/(bsfc·14.6·λ)``, W.

    An atmospheric engine is at the reference barometer, less its loss on the way in; a boosted one is at its peak
    pressure, which is absolute. NaN if the pressure or the air of a cell there is not known.
    """
    if counts_air(table):
        return math.nan
    engine = installation.engine
    assert engine.rated_speed_rpm is not None
    pressure = installation.peak_pressure_pa
    if engine.induction is Induction.ATMOSPHERIC:
        pressure *= REFERENCE_PA / installation.conditions.barometer_pa
    efficiency, mixture = (_read(table, grid, pressure, engine.rated_speed_rpm) for grid in (ve, table.intended_lambda))
    per_cycle = efficiency * pressure * engine.displacement_m3 / (R_DRY_AIR * REFERENCE_K)
    air_kg_s = per_cycle / float(engine.cycle_time_s(engine.rated_speed_rpm))
    kilowatts = air_kg_s * _SECONDS_PER_HOUR / (FUEL_PER_ENERGY[engine.induction] * AIR_PER_FUEL * mixture)
    return 1e3 * kilowatts


def _read(table: FuelTable, grid: FloatArray, pressure_pa: float, rpm: float) -> float:
    """A grid at a point, linear in load and speed, held at the ends."""
    above = int(np.searchsorted(table.load_pa, pressure_pa))
    rows = slice(max(above - 1, 0), above + 1)
    at_speed = [float(np.interp(rpm, table.rpm, row)) for row in grid[rows]]
    return float(np.interp(pressure_pa, table.load_pa[rows], at_speed))
