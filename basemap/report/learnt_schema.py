"""JSON Schema of what a drive taught, for programs that read it; a test validates the JSON of drives against it."""

from __future__ import annotations

from typing import Any

from basemap.report.learnt_json import SCHEMA
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
    by_name,
    has,
    listed,
    or_null,
)

TITLE = "What basemap learnt from a drive"


def learnt_schema() -> dict[str, Any]:
    """JSON Schema, draft 2020-12, of what `learn` writes."""
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
                "events": (listed(_EVENT), "crossed limits, with their time"),
                "holds": (listed(_HOLD), "what has to be accepted before a table to load is written"),
                "nothing_learnt": (or_null(TEXT), "why nothing was learnt of the table, where it was not"),
                "probe_proved": (YES_NO, "whether the lambda probe was proved at two points"),
                "card": (listed(_CARD), "the first-start card against the log"),
                "faults": (listed(_FAULT), "what the drive looks like, the likeliest first"),
                "used": (_USED, "what of the logs could be compared"),
                "delay": (listed(_DELAY), "of the exhaust gas on its way to the probe, for each log"),
                "tables": (by_name(_TABLE), "by name; empty where nothing was learnt"),
                "next_points": (listed(_NEXT), "where to drive next"),
                "controller": (or_null(_CONTROLLER), "the ECU's own formula as the logged pulses show it"),
                "inputs": (listed(_INPUT), "uncertain inputs after the drive"),
                "read_as": (listed(listed(TEXT)), "what each column of the log was read as"),
                "trace": (or_null(_TRACE), "expected and seen λ along the drives"),
                "sources": (listed(SOURCE), "files that were read"),
            }
        ),
    }


_EVENT = has(
    {
        "kind": (TEXT, "which limit"),
        "at_s": (NUMBER, "when it began, s"),
        "for_s": (NUMBER, "how long altogether, s"),
        "value": (NUMBER, "the worst value"),
        "limit": (NUMBER, "limit that it is compared with"),
        "unit": (TEXT, "of both"),
        "stop": (YES_NO, "whether the engine has to be stopped for it"),
        "says": (TEXT, "in words"),
    }
)
_HOLD = has(
    {
        "name": (TEXT, "for --accept"),
        "says": (TEXT, "what is held back, and why"),
        "accepted": (YES_NO, "whether the user accepted it"),
    }
)
_CARD = has(
    {
        "line": (TEXT, "of the card"),
        "predicted": (TEXT, "what the card says"),
        "seen": (TEXT, "what the log shows"),
        "within": (or_null(YES_NO), "whether that agrees; null where the log does not show it"),
        "at_s": (or_null(NUMBER), "when, s"),
    }
)
_FAULT = has(
    {
        "name": (TEXT, "of the fault"),
        "weight": (
            NUMBER,
            "ln of how many times better this fault predicts the drive than no fault does; not a probability",
        ),
        "says": (TEXT, "in words"),
    }
)
_USED = has(
    {
        "seconds": (NUMBER, "in all"),
        "compared_s": (NUMBER, "in steady stretches"),
        "chunks": (NUMBER, "how many stretches"),
        "left_out": (by_name(NUMBER), "seconds by reason"),
    }
)
_DELAY = has(
    {
        "median_s": (VALUE, "s"),
        "found_at_fuel_cuts_s": (or_null(NUMBER), "what the fuel cuts of the log show of it, s"),
    }
)
_TABLE = has(
    {
        "rpm": (NUMBERS, "speed axis, rev/min"),
        "load": (NUMBERS, "load axis"),
        "load_unit": (TEXT, "of the load axis"),
        "unit": (TEXT, "of the cells"),
        "before": (ROWS, "cells that were loaded"),
        "new": (ROWS, "cells as they would be stored"),
        "change_percent": (ROWS, "new against before"),
        "mean_before": (ROWS, "ln of λ over the intended of the loaded table, by what is believed now"),
        "mean_after": (ROWS, "the same of the new table"),
        "standard_before": (ROWS, "standard uncertainty of ln λ before the drive"),
        "standard_after": (ROWS, "and after it"),
        "visited": (listed(listed(YES_NO)), "cells near which the drive has a steady stretch"),
        "support": (ROWS, "how far the drive determines a cell, 0 to 1"),
    }
)
_NEXT = has(
    {
        "rpm": (NUMBER, "rev/min"),
        "load": (NUMBER, "in the unit of the load axis"),
        "narrows": (NUMBER, "share of the variance that goes away"),
    }
)
_CONTROLLER = has(
    {
        "formula_factor": (NUMBER, "against the settings in force"),
        "formula_factor_standard": (NUMBER, "its standard uncertainty"),
        "dead_time_ms": (NUMBER, "that it adds"),
        "dead_time_standard_ms": (NUMBER, "its standard uncertainty"),
        "battery_v": (NUMBER, "at this voltage"),
        "dead_time_ms_per_v": (VALUE, "how that changes with voltage"),
        "dead_time_ms_per_v_standard": (VALUE, "its standard uncertainty"),
        "told_dead_time_ms": (NUMBER, "what the settings say"),
        "told_dead_time_ms_per_v": (NUMBER, "what the settings say"),
        "confirms": (YES_NO, "whether it does what it was told"),
    }
)
_INPUT = has(
    {
        "name": (TEXT, "in words"),
        "unit": (TEXT, "of the numbers"),
        "off": (NUMBER, "how far it is off what the job says"),
        "standard_before": (NUMBER, "standard uncertainty before the drive"),
        "standard_after": (NUMBER, "and after it"),
    }
)
_TRACE = has(
    {
        "log": (NUMBERS, "which log, from 0"),
        "at_s": (LIST, "when in it, s"),
        "expected": (LIST, "λ before the drive"),
        "corrected": (LIST, "λ by what was learnt"),
        "seen": (LIST, "λ as the probe read it"),
    }
)
