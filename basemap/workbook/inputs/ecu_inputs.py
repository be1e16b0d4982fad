"""The input cells of what an ECU was told, how it behaves, and what its table means."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from basemap.model.installation import Told
from basemap.model.job import Job, SideName
from basemap.model.table import TableQuantity
from basemap.workbook.inputs.quantities import CC, CC_MIN, CC_S, GRAM_MIN, GRAM_S, KG_M3, NONE, Group, ShownUnit
from basemap.workbook.inputs.sides import (
    NO,
    YES,
    InputCell,
    choice,
    origin,
    shown,
    spread,
    unit_of,
    without_rail,
    written,
)


def settings_cells(job: Job, side: SideName) -> list[InputCell]:
    """What one side's ECU was told, and how it behaves."""
    settings = job.side(side).told
    cells = [
        *_told_numbers(job, side, settings),
        without_rail(
            job,
            _behaviour(
                job, side, "corrects_rail_pressure", "ECU corrects for rail pressure", settings.corrects_rail_pressure
            ),
        ),
        _behaviour(
            job,
            side,
            "corrects_charge_temperature",
            "ECU corrects for charge temperature",
            settings.corrects_charge_temperature,
        ),
    ]
    factor = InputCell(
        side, f"{side}_formula_factor", f"{side}.settings.formula_factor", "Formula factor κ", Group.SETTINGS,
        settings.formula_factor, low=0.2, high=5.0, why="1 where the ECU's own constants are those of physics; 0.2 to 5",
        spread=spread(written(job, side, "settings.formula_factor"), NONE), origin=origin(job, side, "settings.formula_factor"),
    )  # fmt: skip
    return [_as_donor(job, cell) for cell in (*cells, factor)]


def _behaviour(job: Job, side: SideName, stem: str, label: str, on: bool) -> InputCell:
    return choice(job, side, stem, f"settings.{stem}", label, Group.SETTINGS, YES if on else NO, (YES, NO))


def _as_donor(job: Job, cell: InputCell) -> InputCell:
    """The target's ECU behaves as the donor's unless the job says otherwise."""
    behaves = cell.name.endswith(("_corrects_rail_pressure", "_corrects_charge_temperature", "_formula_factor"))
    if cell.side == "donor" or not behaves or cell.key in job.inputs or job.other_quantity:
        return cell
    if not job.inputs and getattr(job.donor.told, cell.key.rsplit(".", 1)[1]) != getattr(
        job.target.told, cell.key.rsplit(".", 1)[1]
    ):
        return cell
    return replace(cell, follows=cell.name.replace("target_", "donor_", 1), origin="as the donor")


def _told_numbers(job: Job, side: SideName, settings: Told) -> list[InputCell]:
    flow_unit, flow_used = (GRAM_MIN, GRAM_S) if settings.flow_is_mass else (CC_MIN, CC_S)
    rows = (
        ("displacement", "displacement", "Displacement told", settings.displacement_m3, ShownUnit("cc", 1e-6), CC, (20e-6, 20e-3)),
        ("static_flow", "static_flow", "Injector flow told", settings.flow, flow_unit, flow_used,
         (3e-3 / 60, 15000e-3 / 60) if settings.flow_is_mass else (5e-6 / 60, 20000e-6 / 60)),
        ("stoichiometric", "stoichiometric", "Stoichiometric ratio told", settings.stoichiometric, NONE, NONE, (5.0, 20.0)),
        ("fuel_density", "fuel_density", "Fuel density told", settings.fuel_density, KG_M3, KG_M3, (600.0, 900.0)),
        ("openings", "openings_per_cycle", "Openings per cycle told", settings.openings_per_cycle, NONE, NONE, (0.25, 16.0)),
    )  # fmt: skip
    cells = []
    for stem, key, label, value, default, used, limits in rows:
        if value is None:
            continue
        entry = written(job, side, f"settings.{key}")
        unit = unit_of(entry, default)
        low, high = (shown(limit, unit) for limit in limits)
        cells.append(
            InputCell(
                side, f"{side}_settings_{stem}", f"{side}.settings.{key}", label, Group.SETTINGS, shown(value, unit), unit.name,
                used.name, unit.size / used.size, low=low, high=high,
                why="what the ECU holds; it lies where the quantity itself can lie", spread=spread(entry, unit),
                origin=origin(job, side, f"settings.{key}"),
            )
        )  # fmt: skip
    return cells


def table_cells(job: Job, side: SideName) -> list[InputCell]:
    """What one side's table means, as far as single cells hold it."""
    table = job.side(side).table
    cells = []
    if refers_to_pressure(job, side):
        whose: SideName = side if job.other_quantity else "donor"
        entry = written(job, whose, "tables.fuel.reference_pressure")
        unit = ShownUnit("kPa", 1e3)
        cells.append(
            InputCell(
                side, f"{side}_reference_pressure", f"{side}.tables.fuel.reference_pressure", "Reference pressure of a cell",
                Group.TABLE, table.reference_pressure_pa / 1e3, unit.name, "kPa", low=5.0, high=600.0,
                why="a manifold pressure, absolute, 5 to 600 kPa", spread=spread(entry, unit),
                origin=origin(job, side, "tables.fuel.reference_pressure"),
                follows="donor_reference_pressure" if side != whose else "",
            )
        )  # fmt: skip
    if side == "donor" or has_own_lambda(job):
        cells += _lambda(job, side)
    return cells


def refers_to_pressure(job: Job, side: SideName) -> bool:
    """Whether a side's cells stand for a pressure that the job can say: pulse widths that the ECU multiplies by it.

    The target takes it over from the donor; where the donor's ECU does no such thing it is the constant of the program.
    Another box has its own.
    """
    tables = (job.donor.table,) if side == "donor" else (job.donor.table, job.target.table)
    if side == "target" and job.other_quantity:
        tables = (job.target.table,)
    return all(table.quantity is TableQuantity.PULSE_WIDTH and not table.inside.pressure for table in tables)


def has_own_lambda(job: Job) -> bool:
    """Whether the target is meant to run with a mixture of its own."""
    stated = any(key.startswith("target.tables.fuel.lambda") for key in job.inputs)
    return stated or not np.array_equal(job.donor.table.intended_lambda, job.target.table.intended_lambda)


def uniform_lambda(job: Job, side: SideName) -> bool:
    """Whether the intended lambda is one number, so that one cell holds it."""
    table = job.side(side).table
    return bool(np.ptp(table.intended_lambda) == 0.0) and not _lambda_from_file(job, side)


def _lambda_from_file(job: Job, side: SideName) -> bool:
    stated = job.inputs.get(f"{side}.tables.fuel.lambda")
    return stated is not None and math.isnan(stated.shown)


def _lambda(job: Job, side: SideName) -> list[InputCell]:
    if not uniform_lambda(job, side):
        return []
    table = job.side(side).table
    entry = written(job, side, "tables.fuel.lambda")
    return [
        InputCell(
            side, f"{side}_intended_lambda", f"{side}.tables.fuel.lambda", "Intended lambda", Group.TABLE,
            float(table.intended_lambda.flat[0]), low=0.5, high=1.5, why="a mixture that burns lies between 0.5 and 1.5",
            spread=spread(entry, NONE), origin=origin(job, side, "tables.fuel.lambda"),
        )
    ]  # fmt: skip
