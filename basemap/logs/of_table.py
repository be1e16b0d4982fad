"""From the belief after a drive to the table: what each cell was, what it becomes, and where to drive next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.adaptation.regions import Regions
from basemap.belief.cells_after import CellsAfter, cell_points, cells_after, lean_end_after
from basemap.belief.faults import RankedFaults
from basemap.belief.next_points import next_points
from basemap.belief.unknowns import DEAD_TIME_SLOPE, NUISANCES, PROBE, Drive
from basemap.belief.update import At, Update
from basemap.belief.world import Forward
from basemap.model.band import LeanEnd
from basemap.model.drive import DrivePoints
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import InputNow, LearntTable, Next, Trace
from basemap.model.result import Result
from basemap.model.storage import stored
from basemap.model.table import change_percent

VISITED_SPEED, VISITED_PRESSURE = 0.10, 0.12
"""A stretch visits a cell that lies within this distance, in ln N and in ln p; it also visits the nearest cell."""
LEAN_END = 0.12
"""Largest lean end of the band at which a point may be driven in order to measure it."""
FRICTION = 0.1
"""How much the manifold pressure without load rises per idle speed, as a share of its value at idle (common practice,
no source)."""


@dataclass(frozen=True)
class Learner:
    """The belief after the drives and the tables that it is applied to.

    Parameters
    ----------
    began
        The table from before any drive, which is corrected, in the unit shown.
    shown
        The table in the controller now, which an earlier correction may have changed, in the unit shown.
    """

    result: Result
    forward: Forward
    found: Update
    began: FloatArray
    shown: FloatArray
    proved: bool


@dataclass(frozen=True)
class After:
    """Everything that follows from the belief besides the table."""

    ranked: RankedFaults
    next_points: tuple[Next, ...]
    inputs: tuple[InputNow, ...]
    trace: Trace


def of_table(learner: Learner) -> tuple[LearntTable, After]:
    """The corrected table with its band before and after, and everything else that follows from the belief."""
    job, found = learner.result.job, learner.found
    per_unit, shape = job.target.shown.per_unit, learner.shown.shape
    cells = cells_after(found, learner.began * per_unit, proved=learner.proved)
    here = cell_points(job, learner.shown * per_unit, learner.forward.settings.new)
    drive = Drive(here, np.ones(here.rpm.size, dtype=bool), read_by_probe=False)
    # What the table in the controller gives; it differs from the first one if drives have changed it since.
    before = found.at(drive).mean
    kept = stored(cells.corrected.cells.reshape(shape) / per_unit, job.storage, job.target.shown)
    new = np.where(np.isfinite(kept), kept, learner.shown)

    def grid(values: FloatArray) -> FloatArray:
        return values.reshape(shape)

    table = LearntTable(
        before=learner.shown,
        new=new,
        change_percent=change_percent(learner.shown, new),
        mean_before=grid(before - cells.log_intended),
        mean_after=grid(cells.left),
        standard_before=grid(cells.at.standard_before),
        standard_after=grid(cells.at.standard),
        visited=_visited(found, here).reshape(shape),
        support=grid(cells.corrected.support),
        lean_at_load=_lean_at_load(learner, cells, kept),
    )
    after = After(cells.ranked, _next(learner, drive, table), _inputs(found), _trace(learner))
    return table, after


def _lean_at_load(learner: Learner, cells: CellsAfter, kept: FloatArray) -> LeanEnd | None:
    """Lean end at load: the leaner of the unrounded and the stored cells, as for the table before any drive."""
    wanted = cells.corrected.cells.reshape(kept.shape) / learner.result.job.target.shown.per_unit
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = np.exp(cells.left.reshape(kept.shape)) * np.fmax(wanted / kept, 1.0)
    # A cell without fuel has no finite λ: it counts as infinitely lean.
    expected = np.where(np.isnan(expected) & np.isfinite(learner.shown), np.inf, expected)
    return lean_end_after(learner.found, cells, expected, Regions(learner.result).at_load)


def _visited(found: Update, points: DrivePoints) -> BoolArray:
    """Cells that a stretch visits: those near it, and the one nearest to it."""
    seen = found.observations.drive.points
    x = np.abs(np.subtract.outer(np.log(points.rpm), np.log(seen.rpm)))
    q = np.abs(np.subtract.outer(np.log(points.pressure_pa), np.log(seen.pressure_pa)))
    near = np.asarray(((x < VISITED_SPEED) & (q < VISITED_PRESSURE)).any(axis=1))
    near[np.argmin((x / VISITED_SPEED) ** 2 + (q / VISITED_PRESSURE) ** 2, axis=0)] = True
    return np.asarray(near)


def _next(learner: Learner, drive: Drive, table: LearntTable) -> tuple[Next, ...]:
    result = learner.result
    job = result.job
    # The lean end of the table that will be loaded says where it may be driven.
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
    "dead time over voltage": ("%", 100.0 * DEAD_TIME_SLOPE),
    "probe": ("%", 100.0 * PROBE),
    "heat soak": ("of what is usual", 1.0),
}


def _inputs(found: Update) -> tuple[InputNow, ...]:
    unknowns = found.prior.unknowns
    units = [(entry.unit, entry.standard / entry.per_unit) for entry in unknowns.inputs]
    of_sensors = {
        "pressure reading": ("kPa", unknowns.pressure_pa / 1e3),
        "charge-temperature reading": ("K", unknowns.charge_k),
    }
    units += [(of_sensors | _UNITS)[name] for name in NUISANCES]
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
