"""One cell of a further table, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from basemap.errors import InputError
from basemap.explain.further import worked_pulse
from basemap.model.further_table import FurtherBand, FurtherQuantity, FurtherResult, FurtherTable
from basemap.model.result import Result
from basemap.report import standing
from basemap.report.cell_in_words import head, index_of, stages, step_as_json
from basemap.report.json_text import SCHEMA, finite
from basemap.report.terminal.further_tables import percent_or_dash, what_became_of_it
from basemap.report.words import harmless, marks_at

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

_LISTED = 3
"""How many inputs are named beside a band: those with the largest shares."""


def further_table(result: Result, name: str) -> FurtherResult:
    """A further table by its name.

    Raises
    ------
    InputError
        Where the job has none of this name.
    """
    for found in result.further_tables:
        if found.name == name:
            return found
    known = ", ".join(f'"{found.name}"' for found in result.further_tables) or "none"
    raise InputError(f'there is no further table "{name}": the job has {known}', place="--table")


def cell_of(found: FurtherResult, at: list[float]) -> tuple[tuple[int, ...], bool]:
    """Index of the cell at a point, or at an engine speed and a load, and whether it is only the nearest.

    Raises
    ------
    InputError
        Outside the table, or where the table has another number of axes.
    """
    axes = found.axes[::-1]
    if len(at) != len(axes):
        wanted = " and ".join(f"{axis.name} in {axis.unit}" if axis.unit != axis.name else axis.name for axis in axes)
        raise InputError(f'"{found.name}" is over {wanted}: {len(axes)} expected, {len(at)} given', place="explain")
    places = [index_of(axis.values, value, axis.name, axis.unit) for axis, value in zip(axes, at, strict=True)]
    return tuple(index for index, _ in reversed(places)), not all(exact for _, exact in places)


def as_json(result: Result, found: FurtherResult, index: tuple[int, ...], *, nearest: bool) -> dict[str, Any]:
    """The cell as JSON, numbers unrounded."""
    band = result.band.further.get(found.name)
    pulse = found.quantity is FurtherQuantity.PULSE_WIDTH
    return {
        "schema": SCHEMA,
        "title": result.job.title,
        **standing.as_json(result),
        "table": found.name,
        "quantity": found.quantity.value,
        "unit": found.unit,
        "at": [
            {"axis": axis.name, "unit": axis.unit, "value": float(axis.values[i])}
            for axis, i in zip(found.axes, index, strict=True)
        ],
        "nearest": nearest,
        "old": finite(float(found.old[index])),
        "new": finite(float(found.new[index])),
        "stored": finite(float(found.stored[index])),
        "relative_uncertainty": None if band is None else finite(float(band.expanded[index])),
        "shares": [] if band is None else [{"name": name, "share": share} for name, share in _shares(band, index)],
        "marks": marks_at(found.marks, index),
        "steps": [step_as_json(result.job, step) for step in worked_pulse(result, found, index)] if pulse else [],
    }


def _shares(band: FurtherBand, index: tuple[int, ...]) -> list[tuple[str, float]]:
    """The inputs with their shares in the variance, the largest first; none where no band is known."""
    shares = [float(share[index]) for share in band.shares]
    known = [(name, share) for name, share in zip(band.inputs, shares, strict=True) if share > 0]
    return sorted(known, key=lambda named: -named[1])


def as_text(result: Result, found: FurtherResult, index: tuple[int, ...], *, nearest: bool, everything: bool) -> Group:
    """The cell for the terminal: every number of its chain, or only what is worked out, on one screen."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.layout import heading, indented

    parts: list[RenderableType] = [
        *head(result),
        Text(harmless(f"The cell of the table {found.name} at {found.at(index)}.")),
    ]
    if nearest:
        parts.append(Text("It is the cell nearest to your point; the ECU interpolates between cells."))
    parts.append(Text(what_became_of_it(found)))
    if found.table.scaled and found.table.origin is not None:
        parts.append(Text(f"The donor's cell is at {_load_of(found.table.origin, index)}."))
    if found.quantity is FurtherQuantity.PULSE_WIDTH:
        steps = worked_pulse(result, found, index)
        parts += (
            stages(result.job, steps, everything=everything)
            if steps
            else [Text("The donor commands nothing here, and so does the target.")]
        )
        parts += [*heading("how sure"), indented(_how_sure(result, found, index))]
    else:
        parts.append(Text(f"{found.old[index]:g} {found.unit} -> {found.stored[index]:g} {found.unit}".rstrip()))
    if marks := marks_at(found.marks, index):
        parts += [*heading("marks"), indented(", ".join(mark.in_words for mark in marks))]
    return Group(*parts)


def _load_of(table: FurtherTable, index: tuple[int, ...]) -> str:
    return f"{table.axes[0].values[index[0]]:g} {table.axes[0].unit}"


def _how_sure(result: Result, found: FurtherResult, index: tuple[int, ...]) -> str:
    band = result.band.further[found.name]
    relative = float(band.expanded[index])
    if np.isnan(relative):
        return "Not known: the cell delivers no fuel."
    how = "Monte Carlo" if band.simulated[index] else "first order"
    largest = "; ".join(f"{name} {100 * share:.0f} %" for name, share in _shares(band, index)[:_LISTED])
    within = (
        "λ has no limit on the lean side of" if np.isinf(relative) else f"λ within ±{percent_or_dash(relative)} % of"
    )
    return f"{within} the donor's mixture on this table (k = 2, {how}). The largest shares of its variance: {largest}."
