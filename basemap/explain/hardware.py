"""What injectors make of a pulse, and the pulse that they need for a fuel, step by step."""

from __future__ import annotations

from basemap.adaptation.hardware import delivery
from basemap.explain.step import CellSide, Stage, Step, intended_lambda

_MASS_BELOW, _MASS_ABOVE = "n·k · S_lo · (t − τ), below the break", "n·k · (m_b + ṁ · (t − τ − m_b / S_lo))"
_PULSE_BELOW = "τ + m_fuel,t / (n·k · S_lo), below the break"
_PULSE_ABOVE = "τ + m_b / S_lo + (m_fuel,t / n·k − m_b) / ṁ"


def fuel_from_pulse(side: CellSide) -> list[Step]:
    """The donor's pulse → the fuel it delivers → the air that it was meant for."""
    stage, chain = Stage.DONOR_HARDWARE, side.chain
    how = "n·k · ṁ · (t − τ)"
    if side.installation.injectors.two_slope is not None:
        how = _MASS_BELOW if _is_below_break(side) else _MASS_ABOVE
    added = _added_by_hardware(side, stage)
    if added:
        how = "n·k · ṁ · (t − τ − a)"
    return [
        *_injector_steps(side, stage),
        *added,
        Step(
            stage,
            "m_fuel",
            "fuel of one cylinder in one cycle",
            side.at(chain.fuel_kg) * 1e6,
            "mg",
            how,
        ),
        Step(stage, "m_air", "air of one cylinder in one cycle", side.at(chain.air_kg) * 1e6, "mg", "λ · L · m_fuel"),
    ]


def pulse_from_air(side: CellSide) -> list[Step]:
    """The target's air → the fuel it needs → the pulse that delivers it."""
    stage, chain = Stage.TARGET_HARDWARE, side.chain
    how = "τ + m_fuel,t / (n·k · ṁ)"
    if side.installation.injectors.two_slope is not None:
        how = _PULSE_BELOW if _is_below_break(side) else _PULSE_ABOVE
    added = _added_by_hardware(side, stage)
    if added:
        how += " + a"
    pulse = [Step(stage, "t", "pulse", side.at(chain.pulse_s) * 1e3, "ms", how)]
    if side.settings.minimum_pulse_s:
        table = side.table
        at = delivery(side.installation, table.pressure_pa, table.rpm, table.battery_v)
        needed = side.at(at.pulse_s(chain.fuel_kg)) * 1e3
        pulse = [Step(stage, "t", "pulse that this fuel needs", needed, "ms", how)]
        if needed < side.at(chain.pulse_s) * 1e3:
            words = "the ECU commands its minimum instead, and the mixture is richer by that"
            pulse.append(Step(stage, "t_min", words, side.at(chain.pulse_s) * 1e3, "ms"))
    return [
        *_injector_steps(side, stage),
        Step(stage, "m_fuel,t", "fuel that this air needs", side.at(chain.fuel_kg) * 1e6, "mg", "m_air,t / (L · λ)"),
        *added,
        *pulse,
        Step(
            stage,
            "duty",
            "duty",
            side.at(chain.duty) * 100.0,
            "%",
            f"t / ({side.at(chain.window_s) * 1e3:.6g} ms between openings)",
        ),
    ]


def _slope_steps(side: CellSide, stage: Stage) -> list[Step]:
    """Both slopes of the injector under the cell's own conditions, where its flow line has a break."""
    stated = side.installation.injectors.two_slope
    if stated is None:
        return []
    to_high, flow = stated.to_high, side.at(side.chain.line_flow_kg_s)
    low, mass = float(to_high.low_flow), float(to_high.break_mass)
    key = side.key("injectors.two_slope")
    return [
        Step(stage, "S_lo / ṁ", "low slope to the high one", low, "", "", (f"{key}.low_flow", f"{key}.high_flow")),
        Step(stage, "S_lo", "mass flow of one injector below the break", flow * low * 1e3, "g/s", "ṁ · (S_lo / ṁ)"),
        Step(
            stage,
            "m_b",
            "fuel of one opening at the break, at this flow",
            flow * mass * 1e6,
            "mg",
            f"{mass * 1e3:.9g} ms · ṁ, as rated",
            (f"{key}.break_mass",),
        ),
    ]


def _injector_steps(side: CellSide, stage: Stage) -> list[Step]:
    injectors, fuel, chain = side.installation.injectors, side.installation.fuel, side.chain
    line = injectors.line
    return [
        Step(
            stage,
            "Δp",
            "pressure across the injector",
            side.at(chain.pressure_across_pa) / 1e5,
            "bar",
            "p_rail" if fuel.regulator == "manifold" else "p_rail + p0 − p",
            (side.key("fuel.rail_pressure"), side.key("fuel.regulator")),
        ),
        Step(
            stage,
            "ṁ_rated",
            "rated mass flow",
            line.mass_flow * 1e3,
            "g/s",
            f"of a fluid of {line.fluid_density:g} kg/m³ at {line.pressure_pa / 1e5:g} bar",
            (side.key(f"injectors.{injectors.line_key}"),),
        ),
        Step(stage, "ρ", "density of the fuel in the rail", fuel.density, "kg/m³", "", (side.key("fuel.blend"),)),
        Step(
            stage,
            "ṁ",
            "mass flow of one injector" if injectors.two_slope is None else "mass flow of one injector above the break",
            side.at(chain.line_flow_kg_s) * 1e3,
            "g/s",
            "ṁ_rated · √(Δp / Δp_rated) · √(ρ / ρ_rated)",
        ),
        *_slope_steps(side, stage),
        Step(
            stage,
            "τ",
            f"dead time of the injector at {side.table.battery_v:g} V",
            side.at(chain.dead_time_s) * 1e3,
            "ms",
            "",
            (side.key("injectors.dead_time"),),
        ),
        Step(
            stage,
            "n·k",
            "openings per cylinder and cycle",
            injectors.per_cylinder * injectors.openings_per_cycle,
            "",
            "",
            (side.key("injectors.per_cylinder"),),
        ),
        Step(stage, "L", "stoichiometric ratio of the fuel", fuel.stoichiometric, "", "", (side.key("fuel.blend"),)),
        intended_lambda(side, stage),
    ]


def _added_by_hardware(side: CellSide, stage: Stage) -> list[Step]:
    """What so short a pulse needs besides what the flow line asks for."""
    added, injectors = side.installation.injectors.added_time, side.installation.injectors
    if added is None:
        return []
    openings = injectors.per_cylinder * injectors.openings_per_cycle
    by_line = side.chain.fuel_kg / (openings * side.chain.line_flow_kg_s)
    keys = (side.key("injectors.added_time"),)
    time = side.at(added.longer(by_line) - by_line) * 1e3
    name = f"time that it needs besides, where the flow line asks for {side.at(by_line) * 1e3:.7g} ms"
    return [Step(stage, "a", name, time, "ms", "", keys)]


def _is_below_break(side: CellSide) -> bool:
    """Whether one opening of this cell delivers no more than the break mass."""
    injectors = side.installation.injectors
    assert injectors.two_slope is not None
    openings = injectors.per_cylinder * injectors.openings_per_cycle
    at_break = side.at(side.chain.line_flow_kg_s) * float(injectors.two_slope.to_high.break_mass)
    return side.at(side.chain.fuel_kg) / openings <= at_break
