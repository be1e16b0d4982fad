"""A result as JSON; `result_schema` describes every key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from basemap import __version__
from basemap.constants import ZERO_CELSIUS
from basemap.model.band import Band
from basemap.model.demand import Demand, FuelDemand
from basemap.model.evidence import Observation
from basemap.model.finding import Finding
from basemap.model.job import Input, Job
from basemap.model.result import Result, Setting, TemperatureSweep, VoltageSweep
from basemap.report.brief import as_json as brief_as_json
from basemap.report.brief import brief
from basemap.report.json_sensors import sensor_as_json
from basemap.report.json_tables import further_table_as_json, point_as_json, table_as_json
from basemap.report.json_text import SCHEMA, finite, plain, today


def as_json(result: Result) -> dict[str, Any]:
    """A result as plain dictionaries, lists, texts and numbers.

    Tables are lists of rows; rows are load and columns are rpm, lowest first, unrounded and unclipped. `None` means
    that a value does not apply or cannot be calculated; a cell whose λ ratio is infinite has the mark ``no fuel``.
    """
    job, bands = result.job, result.band.further
    return {
        "schema": SCHEMA,
        "version": __version__,
        "date": today(),
        "title": job.title,
        "verdict": result.verdict.value,
        "how_far": result.how_far.value,
        "how_far_because": result.how_far_because,
        "lean_ends": {place: point_as_json(point) for place, point in result.lean_ends.items()},
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
            result.table.name: table_as_json(job, result),
            **{one.name: further_table_as_json(one, bands.get(one.name)) for one in result.further_tables},
        },
        "evidence": [_observation(one) for one in result.table.breathing.evidence],
        "uncertainty": _band(job, result.band),
        "dead_time_sweep": sweep_as_json(result.sweep),
        "temperature_sweep": _temperature_sweep(result.temperature_sweep),
        "fuel_demand": _fuel_demand(result.fuel_demand),
        "sensors": [sensor_as_json(sensor) for sensor in result.sensors],
        "inputs": {key: _input(written) for key, written in job.inputs.items()},
        "notes": dict(job.notes),
        "sources": [asdict(source) for source in job.sources],
    }


def _temperature_sweep(sweep: TemperatureSweep) -> dict[str, Any]:
    """λ ratio over charge temperature, new table with the settings to enter."""
    return {"charge_temperature_c": plain(sweep.charge_k - ZERO_CELSIUS), **_over_places(sweep)}


def _fuel_demand(found: FuelDemand) -> dict[str, Any]:
    """The fuel that full load takes, litres per hour of the fuel in the rail."""

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


def _observation(one: Observation) -> dict[str, Any]:
    """One observation of ln(η_target / η_donor), at a point of the target."""
    return {
        "name": one.name,
        "keys": list(one.keys),
        "rpm": one.rpm,
        "pressure_over_barometer": one.pressure_over_barometer,
        "value": one.value,
        "standard": one.standard,
        "source": one.source,
        "beyond_donor": one.beyond_donor,
    }


def _band(job: Job, band: Band) -> dict[str, Any]:
    """The uncertainty of λ after adapting: standard uncertainties of the inputs, expanded ones (k = 2) of λ."""
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


def finding_as_json(job: Job, finding: Finding) -> dict[str, Any]:
    """A finding as JSON."""
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
    content: dict[str, Any] = {
        "name": setting.name,
        "unit": setting.unit,
        "old": _value(setting.old),
        "enter": _value(setting.enter),
        "in_force": _value(setting.in_force),
        "basis": setting.basis,
        "old_assumed": setting.old_assumed,
        "guessed": setting.guessed,
    }
    if setting.exact is not None:
        content["exact"] = _value(setting.exact)
    if setting.open_ms:
        content["open_ms"] = list(setting.open_ms)
    return {**content, "battery_v": list(setting.battery_v)} if setting.battery_v else content


def _value(value: float | Sequence[float] | None) -> float | list[float | None] | None:
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
