"""Rules on the donor's map: how far it reaches, and whether its full load is the target's."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.breathing import read_for_air
from basemap.adaptation.reach import donor_data_end_rpm, similar_end_pa, similar_end_rpm
from basemap.model.finding import Scope, Severity
from basemap.model.installation import BoolArray, FloatArray, Induction
from basemap.model.likeness import Breathing
from basemap.model.marks import Mark
from basemap.rounding import cells, excess, percent_up, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, Answer, Missing, Rule, Trip

LOAD_BEYOND = 0.05
LOWEST_TOP = 0.5
"""Share of the barometer that the top row of any engine's table is above: below it inches or psi were read as kPa."""

SPEED_BEYOND = 0.10
LEANEST_FULL_LOAD = 0.95
FULL_LOAD_PA = (90_000.0, 105_000.0)


def _load_beyond(case: Case) -> Iterator[Answer]:
    peak, end = case.job.target.hardware.peak_pressure_pa, similar_end_pa(case.job)
    if peak <= end * (1.0 + LOAD_BEYOND):
        return
    remedy = f"1. Use a donor that was tuned up to {case.load(peak)}. 2. Or {case.cut_advice(end, None)}"
    misread = case.job.donor.table.load_pa[-1] < LOWEST_TOP * case.job.donor.hardware.conditions.barometer_pa
    if misread:
        unit = case.job.donor.shown.load_unit or "kPa"
        remedy = (
            f'1. Check the unit of the load axis, which the job reads as "{unit}": no engine\'s table ends at '
            f"{case.load(end)}. 2. If it is right, export the whole table."
        )
    yield Trip(
        Severity.STOP,
        f"The target reaches {case.load(peak)}, {excess(peak / end)} % above the end of the "
        f"donor's data at {case.load(end)} (stop above {100 * LOAD_BEYOND:g} %): nothing is known there.",
        remedy,
        scope=Scope.FILE if misread else Scope.LIMIT,
        value=peak / 1e3,
        limit=end / 1e3,
        cells=pairs(_beyond(case.reachable, case.job.target.table.load_pa, end, 0)),
        limit_load_pa=None if misread else end,
    )


def _beyond(reachable: BoolArray, axis: FloatArray, end: float, along: int) -> BoolArray:
    """Reachable cells beyond the end of the donor's data along an axis."""
    past = axis > end * (1.0 + 1e-9)
    return reachable & (past[:, np.newaxis] if along == 0 else past)


LOAD_BEYOND_DONOR = Rule(
    name="load-beyond-donor",
    title="Load beyond the donor",
    threshold=f"Target's peak pressure more than {100 * LOAD_BEYOND:g} % above the end of the donor's data (the lowest "
    "of its top row, its peak pressure, and its barometer if atmospheric): limit stop there; if the "
    f"top row is below {LOWEST_TOP:g} of the barometer, stop: its unit is not what the job says.",
    why="Nobody has tuned the cells at loads that the donor's engine never reached.",
    source=MODEL,
    remedy="Use a donor that was tuned up to there, or cut the load where its data ends.",
    judge=_load_beyond,
    can_stop=True,
)


def _speed_beyond(case: Case) -> Iterator[Answer]:
    engine = case.job.target.hardware.engine
    top = engine.rev_cut_rpm if engine.rev_limit_rpm is None else engine.rev_limit_rpm
    if top is None:
        yield Missing(("target.engine.rev_limit",), "Whether the target revs beyond the donor's data is not known.")
        return
    end = similar_end_rpm(case.job)
    found = grade(top, Limits(caution=end, stop=end * (1.0 + SPEED_BEYOND)))
    if found is None:
        return
    stop = found.severity is Severity.STOP
    yield Trip(
        found.severity,
        f"The target turns {case.speed(top)}, {excess(top / end)} % beyond the donor's data, "
        f"which ends at {case.speed(end)}{_of_the_donor(case)} (stop above {100 * SPEED_BEYOND:g} %)"
        f"{': nothing is known there' if stop else ': the last known cells are held'}.",
        f"1. Use a donor that revs as high. 2. Or {case.cut_advice(None, end)}",
        scope=Scope.LIMIT if stop else Scope.FILE,
        value=float(top),
        limit=end,
        cells=pairs(_beyond(case.reachable, case.job.rpm, end, 1)),
        limit_rpm=end if stop else None,
    )


def _of_the_donor(case: Case) -> str:
    if case.job.breathing is not Breathing.INLET_MACH:
        return ""
    return f" of the target, {case.speed(donor_data_end_rpm(case.job))} of the donor at the same inlet Mach index"


SPEED_BEYOND_DONOR = Rule(
    name="speed-beyond-donor",
    title="Speed beyond the donor",
    threshold="Target's rev limit above the end of the donor's data (the lower of its rev limit and the table's last "
    f"column): caution; more than {100 * SPEED_BEYOND:g} % above: limit stop there.",
    why="A table does not say how its engine breathes above the speeds at which it was tuned.",
    source=MODEL,
    remedy="Use a donor that revs as high, or cut the speed where its data ends.",
    judge=_speed_beyond,
    can_stop=True,
)


def _donor_saturated(case: Case) -> Iterator[Answer]:
    # A cell that the donor never visited says nothing about its injectors; another rule reports missing data.
    duty = np.where(case.reachable & case.table.visited, _duty_as_read(case), np.nan)
    if case.computed.cancelled and not np.isfinite(duty).any():
        yield Missing(case.computed.cancelled, "Whether the donor's injectors could deliver its table is not known.")
        return
    loaded = grade(np.where(case.at_load, duty, np.nan), Limits(caution=0.95, stop=1.0, stops_at=True))
    found = loaded if loaded and loaded.severity is Severity.STOP else grade(duty, Limits(caution=0.95))
    if found is None:
        return
    stop = found.severity is Severity.STOP
    load_pa, rpm = _known_below(case, found.past) if stop else (None, None)
    yield Trip(
        found.severity,
        f"The donor's pulse fills {percent_up(found.value)} % of its cycle at {case.address(found.cell)} "
        f"({'stop from 100' if stop else 'caution above 95'} %; {cells(found.count)}): "
        + (
            "its injectors were always open, so the cell says nothing about the air."
            if found.value >= 1.0
            else "its injectors hardly had time to close, so the air is doubtful."
        ),
        f"1. Use a map that was tuned below 95 % duty there. 2. Or {case.cut_advice(load_pa, rpm)}" if stop else None,
        scope=Scope.LIMIT if load_pa or rpm else Scope.FILE,
        value=100.0 * found.value,
        limit=100.0 * found.limit,
        cells=pairs(found.past),
        limit_load_pa=load_pa,
        limit_rpm=rpm,
    )


def _duty_as_read(case: Case) -> FloatArray:
    """Duty of the donor where the air of a cell is read: by inlet Mach index, at another speed."""
    duty = case.table.donor.duty
    return duty if case.job.breathing is not Breathing.INLET_MACH else read_for_air(case.job).of(duty)


def _known_below(case: Case, past: BoolArray) -> tuple[float | None, float | None]:
    """Load of the highest row, and speed of the highest column, below all unknown cells; `None` if there is none."""
    row, column = int(np.argmax(past.any(axis=1))), int(np.argmax(past.any(axis=0)))
    load, rpm = case.job.target.table.load_pa, case.job.rpm
    if case.by_throttle:
        pressure = np.broadcast_to(case.job.target.table.pressure_pa, past.shape)
        known = pressure[case.reachable & (pressure < np.fmin.reduce(np.where(past, pressure, np.nan), axis=None))]
        return (float(known.max()) if known.size else None), (float(rpm[column - 1]) if column else None)
    return (case.surely_pa(float(load[row - 1])) if row else None), (float(rpm[column - 1]) if column else None)


DONOR_SATURATED = Rule(
    name="donor-saturated",
    title="Donor saturated",
    threshold="Donor's pulse above 95 % of its cycle in a cell that the donor visited: caution; at load and 100 % or "
    "more: limit stop, below which the map is known.",
    why="At 100 % and more the injector is always open: the fuel no longer depends on the cell, so the cell says "
    "nothing about the air. Nobody could tune the engine there.",
    source=MODEL,
    remedy="Measure the mixture there first on the target, from the rich side, or use a map that was tuned below 95 %.",
    judge=_donor_saturated,
    about_donor=True,
    can_stop=True,
)


def _outside_donor_data(case: Case) -> Iterator[Answer]:
    outside = case.reachable & ~case.table.visited
    matters = outside & (case.wide_open | case.idle)
    if outside.any():
        where = [
            words for words, place in (("wide open", case.wide_open), ("idle", case.idle)) if (outside & place).any()
        ]
        among = matters if where else outside
        yield Trip(
            Severity.CAUTION if where else Severity.NOTE,
            f"{cells(int(outside.sum()))} in reach {'lies' if outside.sum() == 1 else 'lie'} outside the donor's data, "
            f"such as {case.address(pairs(among)[-1])}"
            f"{' (' + ' and '.join(where) + ')' if where else ''}: {_what_stands_there(case, outside)}.",
            cells=pairs(outside),
        )
    yield from _idle_beside_the_table(case)


def _what_stands_there(case: Case, outside: BoolArray) -> str:
    """In words, what the cells outside the donor's data hold; outside its axes, that is the value of its edge."""
    beyond = int(case.marked(Mark.OUTSIDE).sum())
    if not beyond:
        return "nobody has tuned these cells"
    held = "beyond the donor's axes its edge cells are held"
    if beyond == int(outside.sum()):
        return held
    return f"nobody has tuned these cells, and {held} ({cells(beyond)})"


def _idle_beside_the_table(case: Case) -> Iterator[Trip]:
    """Idle below the first row or column: the ECU holds the nearest cell."""
    engine, table = case.job.target.hardware.engine, case.job.target.table
    below = []
    if engine.idle_rpm < table.rpm[0]:
        below.append(f"the first column, {case.speed(table.rpm[0])}")
    if case.idle_loads_pa[0] < case.least_idle_pa * (1.0 - 1e-9):
        below.append(f"the first row, {case.load_of(0)}")
    if below:
        yield Trip(
            Severity.CAUTION,
            f"Idle ({case.speed(engine.idle_rpm)} and {case.load(engine.idle_pressure_pa)}) lies below "
            f"{' and '.join(below)}: there the ECU holds the edge cell.",
            cells=pairs(case.idle),
        )


OUTSIDE_DONOR_DATA = Rule(
    name="outside-donor-data",
    title="Outside the donor's data",
    threshold="A cell in reach that the donor never visited, or beyond its axes: note; at idle or wide open: caution. "
    "Idle below the table's first row or column: caution.",
    why="Nobody has ever tuned these cells. They are adapted as they stand, but they are a guess with decimals.",
    source=MODEL,
    remedy="Tune these cells on the target, from the rich side, before you rely on them.",
    judge=_outside_donor_data,
)


def _boosted_donor(case: Case) -> Iterator[Answer]:
    before, now = case.job.donor.hardware.engine.induction, case.job.target.hardware.engine.induction
    if before is not Induction.BOOSTED or now is not Induction.ATMOSPHERIC:
        return
    intended, (low, high) = case.job.target.table.intended_lambda, FULL_LOAD_PA
    load = case.job.target.table.load_pa
    rows = (load >= low * (1 - 1e-9)) & (load <= high * (1 + 1e-9))
    full_load = rows[:, np.newaxis] & case.reachable
    between = not full_load.any()
    values = np.where(full_load, intended, np.nan)
    if between:
        at_top = case.at_pressure(intended, min(case.highest_load_pa, high))
        values = np.where(case.reachable.any(axis=0), at_top, np.nan)
    found = grade(values, Limits(stop=LEANEST_FULL_LOAD))
    begin = "The donor is boosted and the target is not: the donor's part load is the target's full load"
    entry = case.stand_in_lambda
    if found is None and entry is not None:
        unknown = (
            f"State its mixture from {low / 1e3:g} to {high / 1e3:g} kPa: λ {entry.value} only stands in for an "
            "unknown value."
        )
        yield Missing(("target.tables.fuel.lambda",), unknown)
        yield Trip(Severity.CAUTION, f"{begin}. {unknown}")
        return
    if found is None:
        yield Trip(Severity.CAUTION, f"{begin}. The intended λ there is rich enough; ignition there is not adapted.")
        return
    where = (
        f"{case.speed(case.job.rpm[found.cell[0]])} and {case.load(min(case.highest_load_pa, high))}, between rows"
        if between
        else case.address(found.cell)
    )
    yield Trip(
        found.severity,
        f"{begin}, and the intended λ is {rounded_up(found.value, 3)} at {where} (stop above {found.limit:.2f} from "
        f"{low / 1e3:g} to {high / 1e3:g} kPa).",
        value=found.value,
        limit=found.limit,
        cells=() if between else pairs(found.past),
    )


BOOSTED_DONOR = Rule(
    name="boosted-donor-atmospheric-target",
    title="Boosted donor, atmospheric target",
    threshold=f"Boosted donor on an atmospheric target: caution; with an intended λ of the target above "
    f"{LEANEST_FULL_LOAD:.2f} from {FULL_LOAD_PA[0] / 1e3:g} to {FULL_LOAD_PA[1] / 1e3:g} kPa (else at its highest "
    "load): stop.",
    why="A boosted engine cruises where an atmospheric one works its hardest: a lean part-load mixture becomes the "
    "full-load mixture.",
    source=PRACTICE,
    remedy='1. State the λ that the target should run at full load as "target.tables.fuel.lambda". 2. Adapt again. 3. '
    "Have the ignition in these rows set again.",
    judge=_boosted_donor,
    can_stop=True,
)
