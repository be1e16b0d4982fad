"""Rules on what the injectors can deliver: pulses and duty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from basemap.adaptation.reach import highest_pressure_pa
from basemap.model.axes import LoadAxis
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark
from basemap.rounding import cells, percent_up, rounded_down
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade, worst
from basemap.rules.rule import MODEL, PRACTICE, STANDARD, Answer, Missing, Rule, Trip

DUTY_CAUTION, DUTY_STOP, DUTY_STOP_BOOSTED = 0.85, 1.00, 0.95
SHORTER_STOP = 0.8
EFFECTIVE_TO_DEAD = 1.0 / 3.0


def _no_pulse(case: Case) -> Iterator[Answer]:
    if not case.reachable.any():
        yield Trip(
            Severity.STOP,
            "The target reaches no cell of the table: nothing could be judged.",
            "Look at target.engine.peak_pressure, rev_limit and the cuts: they rule out the whole table.",
        )
        return
    table = case.table
    usable = np.isfinite(table.new) & np.isfinite(table.lambda_ratio["new_table_new_settings"])
    matters = case.at_load | case.idle
    # Cells in which the donor is meant to give no fuel, as on the overrun, have their own rule, and so do those that
    # are empty because the throttles differ.
    cut = case.marked(Mark.DONOR_NO_FUEL) & ~matters
    empty = case.reachable & ~usable & ~cut & ~case.marked(Mark.LAYOUT_DIFFERS)
    if not empty.any():
        return
    stopping = empty & matters
    among = stopping if stopping.any() else empty
    cell = pairs(among)[-1]
    where = "at load or idle" if stopping.any() else "away from load and idle"
    yield Trip(
        Severity.STOP if stopping.any() else Severity.CAUTION,
        f"There is no usable cell {where}: at {case.address(cell)} {_why_empty(case, cell)}; "
        f"{cells(int(empty.sum()))} in reach, {int(stopping.sum())} of them at load or idle.",
        value=float(empty.sum()),
        limit=0.0,
        cells=pairs(empty),
    )


def _why_empty(case: Case, cell: tuple[int, int]) -> str:
    for mark, why in (
        (Mark.NO_PRESSURE, "there is no pressure across the injector"),
        (Mark.DONOR_NO_FUEL, "the donor gives no fuel, so its air is not known"),
        (Mark.BREATHING_NOT_KNOWN, "the estimate of its breathing gives no air"),
        (Mark.NO_PULSE, "the engine needs a shorter pulse than the ECU adds by itself"),
    ):
        if case.marked(mark)[cell]:
            return why
    return "no mixture can be worked out"


NO_PULSE = Rule(
    name="no-pulse",
    title="No pulse",
    threshold="A reachable cell that is empty or gives no fuel with the new table and settings: at load or idle stop, "
    "elsewhere caution.",
    why="An empty cell cannot be loaded, and whatever is typed there instead is a guess: it may give no fuel, or any "
    "amount.",
    source=MODEL,
    remedy="1. Look up the cell's mark in the workbook. 2. Correct the dead time, fuel pressure or donor's setting "
    "that causes it. 3. Adapt again. Fill no cell by hand.",
    judge=_no_pulse,
    can_stop=True,
)


def _donor_no_fuel(case: Case) -> Iterator[Answer]:
    empty = case.marked(Mark.DONOR_NO_FUEL)
    if not empty.any():
        return
    matters = empty & (case.at_load | case.idle)
    cell = pairs(matters if matters.any() else empty)[-1]
    yield Trip(
        Severity.CAUTION if matters.any() else Severity.NOTE,
        f"The donor's map gives no fuel in {cells(int(empty.sum()))} in reach, such as {case.address(cell)}: its air "
        "there is not known.",
        cells=pairs(empty),
    )


DONOR_GIVES_NO_FUEL = Rule(
    name="donor-gives-no-fuel",
    title="Donor gives no fuel",
    threshold="A reachable cell whose donor pulse is no longer than the dead time: note; at load or at idle: caution.",
    why="A cell without fuel, as on the overrun, says nothing about the air: there is nothing to carry over.",
    source=MODEL,
    remedy="1. Where fuel is meant to be cut, leave it cut. 2. Elsewhere the job is wrong about the donor's dead time "
    "or its table: check both.",
    judge=_donor_no_fuel,
)


def _duty(case: Case) -> Iterator[Answer]:
    limits = Limits(DUTY_CAUTION, DUTY_STOP_BOOSTED if case.boosted else DUTY_STOP, stops_at=True)
    table, rpm = case.job.target.table, case.job.rpm
    richer = case.table.duty if case.table.richer is None else case.table.richer.duty
    duty = np.where(case.reachable, np.fmax(case.table.duty, richer), np.nan)
    top, peak_pa = case.top_speed_rpm, highest_pressure_pa(case.job.target.hardware)
    if top is not None and top > rpm[-1]:
        # Beyond its last column the ECU holds the cell: the pulse stays the same, but the cycle gets shorter.
        duty = np.column_stack([duty, duty[:, -1] * top / rpm[-1]])
    if table.points.axis is LoadAxis.MANIFOLD_PRESSURE and not table.inside.pressure and peak_pa > table.load_pa[-1]:
        # Beyond its last row it holds the cell as well, but still multiplies it by the pressure.
        pulse, dead = case.table.target.pulse_s[-1], case.table.target.dead_time_s[-1]
        added = 0.0 if table.inside.dead_time else dead
        longer = (added + (pulse - added) * peak_pa / table.load_pa[-1]) / pulse
        duty = np.vstack([duty, duty[-1] * np.append(longer, longer[-1:])[: duty.shape[1]]])
    found = grade(duty, limits)
    if found is None:
        return
    row, column = found.cell
    last_row, last_column = table.load_pa.size - 1, rpm.size - 1
    past = found.past[: last_row + 1, : last_column + 1]
    where = case.address((min(row, last_row), min(column, last_column)))
    if row > last_row or column > last_column:
        speed = case.speed(rpm[min(column, last_column)])
        load = case.load_of(min(row, last_row))
        if top is not None and column > last_column:
            speed = f"{case.speed(top)} (the last column of the table, {rpm[-1]:g} rpm, held)"
        if row > last_row:
            load = f"{case.load(peak_pa)} (the last row of the table, {load}, held)"
        where = f"{speed} and {load}"
    limit = "stop from" if found.severity is Severity.STOP else "caution above"
    yield Trip(
        found.severity,
        f"The injectors' duty is {percent_up(found.value)} % at {where} ({limit} {100 * found.limit:g} %"
        f"{' on a boosted engine' if found.limit == DUTY_STOP_BOOSTED else ''}{_and_cells(past)}).",
        value=100.0 * found.value,
        limit=100.0 * found.limit,
        cells=pairs(past),
    )


def _and_cells(past: BoolArray, words: str = "") -> str:
    """How many cells of the table are past a limit; empty if it is passed only between the cells or beyond them."""
    count = int(past.sum())
    return f"; {cells(count)}{words}" if count else ""


DUTY_RULE = Rule(
    name="duty",
    title="Duty",
    threshold=f"Duty of the target with the new table above {100 * DUTY_CAUTION:g} %: caution; {100 * DUTY_STOP:g} % "
    f"and more: stop; on a boosted engine from {100 * DUTY_STOP_BOOSTED:g} %: stop. Also at the rev limit and at the "
    "peak pressure where the table ends below them.",
    why="An injector needs time to close. At 100 % it is always open: a longer pulse gives no more fuel, and the "
    "engine runs lean however the table is tuned.",
    source=PRACTICE,
    remedy="1. Fit injectors with more flow, or raise the rail pressure as far as their maker allows, and adapt again. "
    "2. Or state a rev_cut or load_cut below those cells and have the ECU enforce it.",
    judge=_duty,
    can_stop=True,
)


def _short_pulse(case: Case) -> Iterator[Answer]:
    target, shortest = case.table.target, case.job.target.hardware.injectors.shortest_pulse_s
    effective = target.pulse_s - target.dead_time_s
    idle = [(_idle_effective(case, effective, load), case.at_idle(target.dead_time_s, load)) for load in _idle(case)]
    ratio = effective / np.where(case.reachable & (target.dead_time_s > 0), target.dead_time_s, np.nan)
    idle_ratio = [open_s / dead if dead > 0 else np.nan for open_s, dead in idle]
    if shortest is None:
        key = "target.injectors.shortest_pulse"
        yield Missing((key,), "The end of the injectors' linear range is not known.")
    else:
        pulses = np.where(case.reachable, target.pulse_s, np.nan) * 1e3
        limits = Limits(shortest * 1e3, SHORTER_STOP * shortest * 1e3, above=False)
        yield from _too_short(case, pulses, [sum(pulse) * 1e3 for pulse in idle], limits, ("the pulse is", "ms"))
    limits = Limits(EFFECTIVE_TO_DEAD, EFFECTIVE_TO_DEAD, above=False)
    words = "the pulse without its dead time is", "times the dead time"
    yield from _too_short(case, ratio, idle_ratio, limits, words)


def _idle(case: Case) -> tuple[float, ...]:
    """Loads at which the engine may idle, highest first, Pa."""
    return tuple(sorted(set(case.idle_loads_pa), reverse=True))


def _idle_effective(case: Case, effective_s: FloatArray, load_pa: float) -> float:
    """Pulse without dead time at the idle point, s; it is interpolated per unit of pressure, which is smoother."""
    table = case.job.target.table
    pressure = max(load_pa, case.least_idle_pa) if table.inside.pressure else load_pa
    return case.at_idle(effective_s / table.pressure_pa, load_pa) * pressure


def _too_short(
    case: Case, values: FloatArray, at_idle: Sequence[float], limits: Limits, words: tuple[str, str]
) -> Iterator[Trip]:
    """A pulse that is too short: at idle and at load a stop beyond the second limit, elsewhere a caution at most.

    If it is not known how much air idle takes, `at_idle` is for the most and the least: what the most trips is certain.
    """
    what, unit = words
    idle, least = grade(at_idle[0], limits), grade(at_idle[-1], limits)
    if least is not None and (idle is None or idle.severity is not least.severity):
        yield Trip(
            Severity.CAUTION,
            "Not shown to be safe: the load axis does not say how much air idle takes. At the least that is usual, "
            f"{what} {rounded_down(at_idle[-1], 3)} {unit}; at the most, {rounded_down(at_idle[0], 3)} "
            f"({least.severity} below {least.limit:.4g}).",
            "Find the load at idle in a log of the donor or on the running target, and look up the pulse there.",
            value=at_idle[-1],
            limit=least.limit,
            cells=pairs(case.idle),
        )
    loaded = grade(np.where(case.at_load, values, np.nan), limits)
    found = grade(values, Limits(caution=limits.caution, above=False))
    stop = next((each for each in (idle, loaded) if each is not None and each.severity is Severity.STOP), None)
    worst_found = stop or found or idle
    if worst_found is None:
        return
    engine = case.job.target.hardware.engine
    where = (
        case.address(worst_found.cell)
        if worst_found.cell
        else f"idle ({case.speed(engine.idle_rpm)} and {case.load(engine.idle_pressure_pa)})"
    )
    past = np.zeros_like(case.reachable) if found is None else found.past
    yield Trip(
        worst_found.severity,
        f"At {where} {what} {rounded_down(worst_found.value, 3)} {unit} ({worst_found.severity} below "
        f"{worst_found.limit:.4g}{_and_cells(past, f' in reach below {limits.caution:.4g}')}).",
        value=worst_found.value,
        limit=worst_found.limit,
        cells=pairs(past),
    )


def _minimum_pulse(case: Case) -> Iterator[Answer]:
    raised = case.marked(Mark.MINIMUM_PULSE)
    if not raised.any():
        return
    ratio = case.ratio("new_table_new_settings")
    cell = worst(ratio, raised, above=False)
    minimum = case.job.target.told.minimum_pulse_s * 1e3
    yield Trip(
        Severity.CAUTION,
        f"In {cells(int(raised.sum()))} in reach the engine needs a shorter pulse than the ECU's minimum of "
        f"{minimum:g} ms: at worst, at {case.address(cell)}, λ is {rounded_down(float(ratio[cell]), 3)} times the "
        "intended.",
        value=float(ratio[cell]),
        limit=1.0,
        cells=pairs(raised),
    )


MINIMUM_PULSE = Rule(
    name="minimum-pulse",
    title="Minimum pulse of the ECU",
    threshold="A reachable cell whose pulse is shorter than the minimum_pulse of the target's ECU: caution. Other "
    "rules judge the mixture that results.",
    why="The ECU commands its minimum whatever the cell says: tuning the cell does not help.",
    source=MODEL,
    remedy="1. Lower the minimum in the ECU as far as the injectors are linear. 2. Otherwise fit smaller injectors, "
    "lower the rail pressure within the maker's range, or inject once a cycle instead of twice.",
    judge=_minimum_pulse,
)


SHORT_PULSE = Rule(
    name="short-pulse",
    title="Short pulse",
    threshold=f"Pulse below the injectors' shortest_pulse: caution. Pulse below {SHORTER_STOP:g} times that, or pulse "
    "minus dead time below 1/3 of the dead time: at idle or at load stop, elsewhere caution. Not judged where "
    "shortest_pulse is unknown.",
    why="Below its linear range an injector's delivery is erratic, and a small error in dead time becomes a large "
    "error in the mixture.",
    source=f"{STANDARD}: the linear flow range of SAE J1832; its 20 % and 1/3: {PRACTICE}",
    remedy="1. If the ECU injects twice a cycle, inject once: the pulses are then twice as long. 2. Lower the rail "
    "pressure within the maker's range, or fit smaller injectors. 3. Or take the maker's short-pulse data.",
    judge=_short_pulse,
    can_stop=True,
)
