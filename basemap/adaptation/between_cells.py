"""The mixture between the breakpoints: the ECU reads its cells bilinearly, but the engine's air is not bilinear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.adaptation.hardware import delivery
from basemap.adaptation.outcomes import AT_ONCE, OnTarget, row_blocks
from basemap.model.axes import halfway, halfway_all, halfway_grid
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.settings import Settings
from basemap.model.table_result import Between


def between_cells(job: Job, air_kg: FloatArray, cells: FloatArray, settings: Settings, reachable: BoolArray) -> Between:
    """λ actual / λ intended half way between neighbouring cells.

    The engine needs the fuel for the interpolated volumetric efficiency (air over pressure, or over the air that an
    air-mass axis states), with the intended λ and the dead time at that speed and pressure. It gets the pulse that the
    ECU commands for the interpolated cell and intended λ.

    Parameters
    ----------
    job
        Two installations and a table.
    air_kg
        Of one target cylinder in a cycle, shape (loads, speeds), kg.
    cells
        The table as stored, SI, same shape.
    settings
        In force in the target's ECU.
    reachable
        Cells that the target can reach; a point between them counts as reachable if all its neighbours are.
    """
    table = job.target.table
    points, load, rpm = table.points.halfway(), halfway(table.load_pa), halfway(table.rpm)
    intended = np.broadcast_to(table.intended_lambda, cells.shape)
    ratio = np.empty((load.size, rpm.size))
    # In blocks: intermediate arrays four times the size of the table would fill the memory.
    for part in row_blocks(cells.shape, AT_ONCE // 4):
        # With the row after the block: the points behind the last row of the block lie between the two.
        own, finer = slice(part.start, part.stop + 1), slice(2 * part.start, min(2 * part.stop, load.size))

        def fine(values: FloatArray, own: slice = own, count: int = finer.stop - finer.start) -> FloatArray:
            return halfway_grid(values[own])[:count]

        read = replace(
            table,
            rpm=rpm,
            load_pa=load[finer],
            own_points=points.rows(finer),
            own_pressure_pa=None if table.own_pressure_pa is None else fine(table.own_pressure_pa),
            values=fine(cells),
            intended_lambda=fine(intended),
        )
        air = halfway_grid(air_kg[own] / table.points.charge[own, np.newaxis])[: finer.stop - finer.start]
        at = delivery(job.target.hardware, read.pressure_pa, read.rpm, read.battery_v)
        on = OnTarget(job.with_side("target", table=read), air * read.points.charge[:, np.newaxis], at)
        ratio[finer] = on.lambda_ratio(read.values, read.intended_lambda, settings)
    np.copyto(ratio, np.nan, where=~halfway_all(reachable))
    return Between(rpm, load, halfway(job.target.shown.load), ratio)
