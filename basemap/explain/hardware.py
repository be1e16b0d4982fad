"""From a pulse to the fuel that the injectors deliver, and back, step by step."""

from __future__ import annotations

from basemap.explain import equations
from basemap.explain.step import CellSide, Stage, Step, intended_lambda, step


def fuel_from_pulse(side: CellSide) -> list[Step]:
    """The donor's pulse → the fuel it delivers → the air that it was meant for."""
    stage, chain, added = Stage.DONOR_HARDWARE, side.chain, _added_by_hardware(side, Stage.DONOR_HARDWARE)
    how = equations.fuel_of_pulse(below_bend=_is_below_bend(side), adds_time=bool(added))
    return [
        *_injector_steps(side, stage),
        *added,
        step(stage, equations.FUEL, side.at(chain.fuel_kg) * 1e6, formula=how),
        step(stage, equations.AIR_OF_FUEL, side.at(chain.air_kg) * 1e6),
    ]


def pulse_from_air(side: CellSide) -> list[Step]:
    """The target's air → the fuel it needs → the pulse that delivers it."""
    stage, chain, added = Stage.TARGET_HARDWARE, side.chain, _added_by_hardware(side, Stage.TARGET_HARDWARE)
    how = equations.pulse_of_fuel(below_bend=_is_below_bend(side), adds_time=bool(added))
    commanded = side.at(chain.pulse_s) * 1e3
    pulse = [step(stage, equations.PULSE, commanded, formula=how)]
    if side.settings.minimum_pulse_s:
        needed = side.at(side.whole.needed_pulse) * 1e3
        pulse = [step(stage, equations.PULSE_NEEDED, needed, formula=how)]
        if needed < commanded:
            pulse.append(step(stage, equations.MINIMUM_INSTEAD, commanded))
    return [
        *_injector_steps(side, stage),
        step(stage, equations.FUEL_NEEDED, side.at(chain.fuel_kg) * 1e6),
        *added,
        *pulse,
        step(stage, equations.DUTY, side.at(chain.duty) * 100.0, window_ms=side.at(chain.window_s) * 1e3),
    ]


def _slope_steps(side: CellSide, stage: Stage) -> list[Step]:
    """Both slopes of the injector under the cell's own conditions, where its flow line has a bend."""
    stated = side.installation.injectors.bent_line
    if stated is None:
        return []
    relative, flow = stated.relative, side.at(side.chain.line_flow_kg_s)
    low, mass = float(relative.below), float(relative.at_mass)
    key = side.key("injectors.bent_line")
    return [
        step(stage, equations.SLOPES, low, f"{key}.below", f"{key}.above"),
        step(stage, equations.FLOW_BELOW_BEND, flow * low * 1e3),
        step(stage, equations.MASS_AT_BEND, flow * mass * 1e6, f"{key}.at_mass", opening_ms=mass * 1e3),
    ]


def _injector_steps(side: CellSide, stage: Stage) -> list[Step]:
    injectors, fuel, chain = side.installation.injectors, side.installation.fuel, side.chain
    line, key = injectors.line, side.key
    across = equations.ACROSS_FOLLOWING if fuel.regulator == "manifold" else equations.ACROSS_FIXED
    flow = equations.FLOW if injectors.bent_line is None else equations.FLOW_ABOVE_BEND
    openings = injectors.per_cylinder * injectors.openings_per_cycle
    return [
        step(
            stage,
            equations.PRESSURE_ACROSS,
            side.at(chain.pressure_across_pa) / 1e5,
            key("fuel.rail_pressure"),
            key("fuel.regulator"),
            formula=across,
        ),
        step(
            stage,
            equations.RATED_FLOW,
            line.mass_flow * 1e3,
            key(f"injectors.{injectors.line_key}"),
            density=line.fluid_density,
            bar=line.pressure_pa / 1e5,
        ),
        step(stage, equations.DENSITY, fuel.density, key("fuel.blend")),
        step(stage, flow, side.at(chain.line_flow_kg_s) * 1e3),
        *_slope_steps(side, stage),
        step(
            stage,
            equations.DEAD_TIME,
            side.at(chain.dead_time_s) * 1e3,
            key("injectors.dead_time"),
            volts=side.table.battery_v,
        ),
        step(stage, equations.OPENINGS, openings, key("injectors.per_cylinder")),
        step(stage, equations.RATIO, fuel.stoichiometric, key("fuel.blend")),
        intended_lambda(side, stage),
    ]


def _added_by_hardware(side: CellSide, stage: Stage) -> list[Step]:
    """Extra time that a short pulse needs beyond the flow line."""
    if side.installation.injectors.added_time is None:
        return []
    opening, by_line = side.at(side.whole.opening), side.at(side.whole.opening_by_line)
    key = side.key("injectors.added_time")
    return [step(stage, equations.ADDED_TIME, (opening - by_line) * 1e3, key, opening_ms=by_line * 1e3)]


def _is_below_bend(side: CellSide) -> bool | None:
    """Whether one opening of this cell delivers no more than the mass at the bend; `None` for a line without a bend."""
    injectors = side.installation.injectors
    if injectors.bent_line is None:
        return None
    openings = injectors.per_cylinder * injectors.openings_per_cycle
    at_bend = side.at(side.chain.line_flow_kg_s) * float(injectors.bent_line.relative.at_mass)
    return side.at(side.chain.fuel_kg) / openings <= at_bend
