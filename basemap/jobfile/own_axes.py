"""The axes of the target's table: the donor's, on the target's barometer and cylinders, or points of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from basemap.jobfile.load_axis import KEY, LoadScale, rising_points
from basemap.jobfile.schema import TargetTable
from basemap.jobfile.side import StatedSide
from basemap.jobfile.table import HIGHEST_RPM, MOST_CELLS, ReadTable, check_loads
from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import Job

if TYPE_CHECKING:
    from basemap.tables.grid import GridLayout


def target_grid(
    target: StatedSide, own: TargetTable, donor_grid: ReadTable, donor_axis: LoadScale, axis: LoadScale
) -> ReadTable:
    """The target's empty table.

    Parameters
    ----------
    own
        What the job says of the target's table.
    donor_grid, donor_axis
        The donor's table and what its load axis means.
    axis
        The same axis on the target.
    """
    load = _loads(own, donor_grid, donor_axis, axis)
    pressure = axis.pressure_pa(load)
    key = "load_points" if own.load_points else "load_unit" if own.load_unit else "load_points"
    file, place = target.record.file, target.place(f"{KEY}.{key}")
    check_loads(axis, load, pressure, file=file, place=place)
    rpm = _speeds(target, own, donor_grid)
    if load.size * rpm.size > MOST_CELLS:
        raise target.error(
            f"{KEY}.{'load_points' if own.load_points else 'rpm_points'}",
            f"the table would have {load.size} × {rpm.size} cells: expected at most {MOST_CELLS}, more than any "
            "controller's table has",
        )
    return ReadTable(
        rpm=rpm,
        load_pa=pressure,
        points=axis.points(load, donor_axis),
        values=np.full((load.size, rpm.size), np.nan),
        shown=replace(donor_grid.shown, load=load, load_unit=axis.unit),
        layout=_layout(donor_grid, rpm, load, axis.unit),
    )


def intended_on_axes(target: StatedSide, job: Job) -> FloatArray:
    """The donor's intended lambda on the target's axes.

    It stays cell for cell where its table does, or where it is looked up by the same pressures. Else it is read at the
    similar points, and not beyond its top row: what was meant at one load says nothing of a higher one.
    """
    donor = job.donor.table
    stays = job.keeps_axes and donor.points.axis is not LoadAxis.AIR_MASS
    if stays or job.cell_for_cell:
        return donor.intended_lambda
    reading = job.at_similar_points
    top = reading.beyond_top_row
    if top.any():
        first = int(np.flatnonzero(top)[0])
        raise target.error(
            f"{KEY}.lambda",
            f"missing: the row at {_load(job, first)} lies above the donor's top row, "
            f"{_donor_top(job)}, and an intended mixture is not held beyond its table: "
            "give the lambda that the target shall run, a number or a file",
        )
    return reading.of(donor.intended_lambda)


def _load(job: Job, row: int) -> str:
    return f"{job.target.shown.load[row]:.5g} {job.target.shown.load_unit}"


def _donor_top(job: Job) -> str:
    """The donor's top row; on an air-mass axis, as much air as is similar in the target's cylinders."""
    shown = job.donor.shown or job.target.shown
    said = f"{shown.load[-1]:.5g} {shown.load_unit}"
    if job.donor.table.points.axis is not LoadAxis.AIR_MASS:
        return said
    scale = job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3
    return f"{said}, which is {shown.load[-1] * scale:.5g} {shown.load_unit} in the target's cylinders"


def _loads(own: TargetTable, donor_grid: ReadTable, donor_axis: LoadScale, axis: LoadScale) -> FloatArray:
    if own.load_points is not None:
        return rising_points(axis, np.array(own.load_points))
    if axis == donor_axis:
        return donor_grid.shown.load
    return donor_axis.converted(donor_grid.shown.load, axis)


def _speeds(target: StatedSide, own: TargetTable, donor_grid: ReadTable) -> FloatArray:
    if own.rpm_points is None:
        return donor_grid.rpm
    rpm = np.array(own.rpm_points)
    for speed in rpm:
        if not 0 < speed < HIGHEST_RPM:
            raise target.error(
                f"{KEY}.rpm_points",
                f"an engine speed of {speed:g} is not possible: expected rev/min above 0 and below {HIGHEST_RPM:.0f}",
            )
    return np.sort(rpm)


def _layout(donor_grid: ReadTable, rpm: FloatArray, load: FloatArray, unit: str) -> GridLayout:
    layout: GridLayout = donor_grid.layout  # type: ignore[assignment]
    if donor_grid.named_unit is not None and unit != donor_grid.shown.load_unit:
        layout = layout.with_load_unit(donor_grid.named_unit, unit)
    if np.array_equal(rpm, donor_grid.rpm) and np.array_equal(load, donor_grid.shown.load):
        return layout
    return layout.with_axes(rpm, np.sort(load))
