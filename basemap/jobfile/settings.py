"""``[….settings]``: what an ECU was told, how it behaves, and what its fields can hold."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.errors import NotSupportedYet
from basemap.jobfile import schema
from basemap.jobfile.dead_times import build_dead_time, build_dead_time_points, refuse_repeats
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.target_points import checked_storage
from basemap.model.further_table import FurtherQuantity, FurtherTable
from basemap.model.injectors import BatteryFactor
from basemap.model.installation import Installation, Regulator, Told
from basemap.model.storage import FIELD_DECIMALS
from basemap.model.table import FuelTable, Storage, TableQuantity


class Matters(NamedTuple):
    """Whether a job depends on how the ECU behaves: a default that changes nothing is not listed as assumed."""

    rail_pressure: bool
    charge_temperature: bool


def what_matters(donor: Installation, target: Installation) -> Matters:
    """What matters: on equal rails referenced to the manifold, and at one charge temperature, no correction does."""
    fixed = Regulator.FIXED in (donor.fuel.regulator, target.fuel.regulator)
    return Matters(
        rail_pressure=fixed or donor.fuel.rail_pressure_pa != target.fuel.rail_pressure_pa,
        charge_temperature=donor.conditions.charge_temperature_k != target.conditions.charge_temperature_k,
    )


def donor_told(side: StatedSide, quantity: str, matters: Matters) -> Told:
    """What the donor's ECU was told, with the defaults of its behaviour."""
    section = side.settings
    charge = section.corrects_charge_temperature
    if not isinstance(charge, bool):
        if charge == UNKNOWN or matters.charge_temperature:
            kind = "VE" if quantity == TableQuantity.VOLUMETRIC_EFFICIENCY else "pulse width"
            name = f"corrects charge temperature, {kind}"
            side.assume(name, "settings.corrects_charge_temperature", unknown=charge == UNKNOWN)
        charge = quantity == TableQuantity.VOLUMETRIC_EFFICIENCY
    if section.corrects_rail_pressure is None and matters.rail_pressure:
        side.assume("corrects rail pressure", "settings.corrects_rail_pressure")
    factor = section.formula_factor or side.assume("formula factor", "settings.formula_factor")
    assert factor is not None
    return _told(side, bool(section.corrects_rail_pressure), charge, factor.value, bool(section.bent_line))


def assume_page(side: StatedSide, table: FuelTable, further_tables: tuple[FurtherTable, ...]) -> None:
    """List what the donor's ECU is assumed to have been told, if nobody read its settings page.

    That is displacement, flow and stoichiometric ratio in an ECU that works with volumetric efficiency, and the dead
    time in one that adds it.
    """
    section = side.settings
    if section.same_as_hardware:
        return
    if table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        for name, key in (
            ("told displacement", "displacement"),
            ("told flow", "static_flow"),
            ("told ratio", "stoichiometric"),
        ):
            if getattr(section, key) is None:
                side.assume(name, f"settings.{key}")
    pulses = [one.donor.inside for one in further_tables if one.quantity is FurtherQuantity.PULSE_WIDTH]
    if section.dead_time is None and not all(inside.dead_time for inside in (table.inside, *pulses)):
        side.assume("told dead time", "settings.dead_time")


def target_told(side: StatedSide, donor: Told) -> Told:
    """What the target's ECU keeps, whatever is entered; it behaves as the donor's unless the job says otherwise."""
    section = side.settings
    charge = section.corrects_charge_temperature
    if charge == UNKNOWN:
        raise side.error(
            "settings.corrects_charge_temperature",
            "must not be \"unknown\" here: leave the key out if the target's ECU behaves as the donor's",
        )
    refuse_same_as_hardware(side)
    for name in section.cannot_be_told or ():
        if getattr(section, name, None) is not None:  # "sensors" is no setting
            raise side.error(f"settings.{name}", "is given, but also named in cannot_be_told: keep one of the two")
    told = _told(
        side,
        donor.corrects_rail_pressure if section.corrects_rail_pressure is None else section.corrects_rail_pressure,
        charge if isinstance(charge, bool) else donor.corrects_charge_temperature,
        donor.formula_factor if section.formula_factor is None else section.formula_factor.value,
        donor.bent_line if section.bent_line is None else section.bent_line,
    )
    told = told if section.minimum_pulse else replace(told, minimum_pulse_s=donor.minimum_pulse_s)
    return told if section.added_time is not None else replace(told, added_time=donor.added_time)


def refuse_same_as_hardware(side: StatedSide) -> None:
    """Refuse the key that describes the donor's settings page."""
    if "target.settings.same_as_hardware" in side.provenance.declared - side.provenance.copied:
        raise side.error(
            "settings.same_as_hardware", "describes the donor's settings page: it belongs in [donor.settings]"
        )


def other_ecu_told(side: StatedSide, quantity: TableQuantity) -> Told:
    """What an ECU other than the donor's is told: it inherits nothing, and settings that are not stated are true.

    Raises
    ------
    InputError
        If the job says that it keeps a setting of the donor's ECU.
    """
    section = side.settings
    charge, ve = section.corrects_charge_temperature, quantity is TableQuantity.VOLUMETRIC_EFFICIENCY
    if charge == UNKNOWN:
        raise side.error(
            "settings.corrects_charge_temperature",
            'must not be "unknown" here: leave the key out, because a '
            "target's table in another quantity is made for the target's own charge temperature",
        )
    for name in ("bent_line", "added_time", "fuel_density"):
        if getattr(section, name):
            raise NotSupportedYet(
                "not supported yet: an ECU whose table holds a different quantity from the donor's takes one flow only",
                file=side.provenance.file,
                place=f"{side.name}.settings.{name}",
            )
    refuse_same_as_hardware(side)
    kept = [name for name in section.cannot_be_told or () if name != "sensors"]
    if kept:
        raise side.error(
            "settings.cannot_be_told",
            f"names {kept[0]}, but an ECU whose table holds a different quantity from the donor's does not hold the "
            f"donor's settings: state what it holds instead, as target.settings.{kept[0]}",
        )
    if section.corrects_rail_pressure is None and side.fuel.regulator == Regulator.FIXED:
        side.assume("corrects rail pressure", "settings.corrects_rail_pressure")
    factor = section.formula_factor
    if factor is None and ve:
        factor = side.assume("formula factor", "settings.formula_factor")
    return _told(
        side,
        bool(section.corrects_rail_pressure),
        charge if isinstance(charge, bool) else ve,
        1.0 if factor is None else factor.value,
        bent_line=False,
    )


def _told(side: StatedSide, rail: bool, charge: bool, factor: float, bent_line: bool) -> Told:
    section = side.settings
    flow = section.static_flow
    if flow is not None and flow.second is not None:
        raise side.error("settings.static_flow", f'"{flow.text}" states two flows: give the one that the ECU was told')
    openings, dead_time, key = section.openings_per_cycle, section.dead_time, "settings.dead_time"
    points = build_dead_time_points(side, dead_time, key) if side.name == "target" else None
    multiplies, adds = build_battery_factor(side, dead_time, key), None
    if multiplies is not None:
        points = None  # the voltages are those of the factors
    elif points is None and dead_time is not None and (dead_time.battery or dead_time.time or dead_time.pressure):
        adds = build_dead_time(side, dead_time, key)
    at_pulse = dead_time.at_pulse if dead_time else None
    return Told(
        displacement_m3=section.displacement.value if section.displacement else None,
        flow=flow.value if flow else None,
        flow_is_mass=flow.is_mass if flow else False,
        stoichiometric=section.stoichiometric.value if section.stoichiometric else None,
        openings_per_cycle=openings.value if openings else None,
        dead_time=adds,
        dead_time_points_v=points,
        fuel_density=section.fuel_density.value if section.fuel_density else None,
        bent_line=bent_line,
        corrects_rail_pressure=rail,
        corrects_charge_temperature=charge,
        formula_factor=factor,
        minimum_pulse_s=section.minimum_pulse.value if section.minimum_pulse else 0.0,
        added_time=bool(section.added_time),
        battery_factor=multiplies,
        correct_at_s=at_pulse.value if at_pulse else None,
    )


def build_battery_factor(side: StatedSide, section: schema.ToldDeadTime | None, key: str) -> BatteryFactor | None:
    """The factors by which an ECU multiplies its pulses for the battery, if the job states them."""
    if section is None or section.percent is None:
        return None
    if section.time is not None:
        raise side.error(
            f"{key}.percent",
            "is given together with time: an ECU either adds a time or multiplies by a percentage; give only one",
        )
    if section.battery is None:
        raise side.error(f"{key}.battery", 'missing: the voltages of percent, such as ["10 V", "12 V", "14 V"]')
    volts = np.array([entry.value for entry in section.battery])
    factor = np.array([entry.value for entry in section.percent])
    if factor.shape != volts.shape:
        raise side.error(
            f"{key}.percent", f"expected one percentage for each of the {volts.size} voltages, found {factor.size}"
        )
    order = np.argsort(volts)
    refuse_repeats(side, volts[order], f"{key}.battery", "V")
    volts, factor = volts[order], factor[order]
    for index in np.flatnonzero(np.diff(factor) > 0):
        raise side.error(
            f"{key}.percent",
            f"rises from {100 * factor[index]:.4g} % at {volts[index]:.4g} V to {100 * factor[index + 1]:.4g} % at "
            f"{volts[index + 1]:.4g} V: an injector opens more slowly at a lower voltage; are the lists in one order?",
        )
    return BatteryFactor(volts, factor)


def build_setting_fields(target: StatedSide) -> dict[str, Storage]:
    """The limits and steps that the job states, by the name of the setting."""
    section = target.settings.fields
    if section is None:
        return {}
    found = {}
    for name in sorted(section.model_fields_set - {"notes"}):
        field, key = getattr(section, name), f"settings.fields.{name}"
        storage = Storage() if field is None else Storage(field.decimals, field.minimum, field.maximum, field.step)
        if storage == Storage():
            raise target.error(key, "is empty: give maximum, minimum, step or decimals of the field")
        found[name] = checked_storage(target, key, storage, FIELD_DECIMALS, "the setting")
    return found
