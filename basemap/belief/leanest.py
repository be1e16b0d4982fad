"""The lean end of the band of many cells at once: how lean the leanest of them may be.

The lean end of a cell's own band is right for a cell that is chosen beforehand. But the engine finds the leanest cell,
and among many cells that do not vary together, one is beyond its own lean end far more often than any single cell is.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.belief.breathing import Believed
from basemap.belief.budget import COVERAGE, Budget
from basemap.model.band import LeanEnd
from basemap.model.installation import BoolArray, FloatArray

IndexArray = NDArray[np.intp]

SHARE = 0.5 * (1.0 + math.erf(COVERAGE / math.sqrt(2.0)))
"""Probability that no cell is leaner: 97.7 %, that of k = 2 on one side. For one cell it gives the end of its band."""

DRAWS = 2048
SEED = 20_260_601

MOST_CELLS = 512
"""If there are more cells, only the leanest of every stretch along the rows is taken, for its neighbours too."""

_PRECISION, _LEAST = 1e-4, 1e-12
"""Relative error to which the probability of being leaner is found, and the least probability that counts."""

_MOST_STEPS = 40

_BEYOND = 6.0
"""Standard deviations beyond which the leanest of `MOST_CELLS` cells lies with less than that probability."""

_TURNS = 5
"""Power iterations towards what the cells have most in common: any direction is correct, the best needs fewest draws.
"""

_NO_WIDTH = 1e-12
"""Half-width of ln λ that counts as no band."""


FactorOf = Callable[[tuple[IndexArray, ...]], FloatArray]
"""Indices of n cells → F with F·Fᵀ their correlations, shape (n, rank)."""


def lean_end(
    found: Budget, believed: Believed, band: FloatArray, expected: FloatArray, cells: BoolArray
) -> LeanEnd | None:
    """How lean the leanest of some cells may be (k = 2); `None` if no cell's mixture is known.

    Parameters
    ----------
    found
        The budget, for the inputs that vary in all cells together.
    believed
        How the target breathes, which varies from cell to cell.
    band
        Expanded uncertainty (k = 2) of ln λ as it is shown, shape (loads, speeds). It says how far a cell varies, and
        `found` how the cells vary together: so a short pulse keeps its width by Monte Carlo.
    expected
        Expected λ over the intended, shape (loads, speeds).
    cells
        Which cells, shape (loads, speeds).
    """
    return leanest_of(band, expected, cells, lambda chosen: _factor(found, believed, chosen))


def leanest_of(band: FloatArray, expected: FloatArray, cells: BoolArray, factor_of: FactorOf) -> LeanEnd | None:
    """As `lean_end`, with the factor of the cells' correlations given; the other arguments are as there."""
    with np.errstate(divide="ignore", invalid="ignore"):
        centre = np.log(expected)
    ends = np.where(cells, centre + band, np.nan)
    if np.isnan(ends).all():
        return None
    leanest = np.unravel_index(int(np.nanargmax(ends)), ends.shape)
    if not math.isfinite(ends[leanest]):  # no fuel, or none too often
        return LeanEnd(math.inf, (int(leanest[0]), int(leanest[1])))
    chosen = _leanest_of_each_stretch(ends)
    factor = factor_of(chosen) * (band[chosen] / COVERAGE)[:, np.newaxis]
    end = highest_end(centre[chosen], factor)
    # The cell that is most likely to be that lean.
    away = np.where(np.isfinite(ends), (end - centre) / np.maximum(band, _NO_WIDTH), np.inf)
    row, column = np.unravel_index(int(away.argmin()), away.shape)
    return LeanEnd(math.exp(end), (int(row), int(column)))


def highest_end(centre: FloatArray, factor: FloatArray) -> float:
    """Value below which the highest of n Gaussian quantities lies with probability `SHARE`.

    The part that they have most in common is treated exactly, and the rest is drawn: given the rest, all n lie below a
    value if the common part lies between two bounds, whose probability is that of the normal distribution. The result
    is exact if the quantities differ only in their means, or if one lies far above the others.

    Parameters
    ----------
    centre
        Means, shape (n,).
    factor
        F with F·Fᵀ their covariance, shape (n, rank).
    """
    width = np.sqrt(np.sum(factor**2, axis=1))
    if not width.any():
        return float(centre.max())
    together = factor.sum(axis=0)
    direction = together if together.any() else factor[int(width.argmax())]
    for _ in range(_TURNS):
        direction = factor.T @ (factor @ direction)
        direction /= np.sqrt(direction @ direction)
    half = np.random.default_rng(SEED).standard_normal((DRAWS // 2, factor.shape[1]))
    apart = (half - np.outer(half @ direction, direction)) @ factor.T
    # Each draw and its mirror image: so the means of the draws are exact.
    below = _AllBelow.of(centre + np.concatenate([apart, -apart]), factor @ direction)
    return _where(below, float((centre + COVERAGE * width).max()), float((centre + _BEYOND * width).max()))


@dataclass(frozen=True)
class _AllBelow:
    """Probability that rest + along·g lies below a value in all of n columns, g normal, mean over the rows of `rest`.

    Parameters
    ----------
    upper, lower
        Where `along` rises and falls: its inverse, shape (n′, 1), and rest/along, shape (n′, rows).
    still
        The highest of the columns that do not move with g, shape (rows,).
    """

    upper: tuple[FloatArray, FloatArray]
    lower: tuple[FloatArray, FloatArray]
    still: FloatArray

    @classmethod
    def of(cls, rest: FloatArray, along: FloatArray) -> _AllBelow:
        rises, falls = along > 0.0, along < 0.0
        # A column a row: the least of each draw is then found in all draws at once.
        upper, lower = (
            (1.0 / along[part, np.newaxis], np.ascontiguousarray((rest[:, part] / along[part]).T))
            for part in (rises, falls)
        )
        return cls(upper, lower, rest[:, ~(rises | falls)].max(axis=1, initial=-np.inf))

    def __call__(self, value: float) -> float:
        each, rest = self.upper
        found = _normal((value * each - rest).min(axis=0, initial=np.inf))
        each, rest = self.lower
        if each.size:
            found = np.maximum(found - _normal((value * each - rest).max(axis=0)), 0.0)
        return float(np.mean(found * (self.still <= value)))


def _where(below: Callable[[float], float], lowest: float, highest: float) -> float:
    """Value between two at which a rising probability is `SHARE`, by false position (the Illinois variant).

    It works on the logarithm of the probability left to 1, which is nearer to a straight line.
    """

    def off(value: float) -> float:
        return math.log((1.0 - SHARE) / max(1.0 - below(value), _LEAST))

    at_lowest, at_highest = off(lowest), off(highest)
    if at_lowest >= 0.0:
        return lowest
    was_below: bool | None = None
    for _ in range(_MOST_STEPS):  # about seven; few draws make a staircase, which is not met exactly
        middle = highest - at_highest * (highest - lowest) / (at_highest - at_lowest)
        at_middle = off(middle)
        if abs(at_middle) < _PRECISION:
            return middle
        is_below = at_middle < 0.0
        if is_below:
            lowest, at_lowest = middle, at_middle
            at_highest *= 0.5 if was_below is True else 1.0
        else:
            highest, at_highest = middle, at_middle
            at_lowest *= 0.5 if was_below is False else 1.0
        was_below = is_below
    return highest


def _normal(values: FloatArray) -> FloatArray:
    """The cumulative normal distribution, shape of the argument; numpy has none."""
    return 0.5 * np.array(list(map(math.erfc, (values / -math.sqrt(2.0)).tolist())))


def _leanest_of_each_stretch(ends: FloatArray) -> tuple[IndexArray, ...]:
    """Indices of the cells to look at: all that are known, or, of very many, the leanest of every stretch."""
    known = np.flatnonzero(np.isfinite(ends))
    stretches = np.array_split(known, MOST_CELLS) if known.size > MOST_CELLS else known[:, np.newaxis]
    flat = ends.ravel()
    return np.unravel_index([stretch[int(flat[stretch].argmax())] for stretch in stretches], ends.shape)


def _factor(found: Budget, believed: Believed, cells: tuple[IndexArray, ...]) -> FloatArray:
    """A factor of the cells' correlations, first order: a column for each shared input, then those of the field."""
    shared = np.array([entry.draw is None for entry in found.inputs], dtype=bool)
    parts = found.contributions.reshape(len(shared), -1)[:, np.ravel_multi_index(cells, found.contributions.shape[1:])]
    by_cell = [part[:, np.newaxis] * believed.unit_factor(cells) for part in parts[~shared]]
    factor = np.concatenate([parts[shared].T, *by_cell], axis=1)
    length = np.sqrt(np.sum(factor**2, axis=1))
    return np.asarray(factor / np.where(length > 0.0, length, 1.0)[:, np.newaxis])
