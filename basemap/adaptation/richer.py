"""Cells at load written richer than intended, because nobody has measured the engine yet."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.chain import encode
from basemap.model.axes import FULL_LOAD_EFFICIENCY, LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.settings import InForce
from basemap.model.storage import stored
from basemap.model.table_result import Richer

BEGINS, IN_FULL = 0.6, 0.8
"""Shares of the barometer between which the share of extra fuel rises from nothing to what the job asks for."""


def richer_at_load(job: Job, settings: InForce, air_kg: FloatArray) -> Richer | None:
    """The table to load if the job asks for richer cells at load; `None` if it does not.

    Parameters
    ----------
    air_kg
        Of the target, shape (loads, speeds).
    """
    if not job.richer_at_load:
        return None
    share = extra_fuel(job)
    encoded = encode(job, settings, air_kg * (1.0 + share))
    cells = encoded.cells / job.target.shown.per_unit
    kept = stored(cells, job.storage, job.target.shown)
    return Richer(share, cells, kept, encoded.chain.pulse_s, encoded.chain.duty)


def extra_fuel(job: Job) -> FloatArray:
    """The share of extra fuel in every cell, shape (loads, speeds); all of it where the pressure is not known."""
    table, barometer_pa = job.target.table, job.target.hardware.conditions.barometer_pa
    if table.points.axis is LoadAxis.AIR_MASS:
        barometer_pa *= FULL_LOAD_EFFICIENCY  # the estimated pressure of a row leaves out the volumetric efficiency
    ramp = np.clip((table.pressure_pa / barometer_pa - BEGINS) / (IN_FULL - BEGINS), 0.0, 1.0)
    return np.asarray(job.richer_at_load * np.nan_to_num(np.broadcast_to(ramp, table.values.shape), nan=1.0))
