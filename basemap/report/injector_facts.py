"""The flow of an injector with another fuel at another pressure: the answer of `basemap injector`."""

from __future__ import annotations

import math
from dataclasses import dataclass

from basemap.adaptation.quantities.kinds import Kind
from basemap.errors import InputError
from basemap.jobfile.injectors import named_density
from basemap.jobfile.quantities import Measured, parse_quantity
from basemap.physics.fuel import blend, find_blend
from basemap.physics.injector import delivered, mass_flow, pulse_for
from basemap.report.facts import Answer, Fact

CC_MIN, G_MIN, LB_H = 1e-6 / 60, 1e-3 / 60, 0.45359237 / 3600


@dataclass(frozen=True)
class InjectorQuestion:
    """The options of the command, as typed."""

    flow: str
    rated_pressure: str
    rated_fluid: str
    pressure: str
    fuel: str
    temperature: str
    dead_time: str | None
    pulse: str | None
    mass: str | None


@dataclass(frozen=True)
class _Rating:
    mass_flow: float
    pressure_pa: float
    fluid_density: float
    fluid: str


def work_out(asked: InjectorQuestion) -> Answer:
    """The injector's flow under these conditions, and the fuel of a pulse or the pulse for a mass of fuel."""
    rating = _rating(asked)
    across = _positive(asked.pressure, Kind.RAIL_PRESSURE, "--pressure")
    kelvin = _read(asked.temperature, Kind.TEMPERATURE, "--temperature").value
    density = blend(find_blend(asked.fuel), kelvin).density
    at_rating = rating.mass_flow, rating.pressure_pa, rating.fluid_density
    flow = float(mass_flow(*at_rating, across, density))
    as_rated = float(mass_flow(*at_rating, across, rating.fluid_density)) / rating.fluid_density
    facts = [
        Fact("mass_flow_g_min", "flow, by mass", flow / G_MIN, "g/min"),
        Fact("mass_flow_lb_h", "", flow / LB_H, "lb/h"),
        Fact("volume_flow_cc_min", "flow, by volume of fuel in the rail", flow / density / CC_MIN, "cc/min"),
        Fact(
            "rating_at_pressure_cc_min", "its rating at this pressure", as_rated / CC_MIN, f"cc/min of {rating.fluid}"
        ),
        Fact("density_kg_m3", "density of the fuel in the rail", density, "kg/m3"),
        *_pulse_facts(asked, flow),
    ]
    title = f"{asked.flow} injector with {asked.fuel} at {asked.pressure}, {asked.temperature}"
    remarks = [
        "Static flow: fully open. Which of these to enter in an engine controller depends on the basis of the old "
        "entry: keep that basis."
    ]
    return Answer(title, facts, remarks)


def _rating(asked: InjectorQuestion) -> _Rating:
    flow = _read(asked.flow, Kind.FLOW, "--flow")
    if flow.value <= 0:
        raise InputError(f'"{asked.flow}" must be above zero', place="--flow")
    pressure = _positive(asked.rated_pressure, Kind.RAIL_PRESSURE, "--rated-pressure")
    if flow.second is not None:
        by_mass, by_volume = (flow, flow.second) if flow.is_mass else (flow.second, flow)
        return _Rating(by_mass.value, pressure, by_mass.value / by_volume.value, "its rating fluid")
    density = _fluid_density(asked.rated_fluid)
    mass = flow.value if flow.is_mass else flow.value * density
    return _Rating(mass, pressure, density, asked.rated_fluid)


def _fluid_density(text: str) -> float:
    """Density of a rating fluid, kg/m³: by its name, at 20 °C, or as stated."""
    if text.strip()[:1].isdigit():
        return _positive(text, Kind.DENSITY, "--rated-fluid")
    return named_density(text)


def _pulse_facts(asked: InjectorQuestion, flow: float) -> list[Fact]:
    if asked.pulse is None and asked.mass is None:
        return []
    if asked.dead_time is None:
        raise InputError('is needed with --pulse or --mass, such as "0.9 ms": without it the result would be wrong by '
                         "just that time", place="--dead-time")  # fmt: skip
    dead = _read(asked.dead_time, Kind.TIME, "--dead-time").value
    facts = []
    if asked.pulse is not None:
        pulse = _positive(asked.pulse, Kind.TIME, "--pulse")
        given = float(delivered(pulse, dead, flow, flow, math.inf))
        facts.append(Fact("delivered_mg", f"a pulse of {asked.pulse} gives", given * 1e6, "mg"))
    if asked.mass is not None:
        needed = _positive(asked.mass, Kind.MASS, "--mass")
        facts.append(Fact("pulse_ms", f"the pulse for {asked.mass}", float(pulse_for(needed, dead, flow)) * 1e3, "ms"))
    return facts


def _positive(text: str, kind: Kind, option: str) -> float:
    value = _read(text, kind, option).value
    if value <= 0:
        raise InputError(f'"{text}" must be above zero', place=option)
    return value


def _read(text: str, kind: Kind, option: str) -> Measured:
    return parse_quantity(text, kind, file=None, place=option)
