"""The new tables on a terminal: their numbers, and a small picture of the changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from basemap.model.finding import Verdict
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.model.storage import stored_decimals
from basemap.report.outcomes_in_words import breathing_in_words
from basemap.report.terminal.further_tables import further_tables
from basemap.report.terminal.grid import PrintedTable, lines
from basemap.report.terminal.layout import hanging, heading, indented
from basemap.report.terminal.picture import picture
from basemap.report.words import harmless
from basemap.rounding import cells, signed_percent

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

Parts = list["RenderableType"]


def tables(result: Result, console: Console) -> Parts:
    """What `--tables` prints: every new table, and how far the main one changed."""
    return [*_new_table(result, console), *_changed(result, console), *further_tables(result, console)]


def _new_table(result: Result, console: Console) -> Parts:
    job, table = result.job, result.table
    stamp = " - DO NOT LOAD" if result.verdict is Verdict.REFUSE else ""
    grid = PrintedTable(
        values=table.stored,
        rpm=job.rpm,
        load=job.target.shown.load,
        load_unit=job.target.shown.load_unit,
        unit=job.target.shown.unit,
        decimals=stored_decimals(job.storage, job.target.shown),
        reachable=table.reachable,
    )
    parts = [*heading(f"new table: {harmless(table.name)}, {job.target.table.quantity.value}{stamp}")]
    parts += lines(grid, console)
    if words := breathing_in_words(result):
        parts += [Text(""), indented(words)]
    return parts + [hanging("  -", [line], width=4) for line in _marks(result)]


def _changed(result: Result, console: Console) -> Parts:
    parts: Parts = [Text(""), indented(_change(result))]
    if not result.job.other_quantity:
        job, table, shown = result.job, result.table, result.job.target.shown
        change = np.where(table.reachable, table.change_percent, np.nan)
        grid = PrintedTable(change, job.rpm, shown.load, shown.load_unit, "%", 1, table.reachable, signed=True)
        parts += picture(grid, console)
    return parts


def _change(result: Result) -> str:
    if result.job.other_quantity:
        return (
            f"The donor's cells are {result.job.donor.table.quantity.value} in {result.job.donor.shown.unit}: "
            "old and new cannot be compared cell for cell."
        )
    change = np.where(result.table.reachable, result.table.change_percent, np.nan)
    known = change[np.isfinite(change)]
    if not known.size:
        return "The change of the cells is not known."
    low, high = float(known.min()), float(known.max())
    if max(abs(low), abs(high)) < 0.05:
        return "No cell changes by as much as 0.1 %."
    ends = f"{signed_percent(1 + low / 100)} to {signed_percent(1 + high / 100)}"
    return f"Change from old to new, reachable cells: {ends}."


def _marks(result: Result) -> list[str]:
    """Each mark with how many cells have it and where they lie."""
    job, shown = result.job, result.job.target.shown
    out = []
    for mark, where in result.table.marks.items():
        rows, cols = np.nonzero(where)
        # The axes of the printed table show what is not reachable.
        if mark is Mark.NOT_REACHABLE or not rows.size:
            continue
        loads, speeds = shown.load[rows], job.rpm[cols]
        out.append(f"{mark.in_words}: {cells(rows.size)}, {_span(speeds)} rpm, {_span(loads)} {shown.load_unit}")
    return out


def _span(values: np.ndarray) -> str:
    low, high = float(values.min()), float(values.max())
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
