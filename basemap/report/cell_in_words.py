"""The chain of one cell, as text and as JSON: every number with its unit and its origin."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.explain.step import Step
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.report import standing
from basemap.report.json_text import SCHEMA, finite
from basemap.report.words import harmless, marks_at, number, place_of
from basemap.rounding import percent_up

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

DIGITS = 8
"""Significant digits printed, so that a calculator that multiplies a dozen such numbers is right in the sixth digit."""

WORKED_OUT = "worked out"


class Cell(NamedTuple):
    """A cell of the table: its indices, and whether it is only the nearest to the point that was asked for."""

    row: int
    column: int
    nearest: bool


def rpm_and_load(at: Sequence[float]) -> tuple[float, float]:
    """The two numbers that name a cell.

    Raises
    ------
    InputError
        Where there are more or fewer.
    """
    if len(at) != 2:
        raise InputError(f"needs RPM and LOAD, such as 3000 60: {len(at)} given", place="explain")
    return at[0], at[1]


def cell_at(result: Result, rpm: float, load: float) -> Cell:
    """The cell at a speed and a load in the unit shown, or the nearest.

    Raises
    ------
    InputError
        Outside the table.
    """
    job = result.job
    column, exact_speed = index_of(job.rpm, rpm, "RPM", "rpm")
    row, exact_load = index_of(job.target.shown.load, load, "LOAD", job.target.shown.load_unit)
    return Cell(row, column, nearest=not (exact_speed and exact_load))


def index_of(axis: FloatArray, value: float, name: str, unit: str) -> tuple[int, bool]:
    """Index of the nearest point of an axis, and whether the axis has the very value.

    Raises
    ------
    InputError
        Beyond the axis.
    """
    low, high = float(np.min(axis)), float(np.max(axis))
    if not low <= value <= high:
        raise InputError(f"{value:g} is outside the table, which goes from {low:g} to {high:g} {unit}", place=name)
    index = int(np.abs(axis - value).argmin())
    return index, bool(np.isclose(axis[index], value, rtol=1e-9, atol=1e-12))


def origin(job: Job, step: Step) -> str:
    """Where a number comes from: declared, default, assumed or its section's basis; worked out if no key states it."""
    not_stated = {one.key for one in job.assumed}
    for key in step.keys:
        if key not in job.inputs and key in not_stated:
            return "assumed"
        if key in job.inputs:
            return job.inputs[key].origin
        within = [written.origin for name, written in job.inputs.items() if name.startswith((f"{key}.", f"{key}["))]
        if within:
            return within[0]
    return WORKED_OUT


def as_json(result: Result, cell: Cell) -> dict[str, Any]:
    """The cell as JSON, numbers unrounded."""
    job, table = result.job, result.table
    at = cell.row, cell.column
    return {
        "schema": SCHEMA,
        "title": job.title,
        **standing.as_json(result),
        "rpm": float(job.rpm[cell.column]),
        "load": float(job.target.shown.load[cell.row]),
        "load_unit": job.target.shown.load_unit,
        "nearest": cell.nearest,
        "old": finite(float(table.old[at])),
        "new": finite(float(table.new[at])),
        "stored": finite(float(table.stored[at])),
        "to_load": finite(float(table.to_load[at])),
        "relative_uncertainty": finite(float(result.band.adapted[at])),
        "marks": marks_at(table.marks, at),
        "steps": [step_as_json(job, step) for step in worked_cell(result, *at)],
    }


def step_as_json(job: Job, step: Step) -> dict[str, Any]:
    """One step as JSON, its number unrounded."""
    return {
        "stage": step.stage.value,
        "symbol": step.symbol,
        "name": step.name,
        "value": finite(step.value),
        "unit": step.unit,
        "how": step.how,
        "origin": origin(job, step),
    }


def as_text(result: Result, cell: Cell, *, everything: bool) -> Group:
    """The cell for the terminal: every number of its chain, or only what is worked out, on one screen."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.layout import heading, indented

    job, at = result.job, (cell.row, cell.column)
    parts: list[RenderableType] = [*head(result), Text(f"The cell at {place_of(job, *at)}.")]
    if cell.nearest:
        parts.append(Text("It is the cell nearest to your point; the ECU interpolates between cells."))
    if result.cancelled:
        left_out = ", ".join(result.cancelled)
        parts.append(indented(f"Left out because it cancels: {left_out}. The donor's side starts with its air.", by=0))
    parts += stages(job, worked_cell(result, *at), everything=everything)
    parts += [*heading("how sure"), indented(_band(result, at))] if everything else [_in_short(result, at)]
    if marks := marks_at(result.table.marks, at):
        parts += [*heading("marks"), indented(", ".join(mark.in_words for mark in marks))]
    return Group(*parts)


def head(result: Result) -> list[RenderableType]:
    """The title and both engines; the stops too, so that no cell of a map that must not be loaded looks harmless."""
    from basemap.report.brief import Topic
    from basemap.report.terminal.brief import AGAINST, WHAT, briefly

    against = {Topic.VERDICT, *AGAINST} if standing.stops(result) or standing.conditions(result) else set()
    return briefly(result, WHAT | against)


def stages(job: Job, steps: Sequence[Step], *, everything: bool = True) -> list[RenderableType]:
    """The steps below the headings of their stages: all of them, or only what is worked out, a line each."""
    stage = _stage if everything else _stage_in_short
    return [part for _, group in groupby(steps, lambda step: step.stage) for part in stage(job, list(group))]


def _stage(job: Job, steps: list[Step]) -> list[RenderableType]:
    """One stage: a line for each number, and below those that are worked out their arithmetic."""
    from basemap.report.terminal.layout import Hanging, heading

    parts = heading(steps[0].stage.value)
    for step in steps:
        came_from = origin(job, step)
        words = f"{_figure(step)}  {step.name}" + ("" if came_from == WORKED_OUT else f" ({came_from})")
        parts.append(Hanging(f"  {step.symbol}", words, indent=12, bold=False))
        if step.how:
            parts.append(Hanging("", f"  = {step.how}", indent=12))
    return parts


def _stage_in_short(_: Job, steps: list[Step]) -> list[RenderableType]:
    from rich.text import Text

    from basemap.report.terminal.layout import Hanging

    parts: list[RenderableType] = [Text(steps[0].stage.value.upper(), style="bold")]
    for step in steps:
        if (step.how and step.symbol not in _STATED) or step.symbol in _ENDS:
            words = f"{_figure(step):15} " + (f"= {step.how}" if step.how else step.name)
            parts.append(Hanging(f"  {step.symbol}", words, indent=12, bold=False))
    return parts


_ENDS = ("cell", "stored")
"""The first and the last step of a chain: printed although nothing is worked out in them."""
_STATED = ("V_set", "ṁ_rated")
"""Steps that only restate an input: left out of the short form although they are worked out."""


def _figure(step: Step) -> str:
    return f"{number(step.value, DIGITS)} {step.unit}".rstrip()


def _in_short(result: Result, at: tuple[int, int]) -> RenderableType:
    from basemap.report.terminal.layout import Hanging

    band = float(result.band.adapted[at])
    sure = f"λ within {percent_up(band)} % of the intended (k = 2)" if np.isfinite(band) else "not known"
    return Hanging("HOW SURE", f" {sure}. Every number: --all")


def _band(result: Result, at: tuple[int, int]) -> str:
    band = float(result.band.adapted[at])
    if not np.isfinite(band):
        return "Not known: the cell has no λ."
    how = "Monte Carlo" if result.band.simulated[at] else "first order"
    how = how if result.table.taught is None else "after the drives"
    return f"λ within ±{percent_up(band)} % of the intended (k = 2, {how}). {harmless(result.band.advice)}"
