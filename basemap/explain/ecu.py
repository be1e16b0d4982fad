"""From a cell to the pulse that the ECU commands, and back, step by step."""

from __future__ import annotations

from basemap.adaptation.controller import believed_temperature
from basemap.explain import equations
from basemap.explain.step import CellSide, Stage, Step, intended_lambda, step
from basemap.model.result import Computed
from basemap.model.table import TableQuantity
from basemap.model.table_result import Richer


def pulse_from_cell(side: CellSide) -> list[Step]:
    """The donor's cell → the pulse that its ECU commands."""
    stage, settings = Stage.DONOR_ECU, side.settings
    how = equations.commanded_pulse(
        adds_nothing=_adds_nothing(side),
        bends=settings.bend is not None,
        adds_time=settings.added is not None,
        has_minimum=bool(settings.minimum_pulse_s),
    )
    steps = [*_ecu_steps(side, stage), *_told_opening(side, stage)]
    if settings.minimum_pulse_s:
        steps.append(_minimum(side, stage))
    return [*steps, step(stage, equations.COMMANDED_PULSE, side.at(side.chain.pulse_s) * 1e3, formula=how)]


def cell_from_pulse(computed: Computed, side: CellSide) -> list[Step]:
    """The pulse that the target's injectors need → the new cell."""
    stage, table, unit = Stage.TARGET_ECU, computed.table, computed.job.target.shown.unit
    how = equations.new_cell(
        adds_nothing=_adds_nothing(side),
        bends=side.settings.bend is not None,
        adds_time=side.settings.added is not None,
    )
    new, stored = (float(cells[side.row, side.column]) for cells in (table.new, table.stored))
    return [
        *_ecu_steps(side, stage),
        *_told_opening(side, stage),
        step(stage, equations.NEW_CELL, new, unit=unit, formula=how),
        step(stage, equations.STORED_CELL, stored, unit=unit),
        *_richer(table.richer, side, stage, unit),
    ]


def _told_opening(side: CellSide, stage: Stage) -> list[Step]:
    """The dead time and extra time that the ECU adds, and where its flow line bends."""
    told = [] if _adds_nothing(side) else [_told_dead_time(side, stage)]
    if side.settings.bend is not None:
        told += _bend_steps(side, stage)
    return told + _added_by_ecu(side, stage)


def _richer(richer: Richer | None, side: CellSide, stage: Stage, unit: str) -> list[Step]:
    """The cell to load if the job asks for a richer mixture at load."""
    if richer is None:
        return []
    share, cell = (float(values[side.row, side.column]) for values in (richer.share, richer.stored))
    return [step(stage, equations.RICHER_CELL, cell, "options.richer_at_load", unit=unit, share=100.0 * share)]


def _ecu_steps(side: CellSide, stage: Stage) -> list[Step]:
    """The factors that the ECU multiplies a cell by."""
    of_efficiency = side.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY
    steps = (_ve_factors if of_efficiency else _pulse_factors)(side, stage)
    if side.settings.corrects_rail_pressure:
        steps.append(step(stage, equations.RAIL_FACTOR, side.at(side.whole.rail_factor)))
    if _multiplies(side):
        of, volts = side.settings.battery_factor, side.table.battery_v
        assert of is not None
        keys = (side.key("settings.dead_time.percent"), "donor.settings.dead_time.percent")
        steps.append(step(stage, equations.BATTERY_FACTOR, float(of.at(volts)), *keys, volts=volts))
    each = side.at(side.whole.gain)
    how = equations.gain(
        of_efficiency=of_efficiency,
        pressure_inside=side.table.inside.pressure,
        times_lambda=not side.table.inside.intended_lambda,
        corrects_rail=side.settings.corrects_rail_pressure,
        times_volts=_multiplies(side),
    )
    if of_efficiency:
        return [*steps, step(stage, equations.GAIN_OF_VE, each * 1e3, formula=how)]
    return [*steps, step(stage, equations.GAIN_OF_PULSE, each, formula=how)]


def _multiplies(side: CellSide) -> bool:
    return side.settings.battery_factor is not None and not side.table.inside.dead_time


def _adds_nothing(side: CellSide) -> bool:
    return side.table.inside.dead_time or side.settings.battery_factor is not None


def _ve_factors(side: CellSide, stage: Stage) -> list[Step]:
    settings, inside = side.settings, side.table.inside
    pressure, what = side.table.reference_pressure_pa, "reference pressure"
    if not inside.pressure:
        pressure, what = side.at(side.table.multiplied_by_pa), _what_multiplies(side)
    key = side.key
    steps = [
        step(
            stage,
            equations.KAPPA,
            settings.formula_factor,
            key("settings.formula_factor"),
            "donor.settings.formula_factor",
        ),
        step(stage, equations.MULTIPLIER, pressure / 1e3, what=what),
        step(
            stage,
            equations.TOLD_VOLUME,
            settings.cylinder_volume_m3 * 1e6,
            key("settings.displacement"),
            key("engine.displacement"),
        ),
        step(stage, equations.BELIEVED_TEMPERATURE, believed_temperature(settings, side.whole.sensed)),
        step(stage, equations.TOLD_RATIO, settings.stoichiometric, key("settings.stoichiometric"), key("fuel.blend")),
        step(
            stage,
            equations.TOLD_OPENINGS,
            settings.openings,
            key("settings.openings_per_cycle"),
            key("injectors.openings_per_cycle"),
        ),
        step(stage, equations.TOLD_FLOW, settings.flow_kg_s * 1e3, key("settings.static_flow")),
    ]
    return steps + _lambda_step(side, stage)


def _pulse_factors(side: CellSide, stage: Stage) -> list[Step]:
    steps, table = [], side.table
    if not table.inside.pressure:
        steps = [
            step(stage, equations.MULTIPLIER, side.at(table.multiplied_by_pa) / 1e3, what=_what_multiplies(side)),
            step(stage, equations.REFERENCE_PRESSURE, table.reference_pressure_pa / 1e3),
        ]
    steps += [
        step(stage, equations.REFERENCE_TEMPERATURE, side.settings.reference_temperature_k),
        step(stage, equations.BELIEVED_TEMPERATURE, believed_temperature(side.settings, side.whole.sensed)),
    ]
    return steps + _lambda_step(side, stage)


def _what_multiplies(side: CellSide) -> str:
    return "manifold pressure" if side.table.applied_pa is None else "barometric pressure"


def _lambda_step(side: CellSide, stage: Stage) -> list[Step]:
    return [] if side.table.inside.intended_lambda else [intended_lambda(side, stage)]


def _minimum(side: CellSide, stage: Stage) -> Step:
    keys = (side.key("settings.minimum_pulse"), "donor.settings.minimum_pulse")
    return step(stage, equations.MINIMUM_PULSE, side.settings.minimum_pulse_s * 1e3, *keys)


def _told_dead_time(side: CellSide, stage: Stage) -> Step:
    keys = (side.key("settings.dead_time"), side.key("injectors.dead_time"))
    time = side.at(side.chain.told_dead_time_s) * 1e3
    return step(stage, equations.TOLD_DEAD_TIME, time, *keys, volts=side.table.battery_v)


def _bend_steps(side: CellSide, stage: Stage) -> list[Step]:
    """Both slopes as the ECU holds them: a ratio, and the opening by the slope above the bend at which it bends."""
    bend = side.settings.bend
    assert bend is not None
    keys = (side.key("settings.bent_line"), "donor.settings.bent_line")
    ratio, at_bend = 1.0 / float(bend.below), float(bend.at_mass) * 1e3
    return [
        step(stage, equations.TOLD_SLOPES, ratio, *keys),
        step(stage, equations.TOLD_BEND, at_bend, *keys),
    ]


def _added_by_ecu(side: CellSide, stage: Stage) -> list[Step]:
    if side.settings.added is None:
        return []
    without, opening = side.at(side.whole.told_time), side.at(side.whole.told_opening)
    keys = side.key("settings.added_time"), "donor.settings.added_time"
    return [step(stage, equations.TOLD_ADDED_TIME, (without - opening) * 1e3, *keys, opening_ms=opening * 1e3)]
