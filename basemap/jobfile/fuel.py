"""``[….fuel]``: composition, density in the rail, rail pressure and regulator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.constants import ZERO_CELSIUS
from basemap.errors import InputError
from basemap.jobfile.injectors import STAND_IN_PRESSURE_PA
from basemap.jobfile.octane import research_octane
from basemap.jobfile.quantities import UNKNOWN, Measured, parse_quantity
from basemap.jobfile.sections import StatedSide
from basemap.model.installation import Fuel, Regulator
from basemap.physics import fuel as physics

UNKNOWN_BLEND = {"petrol": 0.95, "ethanol": 0.05}
STAND_IN_RATIO, STAND_IN_DENSITY = 14.6, 745.0
PARTS_SLACK = 0.005
"""Parts are typed in whole per cent: a sum this far from 1 is rounding, and is scaled to 1."""


class FoundFuel(NamedTuple):
    """A fuel, and which of its numbers the job leaves out because they cancel."""

    fuel: Fuel
    ratio_known: bool = True
    density_known: bool = True

    def with_stand_in(self, other: Fuel) -> Fuel:
        """The fuel with missing inputs taken from the other side's: they cancel, so any value would do."""
        return replace(
            self.fuel,
            stoichiometric=self.fuel.stoichiometric if self.ratio_known else other.stoichiometric,
            density=self.fuel.density if self.density_known else other.density,
        )


@dataclass(frozen=True)
class _Liquid:
    name: str
    stoichiometric: float
    density: float
    density_15: float | None = None
    parts: tuple[tuple[str, float], ...] = ()
    ratio_known: bool = True
    density_known: bool = True


def build_fuel(side: StatedSide, why_fuel: str | None = "", why_rail: str | None = "") -> FoundFuel:
    """The fuel of one side.

    Parameters
    ----------
    side
        Donor or target.
    why_fuel, why_rail
        Why the fuel and the rail pressure are needed, as the end of a sentence; `None` if they may be left out.
    """
    section = side.fuel
    if section.regulator is None:
        raise side.error(
            "fuel.regulator",
            'missing: say "manifold" if a hose connects the regulator to the manifold, or "fixed" if not',
        )
    rail = section.rail_pressure
    if rail is None and why_rail is not None:
        raise side.error("fuel.rail_pressure", _missing('the gauge pressure of the rail, such as "3.0 bar"', why_rail))
    temperature_k = _temperature(side)
    liquid = _liquid(side, temperature_k, why_fuel)
    fuel = Fuel(
        name=liquid.name,
        stoichiometric=liquid.stoichiometric,
        density=liquid.density,
        rail_pressure_pa=STAND_IN_PRESSURE_PA if rail is None else rail.value,
        regulator=Regulator(section.regulator),
        temperature_k=temperature_k,
        density_15=liquid.density_15,
        parts=liquid.parts,
        octane=research_octane(section.octane, dict(liquid.parts)) if section.octane else None,
        antiknock_index=section.octane.shown if section.octane and section.octane.unit == "AKI" else None,
        pump_flow_m3_s=section.pump.value if section.pump else None,
        pump_pressure_pa=section.pump.second.value if section.pump and section.pump.second else None,
    )
    return FoundFuel(fuel, liquid.ratio_known, liquid.density_known)


def _missing(what: str, why: str) -> str:
    return f"missing: {what}" + (f"; {why}" if why else "")


def _temperature(side: StatedSide) -> float:
    stated, section = side.fuel.temperature, side.fuel
    if isinstance(stated, Measured):
        return stated.value
    if stated is None and section.blend is None and section.parts is None and section.density_at is None:
        return 40.0 + ZERO_CELSIUS  # nothing expands: the density is as typed, or the fuel is left out
    measured = side.assume("fuel temperature", "fuel.temperature", unknown=stated == UNKNOWN)
    assert measured is not None
    return measured.value


def _liquid(side: StatedSide, temperature_k: float, why: str | None) -> _Liquid:
    section = side.fuel
    given = [name for name in ("blend", "parts", "stoichiometric") if getattr(section, name) is not None]
    if len(given) > 1:
        raise side.error(f"fuel.{given[1]}", f"is given together with {given[0]}: state the fuel in one way only")
    if section.density is not None and section.stoichiometric is None:
        if given:
            raise side.error("fuel.density", f"is given together with {given[0]}, which already gives it: leave it out")
        raise side.error(
            "fuel.stoichiometric",
            "missing: give it together with density, such as 14.6, or give a blend instead of both",
        )
    if section.density_at is not None and section.density is None:
        raise side.error("fuel.density_at", "is the temperature of density, but density is missing")
    if section.blend is not None:
        return _blended(side, section.blend, temperature_k)
    if section.parts is not None:
        return _from_parts(side, section.parts, temperature_k)
    if section.stoichiometric is not None:
        return _typed(side, section.stoichiometric, temperature_k)
    return _left_out(side, why)


def _left_out(side: StatedSide, why: str | None) -> _Liquid:
    told = side.settings_for_hardware.stoichiometric
    if told is not None:
        if why is not None:
            raise side.error(
                "fuel.density", _missing('the density of the fuel in the rail, such as "745 kg/m3", or a blend', why)
            )
        side.assume("hardware as told", "fuel.stoichiometric", value=f"{told.text}, as the settings")
        side.assume("fuel density", "fuel.density")
        return _Liquid(f"stoichiometric {told.value:g}", told.value, STAND_IN_DENSITY, density_known=False)
    if why is not None:
        raise side.error(
            "fuel", _missing('the fuel, as a blend such as "E10", as parts, or as stoichiometric and density', why)
        )
    return _Liquid("", STAND_IN_RATIO, STAND_IN_DENSITY, ratio_known=False, density_known=False)


def _blended(side: StatedSide, name: str, temperature_k: float) -> _Liquid:
    if name == UNKNOWN:
        _assume_petrol(side)
        return replace(_mixed(side, "fuel.blend", UNKNOWN_BLEND, temperature_k), name="petrol, ethanol content unknown")
    try:
        parts = physics.find_blend(name)
    except InputError as error:
        raise error.within(file=side.provenance.file, place=side.place("fuel.blend")) from None
    return replace(_mixed(side, "fuel.blend", parts, temperature_k), name=name)


def _assume_petrol(side: StatedSide) -> None:
    if side.is_copied("blend", "fuel.blend"):
        return
    side.assume("blend", "fuel.blend", unknown=True)
    content = f"{100.0 * UNKNOWN_BLEND['ethanol']:g} % ± {DEFAULTS['blend'].half_width}"
    measured = parse_quantity(content, Kind.PERCENT, file=None, place=None)
    side.provenance.keep(side.place("fuel.parts.ethanol"), measured, "assumed")


def _mixed(side: StatedSide, key: str, parts: Mapping[str, float], temperature_k: float) -> _Liquid:
    try:
        mixture = physics.blend(parts, temperature_k)
    except InputError as error:
        raise error.within(file=side.provenance.file, place=side.place(key)) from None
    return _Liquid("", mixture.stoichiometric, mixture.density, mixture.density_15, tuple(mixture.parts.items()))


def _from_parts(side: StatedSide, stated: Mapping[str, Measured], temperature_k: float) -> _Liquid:
    total = sum(share.value for share in stated.values())
    if abs(total - 1.0) > PARTS_SLACK + 1e-12:
        raise side.error("fuel.parts", f"must add up to 100 % by volume, but adds up to {total * 100:.4g} %")
    parts = {name: share.value / total for name, share in stated.items()}
    name = ", ".join(f"{component} {share.shown:g} %" for component, share in stated.items())
    return replace(_mixed(side, "fuel.parts", parts, temperature_k), name=name)


def _typed(side: StatedSide, stoichiometric: Measured, temperature_k: float) -> _Liquid:
    section, ratio = side.fuel, stoichiometric.value
    if section.density is None:
        raise side.error("fuel.density", 'missing: give it together with stoichiometric, such as "745 kg/m3"')
    name = f"stoichiometric {ratio:g}, {section.density.shown:g} {section.density.unit}"
    if section.density_at is None:
        return _Liquid(name, ratio, section.density.value)
    typed = section.density.value, section.density_at.value, ratio
    try:
        density = physics.expand_typed(*typed, temperature_k)
        density_15 = physics.expand_typed(*typed, 15.0 + ZERO_CELSIUS)
    except InputError as error:
        raise error.within(file=side.provenance.file, place=side.place("fuel.density_at")) from None
    return _Liquid(name, ratio, density, density_15)
