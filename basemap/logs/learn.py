"""Logs of drives and a job → what they taught: the only place that orders the steps of `basemap learn`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from basemap.adaptation.first_start_card import first_start_card
from basemap.belief.at_points import commanded, intended_at, log_lambda, refuse_other_axes
from basemap.belief.cells_after import at_load, large_changes
from basemap.belief.of_drives import belief_after, prior_of
from basemap.belief.update import Prior
from basemap.belief.world import Forward, nominal
from basemap.errors import InputError
from basemap.logs.against_card import LogShows, score
from basemap.logs.events import Expected, events, most_dangerous_first
from basemap.logs.log import Log
from basemap.logs.of_table import Learner, of_table
from basemap.logs.probe import Delay, at_cylinders, delay, ends
from basemap.logs.pulses import check_pulses
from basemap.logs.refusals import (
    END_SHARE,
    LOOP_LOAD,
    at_lean_end,
    refuse_dead_probe,
    refuse_hidden_loop,
    refuse_impossible_speed,
    refuse_too_little,
)
from basemap.logs.steady import chunks, fuel_cut, gate, used
from basemap.model.drive import DriveLog, DrivePoints, Event, Used, together
from basemap.model.installation import BoolArray, FloatArray, Regulator
from basemap.model.learnt import Along, Formula, Learnt, LearntTable, Scored, Trace
from basemap.model.result import Result
from basemap.model.settings import Settings
from basemap.model.taught import Hold
from basemap.physics import injector
from basemap.rounding import percent_up

KEY_ON_LEAST_S = 0.2


@dataclass(frozen=True)
class _Prepared:
    """One log, worked through as far as is possible without the others."""

    log: Log
    late: Delay
    events: tuple[Event, ...]
    card: tuple[Scored, ...]
    used: Used
    drive: DriveLog
    formula: Formula | None
    lean_share: float
    along: Along


def learn(
    result: Result,
    logs: Sequence[Log],
    *,
    loaded: FloatArray | None = None,
    began: FloatArray | None = None,
    earlier: Sequence[DriveLog] = (),
    proved: bool = False,
    accept: Sequence[str] = (),
) -> Learnt:
    """Learn from logs of drives.

    Parameters
    ----------
    result
        Result of `basemap.adapt` without any drive: the table and settings that were loaded.
    logs
        The logs to learn from, one or more.
    loaded
        Cells of another table that was loaded instead, in the unit shown, shape (loads, speeds).
    began
        The table from before any drive, if drives have corrected `loaded`; by default `loaded`.
    earlier
        Drives learnt from before. Everything is worked out anew from the prior, with these drives.
    proved
        Whether the probe was proved at two points.
    accept
        Names of crossed limits and large changes that the user accepts.

    Raises
    ------
    InputError
        If nothing can be learnt and no danger has to be reported first.
    """
    job = result.job
    refuse_other_axes(job)
    shown = result.table.to_load if loaded is None else loaded
    began = shown if began is None else began
    cells = shown * job.target.shown.per_unit
    forward = Forward.of(job)
    _refuse_twice(logs, earlier)
    prior = prior_of(job, forward)
    ready = [_prepare(result, prior, log, cells) for log in logs]
    lean = [one for one in ready if one.lean_share > END_SHARE]
    crossed = tuple(event for one in ready for event in one.events)
    base = _common(ready, crossed, proved)
    # Findings that stop the base map also stop the map learnt from it.
    before = {} if logs else dict.fromkeys(job.crossed, "crossed in the previous drive")
    before |= {stop.rule: stop.message for stop in result.stops}
    if lean:
        said = f"the probe reads its lean end for {percent_up(max(one.lean_share for one in lean), 0)} % of the time"
        holds = _holds(crossed, before, None, accept)
        return replace(base, nothing=f"{said}: STOP; find the cause before the next start", holds=holds)
    every = (*earlier, *(one.drive for one in ready))
    try:
        refuse_too_little(logs, float(together(every).for_s.sum()))
    except InputError as error:
        if not any(event.stop for event in crossed):
            raise
        return replace(base, nothing=error.problem, holds=_holds(crossed, before, None, accept))
    found = belief_after(prior, every)
    learner = Learner(result, forward, found, began, shown, proved)
    table, after = of_table(learner)
    holds = _holds(crossed, before, table, accept, at_load(job), after.ranked.holds)
    return replace(
        base,
        logs=every,
        table=table,
        next_points=after.next_points,
        inputs=after.inputs,
        trace=_placed(after.trace, every),
        faults=after.ranked.faults,
        holds=holds,
    )


def _prepare(result: Result, prior: Prior, log: Log, cells: FloatArray) -> _Prepared:
    job, forward = result.job, prior.unknowns.forward
    settings = forward.settings.new
    points = _points(log)
    told = settings.dead_time_s(points.battery_v)
    by_table = commanded(job, cells, settings, points)
    at_ends, cut = ends(log), fuel_cut(log)
    refuse_impossible_speed(log, job.target.hardware.engine.rev_limit_rpm)
    refuse_dead_probe(log, at_ends)
    late = delay(log, job.target.hardware.engine.displacement_m3, cut)
    pulse = log.pulse_s
    if pulse is None:
        trim = 1.0 if log.trim is None else log.trim
        pulse = told + (by_table - told) * trim
    elif log.pulse_includes_dead_time is False:
        pulse = pulse + told
    points = replace(points, pulse_s=pulse)
    volts = _volts(job.target.hardware.injectors.dead_time.battery_v, settings)
    expected = log_lambda(forward, points, nominal(job))[0]
    open_now = gate(log, late, at_ends, expected, volts)
    log_formula, formula = np.full(log.rpm.shape, np.nan), None
    if log.pulse_s is not None:
        checked = check_pulses(log, by_table, told, open_now.good, settings.formula_factor)
        log_formula, formula = checked.log_formula, checked.formula
    made = chunks(log, late, open_now, points, expected, log_formula)
    intended = intended_at(job, points)
    part = made.points.pressure_pa < LOOP_LOAD * job.target.hardware.conditions.barometer_pa
    off = made.log_lambda - np.log(intended_at(job, made.points))
    refuse_hidden_loop(log, off[part], made.points.rpm[part])
    rail = job.target.hardware.fuel.rail_pressure_pa + (
        log.manifold_pa - job.target.hardware.conditions.barometer_pa
        if job.target.hardware.fuel.regulator is Regulator.MANIFOLD
        else np.zeros(log.rpm.shape)
    )
    limits = Expected(intended, job.target.hardware.conditions.barometer_pa, rail)
    mixture = at_cylinders(log, late.seconds, log.lambda_read)
    engine = job.target.hardware.engine
    window = engine.cycle_time_s(points.rpm) / job.target.hardware.injectors.openings_per_cycle
    read = LogShows(log, mixture, pulse, open_now.good, window, engine.idle_rpm, engine.idle_pressure_pa)
    key_on = read.key_on & np.isfinite(log.manifold_pa)
    long_enough = float(key_on.sum()) * log.step_s >= KEY_ON_LEAST_S
    drive = DriveLog(
        log.file,
        log.sha256,
        made,
        float(np.median(log.manifold_pa[key_on])) if long_enough else None,
        log.pulse_s is None,
    )
    return _Prepared(
        log, late, events(log, late, at_ends, cut, limits), score(first_start_card(result), read),
        used(log, open_now, made), drive, formula, at_lean_end(log, at_ends),
        Along(log.time_s, np.exp(expected + prior.mean(points)), mixture),
    )  # fmt: skip


def _points(log: Log) -> DrivePoints:
    return DrivePoints(
        np.maximum(np.nan_to_num(log.rpm, nan=1.0), 1.0),
        log.manifold_pa,
        log.charge_k,
        log.battery_v,
        np.zeros(log.rpm.shape),
    )


def _volts(hardware_v: FloatArray, settings: Settings) -> tuple[float, float]:
    """Battery voltages for which both the injectors' and the settings' dead times are known.

    A dead time of one point sets no limit.
    """
    both = [hardware_v] if settings.battery_factor is not None else [hardware_v, settings.dead_time.battery_v]
    known = [points for points in both if points.size > 1]
    if not known:
        return 0.0, 100.0
    below = injector.KNOWN_BELOW_DATA_V
    return max(float(points[0]) for points in known) - below, min(float(points[-1]) for points in known)


def _placed(trace: Trace, every: Sequence[DriveLog]) -> Trace:
    """The trace, with the number of the log and the time of every stretch."""
    numbers = [number for number, log in enumerate(every) for _ in range(log.chunks.size)]
    return replace(trace, log=tuple(numbers), at_s=together(tuple(every)).at_s)


def _refuse_twice(logs: Sequence[Log], earlier: Sequence[DriveLog]) -> None:
    known = {log.sha256: log.file for log in earlier}
    for log in logs:
        if log.sha256 in known:
            raise InputError(
                f"has been used before ({known[log.sha256]}): leave it out, because the same drive would count as two",
                file=log.file,
            )
        known[log.sha256] = log.file


def _common(ready: Sequence[_Prepared], crossed: tuple[Event, ...], proved: bool) -> Learnt:
    """The part of the outcome that is the same whether a table is learnt or not."""
    return Learnt(
        events=tuple(sorted(crossed, key=most_dangerous_first)),
        card=tuple(scored for one in ready for scored in one.card),
        faults=(),
        used=tuple(one.used for one in ready),
        delays=tuple((float(np.median(one.late.seconds)), one.late.found_s) for one in ready),
        logs=tuple(one.drive for one in ready),
        read_as=tuple(one.log.read_as for one in ready),
        table=None,
        next_points=(),
        controller=next((one.formula for one in ready if one.formula is not None), None),
        inputs=(),
        holds=(),
        proved=proved,
        nothing="",
        trace=None,
        columns=ready[0].log.chosen if ready else {},
        along={one.log.sha256: one.along for one in ready},
    )


def _holds(
    crossed: Sequence[Event],
    before: Mapping[str, str],
    table: LearntTable | None,
    accept: Sequence[str],
    cells_at_load: BoolArray | None = None,
    by_faults: Mapping[str, str] | None = None,
) -> tuple[Hold, ...]:
    """Crossed limits and large changes that hold the table back, each once, and whether the user accepts it.

    Raises
    ------
    InputError
        If a name in `accept` is none of them.
    """
    found = dict(before)
    kinds = {event.kind for event in crossed if event.stop}
    for event in sorted(crossed, key=most_dangerous_first):
        # One cause holds the table back once: a voltage that climbed above its limit is reported as high.
        if event.stop and not (event.kind == "charging voltage climbing" and "charging voltage high" in kinds):
            found.setdefault(event.kind.replace(" ", "-"), event.says)
    if "fuel pressure low" not in kinds:
        found |= by_faults or {}
    if table is not None and cells_at_load is not None:
        found |= large_changes(table.change_percent, cells_at_load)
    for name in accept:
        if name not in found:
            known = ", ".join(found) or "none"
            raise InputError(
                f'--accept "{name}": no reason of that name holds the table back (the reasons are: {known})'
            )
    return tuple(Hold(name, says, name in accept) for name, says in found.items())
