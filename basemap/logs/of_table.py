"""From the belief after a drive to the table: what each cell was, what it becomes, and where to drive next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from basemap.adaptation.richer import extra_fuel
from basemap.belief.at_points import commanded
from basemap.belief.correction import correct
from basemap.belief.next_points import next_points
from basemap.belief.unknowns import CHARGE_K, DEAD_TIME_SLOPE, NUISANCES, PRESSURE_PA, PROBE, Drive
from basemap.belief.update import At, Update
from basemap.belief.world import Forward
from basemap.model.drive import DrivePoints
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import InputNow, LearntTable, Next, Trace
from basemap.model.result import Result
from basemap.model.storage import stored
from basemap.model.table import change_percent

VISITED_SPEED, VISITED_PRESSURE = 0.10, 0.12
"""How near to a cell, in ln N and ln p, a stretch lies that visits it; or nearer to it than to any other."""
LEAN_END = 0.12
"""Lean end of the band up to which a point may be driven to be measured."""
FRICTION = 0.1
"""Manifold pressure without load rises by so much of idle's for every idle speed more (common practice, no source)."""


@dataclass(frozen=True)
class Learner:
    """What is needed to go from the belief to the table."""

    result: Result
    forward: Forward
    found: Update
    cells: FloatArray
    shown: FloatArray
    proved: bool


@dataclass(frozen=True)
class After:
    """What comes of the belief besides the table."""

    next_points: tuple[Next, ...]
    inputs: tuple[InputNow, ...]
    trace: Trace


def of_table(learner: Learner) -> tuple[LearntTable, After]:
    """The table corrected, with its band before and after, and all else that follows from the belief."""
    job, found = learner.result.job, learner.found
    shape = learner.cells.shape
    points = _cell_points(learner)
    drive = Drive(points, np.ones(points.rpm.size, dtype=bool), read_by_probe=False)
    at = found.at(drive)
    log_intended = np.log(np.broadcast_to(job.target.table.intended_lambda, shape)).ravel()
    corrected = correct(found, at, points, log_intended, extra_fuel(job).ravel(), proved=learner.proved)
    kept = stored(corrected.cells.reshape(shape) / job.target.shown.per_unit, job.storage, job.target.shown)
    new = np.where(np.isfinite(kept), kept, learner.shown)
    visited = _visited(found, points)

    def grid(values: FloatArray) -> FloatArray:
        return values.reshape(shape)

    table = LearntTable(
        before=learner.shown,
        new=new,
        change_percent=change_percent(learner.shown, new),
        mean_before=grid(at.mean - log_intended),
        mean_after=grid(at.mean - log_intended - corrected.applied),
        standard_before=grid(at.standard_before),
        standard_after=grid(at.standard),
        visited=visited.reshape(shape),
        support=grid(corrected.support),
    )
    after = After(_next(learner, drive, table), _inputs(found), _trace(learner))
    return table, after


def _cell_points(learner: Learner) -> DrivePoints:
    job, shape = learner.result.job, learner.cells.shape
    conditions, table = job.target.hardware.conditions, job.target.table
    size = learner.cells.size
    points = DrivePoints(
        np.broadcast_to(table.rpm, shape).ravel().astype(np.float64),
        np.broadcast_to(table.pressure_pa, shape).ravel().astype(np.float64),
        np.full(size, conditions.charge_temperature_k),
        np.full(size, table.battery_v),
        np.zeros(size),
    )
    return replace(points, pulse_s=commanded(job, learner.cells, learner.forward.settings.new, points))


def _visited(found: Update, points: DrivePoints) -> BoolArray:
    """Cells near a stretch, or nearest to it."""
    seen = found.observations.drive.points
    x = np.abs(np.subtract.outer(np.log(points.rpm), np.log(seen.rpm)))
    q = np.abs(np.subtract.outer(np.log(points.pressure_pa), np.log(seen.pressure_pa)))
    near = np.asarray(((x < VISITED_SPEED) & (q < VISITED_PRESSURE)).any(axis=1))
    near[np.argmin((x / VISITED_SPEED) ** 2 + (q / VISITED_PRESSURE) ** 2, axis=0)] = True
    return np.asarray(near)


def _next(learner: Learner, drive: Drive, table: LearntTable) -> tuple[Next, ...]:
    result = learner.result
    job = result.job
    # The table as it will be loaded: its lean end says where it may be driven.
    lean_end = np.exp(table.mean_after + 2.0 * table.standard_after) - 1.0
    engine, speeds = job.target.hardware.engine, job.target.table.rpm
    turns_by_itself = (speeds >= 0.8 * engine.idle_rpm) & (
        np.broadcast_to(job.target.table.pressure_pa, lean_end.shape)
        >= 0.9 * engine.idle_pressure_pa * (1.0 + FRICTION * np.maximum(speeds / engine.idle_rpm - 1.0, 0.0))
    )
    counts = result.table.reachable & np.isfinite(table.standard_after) & turns_by_itself
    allowed = counts & (lean_end <= LEAN_END)
    found = next_points(learner.found, drive, counts.ravel(), allowed.ravel())
    load = np.asarray(job.target.shown.load)
    places = [(point, *divmod(point.index, counts.shape[1])) for point in found]
    return tuple(
        Next(float(job.target.table.rpm[column]), float(load[row]), point.narrows) for point, row, column in places
    )


_UNITS = {
    "pressure reading": ("kPa", PRESSURE_PA / 1e3),
    "charge-temperature reading": ("K", CHARGE_K),
    "dead time over voltage": ("%", 100.0 * DEAD_TIME_SLOPE),
    "probe": ("%", 100.0 * PROBE),
    "heat soak": ("of what is usual", 1.0),
}


def _inputs(found: Update) -> tuple[InputNow, ...]:
    unknowns = found.prior.unknowns
    units = [(entry.unit, entry.standard / entry.per_unit) for entry in unknowns.inputs]
    units += [_UNITS[name] for name in NUISANCES]
    rows = zip(unknowns.names, units, found.amounts, found.standards, strict=True)
    return tuple(
        InputNow(name, unit, float(amount) * size, size, float(standard) * size)
        for name, (unit, size), amount, standard in rows
    )


def _trace(learner: Learner) -> Trace:
    found = learner.found
    observations = found.observations
    unknowns = found.prior.unknowns
    expected = unknowns.slopes(observations.drive, np.zeros(unknowns.size)).at
    now: At = found.at(observations.drive)
    return Trace(
        (), np.zeros(0), np.exp(expected + found.prior.mean(observations.drive.points)), np.exp(now.mean),
        np.exp(observations.log_lambda),
    )  # fmt: skip
