"""The input cells for what an ECU was told, how it behaves, and what the cells of its table mean."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from basemap.adaptation.quantities.injectors import FLOW, FLOW_BY_MASS
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.model.job import Job, SideName
from basemap.model.table import TableQuantity
from basemap.workbook.inputs.input_cell import (
    NO,
    YES,
    InputCell,
    choice,
    origin,
    spread,
    unit_of,
    without_rail,
    written,
)
from basemap.workbook.inputs.quantities import GRAM_MIN, GRAM_S, KPA, NONE, SHOWN, Group, limits, shown, used_unit

_TOLD = (
    "settings.displacement",
    "settings.static_flow",
    "settings.stoichiometric",
    "settings.fuel_density",
    "settings.openings_per_cycle",
)


def settings_cells(job: Job, side: SideName) -> list[InputCell]:
    """The cells for what one side's ECU was told, and how it behaves."""
    settings = job.side(side).told
    cells = [
        *_told_numbers(job, side),
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
    kappa = QUANTITIES["settings.formula_factor"]
    low, high = kappa.range.limits
    factor = InputCell(
        side, f"{side}_{kappa.cell}", f"{side}.{kappa.key}", kappa.words, Group.SETTINGS, settings.formula_factor,
        low=low, high=high, why=kappa.why, spread=spread(written(job, side, kappa.key), NONE),
        origin=origin(job, side, kappa.key),
    )  # fmt: skip
    return [_as_donor(job, cell) for cell in (*cells, factor)]


def _behaviour(job: Job, side: SideName, stem: str, label: str, on: bool) -> InputCell:
    return choice(job, side, stem, f"settings.{stem}", label, Group.SETTINGS, YES if on else NO, (YES, NO))


def _as_donor(job: Job, cell: InputCell) -> InputCell:
    """The cell as one that follows the donor's, where the target's ECU behaves as the donor's."""
    behaves = cell.name.endswith(("_corrects_rail_pressure", "_corrects_charge_temperature", "_formula_factor"))
    if cell.side == "donor" or not behaves or cell.key in job.inputs or job.other_quantity:
        return cell
    if not job.inputs and getattr(job.donor.told, cell.key.rsplit(".", 1)[1]) != getattr(
        job.target.told, cell.key.rsplit(".", 1)[1]
    ):
        return cell
    return replace(cell, follows=cell.name.replace("target_", "donor_", 1), origin="as the donor")


def _told_numbers(job: Job, side: SideName) -> list[InputCell]:
    cells = []
    for key in _TOLD:
        quantity = QUANTITIES[key]
        value = quantity.on(job.side(side))
        if value is None:
            continue
        default, used, within = SHOWN[quantity.unit], used_unit(quantity), quantity.range
        if within is FLOW and job.side(side).told.flow_is_mass:
            default, used, within = GRAM_MIN, GRAM_S, FLOW_BY_MASS
        entry = written(job, side, key)
        unit = unit_of(entry, default)
        low, high = limits(within, unit)
        cells.append(
            InputCell(
                side, f"{side}_{quantity.cell}", f"{side}.{key}", quantity.words, Group.SETTINGS, shown(value, unit), unit.name,
                used.name, unit.size / used.size, low=low, high=high, why=quantity.why, spread=spread(entry, unit),
                origin=origin(job, side, key),
            )
        )  # fmt: skip
    return cells


def table_cells(job: Job, side: SideName) -> list[InputCell]:
    """The cells for what one side's table means: reference pressure and intended lambda, where they are one number."""
    table = job.side(side).table
    cells = []
    if refers_to_pressure(job, side):
        whose: SideName = side if job.other_quantity else "donor"
        reference = QUANTITIES["tables.fuel.reference_pressure"]
        entry, (low, high) = written(job, whose, reference.key), limits(reference.range, KPA)
        cells.append(
            InputCell(
                side, f"{side}_{reference.cell}", f"{side}.{reference.key}", reference.words,
                Group.TABLE, table.reference_pressure_pa / 1e3, KPA.name, KPA.name, low=low, high=high,
                why=reference.why, spread=spread(entry, KPA), origin=origin(job, side, reference.key),
                follows="donor_reference_pressure" if side != whose else "",
            )
        )  # fmt: skip
    if side == "donor" or has_own_lambda(job):
        cells += _lambda(job, side)
    return cells


def refers_to_pressure(job: Job, side: SideName) -> bool:
    """Whether a side has a reference pressure that the job can state: the ECU multiplies pulse widths by the pressure.

    The target takes it over from the donor, unless its table holds another quantity. Where the donor's ECU does not
    multiply, the pressure is a constant of the program.
    """
    tables = (job.donor.table,) if side == "donor" else (job.donor.table, job.target.table)
    if side == "target" and job.other_quantity:
        tables = (job.target.table,)
    return all(table.quantity is TableQuantity.PULSE_WIDTH and not table.inside.pressure for table in tables)


def has_own_lambda(job: Job) -> bool:
    """Whether the target has an intended lambda of its own."""
    stated = any(key.startswith("target.tables.fuel.lambda") for key in job.inputs)
    return stated or not np.array_equal(job.donor.table.intended_lambda, job.target.table.intended_lambda)


def uniform_lambda(job: Job, side: SideName) -> bool:
    """Whether the intended lambda is a single number, which one cell holds."""
    table = job.side(side).table
    return bool(np.ptp(table.intended_lambda) == 0.0) and not _lambda_from_file(job, side)


def _lambda_from_file(job: Job, side: SideName) -> bool:
    stated = job.inputs.get(f"{side}.tables.fuel.lambda")
    return stated is not None and math.isnan(stated.shown)


def _lambda(job: Job, side: SideName) -> list[InputCell]:
    if not uniform_lambda(job, side):
        return []
    table = job.side(side).table
    intended = QUANTITIES["tables.fuel.lambda"]
    entry, (low, high) = written(job, side, intended.key), intended.range.limits
    return [
        InputCell(
            side, f"{side}_{intended.cell}", f"{side}.{intended.key}", intended.words, Group.TABLE,
            float(table.intended_lambda.flat[0]), low=low, high=high, why=intended.why,
            spread=spread(entry, NONE), origin=origin(job, side, intended.key),
        )
    ]  # fmt: skip
