"""``[….injectors]``: flow, slopes, dead time, openings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.errors import InputError
from basemap.jobfile import schema
from basemap.jobfile.dead_times import build_dead_time
from basemap.jobfile.quantities import UNKNOWN, Measured, parse_quantity
from basemap.jobfile.sections import StatedSide
from basemap.model.injectors import AddedTime, DeadTime, FlowRating, Injectors, RatedBentLine
from basemap.physics.added_time import check_added_time
from basemap.physics.fuel import blend, find_blend

STAND_IN_FLOW_KG_S = 1e-3
STAND_IN_PRESSURE_PA = 3e5
DEFAULT_VOLTS = (8.0, 10.0, 12.0, 14.0, 16.0)
DEFAULT_SLOPE_S_PER_V = -0.2e-3


class Hardware(NamedTuple):
    """Injectors, and which of their numbers are known; the others are stand-ins, because they cancel."""

    injectors: Injectors
    flow_known: bool = True
    dead_time_known: bool = True


MOST_BETWEEN_SLOPES = 3.0
"""How far the two slopes of one injector may lie apart. Common practice, no source."""
MOST_BETWEEN_LINE_AND_FLOW = 1.25
"""How far the slope of the flow line, above its bend if it has one, may lie from the flow fully open: they are some per
cent apart. Common practice, no source."""
NEVER_ASSUMED = "this is never assumed"


def build_injectors(
    side: StatedSide, rail_pressure_pa: float, why_flow: str | None = NEVER_ASSUMED, why_dead_time: str | None = ""
) -> Hardware:
    """The injectors of one side; its settings stand in for the hardware if only they are known.

    Parameters
    ----------
    side
        Donor or target.
    rail_pressure_pa
        Pressure at which a flow that is known only from the settings is stated, Pa.
    why_flow, why_dead_time
        Why they are needed, as the end of a sentence; `None` if they may be left out.
    """
    section = side.injectors
    static = _static(side, rail_pressure_pa)
    if static is None and why_flow is not None:
        raise side.error(
            "injectors.static_flow", f'missing: give the flow fully open, such as "280 cc/min"; {why_flow}'
        )
    dead_time = _dead_time(side)
    if dead_time is None and why_dead_time is not None:
        example = 'battery = ["12 V", "14 V"] with time = ["1.20 ms", "0.85 ms"], or dead_time = "unknown"'
        why = f"; {why_dead_time}" if why_dead_time else ""
        raise side.error("injectors.dead_time", f"missing: give times at voltages, such as {example}{why}")
    injectors = Injectors(
        static=static or FlowRating(STAND_IN_FLOW_KG_S, True, STAND_IN_PRESSURE_PA, named_density("n-heptane")),
        dead_time=dead_time or DeadTime(np.array([12.0, 14.0]), np.zeros((1, 2))),
        per_cylinder=_per_cylinder(side),
        openings_per_cycle=_openings(side),
        slope=_slope(side, static),
        shortest_pulse_s=section.shortest_pulse.value if section.shortest_pulse else None,
        highest_pressure_pa=section.highest_pressure.value if section.highest_pressure else None,
        bent_line=_bent_line(side, static),
        added_time=_added_time(side),
    )
    return Hardware(injectors, static is not None, dead_time is not None)


def _static(side: StatedSide, rail_pressure_pa: float) -> FlowRating | None:
    stated = side.injectors.static_flow
    if stated is not None:
        pressure_pa = _rated_pressure(side)
        return _rating(stated, pressure_pa, _fluid_density(side, stated, "injectors.static_flow"))
    told = side.settings_for_hardware.static_flow
    if told is None:
        return None
    side.assume(
        "hardware as told", "injectors.static_flow", value=f"{told.text}, as the settings, at the rail pressure"
    )
    return _rating(told, rail_pressure_pa, _fluid_density(side, told, "settings.static_flow"))


def _rating(flow: Measured, pressure_pa: float, fluid_density: float) -> FlowRating:
    return FlowRating(flow.value, flow.is_mass, pressure_pa, fluid_density)


def _slope(side: StatedSide, static: FlowRating | None) -> FlowRating | None:
    slope = side.injectors.slope
    if slope is None:
        return None
    if side.injectors.static_flow is None or static is None:
        raise side.error("injectors.slope", "needs static_flow as well, for the injector's flow fully open")
    rating = _slope_rating(side, slope, "injectors.slope", static)
    _check_line_and_flow(side, slope, "injectors.slope", rating, static)
    return rating


def _check_line_and_flow(side: StatedSide, stated: Measured, key: str, rating: FlowRating, static: FlowRating) -> None:
    """Refuse a flow line that is far from the flow fully open: a pulse would be wrong by as much."""
    ratio = round(rating.mass_flow / static.mass_flow, 9)
    flow = side.injectors.static_flow
    if flow is not None and not 1.0 / MOST_BETWEEN_LINE_AND_FLOW <= ratio <= MOST_BETWEEN_LINE_AND_FLOW:
        raise side.error(
            key,
            f'"{stated.text}" is {ratio:.3g} times the static_flow of "{flow.text}": the two differ by some per cent, '
            f"by a factor of {MOST_BETWEEN_LINE_AND_FLOW:g} at most; correct the one that is wrong",
        )


def _slope_rating(side: StatedSide, slope: Measured, key: str, static: FlowRating) -> FlowRating:
    if slope.second is not None:
        raise side.error(key, f'"{slope.text}" states two flows: give only one')
    return _rating(slope, static.pressure_pa, static.fluid_density)


def _added_time(side: StatedSide) -> AddedTime | None:
    section, key = side.injectors.added_time, "injectors.added_time"
    if section is None:
        return None
    if side.injectors.bent_line is not None:
        raise side.error(
            key, "is given together with bent_line, and both describe the same short pulses: give only one of the two"
        )
    for name, example in (("open", '["0.4 ms", "1.0 ms"]'), ("time", '["0.15 ms", "0 ms"]')):
        if getattr(section, name) is None:
            raise side.error(
                f"{key}.{name}", f"missing: give the open times and the time to add to each, such as {example}"
            )
    opens, times = (np.array([entry.value for entry in values or ()]) for values in (section.open, section.time))
    try:
        check_added_time(opens, times)
    except InputError as error:
        raise side.error(key, error.problem) from None
    return AddedTime(opens, times)


def _bent_line(side: StatedSide, static: FlowRating | None) -> RatedBentLine | None:
    """Both slopes, rated as the static flow is."""
    section, key = side.injectors.bent_line, "injectors.bent_line"
    if section is None:
        return None
    if side.injectors.slope is not None:
        raise side.error(key, "is given together with slope, which is one straight line: give only one of the two")
    if side.injectors.static_flow is None or static is None:
        raise side.error(key, "needs static_flow as well, for the injector's flow fully open")
    below, above, at_mass = section.below, section.above, section.at_mass
    if below is None or above is None or at_mass is None:
        stated = {"below": below, "above": above, "at_mass": at_mass}
        lacking = next(name for name, value in stated.items() if value is None)
        raise side.error(f"{key}.{lacking}", f"missing: {_PART_OF_BENT_LINE[lacking]}")
    line = RatedBentLine(
        below=_slope_rating(side, below, f"{key}.below", static),
        above=_slope_rating(side, above, f"{key}.above", static),
        at_mass_kg=at_mass.value,
    )
    _check_line_and_flow(side, above, f"{key}.above", line.above, static)
    ratio = line.relative.below
    if not 1.0 / MOST_BETWEEN_SLOPES <= ratio <= MOST_BETWEEN_SLOPES:
        raise side.error(
            f"{key}.below",
            f'"{below.text}" is {ratio:.3g} times the "{above.text}" of above: the two slopes of an injector differ '
            f"by a factor of {MOST_BETWEEN_SLOPES:g} at most",
        )
    return line


_PART_OF_BENT_LINE = {
    "below": 'give the slope of the flow line below the bend, such as "310 cc/min"',
    "above": 'the slope of the flow line above the bend, such as "275 cc/min"',
    "at_mass": 'the fuel of one opening at which the slope changes, such as "4.2 mg"',
}


def _rated_pressure(side: StatedSide) -> float:
    rated = side.injectors.rated_pressure
    if rated is None:
        raise side.error(
            "injectors.rated_pressure",
            'missing: give the pressure across the injector at which static_flow was rated, such as "3.0 bar", or '
            '"unknown"',
        )
    if isinstance(rated, Measured):
        return rated.value
    return side.assume_quantity("rated pressure", "injectors.rated_pressure", unknown=True)


def _fluid_density(side: StatedSide, flow: Measured, key: str) -> float:
    """Density of the rating fluid, kg/m³: mass over volume of a flow stated as both, else as the job says."""
    fluid, fluid_key = side.injectors.rated_fluid, "injectors.rated_fluid"
    if flow.second is not None:
        if fluid is not None:
            raise side.error(fluid_key, f'"{flow.text}" already states the density of the fluid: leave this key out')
        return _implied_density(side, flow, flow.second, key)
    if isinstance(fluid, Measured):
        return fluid.value
    if fluid is None:
        side.assume("rated fluid", fluid_key)
        return named_density("n-heptane")
    if fluid == UNKNOWN:
        return side.assume_quantity("rated fluid unknown", fluid_key, unknown=True)
    try:
        return named_density(fluid)
    except InputError as error:
        raise error.within(file=side.provenance.file, place=side.place(fluid_key)) from None


def _implied_density(side: StatedSide, first: Measured, second: Measured, key: str) -> float:
    mass, volume = (first, second) if first.is_mass else (second, first)
    density = mass.value / volume.value
    if not 600.0 <= density <= 900.0:
        raise side.error(
            key,
            f'"{first.text}" implies a rating fluid of {density / 1e3:.3g} g/cc, outside the plausible range 0.6 to '
            "0.9 g/cc",
        )
    return density


def named_density(name: str) -> float:
    """Density of a fluid or blend at 20 °C, kg/m³."""
    return blend(find_blend(name), 293.15).density


def _per_cylinder(side: StatedSide) -> float:
    section = side.injectors
    if section.per_cylinder is not None:
        if section.count is not None:
            raise side.error("injectors.count", "is given together with per_cylinder: give only one of the two")
        return section.per_cylinder.value
    if section.count is None:
        return side.assume_quantity("per cylinder", "injectors.per_cylinder", unknown=False)
    assert side.engine.cylinders is not None
    return section.count / side.engine.cylinders


def _openings(side: StatedSide) -> float:
    stated = side.injectors.openings_per_cycle
    if isinstance(stated, Measured):
        return stated.value
    told = side.settings_for_hardware.openings_per_cycle
    if stated is None and told is not None:
        side.assume("hardware as told", "injectors.openings_per_cycle", value=f"{told.text}, as the settings")
        return told.value
    return side.assume_quantity("openings", "injectors.openings_per_cycle", unknown=stated is not None)


def _dead_time(side: StatedSide) -> DeadTime | None:
    section = side.injectors.dead_time
    told = side.settings_for_hardware.dead_time
    if isinstance(section, schema.DeadTimeSection):
        return build_dead_time(side, section, "injectors.dead_time")
    if told is not None:
        as_told = build_dead_time(side, told, "settings.dead_time")
        _keep_told_spread(side, as_told, unknown=section == UNKNOWN)
        return as_told
    if section is None:
        return None
    at_14_v = side.assume_quantity("dead time", "injectors.dead_time", unknown=True)
    volts = np.array(DEFAULT_VOLTS)
    return DeadTime(volts, (at_14_v + DEFAULT_SLOPE_S_PER_V * (volts - 14.0))[np.newaxis])


def _keep_told_spread(side: StatedSide, dead_time: DeadTime, *, unknown: bool) -> None:
    """Give a dead time that is known only from the settings the spread of its default."""
    side.assume("dead time of the settings", "injectors.dead_time", unknown=unknown)
    at_14_v = float(np.interp(14.0, dead_time.battery_v, dead_time.time_s[0]))
    spread = DEFAULTS["dead time of the settings"].half_width
    measured = parse_quantity(f"{at_14_v * 1e3:.6g} ms ± {spread}", Kind.TIME, file=None, place=None)
    side.provenance.keep(side.place("injectors.dead_time.time"), measured, "assumed" if unknown else "default")
