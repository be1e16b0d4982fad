"""The rule on further tables: cells that are impossible, cannot be stored, or cannot be settled by arithmetic."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.finding import Severity
from basemap.model.further_table import FurtherQuantity, FurtherResult
from basemap.model.installation import BoolArray
from basemap.model.marks import Mark
from basemap.model.storage import grain
from basemap.rounding import cells, percent_down, percent_up
from basemap.rules.case import Case
from basemap.rules.causes import COLD
from basemap.rules.rule import MODEL, Answer, Rule, Trip


def _further(case: Case) -> Iterator[Answer]:
    answers = [
        answer
        for found in case.computed.further_tables
        for answer in (_no_cell(found), *_clipped(found), _beyond_donor(found), _outside_dead_time(found))
    ]
    yield from (answer for answer in (*answers, _cold(case)) if answer is not None)


def _first(found: FurtherResult, where: BoolArray) -> str:
    index = tuple(int(i) for i in np.argwhere(where)[0])
    return f"{found.at(index)} ({cells(int(where.sum()))})"


def _no_cell(found: FurtherResult) -> Trip | None:
    """Cells that would be zero or less, or whose air is not known from the donor's cell."""
    nothing = np.isnan(found.new)
    if not nothing.any():
        return None
    beside = "" if found.table.origin is None else ", or one beside this point,"
    return Trip(
        Severity.CAUTION,
        f"In the table {found.name} no number gives the pulse that is needed at {_first(found, nothing)}: the donor's "
        f"cell{beside} is shorter than its injectors' dead time, or the new cell would be zero or less. The cell is "
        "left empty.",
        "1. Check this table's battery, ecu_applies and dead times. 2. Fill the empty cells on the engine before you "
        "load the table.",
        table=found.name,
    )


def _clipped(found: FurtherResult) -> Iterator[Trip]:
    storage = found.table.storage
    step = grain(storage, found.table.shown)
    for limit, sign, end in ((storage.maximum, 1.0, "maximum"), (storage.minimum, -1.0, "minimum")):
        if limit is None:
            continue
        with np.errstate(invalid="ignore"):
            held = sign * (found.new - limit) > 0.5 * step * (1 + 1e-9)
        if not held.any():
            continue
        worst = tuple(int(i) for i in np.argwhere(held)[int(np.argmax(np.abs(found.new - limit)[held]))])
        needed, unit = f"{found.new[worst]:.6g}", f" {found.unit}" if found.unit else ""
        yield Trip(
            Severity.CAUTION,
            f"The target's table {found.name} cannot hold the new cell at {found.at(worst)}: it needs {needed}{unit}, "
            f"the {end} is {limit:g}{_fuel_left(found, worst)} ({cells(int(held.sum()))} held).",
            "Give the ECU's table a wider range, or expect to correct these cells on the engine.",
            value=float(found.new[worst]),
            limit=limit,
            table=found.name,
        )


def _fuel_left(found: FurtherResult, at: tuple[int, ...]) -> str:
    """The share of the fuel that the stored cell delivers, if the dead time is inside it."""
    # A dead time that the ECU adds may not be the injectors' own: then the share is not known.
    if found.quantity is not FurtherQuantity.PULSE_WIDTH or not found.table.target.inside.dead_time:
        return ""
    dead, needed = float(found.dead_time_s[at]), float(found.pulse_s[at])
    if needed <= dead:
        return ""
    kept = needed * float(found.stored[at] / found.new[at])
    share = max(kept - dead, 0.0) / (needed - dead)
    return f", which delivers {percent_down(share, 0) if share < 1 else percent_up(share, 0)} % of the fuel"


def _cold(case: Case) -> Trip | None:
    """Cold cells, for all tables at once: the fuel is the reason, not a table."""
    cold = [found for found in case.computed.further_tables if Mark.CALIBRATE in found.marks]
    if not cold:
        return None
    names = ", ".join(found.name for found in cold)
    count = sum(int(found.marks[Mark.CALIBRATE].sum()) for found in cold)
    return Trip(
        Severity.CAUTION,
        f"Below 20 degC of coolant these tables cannot be adapted: {names} ({cells(count)}). The fuel changes, or may "
        "change, and no arithmetic tells how much of it evaporates in the cold. The numbers are a starting point, "
        f'marked "{Mark.CALIBRATE.value}".',
        "Calibrate these cells on the engine, cold start by cold start, richer or leaner as it asks.",
        cause=COLD,
    )


def _beyond_donor(found: FurtherResult) -> Trip | None:
    """Points beyond the donor's: those that are colder than its first one need more fuel than the edge gives."""
    outside = found.marks.get(Mark.OUTSIDE)
    if outside is None:
        return None
    axis, origin = found.table.axis, found.table.origin
    assert origin is not None
    colder = False
    if axis is not None and axis.coolant_k is not None:
        assert origin.axis is not None
        assert origin.axis.coolant_k is not None
        colder = bool((axis.coolant_k < origin.axis.coolant_k.min()).any())
    first = tuple(int(index) for index in np.argwhere(outside)[0])
    return Trip(
        Severity.CAUTION if colder else Severity.NOTE,
        f"In the table {found.name} {cells(int(outside.sum()))} {'lies' if outside.sum() == 1 else 'lie'} beyond the "
        f"donor's, such as {found.at(first)}: its edge cells are held there"
        + (", which is lean at the colder points." if colder else "."),
        "Calibrate these cells on the engine; where it is colder, begin richer than the edge cells."
        if colder
        else None,
        value=float(outside.sum()),
        limit=0.0,
        table=found.name,
    )


def _outside_dead_time(found: FurtherResult) -> Trip | None:
    outside = found.marks.get(Mark.EXTRAPOLATED)
    if outside is None:
        return None
    far = Mark.DELIVERY_NOT_KNOWN in found.marks
    known = ", by more than 1 V: how much the injectors deliver there is not known" if far else ""
    return Trip(
        Severity.CAUTION,
        f"The table {found.name} is used at {found.battery_v:g} V, outside the target's dead-time data{known}.",
        "Measure the injectors' dead time down to the cranking voltage.",
        value=found.battery_v,
        table=found.name,
    )


FURTHER_TABLES = Rule(
    name="further-tables",
    title="Further tables",
    threshold="In any further table: a cell that no pulse can fill, a cell that the table cannot store, a battery "
    "voltage outside the dead-time data, coolant below 20 degC where the fuel changes, or target's points colder "
    "than the donor's first: caution. Other points beyond the donor's: note.",
    why="A main table alone does not start an engine. At cranking voltage the dead time is a large part of the pulse.",
    source=MODEL,
    remedy="Check this table cell by cell before you load it.",
    judge=_further,
    about_table=False,
)
