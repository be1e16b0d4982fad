"""Where in a table the engine idles, is at load, wide open or in boost; and values read between the cells."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from basemap.adaptation.implied import VE_PART_HIGH, VE_PART_LOW
from basemap.adaptation.reach import NEAR_BAROMETER, highest_pressure_pa
from basemap.adaptation.throttle import donor_ratio, open_rows, over_throttle
from basemap.model.axes import ESTIMATE_MARGIN, FULL_LOAD_EFFICIENCY, LoadAxis
from basemap.model.installation import BoolArray, FloatArray, Induction
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.model.table_result import TableResult

AT_LOAD = 0.8
"""Share of the barometer from which a row counts as at load. Common practice, no source."""

TOP_THIRD = 2.0 / 3.0
"""Share of the highest reachable load from which a row of an air-mass axis counts as at load. Common practice."""

BOOST_PA = 5_000.0
"""How far above the barometer boost begins, Pa. Common practice, no source."""


@dataclass(frozen=True)
class Regions:
    """Regions of a job's table as masks of its cells, and values read between the cells.

    Parameters
    ----------
    computed
        The numbers of the job.
    """

    computed: Computed

    @property
    def job(self) -> Job:
        """The job."""
        return self.computed.job

    @property
    def table(self) -> TableResult:
        """The table, adapted."""
        return self.computed.table

    @property
    def reachable(self) -> BoolArray:
        """Cells that the target can reach."""
        return self.table.reachable

    # Pressures

    @property
    def barometer_pa(self) -> float:
        """The target's barometer, Pa."""
        return self.job.target.hardware.conditions.barometer_pa

    @property
    def highest_load_pa(self) -> float:
        """Highest manifold pressure of the target: its peak, or the load cut if that is lower, Pa."""
        return highest_pressure_pa(self.job.target.hardware)

    @property
    def top_speed_rpm(self) -> float | None:
        """Highest speed of the target: its rev limit, or the cut if that is lower; `None` if neither is stated."""
        engine = self.job.target.hardware.engine
        stated = [limit for limit in (engine.rev_limit_rpm, engine.rev_cut_rpm) if limit is not None]
        return min(stated, default=None)

    @property
    def counts_air(self) -> bool:
        """Whether the load axis counts air, so that a row's pressure is only an estimate."""
        return self.job.target.table.points.axis is LoadAxis.AIR_MASS

    @property
    def by_throttle(self) -> bool:
        """Whether the load axis is throttle opening, so that every cell has a pressure of its own."""
        return over_throttle(self.job.target.table)

    @property
    def boosted(self) -> bool:
        """Whether the target is a boosted engine."""
        return self.job.target.hardware.engine.induction is Induction.BOOSTED

    # Places

    def _rows(self, rows: BoolArray) -> BoolArray:
        """Reachable cells of some rows."""
        return rows[:, np.newaxis] & self.reachable

    @cached_property
    def at_load(self) -> BoolArray:
        """Reachable cells from 0.8 of the barometer up; the top reachable row if the table ends below that.

        On an air-mass axis, the top third of the reachable loads; on a throttle axis, cells in which the manifold of
        either engine is at 0.8 of its barometer or more.
        """
        if self.by_throttle:
            return self._open_enough & self.reachable
        load = self.job.target.table.load_pa
        highest = load[self.reachable.any(axis=1)].max(initial=0.0)
        if self.counts_air:
            # A row that only the highest volumetric efficiency would reach must not raise the threshold.
            return self._rows(load >= TOP_THIRD * min(highest, self.highest_load_pa))
        cells = self._rows(load >= AT_LOAD * self.barometer_pa)
        return cells if cells.any() else self._rows(load == highest)

    @property
    def _open_enough(self) -> BoolArray:
        donor, target = self.job.at_similar_points.of(donor_ratio(self.job)), self.job.target.table.pressure_pa
        with np.errstate(invalid="ignore"):
            found = (donor >= AT_LOAD) | (target >= AT_LOAD * self.barometer_pa)
        return np.asarray(found | open_rows(self.job.target.table)[:, np.newaxis])

    @property
    def tuned_or_read(self) -> BoolArray:
        """Cells that the donor visited, and those that the target can reach."""
        return self.table.visited | self.reachable

    @cached_property
    def wide_open(self) -> BoolArray:
        """Reachable cells of the rows within 5 % of the barometer; may be none.

        On an air-mass axis, the rows whose air may be that of full load, and the highest reachable row; on a throttle
        axis, the rows from 90 % up.
        """
        if self.by_throttle:
            return self._rows(open_rows(self.job.target.table))
        load = self.job.target.table.load_pa
        if self.counts_air:
            begins = FULL_LOAD_EFFICIENCY * min(self.barometer_pa, self.highest_load_pa)
            highest = load[self.reachable.any(axis=1)].max(initial=0.0)
            return self._rows((load >= begins) | (load == highest))
        return self._rows(np.abs(load - self.barometer_pa) <= NEAR_BAROMETER * self.barometer_pa)

    @cached_property
    def boost(self) -> BoolArray:
        """Reachable cells above the barometer + 5 kPa, of a target that gets there."""
        begins = self.barometer_pa + BOOST_PA
        if self.highest_load_pa <= begins or self.by_throttle:
            return np.zeros_like(self.reachable)
        if self.counts_air:
            begins *= FULL_LOAD_EFFICIENCY
        return self._rows(self.job.target.table.load_pa > begins)

    @cached_property
    def idle(self) -> BoolArray:
        """The cells between which the engine idles; on an air-mass axis, all those in which it may idle."""
        engine, table = self.job.target.hardware.engine, self.job.target.table
        cells = np.zeros_like(self.reachable)
        columns = around(table.rpm, engine.idle_rpm)
        if self.by_throttle:
            for column in columns:
                cells[around(self._rising_pa(column), engine.idle_pressure_pa), column] = True
            return cells
        low, high = (around(table.load_pa, pressure) for pressure in self.idle_loads_pa)
        rows = list(range(low[0], high[-1] + 1))
        cells[np.ix_(rows, columns)] = True
        return cells

    def _rising_pa(self, column: int) -> FloatArray:
        """Pressures behind the throttle at one speed, Pa, made to rise with its opening.

        An unknown pressure is taken to be that of the next smaller opening.
        """
        along = np.broadcast_to(self.job.target.table.pressure_pa, self.reachable.shape)[:, column]
        return np.maximum.accumulate(np.where(np.isnan(along), 0.0, along))

    @property
    def idle_loads_pa(self) -> tuple[float, float]:
        """Lowest and highest load at which the engine idles, as pressures of the load axis, Pa.

        On an air-mass axis they differ, because the air at idle depends on the volumetric efficiency.
        """
        pressure = self.job.target.hardware.engine.idle_pressure_pa
        return (VE_PART_LOW * pressure, VE_PART_HIGH * pressure) if self.counts_air else (pressure, pressure)

    # Between cells

    def at_pressure(self, values: FloatArray, pressure_pa: float) -> FloatArray:
        """A row between the table's rows, as the ECU reads it: linear, held at the ends; shape (speeds,)."""
        if self.by_throttle:
            columns = range(self.job.target.table.rpm.size)
            return np.array([_between(self._rising_pa(at), values[:, at], pressure_pa) for at in columns])
        return _between(self.job.target.table.load_pa, values, pressure_pa)

    def at_idle(self, values: FloatArray, load_pa: float | None = None) -> float:
        """A value at the idle point, as the ECU reads it between the table's cells.

        Parameters
        ----------
        values
            Shape (loads, speeds).
        load_pa
            Where along the load axis, if not at the idle pressure itself, Pa.
        """
        engine = self.job.target.hardware.engine
        row = self.at_pressure(values, engine.idle_pressure_pa if load_pa is None else load_pa)
        return float(_between(self.job.target.table.rpm, row, engine.idle_rpm))

    def surely_pa(self, load_pa: float) -> float:
        """The lowest pressure that a row may be at, Pa: on an air-mass axis its `load_pa` is an estimate."""
        return load_pa / ESTIMATE_MARGIN if self.counts_air else load_pa

    @property
    def least_idle_pa(self) -> float:
        """Lowest manifold pressure of the table, at idle speed, Pa."""
        table = self.job.target.table
        if not self.by_throttle:
            return float(table.load_pa[0])
        lowest = np.array([self._rising_pa(at)[0] for at in range(table.rpm.size)])
        return float(_between(table.rpm, lowest, self.job.target.hardware.engine.idle_rpm))

    @property
    def load_begins_pa(self) -> float:
        """Manifold pressure from which the engine is at load, Pa."""
        if not self.counts_air:
            return AT_LOAD * self.barometer_pa
        rows = self.job.target.table.load_pa[self.at_load.any(axis=1)]
        return self.surely_pa(float(rows.min(initial=AT_LOAD * self.barometer_pa)))


def around(axis: FloatArray, value: float) -> list[int]:
    """Indices of the points of a rising axis on either side of a value; one at a point or beyond an end."""
    above = int(np.searchsorted(axis, value))
    if above < axis.size and axis[above] == value:
        return [above]
    return sorted({max(above - 1, 0), min(above, axis.size - 1)})


def _between(axis: FloatArray, values: FloatArray, at: float) -> FloatArray:
    """Interpolate along the first axis of `values`, held at the ends."""
    indices = around(axis, at)
    first, last = indices[0], indices[-1]
    if first == last:
        return np.asarray(values[first])
    share = (at - axis[first]) / (axis[last] - axis[first])
    return np.asarray(values[first] * (1.0 - share) + values[last] * share)
