"""Which settings are in force: the donor's, those to enter for the target, and the old ones left on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from basemap.adaptation.hardware import rail_flow
from basemap.model.axes import PART_LOAD_EFFICIENCY
from basemap.model.injectors import BatteryFactor, DeadTime
from basemap.model.installation import FloatArray, Installation, Told
from basemap.model.job import Job, Side
from basemap.model.settings import InForce, Settings
from basemap.model.storage import hold
from basemap.model.table import TableQuantity
from basemap.physics.air import density as air_density
from basemap.physics.bent_line import BentLine


def exactly(job: Job) -> InForce:
    """The settings of either side, as if every field could hold any number."""
    donor = donor_settings(job.donor)
    return InForce(donor=donor, new=_new_settings(job, donor), old=_old_settings(job, donor))


def _told_flow(told: Told, installation: Installation) -> float:
    """ṁ_set of a told flow: the stated mass flow of rating fluid, converted to the fuel in the rail, kg/s."""
    assert told.flow is not None
    rated = installation.injectors.line.fluid_density
    mass = told.flow if told.flow_is_mass else told.flow * rated
    return mass * math.sqrt(installation.fuel.density / rated)


def told_densities(job: Job) -> tuple[float, float] | None:
    """Fuel densities that the donor's ECU holds and that the target's will hold, kg/m³; `None` if they hold none.

    The target's is as its field can hold it: the flow beside it makes up for the rest.
    """
    old, own = job.donor.told.fuel_density, job.target.told.fuel_density
    if old is None:
        return None
    if own is not None:
        return old, own
    if "fuel_density" in job.cannot_be_told:
        return old, old
    new, field = job.target.hardware.fuel.density_15, job.setting_fields.get("fuel_density")
    assert new is not None
    if field is None:
        return old, new
    size = density_unit(job)[1]
    return old, hold(new / size, field) * size


def density_unit(job: Job) -> tuple[str, float]:
    """Unit in which the donor's ECU holds a fuel density, and its size, kg/m³."""
    written = job.inputs.get("donor.settings.fuel_density")
    return (written.unit, written.value / written.shown) if written is not None and written.shown else ("kg/m3", 1.0)


def _density_off(told: Told, installation: Installation) -> float:
    """Factor on an ECU's fuel mass because it was told another density than the fuel has; 1 if it was told none."""
    truth = installation.fuel.density_15
    if told.fuel_density is None:
        return 1.0
    assert truth is not None
    return told.fuel_density / truth


def donor_settings(side: Side) -> Settings:
    """What the donor's ECU held when its table was tuned."""
    donor, told = side.hardware, side.told
    displacement = donor.engine.displacement_m3 if told.displacement_m3 is None else told.displacement_m3
    openings = donor.injectors.openings_per_cycle if told.openings_per_cycle is None else told.openings_per_cycle
    return Settings(
        displacement_m3=displacement,
        cylinder_volume_m3=displacement / donor.engine.cylinders,
        flow_kg_s=(rail_flow(donor) if told.flow is None else _told_flow(told, donor)) * _density_off(told, donor),
        flow_pressure_pa=donor.fuel.rail_pressure_pa,
        stoichiometric=donor.fuel.stoichiometric if told.stoichiometric is None else told.stoichiometric,
        openings=donor.injectors.per_cylinder * openings,
        openings_per_cycle=openings,
        dead_time=donor.injectors.dead_time if told.dead_time is None else told.dead_time,
        dead_time_pressure_pa=donor.fuel.rail_pressure_pa,
        corrects_rail_pressure=told.corrects_rail_pressure,
        corrects_charge_temperature=told.corrects_charge_temperature,
        formula_factor=told.formula_factor,
        reference_temperature_k=donor.conditions.charge_temperature_k,
        bend=_bend(told, donor),
        minimum_pulse_s=told.minimum_pulse_s,
        battery_factor=told.battery_factor,
        added=donor.injectors.added_time if told.added_time else None,
    )


def _bend(told: Told, installation: Installation) -> BentLine | None:
    """Both slopes of an installation, if its ECU was told them."""
    fitted = installation.injectors.bent_line
    return fitted.relative if fitted is not None and told.bent_line else None


def _kept_bend(donor: Settings, flow_kg_s: float) -> BentLine | None:
    """The donor's bend left in an ECU, relative to the new flow."""
    if donor.bend is None:
        return None
    ratio = donor.flow_kg_s / flow_kg_s
    return replace(donor.bend, below=donor.bend.below * ratio, at_mass=donor.bend.at_mass * ratio)


def _new_settings(job: Job, donor: Settings) -> Settings:
    """The donor's settings times the ratio of the true values, target over donor, unless they cannot be entered."""
    target, told, stuck = job.target.hardware, job.target.told, job.cannot_be_told
    displacement = donor.displacement_m3 * target.engine.displacement_m3 / job.donor.hardware.engine.displacement_m3
    stoichiometric = donor.stoichiometric * target.fuel.stoichiometric / job.donor.hardware.fuel.stoichiometric
    if job.other_quantity:
        donor = _truth_about_target(job)
        displacement, stoichiometric = donor.displacement_m3, donor.stoichiometric
    flow, flow_pressure = _new_flow(job, donor)
    dead_time, dead_pressure = target.injectors.dead_time, target.fuel.rail_pressure_pa
    openings = target.injectors.openings_per_cycle
    if told.displacement_m3 is not None:
        displacement = told.displacement_m3
    elif "displacement" in stuck:
        displacement = donor.displacement_m3
    if told.stoichiometric is not None:
        stoichiometric = told.stoichiometric
    elif "stoichiometric" in stuck:
        stoichiometric = donor.stoichiometric
    if told.openings_per_cycle is not None:
        openings = told.openings_per_cycle
    elif "openings_per_cycle" in stuck:
        openings = donor.openings_per_cycle
    if told.dead_time is not None:
        dead_time = told.dead_time
    elif told.dead_time_points_v is not None:
        filled = dead_time.at(told.dead_time_points_v, dead_pressure)
        dead_time = DeadTime(told.dead_time_points_v, np.atleast_2d(filled))
    elif "dead_time" in stuck:
        dead_time, dead_pressure = donor.dead_time, donor.dead_time_pressure_pa
    return Settings(
        displacement_m3=displacement,
        cylinder_volume_m3=displacement / target.engine.cylinders,
        flow_kg_s=flow,
        flow_pressure_pa=flow_pressure,
        stoichiometric=stoichiometric,
        openings=target.injectors.per_cylinder * openings,
        openings_per_cycle=openings,
        dead_time=dead_time,
        dead_time_pressure_pa=dead_pressure,
        corrects_rail_pressure=told.corrects_rail_pressure,
        corrects_charge_temperature=told.corrects_charge_temperature,
        formula_factor=told.formula_factor,
        reference_temperature_k=donor.reference_temperature_k,
        bend=_kept_bend(donor, flow) if "bent_line" in stuck else _bend(told, target),
        minimum_pulse_s=told.minimum_pulse_s,
        battery_factor=_new_battery_factor(job, donor),
        added=donor.added if "added_time" in stuck else target.injectors.added_time if told.added_time else None,
    )


def correct_at_s(job: Job) -> float:
    """Open time for which the battery factor is calculated, s: as stated, else that of an ordinary idle.

    The idle is one at the idle pressure, with a volumetric efficiency in the middle of the ordinary ones at part load.
    """
    target, stated = job.target.hardware, job.target.told.correct_at_s
    if stated is not None:
        return stated
    breath = sum(PART_LOAD_EFFICIENCY) / 2.0
    density = float(air_density(target.engine.idle_pressure_pa, target.conditions.charge_temperature_k))
    fuel = breath * density * target.engine.cylinder_volume_m3 / target.fuel.stoichiometric
    openings = target.injectors.per_cylinder * target.injectors.openings_per_cycle
    return fuel / (openings * rail_flow(target))


def _new_battery_factor(job: Job, donor: Settings) -> BatteryFactor | None:
    """The factors that give one pulse its dead time at every voltage; at the table's voltage, the donor's factor."""
    held, told = donor.battery_factor, job.target.told
    if held is None or told.battery_factor is not None:
        return told.battery_factor
    if "dead_time" in job.cannot_be_told:
        return held
    target = job.target.hardware
    volts = held.battery_v if told.dead_time_points_v is None else told.dead_time_points_v
    here, open_s = job.target.table.battery_v, correct_at_s(job)

    def pulse(battery_v: FloatArray | float) -> FloatArray:
        return open_s + target.injectors.dead_time.at(battery_v, target.fuel.rail_pressure_pa)

    return BatteryFactor(volts, held.at(here) * pulse(volts) / pulse(here))


def _truth_about_target(job: Job) -> Settings:
    """The settings of a different ECU, unless the job states them: the truth about the target."""
    target = job.target.hardware
    openings = target.injectors.openings_per_cycle
    return Settings(
        displacement_m3=target.engine.displacement_m3,
        cylinder_volume_m3=target.engine.cylinder_volume_m3,
        flow_kg_s=rail_flow(target),
        flow_pressure_pa=target.fuel.rail_pressure_pa,
        stoichiometric=target.fuel.stoichiometric,
        openings=target.injectors.per_cylinder * openings,
        openings_per_cycle=openings,
        dead_time=target.injectors.dead_time,
        dead_time_pressure_pa=target.fuel.rail_pressure_pa,
        corrects_rail_pressure=job.target.told.corrects_rail_pressure,
        corrects_charge_temperature=job.target.told.corrects_charge_temperature,
        formula_factor=job.target.told.formula_factor,
        reference_temperature_k=target.conditions.charge_temperature_k,
        minimum_pulse_s=job.target.told.minimum_pulse_s,
    )


def _new_flow(job: Job, donor: Settings) -> tuple[float, float]:
    """ṁ_set for the target and the rail pressure at which it is stated, kg/s and Pa.

    A different ECU refers to the target's own rail; `donor` is then the truth about the target. A flow that cannot be
    entered keeps the donor's reference pressure. So does a pulse-width table: its ECU holds no flow, only the pressure
    for which its cells stand.
    """
    if job.other_quantity:
        stated = job.target.told.flow is not None
        flow = _told_flow(job.target.told, job.target.hardware) if stated else donor.flow_kg_s
        return flow, donor.flow_pressure_pa
    # A flow that keeps its number means another mass if the density beside it changes.
    densities = told_densities(job)
    denser = 1.0 if densities is None else densities[1] / densities[0]
    if job.target.told.flow is not None:
        # A stuck entry is on the donor's basis, so the donor's fluids turn it into a mass flow.
        basis = job.donor.hardware if job.donor.flow_known and job.donor.fuel_known else job.target.hardware
        told = _told_flow(job.target.told, basis) * _density_off(job.donor.told, job.donor.hardware)
        return told * denser, donor.flow_pressure_pa
    if "static_flow" in job.cannot_be_told:
        return donor.flow_kg_s * denser, donor.flow_pressure_pa
    entered = donor.flow_kg_s * rail_flow(job.target.hardware) / rail_flow(job.donor.hardware)
    if job.donor.table.quantity is TableQuantity.PULSE_WIDTH:
        return entered, donor.flow_pressure_pa
    return entered, job.target.hardware.fuel.rail_pressure_pa


def _old_settings(job: Job, donor: Settings) -> Settings:
    """The donor's numbers on the target; counts and wiring are the target's, or the engine would not fire."""
    new = _new_settings(job, donor)
    return replace(
        new,
        displacement_m3=donor.displacement_m3,
        cylinder_volume_m3=donor.displacement_m3 / job.target.hardware.engine.cylinders,
        flow_kg_s=donor.flow_kg_s,
        flow_pressure_pa=donor.flow_pressure_pa,
        stoichiometric=donor.stoichiometric,
        dead_time=donor.dead_time,
        dead_time_pressure_pa=donor.dead_time_pressure_pa,
        bend=donor.bend,
        battery_factor=donor.battery_factor,
        added=donor.added,
    )
