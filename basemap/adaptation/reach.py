"""How far a job reaches: the donor's data, and the cells that the target reaches.

On an air-mass axis the pressure of a row is estimated as if the volumetric efficiency were 1: the estimate is too high
if it is more, and too low if it is less. Every limit is then taken so that more cells are judged, not fewer.
"""

from __future__ import annotations

import numpy as np

from basemap.adaptation.breathing import speed_ratio
from basemap.adaptation.throttle import over_throttle
from basemap.constants import SAME
from basemap.model.axes import ESTIMATE_MARGIN, LEAST_EFFICIENCY, LoadAxis
from basemap.model.installation import BoolArray, FloatArray, Induction, Installation
from basemap.model.job import Job
from basemap.model.table import FuelTable

NEAR_BAROMETER = 0.05
"""How near the barometer a row counts as wide open; and how far above the end of the donor's data a row is still data.
"""


def donor_data_end_pa(job: Job) -> float:
    """Highest manifold pressure for which the donor has data, Pa: the least of top row, peak pressure and barometer.

    On an air-mass axis the highest pressure that the top row can be at; on a throttle axis, which ends wide open, the
    barometer.
    """
    table = job.donor.table
    if over_throttle(table):
        return job.donor.hardware.conditions.barometer_pa
    top = float(table.load_pa[-1])
    ends = [top / LEAST_EFFICIENCY if table.points.axis is LoadAxis.AIR_MASS else top]
    if job.donor.hardware.engine.peak_pressure_pa is not None:
        ends.append(job.donor.hardware.engine.peak_pressure_pa)
    if job.donor.hardware.engine.induction is Induction.ATMOSPHERIC:
        ends.append(job.donor.hardware.conditions.barometer_pa)
    return min(ends)


def similar_end_pa(job: Job) -> float:
    """The end of the donor's data as a manifold pressure of the target, Pa: on a ratio, at the target's barometer."""
    end = donor_data_end_pa(job)
    if job.donor.table.points.axis in (LoadAxis.PRESSURE_RATIO, LoadAxis.THROTTLE):
        return end * job.target.hardware.conditions.barometer_pa / job.donor.hardware.conditions.barometer_pa
    return end


def donor_data_end_rpm(job: Job) -> float:
    """Highest speed for which the donor has data, rev/min: its last column, or its rev limit if that is lower."""
    return min(float(job.donor.table.rpm[-1]), job.donor.hardware.engine.rev_limit_rpm or np.inf)


def similar_end_rpm(job: Job) -> float:
    """The speed of the target at which its air is read at the end of the donor's data, rev/min."""
    return donor_data_end_rpm(job) / speed_ratio(job)


def visited_cells(job: Job) -> BoolArray:
    """Cells of the donor's table within its data: up to its highest pressure and its rev limit; (loads, speeds).

    A row just above that pressure (5 % at most) is data as well: the ECU used a share of it at the highest pressure.
    """
    table, limit = job.donor.table, job.donor.hardware.engine.rev_limit_rpm
    end = _on_axis(table, donor_data_end_pa(job))
    rows = (table.load_pa <= end * (1.0 + SAME)) | (
        _up_to(table.load_pa, end) & (table.load_pa <= end * (1.0 + NEAR_BAROMETER) * (1.0 + SAME))
    )
    columns = np.ones(table.rpm.shape, dtype=bool) if limit is None else table.rpm <= limit * (1.0 + SAME)
    return np.asarray(rows[:, np.newaxis] & columns)


def reachable_cells(job: Job) -> BoolArray:
    """Cells that the target can reach, including the first row and column beyond its limits; shape (loads, speeds)."""
    table, engine = job.target.table, job.target.hardware.engine
    speeds = [limit for limit in (engine.rev_limit_rpm, engine.rev_cut_rpm) if limit is not None]
    columns = _up_to(table.rpm, min(speeds)) if speeds else np.ones(table.rpm.shape, dtype=bool)
    if over_throttle(table):
        return np.asarray(_below_cut(table, engine.load_cut_pa) & columns)
    rows = _up_to(table.load_pa, _on_axis(table, highest_pressure_pa(job.target.hardware)))
    return np.asarray(rows[:, np.newaxis] & columns)


def _below_cut(table: FuelTable, cut_pa: float | None) -> BoolArray:
    """Cells over throttle opening up to a load cut, and the first one beyond it at each speed.

    Without a cut the driver can reach all of them, even those whose pressure is not known.
    """
    if cut_pa is None:
        return np.ones(table.values.shape, dtype=bool)
    above = np.broadcast_to(table.pressure_pa >= cut_pa * (1 - 1e-9), table.values.shape)
    first = np.where(above.any(axis=0), above.argmax(axis=0), table.load_pa.size)
    return np.asarray(np.arange(table.load_pa.size)[:, np.newaxis] <= first)


def highest_pressure_pa(installation: Installation) -> float:
    """Highest manifold pressure an engine will see: its peak, or the load cut if that is lower, Pa."""
    cut = installation.engine.load_cut_pa
    return installation.peak_pressure_pa if cut is None else min(cut, installation.peak_pressure_pa)


def _on_axis(table: FuelTable, pressure_pa: float) -> float:
    """A pressure as the highest that a row of the table could be estimated at, Pa."""
    return pressure_pa * ESTIMATE_MARGIN if table.points.axis is LoadAxis.AIR_MASS else pressure_pa


def _up_to(axis: FloatArray, limit: float) -> BoolArray:
    """Points of a rising axis up to a limit, and the first one beyond it."""
    last = int(np.searchsorted(axis, limit * (1 - 1e-9), side="left"))
    return np.asarray(np.arange(axis.size) <= last)
