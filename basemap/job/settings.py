"""``[….settings]``: what an ECU was told, and how it behaves."""

from __future__ import annotations

from dataclasses import dataclass

from basemap.job.injectors import build_dead_time
from basemap.job.side import Side
from basemap.job.units import UNKNOWN
from basemap.model.installation import Installation, Regulator, Told
from basemap.model.table import TableQuantity


@dataclass(frozen=True)
class Matters:
    """Whether a job depends on how the ECU behaves: a default that moves nothing is not listed."""

    rail_pressure: bool
    charge_temperature: bool


def what_matters(donor: Installation, target: Installation) -> Matters:
    """On two equal rails referenced to the manifold, and at one charge temperature, a correction does nothing."""
    fixed = Regulator.FIXED in (donor.fuel.regulator, target.fuel.regulator)
    return Matters(
        rail_pressure=fixed or donor.fuel.rail_pressure_pa != target.fuel.rail_pressure_pa,
        charge_temperature=donor.conditions.charge_temperature_k != target.conditions.charge_temperature_k,
    )


def donor_told(side: Side, quantity: str, matters: Matters) -> Told:
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
    return _told(side, bool(section.corrects_rail_pressure), charge, factor.value)


def target_told(side: Side, donor: Told) -> Told:
    """What the target's ECU cannot be told otherwise; its behaviour is the donor's unless it says otherwise."""
    section = side.settings
    charge = section.corrects_charge_temperature
    if charge == UNKNOWN:
        raise side.error(
            "settings.corrects_charge_temperature",
            "\"unknown\" cannot stand here: leave the key out where the target's ECU behaves as the donor's",
        )
    for name in section.cannot_be_told or ():
        if getattr(section, name, None) is not None:  # "sensors" is no setting
            raise side.error(f"settings.{name}", "is given, and named in cannot_be_told as well: keep one of the two")
    return _told(
        side,
        donor.corrects_rail_pressure if section.corrects_rail_pressure is None else section.corrects_rail_pressure,
        charge if isinstance(charge, bool) else donor.corrects_charge_temperature,
        donor.formula_factor if section.formula_factor is None else section.formula_factor.value,
    )


def other_box_told(side: Side, quantity: TableQuantity) -> Told:
    """What another box than the donor's is told: nothing is inherited, and what is not stated is the truth.

    Raises
    ------
    InputError
        Where it is to keep what the donor's box holds.
    """
    section = side.settings
    charge, ve = section.corrects_charge_temperature, quantity is TableQuantity.VOLUMETRIC_EFFICIENCY
    if charge == UNKNOWN:
        raise side.error(
            "settings.corrects_charge_temperature",
            '"unknown" cannot stand here: leave the key out, a table of its own stands for its own charge temperature',
        )
    kept = [name for name in section.cannot_be_told or () if name != "sensors"]
    if kept:
        raise side.error(
            "settings.cannot_be_told",
            f"names {kept[0]}, but a box whose table holds another quantity than the donor's does not hold the donor's "
            f"settings: state what it holds instead, as target.settings.{kept[0]}",
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
    )


def _told(side: Side, rail: bool, charge: bool, factor: float) -> Told:
    section = side.settings
    flow = section.static_flow
    if flow is not None and flow.second is not None:
        raise side.error("settings.static_flow", f'"{flow.text}" states two flows: give the one that the ECU was told')
    openings = section.openings_per_cycle
    return Told(
        displacement_m3=section.displacement.value if section.displacement else None,
        flow=flow.value if flow else None,
        flow_is_mass=flow.is_mass if flow else False,
        stoichiometric=section.stoichiometric.value if section.stoichiometric else None,
        openings_per_cycle=openings.value if openings else None,
        dead_time=build_dead_time(side, section.dead_time, "settings.dead_time") if section.dead_time else None,
        corrects_rail_pressure=rail,
        corrects_charge_temperature=charge,
        formula_factor=factor,
    )
