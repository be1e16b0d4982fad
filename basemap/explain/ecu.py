"""What an ECU makes of a cell, and the cell that makes it command a pulse, step by step."""

from __future__ import annotations

from basemap.adaptation import controller as ecu
from basemap.explain.step import CellSide, Stage, Step, intended_lambda
from basemap.model.result import Computed
from basemap.model.table import TableQuantity


def pulse_from_cell(side: CellSide) -> list[Step]:
    """The donor's cell → the pulse that its ECU commands."""
    inside, bend = _adds_nothing(side), side.settings.bend
    steps = _ecu_steps(side, Stage.DONOR_ECU) + ([] if inside else [_told_dead_time(side, Stage.DONOR_ECU)])
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


def cell_from_pulse(computed: Computed, side: CellSide) -> list[Step]:
    """The pulse that the target's injectors need → the new cell."""
    stage, table, unit = Stage.TARGET_ECU, computed.table, computed.job.target.shown.unit
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


def _ecu_steps(side: CellSide, stage: Stage) -> list[Step]:
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


def _multiplies(side: CellSide) -> bool:
    return side.settings.battery_factor is not None and not side.table.inside.dead_time


def _adds_nothing(side: CellSide) -> bool:
    return side.table.inside.dead_time or side.settings.battery_factor is not None


def _gain_words(side: CellSide) -> str:
    return f"f_U · {_gain_alone(side)}" if _multiplies(side) else _gain_alone(side)


def _gain_alone(side: CellSide) -> str:
    lambda_ = "" if side.table.inside.intended_lambda else " · λ"
    rail = " · F_p" if side.settings.corrects_rail_pressure else ""
    if side.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        return f"κ · p · V_set / (R · T_ECU · L_set{lambda_} · n·k · ṁ_set{rail})"
    pressure = "1" if side.table.inside.pressure else "p / p_ref"
    below = (lambda_ + rail).removeprefix(" · ")
    return f"{pressure} · T_ref / T_ECU" + (f" / ({below})" if below else "")


def _ve_factors(side: CellSide, stage: Stage) -> list[Step]:
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
        Step(
            stage,
            "ṁ_set",
            "injector flow as the ECU holds it",
            settings.flow_kg_s * 1e3,
            "g/s",
            "",
            (side.key("settings.static_flow"),),
        ),
    ]
    return steps + _lambda_step(side, stage)


def _pulse_factors(side: CellSide, stage: Stage) -> list[Step]:
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


def _what_multiplies(side: CellSide) -> str:
    return "manifold pressure" if side.table.applied_pa is None else "barometric pressure"


def _lambda_step(side: CellSide, stage: Stage) -> list[Step]:
    return [] if side.table.inside.intended_lambda else [intended_lambda(side, stage)]


def _minimum(side: CellSide, stage: Stage) -> Step:
    keys = (side.key("settings.minimum_pulse"), "donor.settings.minimum_pulse")
    return Step(
        stage, "t_min", "shortest pulse that the ECU commands", side.settings.minimum_pulse_s * 1e3, "ms", "", keys
    )


def _told_dead_time(side: CellSide, stage: Stage) -> Step:
    return Step(
        stage,
        "τ_set",
        f"dead time that the ECU adds at {side.table.battery_v:g} V",
        side.at(side.chain.told_dead_time_s) * 1e3,
        "ms",
        "",
        (side.key("settings.dead_time"), side.key("injectors.dead_time")),
    )


def _bend_steps(side: CellSide, stage: Stage) -> list[Step]:
    """Both slopes as the ECU holds them: a ratio, and the opening by the high slope at which it bends."""
    bend = side.settings.bend
    assert bend is not None
    keys = (side.key("settings.two_slope"), "donor.settings.two_slope")
    ratio, at_break = 1.0 / float(bend.low_flow), float(bend.break_mass) * 1e3
    return [
        Step(stage, "r_set", "high slope to low slope as the ECU holds them", ratio, "", "", keys),
        Step(stage, "t_b,set", "opening by the high slope at which the ECU bends", at_break, "ms", "", keys),
    ]


def _added_by_ecu(side: CellSide, stage: Stage) -> list[Step]:
    added = side.settings.added
    if added is None:
        return []
    without = side.chain.pulse_s - ecu.offset(side.table, side.settings, side.sensed)
    time = side.at(without - added.by_line(without)) * 1e3
    name = f"time that the ECU adds to {side.at(added.by_line(without)) * 1e3:.7g} ms"
    return [Step(stage, "a_set", name, time, "ms", "", (side.key("settings.added_time"), "donor.settings.added_time"))]
