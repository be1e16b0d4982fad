"""Rules on the donor's map: whether it is what it says, and how far it reaches."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.axes import LoadAxis
from basemap.model.installation import BoolArray, Cycle, FloatArray, Induction
from basemap.model.result import Scope, Severity
from basemap.rules.case import WIDE_OPEN, Case, kpa, pairs
from basemap.rules.grading import Limits, grade, worst
from basemap.rules.rule import MODEL, PRACTICE, Answer, Missing, Rule, Trip
from basemap.rules.wording import cells, cut_advice, excess, percent_down, percent_up

VE_LOW, VE_LOWEST = 0.70, 0.60
VE_HIGH, VE_HIGHEST = 1.05, 1.20
VE_CELL_LOW, VE_CELL_HIGH = 0.5, 1.3
VE_SPEEDS = (0.30, 0.90)
LOAD_BEYOND = 0.05
SPEED_BEYOND = 0.10


def _implied_ve(case: Case) -> Iterator[Answer]:
    if case.job.donor.engine.cycle is Cycle.TWO_STROKE:
        return
    table = case.table
    visited_rows = np.nonzero(table.visited.any(axis=1))[0]
    if visited_rows.size == 0:
        keys = ("donor.engine.peak_pressure", "donor.engine.rev_limit")
        yield Missing(keys, "By the limits that the job states the donor never visited its own table.")
        return
    row = int(visited_rows[-1])
    values = table.implied_ve[row, _middle_speeds(case, row)]
    values = values[np.isfinite(values)]
    if values.size == 0:
        yield Missing(
            case.computed.cancelled or ("donor.tables.fuel",), "The air that its cells stand for is not known."
        )
        return
    median = float(np.median(values))
    low = grade(median, Limits(VE_LOW, VE_LOWEST, above=False))
    found = low or grade(median, Limits(VE_HIGH, VE_HIGHEST))
    if found is not None:
        number = percent_down(median) if low else percent_up(median)
        yield Trip(
            found.severity,
            f"At {case.load_of(row)} the donor's cells imply {_what_is_implied(case, number)} "
            f"(median over the middle of its speeds; {found.severity} {'below' if low else 'above'} "
            f"{100 * found.limit:g} %, ordinary is 70 to 105 %).",
            value=100 * median,
            limit=100 * found.limit,
            cells=tuple((row, int(column)) for column in np.nonzero(_middle_speeds(case, row))[0]),
        )
    yield from _odd_cells(case, row)


def _what_is_implied(case: Case, number: str) -> str:
    if case.counts_air:
        return f"{number} % of the air that the axis states"
    return f"a volumetric efficiency of {number} %"


def _middle_speeds(case: Case, row: int) -> BoolArray:
    """Visited columns from 30 to 90 % of the donor's rev limit; every visited one where none lies there."""
    rpm, visited = case.job.rpm, case.table.visited[row]
    limit = case.job.donor.engine.rev_limit_rpm or float(rpm[-1])
    low, high = (share * limit for share in VE_SPEEDS)
    middle = visited & (rpm >= low) & (rpm <= high)
    return np.asarray(middle if middle.any() else visited)


def _odd_cells(case: Case, top: int) -> Iterator[Trip]:
    """Single wide-open cells whose implied VE no engine has."""
    load, barometer = case.job.donor_load_pa, case.job.donor.conditions.barometer_pa
    rows = np.abs(load - barometer) <= WIDE_OPEN * barometer
    if not rows.any():
        rows = np.arange(load.size) == top
    ve = np.where(rows[:, np.newaxis] & case.table.visited, case.table.implied_ve, np.nan)
    odd = (ve < VE_CELL_LOW) | (ve > VE_CELL_HIGH)
    if odd.any():
        cell = worst(np.abs(ve - 0.5 * (VE_CELL_LOW + VE_CELL_HIGH)), odd, above=True)
        value = float(ve[cell])
        number = percent_up(value) if value > VE_CELL_HIGH else percent_down(value)
        yield Trip(
            Severity.NOTE,
            f"Single cells are odd: {number} % at {case.address(cell)} wide open (note outside "
            f"{100 * VE_CELL_LOW:g} to {100 * VE_CELL_HIGH:g} %; {cells(int(odd.sum()))}).",
            "Look at these cells of the donor's file: a slip of the pen, or never tuned. Smooth them and adapt again.",
            value=100 * value,
            limit=100 * (VE_CELL_HIGH if value > VE_CELL_HIGH else VE_CELL_LOW),
            cells=pairs(odd),
        )


IMPLIED_VE = Rule(
    name="implied-ve-wide-open",
    title="Implied volumetric efficiency, wide open",
    threshold=f"Median over the highest visited row, {100 * VE_SPEEDS[0]:g} to {100 * VE_SPEEDS[1]:g} % of the donor's "
    f"rev limit: outside {VE_LOW:.2f} to {VE_HIGH:.2f}: caution; outside {VE_LOWEST:.2f} to {VE_HIGHEST:.2f}: stop. "
    f"Single wide-open cells outside {VE_CELL_LOW} to {VE_CELL_HIGH}: note. Four-stroke donors.",
    why="No engine breathes like that: the file is not what the job says it is, and every number rests on it.",
    source=PRACTICE,
    remedy="Check, in this order: what the cells are (quantity and unit), what the ECU still applies to them "
    "(ecu_applies), the load axis and its unit, the donor's flow at its rail pressure, displacement and cylinders, "
    "openings per cycle, the intended λ.",
    judge=_implied_ve,
    can_stop=True,
)


def donor_data_end_pa(case: Case) -> float:
    """Highest manifold pressure for which the donor has data, Pa: its top row, its peak, its barometer.

    On a pressure-ratio axis, at the target's barometer. On an air-mass axis the pressure of a row is not known.
    """
    donor, axis = case.job.donor, case.job.donor_table.points.axis
    ends = [] if axis is LoadAxis.AIR_MASS else [float(case.job.donor_table.load_pa[-1])]
    if donor.engine.peak_pressure_pa is not None:
        ends.append(donor.engine.peak_pressure_pa)
    if donor.engine.induction is Induction.ATMOSPHERIC:
        ends.append(donor.conditions.barometer_pa)
    if axis is LoadAxis.PRESSURE_RATIO:
        return min(ends) * case.barometer_pa / donor.conditions.barometer_pa
    return min(ends)


def _load_beyond(case: Case) -> Iterator[Answer]:
    peak, end = case.job.target.peak_pressure_pa, donor_data_end_pa(case)
    if peak <= end * (1.0 + LOAD_BEYOND):
        return
    yield Trip(
        Severity.STOP,
        f"The target reaches {case.load(peak)}, {excess(peak / end)} % above the end of the "
        f"donor's data at {case.load(end)} (stop above {100 * LOAD_BEYOND:g} %): nothing is known there.",
        f"1. Use a donor that was tuned up to {kpa(peak)}. 2. Or {cut_advice(end, None)}",
        scope=Scope.LIMIT,
        value=peak / 1e3,
        limit=end / 1e3,
        cells=pairs(_beyond(case.reachable, case.job.target_table.load_pa, end, 0)),
        limit_load_pa=end,
    )


def _beyond(reachable: BoolArray, axis: FloatArray, end: float, along: int) -> BoolArray:
    """Reachable cells beyond the end of the donor's data along an axis."""
    past = axis > end * (1.0 + 1e-9)
    return reachable & (past[:, np.newaxis] if along == 0 else past)


LOAD_BEYOND_DONOR = Rule(
    name="load-beyond-donor",
    title="Load beyond the donor",
    threshold=f"Target's peak pressure more than {100 * LOAD_BEYOND:g} % above the end of the donor's data (the lowest "
    "of its top row, its peak pressure, and its barometer if atmospheric): limit stop there.",
    why="What a file holds beyond the loads its engine ever saw was never tuned.",
    source=MODEL,
    remedy="Use a donor that was tuned up to there, or cut the load where its data ends.",
    judge=_load_beyond,
    can_stop=True,
)


def _speed_beyond(case: Case) -> Iterator[Answer]:
    engine, donor = case.job.target.engine, case.job.donor.engine
    top = engine.rev_cut_rpm if engine.rev_limit_rpm is None else engine.rev_limit_rpm
    if top is None:
        yield Missing(("target.engine.rev_limit",), "Whether it revs beyond the donor's data is not known.")
        return
    end = min(float(case.job.donor_table.rpm[-1]), donor.rev_limit_rpm or np.inf)
    found = grade(top, Limits(caution=end, stop=end * (1.0 + SPEED_BEYOND)))
    if found is None:
        return
    stop = found.severity is Severity.STOP
    yield Trip(
        found.severity,
        f"The target turns {case.speed(top)}, {excess(top / end)} % beyond the donor's data, "
        f"which ends at {case.speed(end)} (stop above {100 * SPEED_BEYOND:g} %)"
        f"{': nothing is known there' if stop else ': the last known cells are held'}.",
        f"1. Use a donor that revs as high. 2. Or {cut_advice(None, end)}",
        scope=Scope.LIMIT if stop else Scope.FILE,
        value=float(top),
        limit=end,
        cells=pairs(_beyond(case.reachable, case.job.rpm, end, 1)),
        limit_rpm=end if stop else None,
    )


SPEED_BEYOND_DONOR = Rule(
    name="speed-beyond-donor",
    title="Speed beyond the donor",
    threshold="Target's rev limit above the end of the donor's data (the lower of its rev limit and the table's last "
    f"column): caution; more than {100 * SPEED_BEYOND:g} % above: limit stop there.",
    why="How an engine breathes above the speeds it was tuned at cannot be read from its table.",
    source=MODEL,
    remedy="Use a donor that revs as high, or cut the speed where its data ends.",
    judge=_speed_beyond,
    can_stop=True,
)


def _donor_saturated(case: Case) -> Iterator[Answer]:
    duty = np.where(case.reachable, case.table.donor.duty, np.nan)
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
            "its injectors were open throughout, so the cell says nothing of the air."
            if found.value >= 1.0
            else "its injectors had hardly time to close, so the air is doubtful."
        ),
        f"1. Use a map that was tuned below 95 % duty there. 2. Or {cut_advice(load_pa, rpm)}" if stop else None,
        scope=Scope.LIMIT if load_pa or rpm else Scope.FILE,
        value=100.0 * found.value,
        limit=100.0 * found.limit,
        cells=pairs(found.past),
        limit_load_pa=load_pa,
        limit_rpm=rpm,
    )


def _known_below(case: Case, past: BoolArray) -> tuple[float | None, float | None]:
    """The highest row, and the highest column, below every cell that is not known; `None` where there is none."""
    row, column = int(np.argmax(past.any(axis=1))), int(np.argmax(past.any(axis=0)))
    load, rpm = case.job.target_table.load_pa, case.job.rpm
    return (float(load[row - 1]) if row else None), (float(rpm[column - 1]) if column else None)


DONOR_SATURATED = Rule(
    name="donor-saturated",
    title="Donor saturated",
    threshold="Donor's pulse above 95 % of its cycle: caution; 100 % and more at load: stop, as a limit below "
    "which the map is known.",
    why="From 100 % the injector is open throughout: the fuel no longer depends on the cell, so the air cannot be "
    "read from it. The engine was not tuned there, it was only fed.",
    source=MODEL,
    remedy="Measure the mixture there first on the target, from the rich side, or use a map that was tuned below 95 %.",
    judge=_donor_saturated,
    can_stop=True,
)
