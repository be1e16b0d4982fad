"""The machine-readable result, schema ``basemap/1``."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import numpy as np

from basemap import __version__
from basemap.adaptation.sensors import LISTED
from basemap.constants import ZERO_CELSIUS
from basemap.model.demand import Demand, FuelDemand
from basemap.model.evidence import Observation
from basemap.model.further_table import FurtherBand, FurtherResult, FurtherTable
from basemap.model.installation import FloatArray
from basemap.model.job import Input, Job
from basemap.model.marks import Mark
from basemap.model.result import (
    LAMBDA_CASES,
    Band,
    Between,
    Finding,
    Point,
    Result,
    Setting,
    TableResult,
    TemperatureSweep,
    VoltageSweep,
)
from basemap.model.sensor import SensorComparison, SensorResult, SensorScale
from basemap.report.brief import as_json as brief_as_json
from basemap.report.brief import brief
from basemap.report.words import escaped, marks_at

SCHEMA = "basemap/1"


def as_json(result: Result) -> dict[str, Any]:
    """A result as plain dictionaries, lists, texts and numbers.

    Tables are lists of rows, rows are load and columns are rpm, lowest first, unrounded and unclipped. `None` stands
    for what does not apply or cannot be; where that is a λ ratio without any fuel, the cell has the mark ``no fuel``.
    """
    job = result.job
    return {
        "schema": SCHEMA,
        "version": __version__,
        "date": today(),
        "title": job.title,
        "verdict": result.verdict.value,
        "how_far": result.how_far.value,
        "how_far_because": result.how_far_because,
        "lean_ends": {place: _point(point) for place, point in result.lean_ends.items()},
        "brief": brief_as_json(brief(result)),
        "limits": list(result.limits),
        "accepted": list(result.accepted),
        "findings": [finding_as_json(job, finding) for finding in result.findings],
        "not_judged": [
            {"rule": rule.rule, "missing": list(rule.missing), "message": rule.message, "can_stop": rule.can_stop}
            for rule in result.not_judged
        ],
        "assumed": [asdict(assumption) for assumption in job.assumed],
        "cancelled": list(result.cancelled),
        "settings": [_setting(setting) for setting in result.settings],
        "tables": {
            result.table.name: _table(job, result),
            **{one.name: _further_table(one, result.band.further.get(one.name)) for one in result.further_tables},
        },
        "evidence": [_observation(entry) for entry in result.table.breathing.evidence],
        "uncertainty": _band(job, result.band),
        "dead_time_sweep": sweep_as_json(result.sweep),
        "temperature_sweep": _temperature_sweep(result.temperature_sweep),
        "fuel_demand": _fuel_demand(result.fuel_demand),
        "sensors": [sensor_as_json(sensor) for sensor in result.sensors],
        "inputs": {key: _input(written) for key, written in job.inputs.items()},
        "notes": dict(job.notes),
        "sources": [asdict(source) for source in job.sources],
    }


def to_text(content: dict[str, Any]) -> str:
    """JSON as text, one table row a line, ending with a line feed."""
    # A file name may hold what no encoding has, or what a terminal would obey; JSON writes that as an escape.
    return escaped(_laid_out(content, "") + "\n")


def today() -> str:
    """The date in UTC, ISO 8601."""
    return datetime.now(UTC).date().isoformat()


def plain(values: FloatArray) -> list[Any]:
    """An array of any shape as nested lists, `None` for what is not finite.

    >>> plain(np.array([[1.0, np.nan], [np.inf, 0.5]]))
    [[1.0, None], [None, 0.5]]
    """
    array = np.asarray(values, dtype=np.float64)
    return [plain(row) for row in array] if array.ndim > 1 else [finite(float(value)) for value in array]


def finite(value: float | None) -> float | None:
    """A number, or `None` where it is not finite: JSON has no other way."""
    return value if value is not None and math.isfinite(value) else None


def _temperature_sweep(sweep: TemperatureSweep) -> dict[str, Any]:
    """λ ratio over the charge temperature, new table with the settings to enter."""
    return {"charge_temperature_c": plain(sweep.charge_k - ZERO_CELSIUS), **_over_places(sweep)}


def _fuel_demand(found: FuelDemand) -> dict[str, Any]:
    """Full load, litres per hour of the fuel in the rail."""

    def at(one: Demand | None) -> dict[str, Any] | None:
        return None if one is None else {"rpm": one.rpm, "l_per_h": finite(one.litres_per_hour)}

    return {
        "rated": at(found.rated),
        "rev_limit": at(found.rev_limit),
        "most": at(found.most),
        "pressure_kpa": found.pressure_pa / 1e3,
    }


def sweep_as_json(sweep: VoltageSweep) -> dict[str, Any]:
    """λ ratio over battery voltage, new table with the settings to enter."""
    return {"battery_v": plain(sweep.battery_v), **_over_places(sweep)}


def _over_places(sweep: VoltageSweep | TemperatureSweep) -> dict[str, Any]:
    return {
        "leanest": plain(sweep.leanest),
        "richest": plain(sweep.richest),
        "places": {
            name: {"rpm": rpm, "load_kpa": load_pa / 1e3, "lambda_ratio": plain(ratio)}
            for name, (rpm, load_pa, ratio) in sweep.places.items()
        },
    }


def sensor_as_json(sensor: SensorResult) -> dict[str, Any]:
    """A sensor: both scales, the error over the range, the table to enter, in the unit of the map's own scale."""
    left = sensor.left_between
    return {
        "name": sensor.name,
        "kind": sensor.kind.value,
        "unit": sensor.shown.unit,
        "held": _scale(sensor, sensor.held),
        "fitted": _scale(sensor, sensor.fitted),
        "judged_between": sorted(plain(sensor.shown.of(np.array(sensor.judged_between)))),
        "as_loaded": _reading(sensor, sensor.as_loaded),
        "table_to_enter": [asdict(point) for point in sensor.points],
        "entered": _reading(sensor, sensor.entered),
        "largest_error_between_points": None if left is None else _error_at(sensor, sensor.entered, left),
        "cannot_be_entered": sensor.stuck,
    }


def _scale(sensor: SensorResult, scale: SensorScale | None) -> dict[str, Any] | None:
    if scale is None:
        return None
    return {"volts": plain(scale.volts), "value": plain(sensor.shown.of(scale.values))}


def _reading(sensor: SensorResult, reading: SensorComparison | None) -> dict[str, Any] | None:
    if reading is None:
        return None
    rows, shown = reading.spread_out(LISTED), sensor.shown
    worst = reading.largest(reading.judged)
    ratio = None if reading.lambda_ratio is None else plain(reading.lambda_ratio[rows])
    return {
        "volts": plain(reading.volts[rows]),
        "true": plain(shown.of(reading.true[rows])),
        "read": plain(shown.of(reading.read[rows])),
        "error": plain(shown.difference(reading.error[rows])),
        "lambda_ratio": ratio,
        "largest_error_judged": None if worst is None else _error_at(sensor, reading, worst),
    }


def _error_at(sensor: SensorResult, reading: SensorComparison | None, index: int) -> dict[str, Any]:
    assert reading is not None
    shown = sensor.shown
    return {
        "volts": float(reading.volts[index]),
        "true": float(shown.of(reading.true[index])),
        "read": float(shown.of(reading.read[index])),
        "error": float(shown.difference(reading.error[index])),
    }


def _table(job: Job, result: Result) -> dict[str, Any]:
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
        "lambda_expected": plain(table.lambda_ratio["new_table_new_settings"] * table.breathing.lambda_expected),
        "breathing_factor": None if table.breathing_factor is None else plain(table.breathing_factor),
        "injector_flow_g_per_s": plain(target.line_flow_kg_s * 1e3),
        "implied_volumetric_efficiency": plain(table.implied_ve),
        "relative_uncertainty": plain(result.band.adapted),
        "relative_uncertainty_as_loaded": plain(result.band.as_loaded),
        "marks": _marks(table),
    }


def _old(job: Job, table: TableResult) -> dict[str, Any]:
    """The donor's table; on its own grid beside what the target's ECU would find in it, where the axes differ."""
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


def _observation(entry: Observation) -> dict[str, Any]:
    """One observation of ln(η_target / η_donor), on the target."""
    return {
        "name": entry.name,
        "keys": list(entry.keys),
        "rpm": entry.rpm,
        "pressure_over_barometer": entry.pressure_over_barometer,
        "value": entry.value,
        "standard": entry.standard,
        "source": entry.source,
        "beyond_donor": entry.beyond_donor,
    }


def _between(between: Between) -> dict[str, Any]:
    """The stored table at its cells and half way between them: finer axes, the furthest points, and all of them."""
    leanest, richest = between.extremes or (None, None)
    return {
        "rpm": plain(between.rpm),
        "load": plain(between.load),
        "lambda_ratio": plain(between.lambda_ratio),
        "leanest": _point(leanest),
        "richest": _point(richest),
    }


def _point(point: Point | None) -> dict[str, Any] | None:
    if point is None:
        return None
    return {"rpm": point.rpm, "load": point.load, "lambda_ratio": finite(point.ratio)}


def _origin(table: FurtherTable | None) -> dict[str, Any]:
    """The donor's own points and cells, where the target's table has others."""
    if table is None:
        return {}
    axes = {f"donor_{'axis' if table.axis else name}": plain(axis.values)
            for axis, name in zip(table.axes, ("load", "rpm"), strict=False)}  # fmt: skip
    return {**axes, "donor_cells": plain(table.values)}


def _further_table(found: FurtherResult, band: FurtherBand | None) -> dict[str, Any]:
    """A further table: flat lists over its only axis, or rows of load and columns of rpm."""
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


def _band(job: Job, band: Band) -> dict[str, Any]:
    """The budget of λ after adapting; standard uncertainties of the inputs, expanded ones (k = 2) of λ."""
    worst = None
    if band.worst_cell is not None:
        row, column = band.worst_cell
        worst = {"rpm": float(job.rpm[column]), "load": float(job.target.shown.load[row])}
    return {
        "coverage_factor": 2,
        "worst": finite(band.worst),
        "worst_cell": worst,
        "advice": band.advice,
        "measure_first": dict(band.first),
        "samples": band.samples,
        "leaner_limit": band.leaner_limit,
        "probability_leaner": plain(band.leaner),
        "simulated": [[bool(cell) for cell in row] for row in band.simulated],
        "inputs": [
            {
                "name": share.name,
                "keys": list(share.keys),
                "standard": share.standard,
                "unit": share.unit,
                "assumed": share.assumed,
                "slope": {place: finite(slope) for place, slope in share.slopes.items()},
                "share": {place: finite(part) for place, part in share.places.items()},
                "after": {place: finite(left) for place, left in share.after.items()},
                "measured_to": share.measured_to,
                "worst_after": finite(share.worst_after),
            }
            for share in band.shares
        ],
    }


def _marks(table: TableResult) -> list[list[list[Mark]]]:
    rows, columns = table.new.shape
    return [[marks_at(table.marks, (row, column)) for column in range(columns)] for row in range(rows)]


def finding_as_json(job: Job, finding: Finding) -> dict[str, Any]:
    """A finding as plain numbers and texts."""
    loads = None if finding.limit_load_pa is None else finding.limit_load_pa / 1e3
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "scope": finding.scope.value,
        "message": finding.message,
        "remedy": finding.remedy,
        "table": finding.table,
        "value": finite(finding.value),
        "limit": finite(finding.limit),
        "source": finding.source,
        "cause": finding.cause,
        "accepted": finding.accepted,
        "limit_load_kpa": loads,
        "limit_rpm": finding.limit_rpm,
        "cells": [
            {"rpm": float(job.rpm[column]), "load": float(job.target.shown.load[row])} for row, column in finding.cells
        ],
    }


def _setting(setting: Setting) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "name": setting.name,
        "unit": setting.unit,
        "old": _entry(setting.old),
        "enter": _entry(setting.enter),
        "in_force": _entry(setting.in_force),
        "basis": setting.basis,
        "old_assumed": setting.old_assumed,
        "guessed": setting.guessed,
    }
    if setting.exact is not None:
        entry["exact"] = _entry(setting.exact)
    if setting.open_ms:
        entry["open_ms"] = list(setting.open_ms)
    return {**entry, "battery_v": list(setting.battery_v)} if setting.battery_v else entry


def _entry(value: float | Sequence[float] | None) -> float | list[float | None] | None:
    if value is None or isinstance(value, (int, float)):
        return finite(value)
    return [finite(one) for one in value]


def _input(written: Input) -> dict[str, Any]:
    return {
        "text": written.text,
        "value": finite(written.shown),
        "unit": written.unit,
        "si": finite(written.value),
        "half_width_si": finite(written.half_width),
        "coverage_factor": 2 if written.k2 else None,
        "origin": written.origin,
    }


def _laid_out(value: Any, indent: str) -> str:
    """Indented JSON in which a list without further lists or objects stays on one line."""
    inner = indent + "  "
    if isinstance(value, dict) and value:
        lines = [f"{inner}{_dumped(key)}: {_laid_out(item, inner)}" for key, item in value.items()]
        return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
    if isinstance(value, list) and any(_is_nested(item) for item in value):
        return "[\n" + ",\n".join(inner + _laid_out(item, inner) for item in value) + f"\n{indent}]"
    return _dumped(value)


def _is_nested(value: Any) -> bool:
    """Whether a list's item needs lines of its own; the marks of a cell, a few words, do not."""
    return isinstance(value, dict) or (isinstance(value, list) and not all(isinstance(item, str) for item in value))


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
"""Made once: `json.dumps` makes one for each of several thousand values."""


def _dumped(value: Any) -> str:
    # A lone number is its own text, as `json` has it; made by it, it takes three times as long.
    return repr(value) if type(value) is float and math.isfinite(value) else _ENCODER.encode(value)
