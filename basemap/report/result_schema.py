"""JSON Schema of the JSON of a result, for programs that read it.

It has every key that `json_file` writes, and no other: a test validates the JSON of every sample against it.
"""

from __future__ import annotations

from typing import Any

from basemap.model.finding import HowFar, Scope, Severity, Verdict
from basemap.model.sensor import SensorKind
from basemap.report.brief.statement import Topic
from basemap.report.json_text import SCHEMA
from basemap.report.result_schema_tables import FURTHER_TABLE, POINT, TABLE
from basemap.report.schema_parts import (
    DATE,
    DIALECT,
    LIST,
    NUMBER,
    NUMBERS,
    ROWS,
    SOURCE,
    TEXT,
    VALUE,
    YES_NO,
    Schema,
    by_name,
    has,
    listed,
    or_null,
    word_of,
)

TITLE = "Result of basemap"
_TEXTS = listed(TEXT)


def result_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of what `adapt` writes to ``JOB.json`` and `--json` prints."""
    return {
        "$schema": DIALECT,
        "title": TITLE,
        "description": "Rows are load and columns are rpm, lowest first. null: does not apply, or cannot be "
        "calculated.",
        **has(
            {
                "schema": ({"const": SCHEMA}, "version of this format: raised when a key is renamed or removed"),
                "version": (TEXT, "of the program"),
                "date": (DATE, "of the run, UTC"),
                "title": (TEXT, "of the job"),
                "verdict": (word_of(Verdict), "what to do with the donor's map"),
                "how_far": (word_of(HowFar), "how far to go with the new table before anything has been measured"),
                "how_far_because": (TEXT, "the number behind it, with its cell"),
                "lean_ends": (
                    by_name(or_null(POINT)),
                    "λ over the intended at the lean end of the band, at load and at light load",
                ),
                "brief": (listed(_STATEMENT), "what is said first, in order"),
                "limits": (_TEXTS, "loads and speeds that must not be passed"),
                "accepted": (_TEXTS, "rules whose stops the user accepted"),
                "findings": (listed(FINDING), "findings of the rules"),
                "not_judged": (listed(_NOT_JUDGED), "rules that lacked a key"),
                "assumed": (listed(_ASSUMED), "values that the program put in"),
                "cancelled": (_TEXTS, "keys that were left out and cancel"),
                "settings": (listed(_SETTING), "what to type into the target's ECU"),
                "tables": (
                    {"type": "object", "properties": {"fuel": TABLE}, "additionalProperties": FURTHER_TABLE},
                    "by name: fuel is the main table, the others are further tables",
                ),
                "evidence": (listed(_OBSERVATION), "what was observed of how the target breathes"),
                "uncertainty": (_UNCERTAINTY, "where the band is widest, and every input's share in it"),
                "dead_time_sweep": (_sweep("battery_v", "battery voltages, V"), "λ ratio over battery voltage"),
                "temperature_sweep": (
                    _sweep("charge_temperature_c", "charge temperatures, °C"),
                    "λ ratio over the charge temperature",
                ),
                "fuel_demand": (_FUEL_DEMAND, "fuel that full load takes from the pump"),
                "sensors": (listed(_SENSOR), "those that the job states"),
                "inputs": (by_name(_INPUT), "the job as written and in SI, by key"),
                "notes": (by_name(TEXT), "of the job, by key"),
                "sources": (listed(SOURCE), "files that were read"),
            }
        ),
    }


def _sweep(over: str, words: str) -> Schema:
    place = has(
        {
            "rpm": (NUMBER, "rev/min"),
            "load_kpa": (VALUE, "manifold pressure, kPa"),
            "lambda_ratio": (LIST, "λ actual over intended at each point"),
        }
    )
    return has(
        {
            over: (NUMBERS, words),
            "leanest": (LIST, "highest λ ratio over all cells that the target reaches"),
            "richest": (LIST, "lowest"),
            "places": (by_name(place), "λ ratio at idle, at cruise and wide open"),
        }
    )


_CELL = has({"rpm": (NUMBER, "rev/min"), "load": (NUMBER, "in the unit of the table's load axis")})
_STATEMENT = has(
    {
        "kind": (word_of(Topic), "what it is about"),
        "severity": (or_null(word_of(Severity)), "null if it is neither good nor bad"),
        "text": (TEXT, "a sentence or less, complete in itself"),
        "findings": (_TEXTS, "rules whose findings it covers"),
    }
)
FINDING = has(
    {
        "rule": (TEXT, "its name, as docs/rules.md has it"),
        "severity": (word_of(Severity), "how much it weighs"),
        "scope": (
            word_of(Scope),
            "the whole file, or a load or speed above which nothing is known",
        ),
        "message": (TEXT, "what was found"),
        "remedy": (TEXT, "what to do about it"),
        "table": (or_null(TEXT), "which table it is about"),
        "value": (VALUE, "what was found, in the unit that the message names"),
        "limit": (VALUE, "the limit that it is compared with, in the same unit"),
        "source": (TEXT, "where the threshold comes from"),
        "cause": (TEXT, "findings with the same cause are shown as one"),
        "accepted": (YES_NO, "whether the user accepted the stop"),
        "limit_load_kpa": (or_null(NUMBER), "highest load that is known, kPa"),
        "limit_rpm": (or_null(NUMBER), "highest speed that is known, rev/min"),
        "cells": (listed(_CELL), "the cells concerned"),
    }
)
_NOT_JUDGED = has(
    {
        "rule": (TEXT, "its name"),
        "missing": (_TEXTS, "job-file keys that it lacks"),
        "message": (TEXT, "what is not known without them"),
        "can_stop": (YES_NO, "whether it could stop the map"),
    }
)
_ASSUMED = has(
    {
        "key": (TEXT, "of the job file"),
        "value": (TEXT, "what was put in"),
        "half_width": (or_null(TEXT), "how far off it may be"),
        "why": (TEXT, "why that value"),
        "moves": (TEXT, "what it moves, and by how much"),
        "unknown": (YES_NO, 'whether the job says "unknown" instead of leaving it out'),
    }
)
_ENTRY = {"anyOf": [NUMBER, LIST, {"type": "null"}]}
_SETTING = has(
    {
        "name": (TEXT, "of the setting"),
        "unit": (TEXT, "of the numbers"),
        "old": (_ENTRY, "what the donor's ECU holds; null where it is not known"),
        "enter": (_ENTRY, "what to type in; null where the ECU cannot be told"),
        "in_force": (_ENTRY, "what the target's ECU then holds"),
        "basis": (TEXT, "what the number means"),
        "old_assumed": (YES_NO, "whether nobody read what the donor's ECU holds"),
        "guessed": (YES_NO, "whether the number to type in is itself a guess"),
        "exact?": (_ENTRY, "what would be entered if the field could hold it"),
        "open_ms?": (NUMBERS, "times open over which a list runs, ms"),
        "battery_v?": (NUMBERS, "battery voltages over which a list runs, V"),
    }
)
_OBSERVATION = has(
    {
        "name": (TEXT, "in words"),
        "keys": (_TEXTS, "job-file keys that it comes from"),
        "rpm": (NUMBER, "where, rev/min"),
        "pressure_over_barometer": (NUMBER, "and at which manifold pressure over the barometer, on the target"),
        "value": (NUMBER, "ln(η_target / η_donor)"),
        "standard": (NUMBER, "its standard uncertainty"),
        "source": (TEXT, "how it was worked out"),
        "beyond_donor": (YES_NO, "whether it lies outside the donor's table"),
    }
)
_SHARE = has(
    {
        "name": (TEXT, "in words"),
        "keys": (_TEXTS, "job-file keys that it stands for"),
        "standard": (NUMBER, "standard uncertainty of the input"),
        "unit": (TEXT, "of that"),
        "assumed": (YES_NO, "whether its spread is the program's default"),
        "slope": (by_name(VALUE), "∂ln λ/∂x by place, per unit"),
        "share": (by_name(VALUE), "of the variance by place, 0 to 1"),
        "after": (by_name(VALUE), "the band by place once the input is measured, k = 2"),
        "measured_to": (or_null(NUMBER), "standard uncertainty left by a careful measurement"),
        "worst_after": (VALUE, "the band of the worst cell then, k = 2"),
    }
)
_UNCERTAINTY = has(
    {
        "coverage_factor": ({"const": 2}, "k of every band"),
        "worst": (VALUE, "widest band of a cell that the target reaches"),
        "worst_cell": (or_null(_CELL), "which one"),
        "advice": (TEXT, "what to measure first"),
        "measure_first": (by_name(TEXT), "the same by place; none if only the running engine can tell"),
        "samples": (NUMBER, "random samples of the Monte Carlo"),
        "leaner_limit": (NUMBER, "a λ ratio"),
        "probability_leaner": (ROWS, "of being leaner than that; null without Monte Carlo"),
        "simulated": (listed(listed(YES_NO)), "cells whose band is from Monte Carlo"),
        "inputs": (listed(_SHARE), "most useful to measure first"),
    }
)
_DEMAND = has({"rpm": (NUMBER, "rev/min"), "l_per_h": (VALUE, "litres per hour of the fuel in the rail")})
_FUEL_DEMAND = has(
    {
        "rated": (or_null(_DEMAND), "at the rated speed"),
        "rev_limit": (_DEMAND, "at the highest speed"),
        "most": (_DEMAND, "the most at any speed up to that"),
        "pressure_kpa": (NUMBER, "gauge pressure at which the pump must give it, kPa"),
    }
)
_SCALE = has({"volts": (LIST, "V"), "value": (LIST, "in the sensor's unit")})
_SENSOR_ERROR = has(
    {
        "volts": (NUMBER, "V"),
        "true": (NUMBER, "what is there"),
        "read": (NUMBER, "what the ECU reads"),
        "error": (NUMBER, "read less true"),
    }
)
_READING = has(
    {
        "volts": (LIST, "V"),
        "true": (LIST, "what is there"),
        "read": (LIST, "what the ECU reads"),
        "error": (LIST, "read less true"),
        "lambda_ratio": (or_null(LIST), "effect on the mixture, if any"),
        "largest_error_judged": (or_null(_SENSOR_ERROR), "over the range that matters"),
    }
)
_SENSOR = has(
    {
        "name": (TEXT, "as the job has it"),
        "kind": (word_of(SensorKind), "what it reads"),
        "unit": (TEXT, "of its values"),
        "held": (or_null(_SCALE), "the scale that the map holds"),
        "fitted": (or_null(_SCALE), "the scale of the sensor on the target"),
        "judged_between": (NUMBERS, "the range that matters"),
        "as_loaded": (or_null(_READING), "with the map's own scale"),
        "table_to_enter": (
            listed(
                has(
                    {
                        "volts": (NUMBER, "V"),
                        "old": (VALUE, "what the map holds"),
                        "enter": (VALUE, "what to type in"),
                        "note": (TEXT, "what is special about the point"),
                    }
                )
            ),
            "at the map's own voltages",
        ),
        "entered": (or_null(_READING), "with that table entered"),
        "largest_error_between_points": (or_null(_SENSOR_ERROR), "error left between them"),
        "cannot_be_entered": (YES_NO, "whether the scale stays as it is"),
    }
)
_INPUT = has(
    {
        "text": (TEXT, "as written"),
        "value": (VALUE, "the number as written"),
        "unit": (TEXT, "of that"),
        "si": (VALUE, "in SI"),
        "half_width_si": (VALUE, "of the spread, in SI; null where none was given"),
        "coverage_factor": (or_null({"const": 2}), "2 where the spread is an expanded uncertainty"),
        "origin": (TEXT, "declared, default, assumed, or what the section's basis says"),
    }
)
