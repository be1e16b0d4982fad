"""The cells of a table after drives: the belief about each, and the fuel that follows from it.

The table from before any drive is always corrected anew, by everything that was ever observed: so several logs give the
same table as one long log, and no correction is made twice.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from basemap.adaptation.regions import AT_LOAD
from basemap.adaptation.richer import extra_fuel
from basemap.belief.at_points import commanded
from basemap.belief.budget import COVERAGE
from basemap.belief.correction import Correction, correct
from basemap.belief.faults import RankedFaults, rank
from basemap.belief.hypotheses import leak_at, over_speed
from basemap.belief.leanest import IndexArray, leanest_of
from basemap.belief.unknowns import Drive
from basemap.belief.update import At, Update
from basemap.model.band import LeanEnd
from basemap.model.drive import DrivePoints
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.settings import Settings
from basemap.model.taught import LARGE_CHANGE, LEANER_AT_LOAD, PROBE_NOT_PROVED
from basemap.rounding import excess


@dataclass(frozen=True)
class CellsAfter:
    """Every cell of a table, row by row, arrays of shape (n,).

    Parameters
    ----------
    points
        The cells as points of a drive, with the pulses that they command.
    ranked
        The faults that the drives look like.
    at
        The belief in ln λ there; its band is wider for a suspected leak or breathing over speed, and for a
        probe that is not proved.
    corrected
        The corrected cells.
    log_intended
        ln of the λ that the cells are meant to give.
    left
        ln of λ over the intended that is expected of the corrected cells.
    by_probe
        The part of the standard uncertainty of ln λ that all cells share because the probe is not proved; 0 if it is.
    """

    points: DrivePoints
    ranked: RankedFaults
    at: At
    corrected: Correction
    log_intended: FloatArray
    left: FloatArray
    by_probe: FloatArray


def cell_points(job: Job, cells: FloatArray, settings: Settings) -> DrivePoints:
    """Cells (SI, shape (loads, speeds)) as points of a drive, in the conditions that the job states."""
    conditions, table = job.target.hardware.conditions, job.target.table
    points = DrivePoints(
        np.broadcast_to(table.rpm, cells.shape).ravel().astype(np.float64),
        np.broadcast_to(table.pressure_pa, cells.shape).ravel().astype(np.float64),
        np.full(cells.size, conditions.charge_temperature_k),
        np.full(cells.size, table.battery_v),
        np.zeros(cells.size),
    )
    return replace(points, pulse_s=commanded(job, cells, settings, points))


def cells_after(found: Update, cells: FloatArray, *, proved: bool) -> CellsAfter:
    """The belief about the cells of a table, and the cells that follow from it.

    Parameters
    ----------
    cells
        Of the table from before any drive, SI, shape (loads, speeds).
    proved
        Whether the probe was proved at two points.
    """
    forward = found.prior.unknowns.forward
    job = forward.job
    points = cell_points(job, cells, forward.settings.new)
    drive = Drive(points, np.ones(points.rpm.size, dtype=bool), read_by_probe=False)
    at = found.at(drive)
    ranked = rank(found)
    # A wrong scale is invisible in a log. Like a leak it is never believed, for it would excuse lean readings.
    by_probe = np.zeros(points.rpm.size)
    if not proved:
        by_probe = PROBE_NOT_PROVED * found.follows(drive, np.ones((1, found.linear.points)))[0]
    wider = at.standard, by_probe, _by_leak(ranked.leak, points), _by_speed(found, drive, ranked.over_speed)
    at = replace(at, standard=np.sqrt(np.sum(np.square(wider), axis=0)))
    log_intended = np.log(np.broadcast_to(job.target.table.intended_lambda, cells.shape)).ravel()
    corrected = correct(found, at, points, log_intended, extra_fuel(job).ravel(), proved=proved)
    return CellsAfter(points, ranked, at, corrected, log_intended, at.mean - log_intended - corrected.applied, by_probe)


def _by_leak(leak: float, points: DrivePoints) -> FloatArray:
    """What a suspected leak adds to the band: the probe is as likely as not to read too lean by the whole leak.

    The mean stays, because a leak would excuse lean readings. The band about it covers both cases, by second moments.
    """
    return np.asarray(leak_at(leak, points) / np.sqrt(2.0))


def _by_speed(found: Update, drive: Drive, likely: FloatArray) -> FloatArray:
    """What suspected breathing over speed adds to the band: of every case what the update has not seen.

    The mean stays, as for a leak. Beyond idle and the rev limit the cases are taken as they are there.
    """
    if not likely.size:
        return np.zeros(drive.points.rpm.size)
    engine = found.prior.unknowns.forward.job.target.hardware.engine
    within = np.clip(drive.points.rpm, engine.idle_rpm, engine.rev_limit_rpm)
    there = over_speed(found, replace(drive.points, rpm=within))
    unseen = there - found.follows(drive, over_speed(found, found.observations.drive.points))
    return np.asarray(np.sqrt(likely @ unseen**2 / 2.0))


def at_load(job: Job) -> BoolArray:
    """Cells from 0.8 of the barometer up."""
    high = job.target.table.pressure_pa >= AT_LOAD * job.target.hardware.conditions.barometer_pa
    return np.asarray(np.broadcast_to(high, job.target.table.values.shape))


def large_changes(change_percent: FloatArray, loaded: BoolArray) -> dict[str, str]:
    """Changes that the user must accept by name.

    Parameters
    ----------
    change_percent
        From the table in the ECU, shape (loads, speeds).
    loaded
        Cells at load.
    """
    found, change = {}, change_percent / 100.0
    largest = float(np.nanmax(np.abs(change), initial=0.0))
    if largest > LARGE_CHANGE:
        found["large-change"] = f"a cell changes by {excess(1.0 + largest)} %, more than {100 * LARGE_CHANGE:.0f} %"
    leaner = -float(np.nanmin(np.where(loaded, change, 0.0), initial=0.0))
    if leaner > LEANER_AT_LOAD:
        found["leaner-at-load"] = f"a cell at load gets {excess(1.0 - leaner)} % less fuel"
    return found


def lean_end_after(found: Update, cells: CellsAfter, expected: FloatArray, where: BoolArray) -> LeanEnd | None:
    """How lean the leanest of some cells may be; `None` if no cell's mixture is known.

    Parameters
    ----------
    expected
        λ over the intended that is expected of the corrected table, shape (loads, speeds).
    where
        Which cells, shape (loads, speeds).
    """
    standard = np.where(np.isinf(expected), np.inf, cells.at.standard.reshape(expected.shape))

    def factor(chosen: tuple[IndexArray, ...]) -> FloatArray:
        flat = np.ravel_multi_index(chosen, expected.shape)
        points = DrivePoints(*(getattr(cells.points, one.name)[flat] for one in fields(DrivePoints)))
        drive = Drive(points, np.ones(flat.size, dtype=bool), read_by_probe=False)
        own = standard[chosen]
        by_probe = cells.by_probe[flat]
        correlation = (found.covariance(drive, drive) + np.outer(by_probe, by_probe)) / np.outer(own, own)
        # The part of the band that a suspected fault adds varies in each cell on its own.
        np.fill_diagonal(correlation, 1.0)
        values, vectors = np.linalg.eigh(correlation)
        return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))

    return leanest_of(COVERAGE * standard, expected, where, factor)
