"""Errors of the sensors by which fuel is metered: the fuel is for the value that is read, the air for the true one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from basemap.adaptation.chain import settled
from basemap.adaptation.quantities.registry import SPREADS
from basemap.adaptation.setting_fields import in_force
from basemap.adaptation.throttle import nearly_shut_rows, needs_pressure, over_throttle
from basemap.belief import moves
from basemap.belief.air_inputs import MAIN
from basemap.belief.spreads import RECTANGLE
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import World
from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import SIDES, Job, SideName
from basemap.model.table import FuelTable

PRESSURE, CHARGE, POSITION = "pressure reading", "charge-temperature reading", "throttle-position reading"
MAP_ERROR, CHARGE_ERROR, POSITION_ERROR = "sensors.map.error", "sensors.iat.error", "sensors.tps.error"
_KEYS = {PRESSURE: MAP_ERROR, CHARGE: CHARGE_ERROR, POSITION: POSITION_ERROR}
K2 = 2.0
"""Data sheets state the error of a sensor as an expanded uncertainty (k = 2); so does ``error`` in a job."""


def sensor_errors(job: Job) -> Iterator[Uncertain]:
    """Errors of the sensors on both sides; the donor's are inside its cells. An ECU that meters the air has none."""
    if job.donor.table.points.axis is LoadAxis.AIR_MASS:
        return
    pressures: FloatArray | None = None
    for side in SIDES:
        if reads_pressure(job.side(side).table):
            pressures = _pressures(job) if pressures is None else pressures
            yield _reading(job, side, PRESSURE, 1.0 / pressures)
    if over_throttle(job.donor.table) and not needs_pressure(job.target.table):
        for side in SIDES:
            yield _reading(job, side, POSITION, _air_over_travel(job))
    for side in SIDES:
        if job.side(side).told.corrects_charge_temperature:
            charge_k = job.side(side).hardware.conditions.charge_temperature_k
            yield _reading(job, side, CHARGE, np.asarray(1.0 / charge_k))


def reads_pressure(table: FuelTable) -> bool:
    """Whether an ECU looks up its cell by a pressure that it reads, or multiplies the cell by it.

    A further table without a load axis does not depend on the pressure.
    """
    multiplied = not table.inside.pressure and table.applied_pa is None
    points = table.points
    found_by = points.axis in (LoadAxis.MANIFOLD_PRESSURE, LoadAxis.PRESSURE_RATIO)
    return multiplied or (found_by and (table.name == MAIN or points.lookup[0] != points.lookup[-1]))


def _pressures(job: Job) -> FloatArray:
    """Manifold pressure of the target's cells, Pa: the donor's is nearly the same."""
    behind = settled(job, in_force(job)) if over_throttle(job.donor.table) else job
    pressures = np.broadcast_to(behind.target.table.pressure_pa, behind.target.table.values.shape)
    return np.where(pressures > 0, pressures, np.inf)


def _air_over_travel(job: Job) -> FloatArray:
    """∂ln(air)/∂(opening) at one speed in the target's cells, if the air is known by the opening alone.

    It follows from the predicted pressures, to which the air is proportional; nearly shut, the idle valve sets the air.
    """
    table, pressures = job.target.table, _pressures(job)
    if table.points.similar.size < 2:
        return np.zeros(pressures.shape)
    pressure = np.log(np.where(np.isfinite(pressures), pressures, np.nan))
    found = np.nan_to_num(np.gradient(pressure, table.points.similar, axis=0))
    return np.where(nearly_shut_rows(table)[:, np.newaxis], 0.0, found)


def reading_standard(job: Job, side: SideName, name: str) -> float:
    """Standard uncertainty of a reading, in SI: as stated, or that of a usual sensor."""
    stated = job.inputs.get(f"{side}.{_KEYS[name]}")
    half_width = SPREADS[name].half_width if stated is None else stated.value
    return half_width / (K2 if stated is not None or name != CHARGE else RECTANGLE)


def _reading(job: Job, side: SideName, name: str, per_unit: FloatArray) -> Uncertain:
    """The error of one sensor: 1 % read too much is 1 % too much fuel; on the donor, the cells took it for air."""
    key, default = f"{side}.{_KEYS[name]}", SPREADS[name]
    stated = key in job.inputs
    return Uncertain(
        name=f"{name} of the {side}",
        keys=(key,),
        standard=reading_standard(job, side, name),
        unit=default.unit,
        assumed=not stated,
        shift=partial(_with_the_blade if name == POSITION else _as_air, per_unit=np.nan_to_num(per_unit)),
        rectangular=not stated and name == CHARGE,
        measured_to=default.measured_to / (RECTANGLE if name == CHARGE else K2),
    )


def _with_the_blade(world: World, by: FloatArray, *, per_unit: FloatArray) -> World:
    return replace(world, efficiency=moves.many(world.efficiency * np.exp(by * per_unit)))


def _as_air(world: World, by: FloatArray, *, per_unit: FloatArray) -> World:
    return replace(world, efficiency=moves.many(world.efficiency * (1.0 + by * per_unit)))
