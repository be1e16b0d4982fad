"""One factor that brings all cells within what the table can store, and the setting that compensates for it."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np

from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import Setting
from basemap.model.storage import grain, limits
from basemap.model.table import TableQuantity
from basemap.model.table_result import CommonFactor

_GROWS_AGAINST_CELL = ("displacement",)
"""Settings that lengthen the pulse: the larger they are entered, the smaller the cells."""
_SHRINKS_PULSE = ("static_flow", "stoichiometric")
"""Settings that shorten the pulse."""
DIGITS = 4
"""Significant digits of the number to enter."""


def common_factor(
    job: Job, cells: FloatArray, settings: tuple[Setting, ...], reachable: BoolArray
) -> CommonFactor | None:
    """The factor nearest to 1 that brings every cell between minimum and maximum; `None` if none is needed or helps.

    A volumetric-efficiency cell is multiplied by the displacement, and divided by flow and stoichiometric ratio, before
    any dead time is added: one of these gives back exactly what the factor takes from the cells. A pulse-width table
    has no such setting.

    Parameters
    ----------
    job
        Two installations and a table.
    cells
        The new table, unrounded, in the unit shown.
    settings
        The settings to enter.
    reachable
        Cells that the target can reach: a factor is offered only if one of these does not fit.
    """
    low, high = limits(job.storage, job.target.shown)
    half = 0.5 * grain(job.storage, job.target.shown) * (1 + 1e-9)
    wanted = cells[np.isfinite(cells) & (cells > 0)]
    judged = cells[np.isfinite(cells) & (cells > 0) & reachable]
    if not judged.size or job.target.table.quantity is not TableQuantity.VOLUMETRIC_EFFICIENCY:
        return None
    above = high is not None and float(judged.max()) > high + half
    below = low is not None and float(judged.min()) < low - half
    if above == below:
        return None
    # Cells pass exactly one of the two ends.
    needed = high / float(wanted.max()) if above and high is not None else (low or 0.0) / float(wanted.min())
    found = _taken_back(settings, needed)
    if found is None:
        return None
    ends = found.factor * float(wanted.min()), found.factor * float(wanted.max())
    fits = (low is None or ends[0] >= low - half) and (high is None or ends[1] <= high + half)
    return found if fits else None


def _taken_back(settings: tuple[Setting, ...], needed: float) -> CommonFactor | None:
    """The first setting that can be entered, rounded in the direction in which every cell still fits."""
    for name in (*_GROWS_AGAINST_CELL, *_SHRINKS_PULSE):
        row = next((one for one in settings if one.name == name), None)
        if row is None or not isinstance(row.enter, float) or row.enter <= 0:
            continue
        grows = name in _GROWS_AGAINST_CELL
        exact = row.enter / needed if grows else row.enter * needed
        enter = _rounded(exact, up=(needed < 1.0) == grows)
        factor = row.enter / enter if grows else enter / row.enter
        return CommonFactor(factor, name, row.unit, enter)
    return None


def _rounded(value: float, *, up: bool) -> float:
    number = Decimal(repr(value))
    digit = Decimal(1).scaleb(number.adjusted() - DIGITS + 1)
    return float(number.quantize(digit, ROUND_CEILING if up else ROUND_FLOOR))
