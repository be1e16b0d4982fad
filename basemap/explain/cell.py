"""One cell's whole chain, written out step by step with its numbers, so that a calculator can follow it."""

from __future__ import annotations

import numpy as np

from basemap.constants import R_DRY_AIR
from basemap.explain.step import Side, Stage, Step
from basemap.explain.throttle import throttle_steps
from basemap.model import ecu
from basemap.model.axes import SAME, LoadAxis
from basemap.model.breathing import Breathing, speed_ratio
from basemap.model.hardware import delivery
from basemap.model.held import in_force
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.model.settings import InForce
from basemap.model.table import TableQuantity
from basemap.model.throttle import over_throttle


def central_cell(computed: Computed) -> tuple[int, int]:
    """The cell that is worked by default: highest reachable load that has a new cell, at the middle speed."""
    possible = computed.table.reachable & np.isfinite(computed.table.new)
    if not possible.any():
        return 0, 0
    row = int(np.flatnonzero(possible.any(axis=1))[-1])
    columns = np.flatnonzero(possible[row])
    return row, int(columns[len(columns) // 2])


def worked_cell(computed: Computed, row: int, column: int, settings: InForce | None = None) -> tuple[Step, ...]:
    """The chain of one cell, from the donor's cell to the new one.

    Parameters
    ----------
    row, column
        Indices of load and speed, lowest first.
    settings
        In force; those of the job where they are left out.

    Returns
    -------
    The steps in order. Where the donor's injectors or fuel are left out because they cancel, its side starts at
    the air that the cell stands for.
    """
    job, table = computed.job, computed.table
    settings = settings or in_force(job)
    donor = Side("donor", job.donor, job.donor_table, settings.donor, table.donor, row, column)
    target = Side("target", job.target, job.target_table, settings.new, table.target, row, column)
    own = float(job.donor_table.values[row, column]) / job.shown_of_donor.per_unit if job.cell_for_cell else np.nan
    cell = Step(Stage.DONOR_ECU, "cell", "the donor's cell", own, job.shown_of_donor.unit)
    if not job.cell_for_cell:
        before = [_air_between(donor)]
    elif computed.cancelled:
        before = [cell, *_air_alone(donor, float(table.implied_ve[row, column]))]
    else:
        before = [cell, *_ecu_steps(donor, Stage.DONOR_ECU), *_pulse_from_cell(donor), *_hardware(donor)]
    return (*before, *_transfer(computed, target), *_needed(target), *_cell_from_pulse(computed, target))


def _air_between(side: Side) -> Step:
    return Step(
        Stage.DONOR_HARDWARE,
        "m_air",
        "air of one cylinder in one cycle, between the donor's cells",
        side.at(side.chain.air_kg) * 1e6,
        "mg",
        "what its cells around stand for, each by its own chain, read between them in proportion to the load",
    )


def _air_alone(side: Side, implied_ve: float) -> list[Step]:
    stage, conditions = Stage.DONOR_ECU, side.installation.conditions
    estimate = ", estimated from the air" if side.table.points.axis is LoadAxis.AIR_MASS else ""
    return [
        Step(stage, "p", f"manifold pressure{estimate}", side.at(side.table.pressure_pa) / 1e3, "kPa"),
        Step(
            stage,
            "T",
            "charge temperature",
            conditions.charge_temperature_k,
            "K",
            "",
            (side.key("conditions.charge_temperature"), "conditions.charge_temperature"),
        ),
        Step(
            stage,
            "η",
            "volumetric efficiency that the cell stands for",
            implied_ve,
            "",
            "its injectors and fuel cancel: the settings were the truth about them",
        ),
        Step(
            stage,
            "m_air",
            "air of one cylinder in one cycle",
            side.at(side.chain.air_kg) * 1e6,
            "mg",
            f"η · p · V / (R · T), R = {R_DRY_AIR} J/(kg·K)",
        ),
    ]


def _ecu_steps(side: Side, stage: Stage) -> list[Step]:
    """The factors that the ECU multiplies a cell by."""
    factors = _ve_factors if side.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY else _pulse_factors
    steps = factors(side, stage)
    if side.settings.corrects_rail_pressure:
        factor = side.at(ecu.rail_pressure_factor(side.settings, side.sensed))
        steps.append(Step(stage, "F_p", "rail-pressure factor", factor, "", "√(Δp / Δp_ref)"))
    if _multiplies(side):
        of = side.settings.battery_factor
        assert of is not None
        keys = (side.key("settings.dead_time.percent"), "donor.settings.dead_time.percent")
        name = f"what the ECU multiplies by at {side.table.battery_v:g} V"
        steps.append(Step(stage, "f_U", name, float(of.at(side.table.battery_v)), "", "", keys))
    each = side.at(ecu.gain(side.table, side.table.intended_lambda, side.settings, side.sensed))
    if side.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        gain = Step(stage, "G", "pulse for a cell of 100 %, dead time apart", each * 1e3, "ms", _gain_words(side))
    else:
        gain = Step(stage, "G", "pulse for each ms of the cell, dead time apart", each, "ms/ms", _gain_words(side))
    return [*steps, gain]


def _multiplies(side: Side) -> bool:
    return side.settings.battery_factor is not None and not side.table.inside.dead_time


def _adds_nothing(side: Side) -> bool:
    return side.table.inside.dead_time or side.settings.battery_factor is not None


def _gain_words(side: Side) -> str:
    return f"f_U · {_gain_alone(side)}" if _multiplies(side) else _gain_alone(side)


def _gain_alone(side: Side) -> str:
    lambda_ = "" if side.table.inside.intended_lambda else " · λ"
    rail = " · F_p" if side.settings.corrects_rail_pressure else ""
    if side.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        return f"κ · p · V_set / (R · T_ECU · L_set{lambda_} · n·k · ṁ_set{rail})"
    pressure = "1" if side.table.inside.pressure else "p / p_ref"
    below = (lambda_ + rail).removeprefix(" · ")
    return f"{pressure} · T_ref / T_ECU" + (f" / ({below})" if below else "")


def _ve_factors(side: Side, stage: Stage) -> list[Step]:
    settings, inside = side.settings, side.table.inside
    pressure, what = side.table.reference_pressure_pa, "reference pressure"
    if not inside.pressure:
        pressure, what = side.at(side.table.multiplied_by_pa), _what_multiplies(side)
    steps = [
        Step(
            stage,
            "κ",
            "formula factor",
            settings.formula_factor,
            "",
            "",
            (side.key("settings.formula_factor"), "donor.settings.formula_factor"),
        ),
        Step(stage, "p", what, pressure / 1e3, "kPa"),
        Step(
            stage,
            "V_set",
            "cylinder volume as the ECU holds it",
            settings.cylinder_volume_m3 * 1e6,
            "cm³",
            "displacement entered / cylinders",
            (side.key("settings.displacement"), side.key("engine.displacement")),
        ),
        Step(
            stage,
            "T_ECU",
            "charge temperature as the ECU takes it",
            ecu.believed_temperature(settings, side.sensed),
            "K",
        ),
        Step(
            stage,
            "L_set",
            "stoichiometric ratio as the ECU holds it",
            settings.stoichiometric,
            "",
            "",
            (side.key("settings.stoichiometric"), side.key("fuel.blend")),
        ),
        Step(
            stage,
            "n·k",
            "openings per cylinder and cycle as the ECU believes",
            settings.openings,
            "",
            "",
            (side.key("settings.openings_per_cycle"), side.key("injectors.openings_per_cycle")),
        ),
        Step(stage, "ṁ_set", "injector flow as the ECU holds it", settings.flow_kg_s * 1e3, "g/s"),
    ]
    return steps + _lambda_step(side, stage)


def _pulse_factors(side: Side, stage: Stage) -> list[Step]:
    steps = []
    if not side.table.inside.pressure:
        steps = [
            Step(stage, "p", _what_multiplies(side), side.at(side.table.multiplied_by_pa) / 1e3, "kPa"),
            Step(stage, "p_ref", "pressure for which a cell stands", side.table.reference_pressure_pa / 1e3, "kPa"),
        ]
    steps += [
        Step(stage, "T_ref", "charge temperature for which a cell stands", side.settings.reference_temperature_k, "K"),
        Step(
            stage,
            "T_ECU",
            "charge temperature as the ECU takes it",
            ecu.believed_temperature(side.settings, side.sensed),
            "K",
        ),
    ]
    return steps + _lambda_step(side, stage)


def _what_multiplies(side: Side) -> str:
    return "manifold pressure" if side.table.applied_pa is None else "barometric pressure"


def _lambda_step(side: Side, stage: Stage) -> list[Step]:
    if side.table.inside.intended_lambda:
        return []
    return [
        Step(
            stage,
            "λ",
            "intended lambda",
            side.at(side.table.intended_lambda),
            "",
            "",
            (f"{side.word}.tables.fuel.lambda",),
        )
    ]


def _pulse_from_cell(side: Side) -> list[Step]:
    inside, bend = _adds_nothing(side), side.settings.bend
    steps = [] if inside else [_told_dead_time(side, Stage.DONOR_ECU)]
    how = "cell · G" if inside else "cell · G + τ_set"
    if bend is not None:
        steps += _bend_steps(side, Stage.DONOR_ECU)
        how = "r_set · min(cell · G, t_b,set) + max(cell · G − t_b,set, 0) + τ_set"
    if side.settings.added is not None:
        steps += _added_by_ecu(side, Stage.DONOR_ECU)
        how += " + a_set"
    if side.settings.minimum_pulse_s:
        steps.append(_minimum(side, Stage.DONOR_ECU))
        how = f"the longer of {how} and t_min"
    return [*steps, Step(Stage.DONOR_ECU, "t", "commanded pulse", side.at(side.chain.pulse_s) * 1e3, "ms", how)]


def _minimum(side: Side, stage: Stage) -> Step:
    keys = (side.key("settings.minimum_pulse"), "donor.settings.minimum_pulse")
    return Step(
        stage, "t_min", "shortest pulse that the ECU commands", side.settings.minimum_pulse_s * 1e3, "ms", "", keys
    )


def _told_dead_time(side: Side, stage: Stage) -> Step:
    return Step(
        stage,
        "τ_set",
        f"dead time that the ECU adds at {side.table.battery_v:g} V",
        side.at(side.chain.told_dead_time_s) * 1e3,
        "ms",
        "",
        (side.key("settings.dead_time"), side.key("injectors.dead_time")),
    )


def _bend_steps(side: Side, stage: Stage) -> list[Step]:
    """Both slopes as the ECU holds them: a ratio, and the opening by the high slope at which it bends."""
    bend = side.settings.bend
    assert bend is not None
    keys = (side.key("settings.two_slope"), "donor.settings.two_slope")
    ratio, at_break = 1.0 / float(bend.low_flow), float(bend.break_mass) * 1e3
    return [
        Step(stage, "r_set", "high slope to low slope as the ECU holds them", ratio, "", "", keys),
        Step(stage, "t_b,set", "opening by the high slope at which the ECU bends", at_break, "ms", "", keys),
    ]


def _slope_steps(side: Side, stage: Stage) -> list[Step]:
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


def _injector_steps(side: Side, stage: Stage) -> list[Step]:
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
        Step(
            stage,
            "λ",
            "intended lambda",
            side.at(side.table.intended_lambda),
            "",
            "",
            (f"{side.word}.tables.fuel.lambda",),
        ),
    ]


def _hardware(side: Side) -> list[Step]:
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


def _added_by_hardware(side: Side, stage: Stage) -> list[Step]:
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


def _added_by_ecu(side: Side, stage: Stage) -> list[Step]:
    added = side.settings.added
    if added is None:
        return []
    without = side.chain.pulse_s - ecu.offset(side.table, side.settings, side.sensed)
    time = side.at(without - added.by_line(without)) * 1e3
    name = f"time that the ECU adds to {side.at(added.by_line(without)) * 1e3:.7g} ms"
    return [Step(stage, "a_set", name, time, "ms", "", (side.key("settings.added_time"), "donor.settings.added_time"))]


_MASS_BELOW, _MASS_ABOVE = "n·k · S_lo · (t − τ), below the break", "n·k · (m_b + ṁ · (t − τ − m_b / S_lo))"
_PULSE_BELOW = "τ + m_fuel,t / (n·k · S_lo), below the break"
_PULSE_ABOVE = "τ + m_b / S_lo + (m_fuel,t / n·k − m_b) / ṁ"


def _is_below_break(side: Side) -> bool:
    """Whether one opening of this cell delivers no more than the break mass."""
    injectors = side.installation.injectors
    assert injectors.two_slope is not None
    openings = injectors.per_cylinder * injectors.openings_per_cycle
    at_break = side.at(side.chain.line_flow_kg_s) * float(injectors.two_slope.to_high.break_mass)
    return side.at(side.chain.fuel_kg) / openings <= at_break


def _transfer(computed: Computed, target: Side) -> list[Step]:
    job, stage, row = computed.job, Stage.TRANSFER, target.row
    charge = float(target.table.points.charge[row] / job.donor_charge[row])
    if over_throttle(target.table):
        return throttle_steps(computed, target)
    if target.table.points.axis is LoadAxis.AIR_MASS:
        steps = [Step(stage, "x_t / x_d", "air that the axis states, target to donor", charge, "")]
        how = "m_air · x_t / x_d"
    else:
        steps = _at_one_efficiency(job)
        how = "m_air · V_t / V_d · T_d / T_t"
        if abs(charge - 1.0) > SAME:
            steps.append(Step(stage, "p_t / p_d", "manifold pressures at the similar points", charge, ""))
            how += " · p_t / p_d"
    if computed.table.breathing_factor is not None:
        steps.append(_breathing(job, target, computed.table.breathing_factor))
        how += " · b"
    air = target.at(target.chain.air_kg) * 1e6
    return [*steps, Step(stage, "m_air,t", "air of one cylinder of the target in one cycle", air, "mg", how)]


def _breathing(job: Job, target: Side, factor: FloatArray) -> Step:
    if job.breathing is Breathing.RESIDUAL_GAS:
        how, keys = "f_t / f_d, f = r/(r-1) - (p_0/p + γ - 1) / (γ · (r - 1)), γ = 1.4", "compression_ratio"
    else:
        speed = float(target.table.rpm[target.column]) * speed_ratio(job)
        how, keys = f"η_d at {speed:.7g} rpm (the same inlet Mach index) / η_d at this speed", "inlet_valve_area"
    return Step(
        Stage.TRANSFER,
        "b",
        f"breathing ({job.breathing}): an estimate of η_t / η_d",
        target.at(factor),
        "",
        how,
        (f"target.engine.{keys}", f"donor.engine.{keys}"),
    )


def _at_one_efficiency(job: Job) -> list[Step]:
    stage = Stage.TRANSFER
    return [
        Step(
            stage,
            "V_t / V_d",
            "cylinder volumes, target to donor",
            job.target.engine.cylinder_volume_m3 / job.donor.engine.cylinder_volume_m3,
            "",
            "",
            ("target.engine.displacement", "donor.engine.displacement"),
        ),
        Step(
            stage,
            "T_d / T_t",
            "charge temperatures, donor to target",
            job.donor.conditions.charge_temperature_k / job.target.conditions.charge_temperature_k,
            "",
        ),
    ]


def _needed(side: Side) -> list[Step]:
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


def _cell_from_pulse(computed: Computed, side: Side) -> list[Step]:
    stage, table, unit = Stage.TARGET_ECU, computed.table, computed.job.shown.unit
    inside = _adds_nothing(side)
    told = [] if inside else [_told_dead_time(side, stage)]
    new = float(table.new[side.row, side.column])
    how = "t / G" if inside else "(t − τ_set) / G"
    if side.settings.bend is not None:
        told += _bend_steps(side, stage)
        x, at_break = "t − τ_set", "r_set · t_b,set"
        how = f"(min({x}, {at_break}) / r_set + max({x} − {at_break}, 0)) / G"
    if side.settings.added is not None:
        told += _added_by_ecu(side, stage)
        how = "(t − a_set) / G" if inside else "(t − τ_set − a_set) / G"
    return [
        *_ecu_steps(side, stage),
        *told,
        Step(stage, "cell", "the new cell", new, unit, how),
        Step(stage, "stored", "the new cell as the table stores it", float(table.stored[side.row, side.column]), unit),
    ]
