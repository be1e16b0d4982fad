"""The table after a drive: missing fuel is added everywhere, but fuel is taken out only where the drive supports it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from basemap.adaptation import controller
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import delivery
from basemap.belief.field import SCALES
from basemap.belief.update import At, Update, smooth_kernel
from basemap.belief.world import with_formula
from basemap.model.drive import DrivePoints
from basemap.model.installation import FloatArray

SUPPORT_NOISE = 0.02
"""Variance of one observation, where the kernel is 1: a single stretch supports its own cell by 98 %."""


@dataclass(frozen=True)
class Correction:
    """A corrected table, every array of shape (n,) like the cells that went in.

    Parameters
    ----------
    cells
        SI; NaN where no cell is possible.
    applied
        The part of the error of ln λ that was corrected: positive where fuel was added.
    support
        How far the visited points determine the cell, 0 to 1.
    """

    cells: FloatArray
    applied: FloatArray
    support: FloatArray


def support(found: Update, points: DrivePoints) -> FloatArray:
    """How far the visited points determine a cell by a unit kernel, from 0 (nothing near) to 1, shape (n,)."""
    seen = found.observations.drive.points
    if not seen.rpm.size:
        return np.zeros(points.rpm.size)
    here, there = found.prior.places(points), found.prior.places(seen)
    # Many stretches at one place support it no more than a few: a thinned set gives the same, and sooner.
    thin = slice(None, None, max(1, seen.rpm.size // 400))
    along = type(there)(there.speed[thin], there.pressure[thin])
    size = SCALES[0][1]
    among = smooth_kernel(along, along, *size) + SUPPORT_NOISE * np.eye(along.size)
    cross = smooth_kernel(here, along, *size)
    factor = np.linalg.cholesky(among)
    half = np.linalg.solve(factor, cross.T)
    return np.asarray(np.clip(np.sum(half**2, axis=0), 0.0, 1.0))


def correct(
    found: Update, at: At, points: DrivePoints, log_intended: FloatArray, extra_fuel: FloatArray, *, proved: bool
) -> Correction:
    """Correct cells for what the drives showed; `points` holds their commanded pulses.

    The mean error of ln λ is corrected in the fuel: in full where fuel is missing; where there is too much, in
    proportion to the support of the cell, and not at all until the probe is proved.

    Parameters
    ----------
    at
        The belief in ln λ at the cells.
    log_intended
        ln of the λ that the table is meant to give, shape (n,).
    extra_fuel
        Share by which the job wants cells richer than that, shape (n,).
    proved
        Whether the probe was proved at two points: a wrong scale cannot be seen in any log.
    """
    forward = found.prior.unknowns.forward
    world = found.prior.unknowns.world(found.amounts)
    held = support(found, points)
    off = at.mean - log_intended + np.log1p(extra_fuel)
    applied = np.where(off >= 0.0, off, off * held if proved else 0.0)
    settings = with_formula(forward.settings.new, world)
    told = settings.dead_time_s(points.battery_v)
    pulse = told + (points.pulse_s - told) * float(np.ravel(world.formula)[0])
    row = np.newaxis
    volts = points.battery_v[row, :]
    fitted = delivery(world.target, points.pressure_pa[row, :], points.rpm, volts)
    with np.errstate(invalid="ignore"):
        needed = fitted.pulse_s(fitted.fuel_kg(pulse[row, :]) * np.exp(applied))
    nominal = delivery(forward.job.target.hardware, points.pressure_pa[row, :], points.rpm, volts)
    sensed = Sensed(nominal.pressure_across_pa, forward.job.target.hardware.conditions.charge_temperature_k, volts)
    table = replace(forward.job.target.table, own_pressure_pa=points.pressure_pa[row, :])
    wanted = np.exp(log_intended)[row, :]
    cells = controller.cell_for(needed, table, wanted, settings, sensed)[0]
    return Correction(np.where(np.isfinite(cells) & (cells > 0), cells, np.nan), applied, held)
