"""What the target's ECU stores of the new table."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.installation import BoolArray
from basemap.model.result import Mark, Severity
from basemap.rules.case import Case, pairs
from basemap.rules.grading import worst
from basemap.rules.rule import MODEL, Answer, Rule, Trip
from basemap.rules.wording import cells, excess, off, rounded_down, rounded_up

ROUNDING = 0.015


def _stored(case: Case) -> Iterator[Answer]:
    high, low = _held(case, Mark.ABOVE_MAXIMUM), _held(case, Mark.BELOW_MINIMUM)
    yield from _clipped(case, high, low)
    with np.errstate(invalid="ignore", divide="ignore"):
        moved = case.table.stored_lambda_ratio / case.ratio("new_table_new_settings")
    error = np.abs(moved - 1.0)
    past = (error > ROUNDING) & ~(high | low)
    nothing = past & np.isinf(error)
    if nothing.any():
        yield _stored_as_nothing(case, nothing)
    past &= ~nothing
    if past.any():
        cell = worst(error, past, above=True)
        new, kept = case.table.new[cell], case.table.stored[cell]
        yield Trip(
            Severity.NOTE,
            f"Rounding moves λ by {excess(float(moved[cell]), 2)} % at {case.address(cell)}: "
            f"{new:.6g} is stored as {kept:g} {case.job.shown.unit} (note above {100 * ROUNDING:g} %; "
            f"{cells(int(past.sum()))}).",
            "Store more decimals where the ECU can (target.tables.fuel.decimals); else trim these cells on the engine.",
            value=100.0 * float(error[cell]),
            limit=100.0 * ROUNDING,
            cells=pairs(past),
        )


def _held(case: Case, mark: Mark) -> BoolArray:
    """Reachable cells held at an end of the table by more than rounding does anyway."""
    decimals = case.job.shown.decimals if case.job.storage.decimals is None else case.job.storage.decimals
    step = 10.0**-decimals
    with np.errstate(invalid="ignore"):
        return case.marked(mark) & (np.abs(case.table.stored - case.table.new) > 0.5 * step)


def _clipped(case: Case, above: BoolArray, below: BoolArray) -> Iterator[Trip]:
    """Cells that the target's table cannot hold: above its maximum they run lean, below its minimum rich."""
    storage = case.job.storage
    for held, limit, high in ((above, storage.maximum, True), (below, storage.minimum, False)):
        if limit is None or not held.any():
            continue
        at_load = held & case.at_load
        among = at_load if at_load.any() else held
        cell = worst(case.table.new, among, above=high)
        needed = rounded_up(case.table.new[cell], 3) if high else rounded_down(case.table.new[cell], 3)
        yield Trip(
            Severity.STOP if at_load.any() else Severity.CAUTION,
            f"The target's table cannot hold the new cell at {case.address(cell)}: it needs {needed} "
            f"{case.job.shown.unit}, the {'maximum' if high else 'minimum'} is {limit:g}; what is stored gives "
            f"{off(float(case.table.stored_lambda_ratio[cell]))} ({cells(int(held.sum()))} held, "
            f"{int(at_load.sum())} of them at load).",
            value=float(case.table.new[cell]),
            limit=limit,
            cells=pairs(held),
        )


def _stored_as_nothing(case: Case, nothing: BoolArray) -> Trip:
    where_it_matters = nothing & (case.at_load | case.idle)
    cell = worst(case.table.new, where_it_matters if where_it_matters.any() else nothing, above=True)
    return Trip(
        Severity.STOP if where_it_matters.any() else Severity.CAUTION,
        f"Rounding leaves no fuel at {case.address(cell)}: {case.table.new[cell]:.4g} {case.job.shown.unit} is stored "
        f"as {case.table.stored[cell]:g} ({cells(int(nothing.sum()))}).",
        value=float(case.table.stored[cell]),
        limit=float(case.table.new[cell]),
        cells=pairs(nothing),
    )


STORED_TABLE = Rule(
    name="stored-table",
    title="Stored table",
    threshold="A cell outside what the table can store: stop at load, else caution. Rounded to no fuel: stop at load "
    f"or idle, else caution. Rounding that moves λ by more than {100 * ROUNDING:g} %: note.",
    why="What the ECU runs is the table as stored, not the one that was worked out.",
    source=MODEL,
    remedy="1. Change the setting that scales the whole table (displacement or flow) so that every cell fits, and "
    "state it in target.settings. 2. If the ECU cannot: another range of the table, or other injectors. 3. Adapt "
    "again.",
    judge=_stored,
    can_stop=True,
)
