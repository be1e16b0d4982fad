"""A band on λ where a further table of pulses is used: while the engine cranks, dead time is much of the pulse."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.further_tables import run_of
from basemap.belief.breathing import Believed, without
from basemap.belief.budget import budget
from basemap.belief.monte_carlo import SHORT_PULSE_SAMPLES, Drawing, half_width, simulate
from basemap.belief.world import Forward, nominal
from basemap.constants import LEAN_STOP
from basemap.model.further_table import FurtherBand, FurtherQuantity, FurtherResult
from basemap.model.job import Job
from basemap.model.result import Computed


def further_bands(computed: Computed, drawing: Drawing | None = None) -> dict[str, FurtherBand]:
    """The bands of all further tables of pulses, by name; other tables mean the same on any engine."""
    pulses = (found for found in computed.further_tables if found.quantity is FurtherQuantity.PULSE_WIDTH)
    believed = Believed.again(computed.job, computed.table.breathing)
    return {found.name: further_band(computed.job, found, drawing, believed) for found in pulses}


def further_band(
    job: Job, found: FurtherResult, drawing: Drawing | None = None, believed: Believed | None = None
) -> FurtherBand:
    """The band of a further table: first order, and Monte Carlo for short pulses or on request.

    Parameters
    ----------
    job
        The whole job.
    found
        One of its further tables of pulses, adapted.
    drawing
        A requested Monte Carlo run; it is drawn for every cell.
    believed
        How the target breathes in its main table, if that has been worked out already.
    """
    shape = found.new.shape
    run = run_of(job, found.table, found.in_force)
    forward = Forward(run.job, run.settings, (believed or Believed.of(job)).at(run.job))
    loaded = forward.new((found.new * found.table.shown.per_unit).reshape(run.air_kg.shape))
    first = budget(run.job, forward, loaded)
    # A cell that is meant to deliver nothing has no mixture.
    known = np.isfinite(first.expanded) & (run.air_kg > 0)
    band = np.where(known, first.expanded, np.nan)
    simulated = known & (np.True_ if drawing else first.short_pulses)
    if simulated.any():
        asked = drawing or Drawing(SHORT_PULSE_SAMPLES)
        drawn = simulate(run.job, forward, loaded, asked.samples, asked.seed, LEAN_STOP, inputs=first.inputs)
        central = forward.lambda_ratio(loaded, nominal(run.job))
        band = np.where(simulated, half_width(drawn, central), band)
    return FurtherBand(
        expanded=band.reshape(shape),
        of_parts=without(forward.believed, band).reshape(shape),
        simulated=simulated.reshape(shape),
        inputs=tuple(entry.name for entry in first.inputs),
        shares=np.where(known, first.shares, np.nan).reshape(len(first.inputs), *shape),
    )
