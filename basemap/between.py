"""The mixture between the breakpoints: the ECU reads the stored cells bilinearly, the engine's air does not follow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.model.axes import halfway, halfway_all, halfway_grid
from basemap.model.ecu import Settings
from basemap.model.hardware import delivery
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import Between
from basemap.outcomes import OnTarget


def between_cells(job: Job, air_kg: FloatArray, cells: FloatArray, settings: Settings, reachable: BoolArray) -> Between:
    """λ actual / λ intended half way between neighbouring cells.

    The need is that of the interpolated volumetric efficiency (air over pressure, on an air-mass axis over what the
    axis states), the intended λ and the dead time at that speed and pressure; the pulse is what the ECU makes of the
    interpolated cell and intended λ there.

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
        Cells that the target can reach; a point between is one where all its neighbours are.
    """
    table = job.target_table
    points = table.points.halfway()
    rpm, load = halfway(table.rpm), halfway(table.load_pa)
    fine = replace(
        table,
        rpm=rpm,
        load_pa=load,
        own_points=points,
        own_pressure_pa=None if table.own_pressure_pa is None else halfway_grid(table.own_pressure_pa),
        values=halfway_grid(cells),
        intended_lambda=halfway_grid(np.broadcast_to(table.intended_lambda, cells.shape)),
    )
    air = halfway_grid(air_kg / table.points.charge[:, np.newaxis]) * points.charge[:, np.newaxis]
    at = delivery(job.target, fine.pressure_pa, fine.rpm, fine.battery_v)
    on = OnTarget(replace(job, target_table=fine), air, at)
    ratio = on.lambda_ratio(fine.values, fine.intended_lambda, settings)
    np.copyto(ratio, np.nan, where=~halfway_all(reachable))
    return Between(rpm, load, halfway(job.shown.load), ratio)
