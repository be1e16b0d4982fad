"""Tables as JSON: lists of rows; rows are load and columns are rpm, lowest first, unrounded."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from basemap.model.further_table import FurtherBand, FurtherResult, FurtherTable
from basemap.model.job import Job
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.model.table_result import LAMBDA_CASES, Between, Point, TableResult
from basemap.report.json_text import finite, plain
from basemap.report.words import marks_at


def table_as_json(job: Job, result: Result) -> dict[str, Any]:
    """The main table."""
    table, target = result.table, result.table.target
    return {
        "quantity": job.target.table.quantity.value,
        "unit": job.target.shown.unit,
        "donor_quantity": job.donor.table.quantity.value,
        "donor_unit": job.donor.shown.unit,
        "rpm": plain(job.rpm),
        "load": plain(job.target.shown.load),
        "load_unit": job.target.shown.load_unit,
        **_old(job, table),
        "new": plain(table.new),
        "stored": plain(table.stored),
        "to_load": plain(table.to_load),
        "richer_at_load": None if table.richer is None else plain(table.richer.share),
        "change_percent": plain(table.change_percent),
        "lambda_ratio": {case: plain(table.lambda_ratio[case]) for case in LAMBDA_CASES},
        "lambda_table_left": None if table.lambda_table_left is None else plain(table.lambda_table_left),
        "stored_lambda_ratio": plain(table.stored_lambda_ratio),
        "between_cells": _between(table.between),
        "common_factor": None if table.common_factor is None else asdict(table.common_factor),
        "intended_lambda": plain(np.broadcast_to(job.target.table.intended_lambda, table.new.shape)),
        "pulse_ms": plain(table.pulse_s * 1e3),
        "duty": plain(table.duty),
        "air_mg_per_cycle": plain(target.air_kg * 1e6),
        "breathing": job.breathing.value,
        "manifold_pressure_kpa": plain(np.broadcast_to(job.target.table.pressure_pa, table.new.shape) / 1e3),
        "likeness": job.likeness.value,
        "breathing_field": {
            "expected": plain(table.breathing.expected),
            "mean": plain(table.breathing.mean),
            "standard": plain(table.breathing.standard),
        },
        "lambda_expected": plain(table.lambda_ratio["new_table_new_settings"] * table.lambda_expected),
        "breathing_factor": None if table.breathing_factor is None else plain(table.breathing_factor),
        "learnt_factor": None if table.taught_factor is None else plain(table.taught_factor),
        "injector_flow_g_per_s": plain(target.line_flow_kg_s * 1e3),
        "implied_volumetric_efficiency": plain(table.implied_ve),
        "relative_uncertainty": plain(result.band.adapted),
        "relative_uncertainty_as_loaded": plain(result.band.as_loaded),
        "marks": _marks(table),
    }


def _old(job: Job, table: TableResult) -> dict[str, Any]:
    """The donor's table; if the axes differ, on its own grid, with what the target's ECU would read from it."""
    donor, shown = job.donor.table, job.donor.shown or job.target.shown
    if np.array_equal(donor.rpm, job.rpm) and np.array_equal(shown.load, job.target.shown.load):
        return {"old": plain(table.old)}
    return {
        "old": plain(donor.values / shown.per_unit),
        "old_rpm": plain(donor.rpm),
        "old_load": plain(shown.load),
        "old_load_unit": shown.load_unit,
        "old_on_new_axes": plain(table.old),
    }


def _between(between: Between) -> dict[str, Any]:
    """λ of the stored table at its cells and half way between them, with the leanest and the richest point."""
    leanest, richest = between.extremes or (None, None)
    return {
        "rpm": plain(between.rpm),
        "load": plain(between.load),
        "lambda_ratio": plain(between.lambda_ratio),
        "leanest": point_as_json(leanest),
        "richest": point_as_json(richest),
    }


def point_as_json(point: Point | None) -> dict[str, Any] | None:
    """A λ ratio with its speed and load."""
    if point is None:
        return None
    return {"rpm": point.rpm, "load": point.load, "lambda_ratio": finite(point.ratio)}


def _origin(table: FurtherTable | None) -> dict[str, Any]:
    """The donor's own points and cells; nothing where the target's table has the same points."""
    if table is None:
        return {}
    axes = {f"donor_{'axis' if table.axis else name}": plain(axis.values)
            for axis, name in zip(table.axes, ("load", "rpm"), strict=False)}  # fmt: skip
    return {**axes, "donor_cells": plain(table.values)}


def further_table_as_json(found: FurtherResult, band: FurtherBand | None) -> dict[str, Any]:
    """A further table: flat lists over its one axis, or rows of load and columns of rpm."""
    axes: dict[str, Any]
    if found.table.axis is not None:
        axis = found.table.axis
        axes = {"axis": plain(axis.values), "axis_name": axis.name, "axis_unit": axis.unit}
    else:
        load, rpm = found.axes
        axes = {"rpm": plain(rpm.values), "load": plain(load.values), "load_unit": load.unit}
    marks = [marks_at(found.marks, index) for index in np.ndindex(found.new.shape)]
    if found.new.ndim > 1:
        columns = found.new.shape[1]
        marks = [marks[start : start + columns] for start in range(0, len(marks), columns)]  # type: ignore[misc]
    return {
        "quantity": found.quantity.value,
        "unit": found.unit,
        "intended_lambda_of": "fuel" if found.table.commanded is not None else None,
        **axes,
        **_origin(found.table.origin),
        "old": plain(found.old),
        "new": plain(found.new),
        "stored": plain(found.stored),
        "change_percent": plain(found.change_percent),
        "pulse_ms": plain(found.pulse_s * 1e3),
        "battery_v": found.battery_v if np.isfinite(found.pulse_s).any() else None,
        "relative_uncertainty": None if band is None else plain(band.expanded),
        "marks": marks,
    }


def _marks(table: TableResult) -> list[list[list[Mark]]]:
    rows, columns = table.new.shape
    return [[marks_at(table.marks, (row, column)) for column in range(columns)] for row in range(rows)]
