"""The three steps from an old cell to a new one: decode the donor, transfer the air, encode for the target."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import Delivery, delivery
from basemap.adaptation.throttle import air_of_target, donor_ratio, needs_pressure, over_throttle, target_ratio
from basemap.model.axes import LoadAxis
from basemap.model.installation import BoolArray, FloatArray, Regulator
from basemap.model.job import Job, Side
from basemap.model.settings import InForce, Settings
from basemap.model.table_result import Chain
from basemap.physics.injector import dead_time_standing
from basemap.physics.throttle import fixed_rail_ratio

_MOST_ROUNDS = 60
_SAME_RATIO = 1e-13


def decode(job: Job, settings: InForce) -> Chain:
    """Donor cell → commanded pulse → fuel its hardware delivers → air, as it was tuned."""
    return decode_side(job.donor, settings.donor)


def decode_side(side: Side, settings: Settings) -> Chain:
    """The cells of a side read as they were tuned, with the settings that its ECU held.

    The air is NaN where the pulse is shorter than the dead time, or there is no pressure across the injector.
    """
    table = side.table
    at = delivery(side.hardware, table.pressure_pa, table.rpm, table.battery_v)
    sensed = Sensed(at.pressure_across_pa, side.hardware.conditions.charge_temperature_k, table.battery_v)
    pulse = ecu.commanded_pulse(table.values, table, table.intended_lambda, settings, sensed)
    fuel = np.where(at.line_flow_kg_s > 0, at.line_fuel_kg(pulse), np.nan)
    air = table.intended_lambda * side.hardware.fuel.stoichiometric * fuel
    return _chain(at, pulse, fuel, air, settings.dead_time_s(table.battery_v))


def settled(job: Job, settings: InForce) -> Job:
    """The job with the manifold pressure of every cell, if its tables are over throttle opening; else as it is.

    Behind a throttle every cell has its own pressure. The donor's follows from its air over that of the wide-open row,
    the target's from the donor's by the flow through both blades. On a fixed rail, air and pressure depend on each
    other.
    """
    donor, target = job.donor.table, job.target.table
    if not over_throttle(donor):
        return job
    if not needs_pressure(donor):
        donor = replace(
            donor, own_pressure_pa=_ratio_by_air(job, settings) * job.donor.hardware.conditions.barometer_pa
        )
    behind = job.with_side("donor", table=donor)
    ratio = _along_axis(behind, target_ratio(behind, donor_ratio(behind)))
    barometer = job.target.hardware.conditions.barometer_pa
    return replace(behind, target=replace(behind.target, table=replace(target, own_pressure_pa=ratio * barometer)))


def _ratio_by_air(job: Job, settings: InForce) -> FloatArray:
    """Manifold over barometric pressure of the donor's cells, from its air over that of the wide-open row.

    On a fixed rail the air is decoded at a pressure that depends on the answer. The air that a cell would mean at the
    full rail pressure gives it in closed form; if the dead time changes with pressure, that is repeated.
    """
    barometer = job.donor.hardware.conditions.barometer_pa
    over_rail = barometer / job.donor.hardware.fuel.rail_pressure_pa
    ratio = np.ones_like(job.donor.table.values)
    for _ in range(_MOST_ROUNDS):
        table = replace(job.donor.table, own_pressure_pa=ratio * barometer)
        air = decode(job.with_side("donor", table=table), settings).air_kg
        apparent = air / air[..., -1:, :]
        if job.donor.hardware.fuel.regulator is not Regulator.FIXED:
            return apparent
        found = fixed_rail_ratio(apparent / np.sqrt(1.0 + over_rail * (1.0 - ratio)), over_rail)
        found[..., -1, :] = apparent[..., -1, :]  # wide open it is 1, to the last bit
        if not (np.abs(found - ratio) > _SAME_RATIO).any():
            return found
        ratio = found
    raise ArithmeticError("the pressures behind the throttle did not converge")


def transfer(job: Job, donor_air_kg: FloatArray, breathing_factor: FloatArray | None = None) -> FloatArray:
    """Air per cylinder of the donor → of the target at the similar points of the target's axes, kg.

    Both engines have the same volumetric efficiency; on an air-mass axis, the same ratio of air to the axis's own
    figure; on a throttle axis, the pressures that `settled` found. With a `breathing_factor` the target's efficiency is
    that many times the donor's.

    Between the donor's points this is bilinear; beyond them the edge is held.
    """
    if breathing_factor is not None:
        return np.asarray(transfer(job, donor_air_kg) * breathing_factor)
    if job.donor.table.points.axis is LoadAxis.AIR_MASS:
        return _along_axis(job, donor_air_kg)
    if over_throttle(job.donor.table):
        return _along_axis(job, air_of_target(job, donor_air_kg))
    volumes = job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3
    temperatures = (
        job.donor.hardware.conditions.charge_temperature_k / job.target.hardware.conditions.charge_temperature_k
    )
    return _along_axis(job, donor_air_kg * volumes * temperatures)


def _along_axis(job: Job, air_kg: FloatArray) -> FloatArray:
    """Air at the donor's points → at the target's, in proportion to the charge of the points."""
    donor, target = job.donor.table.points.charge, job.target.table.points.charge
    if job.cell_for_cell:
        return np.asarray(air_kg * (target / donor)[:, np.newaxis])
    between = job.at_similar_points.of(air_kg / donor[:, np.newaxis])
    return np.asarray(between * target[:, np.newaxis])


class Encoded(NamedTuple):
    """The new cells (SI; NaN where no cell is possible) and what the target's hardware does with them."""

    cells: FloatArray
    delivery: Delivery
    chain: Chain
    below_minimum: BoolArray


def encode(job: Job, settings: InForce, air_kg: FloatArray) -> Encoded:
    """Air → fuel the target needs → pulse its hardware needs → the cell that makes its ECU command that pulse."""
    table = job.target.table
    at = delivery(job.target.hardware, table.pressure_pa, table.rpm, table.battery_v)
    sensed = Sensed(at.pressure_across_pa, job.target.hardware.conditions.charge_temperature_k, table.battery_v)
    fuel = air_kg / (job.target.hardware.fuel.stoichiometric * table.intended_lambda)
    pulse = at.pulse_s(fuel)
    cells = ecu.cell_for(pulse, table, table.intended_lambda, settings.new, sensed)
    possible = np.isfinite(cells) & ((cells > 0) | (fuel == 0))
    cells, needed = np.where(possible, cells, np.nan), np.where(possible, pulse, np.nan)
    pulse = ecu.at_least(needed, cells, settings.new)
    chain = _chain(at, pulse, fuel, air_kg, settings.new.dead_time_s(table.battery_v))
    with np.errstate(invalid="ignore"):
        return Encoded(cells, at, chain, below_minimum=pulse > needed)


def _chain(at: Delivery, pulse: FloatArray, fuel: FloatArray, air: FloatArray, told: FloatArray) -> Chain:
    whole = np.broadcast_shapes(pulse.shape, air.shape, at.line_flow_kg_s.shape)

    def full(values: FloatArray) -> FloatArray:
        return values if values.shape == whole else np.broadcast_to(values, whole)

    return Chain(
        pressure_across_pa=full(at.pressure_across_pa),
        line_flow_kg_s=full(at.line_flow_kg_s),
        static_flow_kg_s=full(at.static_flow_kg_s),
        dead_time_s=full(at.dead_time_s),
        told_dead_time_s=full(told),
        pulse_s=full(pulse),
        fuel_kg=fuel,
        air_kg=air,
        window_s=full(at.window_s),
    )


def dead_time_marks(job: Job, target: Chain) -> tuple[BoolArray, BoolArray]:
    """Cells whose dead time lies outside the data, and those more than 1 V below it."""
    dead, volts = job.target.hardware.injectors.dead_time, job.target.table.battery_v
    standing = dead_time_standing(volts, dead.battery_v)
    outside = np.full(target.pulse_s.shape, standing != "within")
    if dead.pressure_pa is not None:
        outside |= (target.pressure_across_pa < dead.pressure_pa[0]) | (
            target.pressure_across_pa > dead.pressure_pa[-1]
        )
    return outside, np.full(outside.shape, standing == "not known")
