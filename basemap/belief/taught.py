"""What the drives of a job taught: a factor on the fuel of every cell, and the band that is left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from basemap.adaptation.hardware import delivery
from basemap.adaptation.regions import Regions
from basemap.adaptation.richer import extra_fuel
from basemap.belief.at_points import commanded, refuse_other_axes
from basemap.belief.bands import worst_of
from basemap.belief.budget import COVERAGE
from basemap.belief.cells_after import CellsAfter, at_load, cells_after, large_changes, lean_end_after
from basemap.belief.of_drives import belief_after, prior_of
from basemap.belief.update import Update
from basemap.belief.world import Forward
from basemap.model.band import Band
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.model.storage import stored
from basemap.model.table import change_percent
from basemap.model.taught import Hold, Taught


@dataclass(frozen=True)
class AfterDrives:
    """The belief after the drives of a job, and what it says about the cells.

    Parameters
    ----------
    found, cells
        The belief, and the cells of the table from before any drive.
    taught
        How both change the cells of the job.
    """

    found: Update
    cells: CellsAfter
    taught: Taught

    @classmethod
    def of(cls, computed: Computed) -> AfterDrives:
        """The belief after all drives, recalculated from the prior.

        Parameters
        ----------
        computed
            The job without what its drives taught.

        Raises
        ------
        InputError
            If the rows of the table cannot be found in a log of manifold pressure.
        """
        job, table = computed.job, computed.table
        refuse_other_axes(job)
        forward = Forward.of(job)
        found = belief_after(prior_of(job, forward), job.drives)
        began = table.to_load if job.begun_with is None else job.begun_with
        cells = cells_after(found, began * job.target.shown.per_unit, proved=job.probe_proved)
        extra, shape = extra_fuel(job), began.shape
        # If nothing is known about a cell that exists, it may be as lean as can be.
        unknown = np.where(np.isfinite(table.new), np.inf, np.nan)
        left, standard = cells.left.reshape(shape) + np.log1p(extra), cells.at.standard.reshape(shape)
        fuel = _fuel_kg(job, forward, cells, began).reshape(shape) / (table.target.fuel_kg * (1.0 + extra))
        drives = Taught(
            factor=np.where(np.isfinite(fuel) & (fuel > 0.0), fuel, 1.0),
            left=np.where(np.isfinite(left), left, unknown),
            standard=np.where(np.isfinite(left) & np.isfinite(standard), standard, unknown),
            seconds=float(sum(log.chunks.for_s.sum() for log in job.drives)),
            logs=tuple(log.file for log in job.drives),
            proved=job.probe_proved,
            holds=_holds(job, began, cells),
        )
        return cls(found, cells, drives)

    def band(self, before: Band, computed: Computed) -> Band:
        """The band that the drives leave; the bands of other tables and of the map as it is stay the same.

        Parameters
        ----------
        before
            The band without the drives.
        computed
            The numbers with what the drives taught.
        """
        band = COVERAGE * self.taught.standard
        worst, worst_cell = worst_of(band, computed.table.reachable)
        leanest, _ = computed.table.expected_extremes
        return replace(
            before,
            adapted=band,
            of_parts=np.fmin(before.of_parts, band),
            simulated=np.zeros(band.shape, dtype=bool),
            worst=worst,
            worst_cell=worst_cell,
            shares=(),
            advice="Drives have narrowed the band; what is still unknown about one input now depends on the others, so "
            "only another drive narrows it further.",
            samples=0,
            leaner=np.full(band.shape, np.nan),
            first={},
            measurable={},
            lean_at_load=lean_end_after(self.found, self.cells, leanest, Regions(computed).at_load),
        )


def _fuel_kg(job: Job, forward: Forward, cells: CellsAfter, began: FloatArray) -> FloatArray:
    """Fuel that the hardware of the job would deliver with the corrected cells, kg, shape (n,); NaN without a cell."""
    known = np.isfinite(cells.corrected.cells)
    # A missing cell must not spoil its neighbours when they are interpolated.
    values = np.where(known, cells.corrected.cells, began.ravel() * job.target.shown.per_unit).reshape(began.shape)
    pulse = commanded(job, values, forward.settings.new, cells.points)
    row = np.newaxis
    at = delivery(
        job.target.hardware, cells.points.pressure_pa[row, :], cells.points.rpm, cells.points.battery_v[row, :]
    )
    return np.where(known, at.fuel_kg(pulse[row, :])[0], np.nan)


def _holds(job: Job, began: FloatArray, cells: CellsAfter) -> tuple[Hold, ...]:
    shown = job.target.shown
    kept = stored(cells.corrected.cells.reshape(began.shape) / shown.per_unit, job.storage, shown)
    loaded = began if job.loaded is None else job.loaded
    new = np.where(np.isfinite(kept), kept, loaded)
    found = dict.fromkeys(job.crossed, "crossed in the last drive")
    found |= cells.ranked.holds
    found |= large_changes(change_percent(loaded, new), at_load(job))
    return tuple(Hold(name, says) for name, says in found.items())
