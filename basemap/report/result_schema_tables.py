"""JSON Schema of the tables of a result."""

from __future__ import annotations

from basemap.model.likeness import Breathing, Likeness
from basemap.model.marks import Mark
from basemap.model.table import TableQuantity
from basemap.model.table_result import LAMBDA_CASES
from basemap.report.schema_parts import LIST, NUMBER, NUMBERS, ROWS, TEXT, VALUE, has, listed, or_null, word_of

_CELLS = {"anyOf": [LIST, ROWS]}
_MARKS = listed(word_of(Mark))

POINT = has(
    {
        "rpm": (NUMBER, "rev/min"),
        "load": (NUMBER, "in the unit of the table's load axis"),
        "lambda_ratio": (VALUE, "λ over the intended"),
    }
)

_BETWEEN = has(
    {
        "rpm": (LIST, "the axis with the points half way between, rev/min"),
        "load": (LIST, "the same in the unit of the load axis"),
        "lambda_ratio": (ROWS, "λ of the stored table over the intended"),
        "leanest": (or_null(POINT), "the furthest point between the cells"),
        "richest": (or_null(POINT), "the furthest point the other way"),
    }
)

_COMMON_FACTOR = has(
    {
        "factor": (NUMBER, "factor on every cell that makes them fit the table"),
        "setting": (TEXT, "setting that compensates for it"),
        "unit": (TEXT, "of what to enter"),
        "enter": (NUMBER, "what to type in for that setting"),
    }
)

_FIELD = has(
    {
        "expected": (ROWS, "what physics expects"),
        "mean": (ROWS, "with the evidence"),
        "standard": (ROWS, "its standard uncertainty"),
    }
)

TABLE = has(
    {
        "quantity": (word_of(TableQuantity), "what a cell of the target's table is"),
        "unit": (TEXT, "of its cells"),
        "donor_quantity": (word_of(TableQuantity), "what a cell of the donor's is"),
        "donor_unit": (TEXT, "of the donor's cells"),
        "rpm": (NUMBERS, "speed axis, rev/min"),
        "load": (NUMBERS, "load axis"),
        "load_unit": (TEXT, "of the load axis"),
        "old": (ROWS, "the donor's cells, on its own grid"),
        "old_rpm?": (NUMBERS, "the donor's speed axis, where the target has another"),
        "old_load?": (NUMBERS, "the donor's load axis, where the target has another"),
        "old_load_unit?": (TEXT, "of the donor's load axis"),
        "old_on_new_axes?": (ROWS, "what the target's ECU reads from the untouched table"),
        "new": (ROWS, "the new cells, unrounded"),
        "stored": (ROWS, "the new cells as the table stores them"),
        "to_load": (ROWS, "what the grid file holds"),
        "richer_at_load": (or_null(ROWS), "share of extra fuel that it holds"),
        "change_percent": (ROWS, "new against old"),
        "lambda_ratio": (
            has({case: (ROWS, case.replace("_", " ")) for case in LAMBDA_CASES}),
            "λ actual over intended on the target, for the four outcomes",
        ),
        "lambda_table_left": (
            or_null(ROWS),
            "the same of the new table and settings, the lambda table as it was",
        ),
        "stored_lambda_ratio": (ROWS, "the same for the stored table with the new settings"),
        "between_cells": (_BETWEEN, "the same at the cells and half way between them"),
        "common_factor": (or_null(_COMMON_FACTOR), "if cells do not fit the table"),
        "intended_lambda": (ROWS, "of the target"),
        "pulse_ms": (ROWS, "one opening on the target, dead time included"),
        "duty": (ROWS, "pulse over the time between two openings, a fraction"),
        "air_mg_per_cycle": (ROWS, "of one cylinder of the target"),
        "breathing": (word_of(Breathing), "how the target is assumed to breathe"),
        "manifold_pressure_kpa": (ROWS, "of the target, absolute"),
        "likeness": (word_of(Likeness), "what the engines share"),
        "breathing_field": (_FIELD, "ln(η_target / η_donor); behind a throttle, what it makes of the air"),
        "lambda_expected": (ROWS, "λ ratio that is expected of the new table with the new settings"),
        "breathing_factor": (or_null(ROWS), "factor on the air of every cell"),
        "learnt_factor": (or_null(ROWS), "factor on the fuel of every cell from the drives"),
        "injector_flow_g_per_s": (ROWS, "one injector of the target, from its flow line"),
        "implied_volumetric_efficiency": (ROWS, "of the donor, a fraction"),
        "relative_uncertainty": (ROWS, "half the band U on ln λ, k = 2, of the new table with the new settings"),
        "relative_uncertainty_as_loaded": (ROWS, "the same of the old table with the old settings"),
        "marks": (listed(listed(_MARKS)), "what is special about each cell"),
    }
)

FURTHER_TABLE = has(
    {
        "quantity": (TEXT, "what a cell is"),
        "unit": (TEXT, "of its cells"),
        "intended_lambda_of": (or_null(TEXT), "the table whose intended lambda it is"),
        "axis?": (NUMBERS, "points of the only axis"),
        "axis_name?": (TEXT, "what they are"),
        "axis_unit?": (TEXT, "and their unit"),
        "rpm?": (NUMBERS, "speed axis, rev/min"),
        "load?": (NUMBERS, "load axis"),
        "load_unit?": (TEXT, "of the load axis"),
        "donor_axis?": (NUMBERS, "the donor's own points, where the target has others"),
        "donor_rpm?": (NUMBERS, "the same of a speed axis"),
        "donor_load?": (NUMBERS, "the same of a load axis"),
        "donor_cells?": (_CELLS, "the donor's cells on its own points"),
        "old": (_CELLS, "the donor's cells on the target's points"),
        "new": (_CELLS, "the new cells, unrounded"),
        "stored": (_CELLS, "the new cells as the table stores them"),
        "change_percent": (_CELLS, "new against old"),
        "pulse_ms": (_CELLS, "of pulses: the target's whole pulse, dead time included"),
        "battery_v": (VALUE, "at this voltage"),
        "relative_uncertainty": (or_null(_CELLS), "of pulses: the band U on ln λ, k = 2"),
        "marks": ({"anyOf": [listed(_MARKS), listed(listed(_MARKS))]}, "what is special about each cell"),
    }
)
