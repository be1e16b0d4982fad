"""Rules on the new table and settings as the target's ECU stores them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.axes import neighbours
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.storage import at_limit, grain
from basemap.rounding import cells, excess, off, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import worst
from basemap.rules.rule import MODEL, Answer, Rule, Trip

ROUNDING = 0.015
BETWEEN_NOTE, BETWEEN_LEAN = 0.015, 1.05
"""The same limits as for rounding, and for a lean cell at load. Common practice, no source."""


def _stored(case: Case) -> Iterator[Answer]:
    high, low = _held(case, case.job.storage.maximum, 1.0), _held(case, case.job.storage.minimum, -1.0)
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
            f"{new:.6g} is stored as {kept:g} {case.job.target.shown.unit} (note above {100 * ROUNDING:g} %; "
            f"{cells(int(past.sum()))}).",
            "Store more decimals if the ECU can (target.tables.fuel.decimals); otherwise trim these cells on the "
            "engine.",
            value=100.0 * float(error[cell]),
            limit=100.0 * ROUNDING,
            cells=pairs(past),
        )


def _held(case: Case, limit: float | None, sign: float) -> BoolArray:
    """Reachable cells beyond an end of the table's range by more than rounding."""
    if limit is None:
        return np.zeros_like(case.reachable)
    half = 0.5 * grain(case.job.storage, case.job.target.shown)
    with np.errstate(invalid="ignore"):
        return case.reachable & (sign * (_needed(case, sign > 0) - limit) > half * (1 + 1e-9))


def _needed(case: Case, high: bool) -> FloatArray:
    """The cells that are wanted; for the maximum, those written richer at load."""
    richer = case.table.richer
    return np.fmax(case.table.new, richer.new) if high and richer is not None else case.table.new


def _clipped(case: Case, above: BoolArray, below: BoolArray) -> Iterator[Trip]:
    """Cells that the target's table cannot hold: above its maximum they run lean, below its minimum rich."""
    storage = case.job.storage
    for held, limit, high in ((above, storage.maximum, True), (below, storage.minimum, False)):
        if limit is None or not held.any():
            continue
        at_load = held & case.at_load
        among = at_load if at_load.any() else held
        wanted = _needed(case, high)
        cell = worst(wanted, among, above=high)
        needed = rounded_up(wanted[cell], 3) if high else rounded_down(wanted[cell], 3)
        yield Trip(
            Severity.STOP if at_load.any() else Severity.CAUTION,
            f"The target's table cannot hold the new cell at {case.address(cell)}: it needs {needed} "
            f"{case.job.target.shown.unit}, the {'maximum' if high else 'minimum'} is {limit:g}; as stored it gives "
            f"{off(float(case.table.stored_lambda_ratio[cell]))} ({cells(int(held.sum()))} held, "
            f"{int(at_load.sum())} of them at load).{_offer(case)}",
            value=float(wanted[cell]),
            limit=limit,
            cells=pairs(held),
        )


def _offer(case: Case) -> str:
    """The factor that makes all cells fit, with the number to enter for it; empty if there is none."""
    found = case.table.common_factor
    if found is None:
        return ""
    now = next(row.enter for row in case.computed.settings if row.name == found.setting)
    assert isinstance(now, float)
    unit = f" {found.unit}" if found.unit else ""
    return (
        f" All cells fit if {found.setting} is entered as {found.enter:.10g}{unit} instead of {now:.6g}{unit}: the "
        f"cells are then multiplied by {found.factor:.6g} and λ stays the same. State "
        f'target.settings.{found.setting} = "{found.enter:.10g}{unit}" and adapt again.'
    )


def _stored_as_nothing(case: Case, nothing: BoolArray) -> Trip:
    where_it_matters = nothing & (case.at_load | case.idle)
    cell = worst(case.table.new, where_it_matters if where_it_matters.any() else nothing, above=True)
    return Trip(
        Severity.STOP if where_it_matters.any() else Severity.CAUTION,
        f"Rounding leaves no fuel at {case.address(cell)}: {case.table.new[cell]:.4g} {case.job.target.shown.unit} is "
        f"stored as {case.table.stored[cell]:g} ({cells(int(nothing.sum()))}).",
        value=float(case.table.stored[cell]),
        limit=float(case.table.new[cell]),
        cells=pairs(nothing),
    )


def _between(case: Case) -> Iterator[Answer]:
    """Errors half way between cells: the ECU interpolates in a straight line, on which the needed fuel is not."""
    between = case.table.between
    ratio = between.only_between
    error = np.abs(ratio - 1.0)
    with np.errstate(invalid="ignore"):
        at_cells = np.abs(neighbours(case.table.stored_lambda_ratio) - 1.0).max(axis=0)
        # Errors of the cells themselves have their own rules.
        past = (error > BETWEEN_NOTE) & (error > at_cells * (1 + 1e-9))
        lean = past & (ratio > BETWEEN_LEAN) & neighbours(case.at_load).any(axis=0)
    if not past.any():
        return
    among = lean if lean.any() else past
    cell = worst(error, among, above=True)
    yield Trip(
        Severity.CAUTION if lean.any() else Severity.NOTE,
        f"Between the breakpoints λ is {off(float(ratio[cell]))} at {case.speed(between.rpm[cell[1]])} and "
        f"{between.load[cell[0]]:g} {case.job.target.shown.load_unit}, half way between cells: the ECU interpolates "
        f"the stored cells in a straight line ({_between_limit(lean)}; {_points(int(past.sum()))}).",
        value=100.0 * float(error[cell]),
        limit=100.0 * (BETWEEN_LEAN - 1.0 if lean.any() else BETWEEN_NOTE),
    )


def _between_limit(lean: BoolArray) -> str:
    return (
        f"caution above {excess(BETWEEN_LEAN, 0)} % lean at load"
        if lean.any()
        else f"note above {100 * BETWEEN_NOTE:g} %"
    )


def _points(count: int) -> str:
    return "1 point" if count == 1 else f"{count} points"


BETWEEN_BREAKPOINTS = Rule(
    name="between-breakpoints",
    title="Between breakpoints",
    threshold="λ of the stored table half way between neighbouring reachable cells, where it is further off than at "
    f"those cells: at load more than {100 * (BETWEEN_LEAN - 1.0):.0f} % lean: caution; more than "
    f"{100 * BETWEEN_NOTE:g} % off: note.",
    why="The engine mostly runs between the cells, and the check is made at the cells. A pulse that contains the dead "
    "time or the pressure does not change in a straight line from cell to cell.",
    source=MODEL,
    remedy="Set breakpoints closer together there if the ECU allows it, or trim the neighbouring cells on the engine.",
    judge=_between,
)


STORED_TABLE = Rule(
    name="stored-table",
    title="Stored table",
    threshold="A cell that the table cannot store: at load stop, else caution. A cell rounded to no fuel: at load or "
    f"idle stop, else caution. Rounding that moves λ by more than {100 * ROUNDING:g} %: note.",
    why="The ECU runs the table as stored, not as calculated.",
    source=MODEL,
    remedy="1. Change the setting that scales the whole table (displacement or flow) until every cell fits, and state "
    "it in target.settings; if one number does it, the finding names it. 2. If the ECU cannot do that, give its "
    "table a wider range or fit other injectors. 3. Adapt again.",
    judge=_stored,
    can_stop=True,
)


def _setting_limits(case: Case) -> Iterator[Answer]:
    for name, field in case.job.setting_fields.items():
        row = next(one for one in case.computed.settings if one.name == name)
        if row.exact is None or row.enter is None:
            continue
        held, wanted = np.atleast_1d(row.enter), np.atleast_1d(row.exact)
        limits = [at_limit(float(one), field) for one in wanted]
        beyond = [index for index, limit in enumerate(limits) if limit]
        if not beyond:
            continue
        worst_one = max(beyond, key=lambda index: abs(float(held[index] / wanted[index]) - 1.0))
        unit = f" {row.unit}" if row.unit else ""
        at = f" at {row.battery_v[worst_one]:g} V" if row.battery_v else ""
        carried = (
            f"the cells make up the rest at {case.job.target.table.battery_v:g} V, and at no other voltage"
            if row.battery_v
            else "the cells make up the rest"
        )
        yield Trip(
            Severity.CAUTION,
            f"The {limits[worst_one]} of the field is {held[worst_one]:g}{unit}, and {name} should be "
            f"{wanted[worst_one]:.6g}{unit}{at}: {carried}.",
            value=float(wanted[worst_one]),
            limit=float(held[worst_one]),
        )


SETTING_LIMITS = Rule(
    name="setting-limits",
    title="Settings beyond their fields",
    threshold="A setting to enter that is beyond the minimum or maximum of its field (target.settings.fields): "
    "caution.",
    why="The cells make up what the field cannot hold. If somebody later enters the true number, it counts twice. And "
    "no cell can make up what changes with voltage.",
    source=MODEL,
    remedy="1. Enter exactly the number that is listed, and load the table with it. 2. Note next to the setting that "
    "this is not the true number. 3. For a dead time, see the voltage sweep for the error left at other voltages.",
    judge=_setting_limits,
    about_table=False,
)
