"""The budget: a band on λ in every cell, first order, and which measurement would narrow it most.

``u² = Σ (∂ln λ/∂x)²·u(x)²`` (JCGM 100:2008, equation 10), with the derivatives of the one forward model taken by
central differences. Expanded with k = 2.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from basemap.belief.inputs import uncertain_inputs
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import Forward, Loaded, World, nominal
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job

COVERAGE = 2.0
STEP = 1e-4
"""Central-difference step in standard uncertainties: its truncation error is of order (u·STEP)², 1e-8 at worst."""

SHORT = 0.1
"""u(t_eff)/t_eff above which first order no longer holds.

Of a normal pulse the lean end, 1/(1 − 1.96·u), is 24 % at a tenth, where first order says 20 %; at a fifth it is 64 %
instead of 40 %.
"""


class Budget(NamedTuple):
    """Every input's share of the band on λ.

    Parameters
    ----------
    inputs
        The uncertain inputs, k of them.
    contributions
        ∂ln λ/∂x · u(x), signed, shape (k, loads, speeds); NaN where λ is not known.
    """

    inputs: tuple[Uncertain, ...]
    contributions: FloatArray

    @property
    def standard(self) -> FloatArray:
        """Combined standard uncertainty of λ, relative, shape (loads, speeds)."""
        return np.asarray(np.sqrt(np.sum(self.contributions**2, axis=0)))

    @property
    def expanded(self) -> FloatArray:
        """Expanded uncertainty of λ (k = 2), relative, shape (loads, speeds)."""
        return COVERAGE * self.standard

    @property
    def shares(self) -> FloatArray:
        """Share of each input in the variance, shape (k, loads, speeds); 0 where there is none."""
        total = np.sum(self.contributions**2, axis=0)
        return np.asarray(
            np.divide(self.contributions**2, total, out=np.zeros_like(self.contributions), where=total > 0)
        )

    @property
    def short_pulses(self) -> BoolArray:
        """Cells whose effective pulse is uncertain by more than a tenth, so that first order is not enough."""
        moving = [row for entry, row in zip(self.inputs, self.contributions, strict=True) if entry.moves_pulse]
        return np.asarray(np.sqrt(np.sum(np.square(moving), axis=0)) > SHORT)

    def standard_if_measured(self, cell: tuple[int, int]) -> FloatArray:
        """Combined standard uncertainty of a cell if one input were carefully measured, for each input, shape (k,)."""
        scale = np.ones((len(self.inputs), len(self.inputs)))
        np.fill_diagonal(scale, [entry.standard_if_measured / entry.standard for entry in self.inputs])
        return np.asarray(np.sqrt(np.sum((self.contributions[:, *cell, np.newaxis] * scale) ** 2, axis=0)))


def budget(job: Job, forward: Forward, loaded: Loaded, inputs: tuple[Uncertain, ...] | None = None) -> Budget:
    """The budget of one table with its settings.

    Parameters
    ----------
    forward
        The job's forward model, settings frozen.
    loaded
        The table and settings whose λ is asked for.
    inputs
        What is uncertain, if that has been worked out already.
    """
    (found,) = budgets(job, forward, (loaded,), inputs)
    return found


def budgets(
    job: Job, forward: Forward, several: Sequence[Loaded], inputs: tuple[Uncertain, ...] | None = None
) -> list[Budget]:
    """The budgets of several tables with their settings, as `budget` has them: their worlds are worked out once."""
    inputs = uncertain_inputs(job, forward.believed) if inputs is None else inputs

    def log_ratios(world: World) -> list[FloatArray]:
        with np.errstate(invalid="ignore", divide="ignore"):
            return [np.asarray(np.log(ratio)) for ratio in forward.lambda_ratios(several, world)]

    each = slopes(log_ratios, nominal(job), inputs)
    return [Budget(inputs, np.where(np.isfinite(found), found, np.nan)) for found in each]


def slopes(
    outcomes: Callable[[World], list[FloatArray]], world: World, inputs: tuple[Uncertain, ...]
) -> list[FloatArray]:
    """∂y/∂x · u(x) of each outcome by every input, by central differences, all in one pass; each of shape (k, …).

    An input that both sides share moves both at once, so the result is its net effect (GUM 5.2).
    """
    if not inputs:
        return [np.zeros((0, *outcome.shape)) for outcome in outcomes(world)]
    each = np.arange(len(inputs))
    standards = np.array([entry.standard for entry in inputs])
    steps = np.zeros((len(inputs), 2 * len(inputs), 1, 1))
    steps[each, 2 * each, 0, 0] = STEP * standards
    steps[each, 2 * each + 1, 0, 0] = -STEP * standards
    found = outcomes(moved(world, inputs, steps))
    with np.errstate(invalid="ignore"):
        return [np.asarray((values[0::2] - values[1::2]) / (2.0 * STEP)) for values in found]


def moved(world: World, inputs: tuple[Uncertain, ...], amounts: Sequence[FloatArray] | FloatArray) -> World:
    """A world with every input moved; the amounts of each have shape (samples, 1, 1), or one for each cell."""
    for entry, by in zip(inputs, amounts, strict=True):
        world = entry.shift(world, by)
    return world
