"""Where to drive next: the points at which knowing the mixture would narrow the table's band most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.belief.unknowns import Drive
from basemap.belief.update import Update
from basemap.model.installation import BoolArray, FloatArray

MOST = 3
ONE_STOP = 0.010**2
"""Variance of ln λ as some seconds at one point show it."""


@dataclass(frozen=True)
class NextPoint:
    """A point to drive: its cell's number, and the share of the table's variance that goes away."""

    index: int
    narrows: float


def next_points(found: Update, cells: Drive, counts: BoolArray, allowed: BoolArray) -> tuple[NextPoint, ...]:
    """Choose up to three points, each one best once those before it are known.

    Parameters
    ----------
    cells
        The cells of the table.
    counts
        Cells whose variance counts: those that can be reached.
    allowed
        Cells that may be driven with the table as it is.
    """
    left = found.covariance(cells, cells)
    left = np.where(np.isfinite(left), left, 0.0)
    total = float(np.trace(left[np.ix_(counts, counts)]))
    chosen: list[NextPoint] = []
    if not allowed.any() or total <= 0.0:
        return ()
    for _ in range(MOST):
        gain: FloatArray = np.sum(left[counts, :] ** 2, axis=0) / (np.diag(left) + ONE_STOP)
        gain = np.where(allowed, gain, -1.0)
        best = int(gain.argmax())
        if gain[best] < 0.02 * total:
            break
        chosen.append(NextPoint(best, float(gain[best] / total)))
        left = left - np.outer(left[:, best], left[best, :]) / (left[best, best] + ONE_STOP)
    return tuple(chosen)
