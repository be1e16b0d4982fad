"""Monte Carlo through the same forward model (JCGM 101:2008), on whole arrays and in bounded memory."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from basemap.belief.budget import moved
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.spreads import RECTANGLE
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import Forward, Loaded, nominal
from basemap.model.installation import FloatArray
from basemap.model.job import Job

CELLS_AT_ONCE = 200_000
"""Samples × cells in one array: to fit the processor's cache matters more than to have few passes."""

BINS = np.linspace(-1.5, 1.5, 3001)
"""Edges of the bins of ln λ for quantiles, 0.001 apart (0.1 % of λ), with interpolation between; ±∞ beyond them."""

COVERED = (0.025, 0.975)

SHORT_PULSE_SAMPLES = 4_000
"""Worlds drawn for the rows with short pulses by default: enough for 2 % of the band's own width."""

SEED = 20_240_601


class Drawing(NamedTuple):
    """A Monte Carlo run that was asked for: how many worlds, from which seed, and who is told how far it is."""

    samples: int
    seed: int = SEED
    progress: Callable[[int], None] | None = None


class Distribution(NamedTuple):
    """The distribution of λ actual / λ intended in every cell, shape (loads, speeds).

    Parameters
    ----------
    samples
        How many worlds were drawn.
    mean, standard
        Of λ actual / λ intended, over the samples that deliver any fuel.
    low, high
        The probabilistically symmetric 95 % interval; +∞ where that share of the samples delivers no fuel.
    leaner
        Probability of being leaner than `limit`.
    no_fuel
        Share of the samples that deliver no fuel.
    """

    samples: int
    limit: float
    mean: FloatArray
    standard: FloatArray
    low: FloatArray
    high: FloatArray
    leaner: FloatArray
    no_fuel: FloatArray

    def each(self, change: Callable[[FloatArray], FloatArray]) -> Distribution:
        """The distribution with every array changed."""
        arrays = (self.mean, self.standard, self.low, self.high, self.leaner, self.no_fuel)
        return Distribution(self.samples, self.limit, *(change(values) for values in arrays))


def simulate(
    job: Job,
    forward: Forward,
    loaded: Loaded,
    samples: int,
    seed: int,
    limit: float = 1.10,
    progress: Callable[[int], None] | None = None,
    inputs: tuple[Uncertain, ...] | None = None,
) -> Distribution:
    """Draw worlds and run each through the forward model.

    Parameters
    ----------
    samples, seed
        How many worlds, and where the generator (PCG64) starts.
    limit
        λ ratio whose exceedance is counted.
    progress
        Called with the number of samples done.
    inputs
        The uncertain inputs; those of the job unless given.
    """
    inputs = uncertain_inputs(job, forward.believed) if inputs is None else inputs
    random = np.random.default_rng(seed)
    shape = loaded.cells.shape
    tally = _Tally.empty(shape)
    chunk = max(1, CELLS_AT_ONCE // loaded.cells.size)
    for start in range(0, samples, chunk):
        count = min(chunk, samples - start)
        world = moved(nominal(job), inputs, draw(inputs, count, random))
        tally.add(forward.lambda_ratio(loaded, world), limit)
        if progress is not None:
            progress(start + count)
    return tally.spread(samples, limit)


def half_width(drawn: Distribution, central: FloatArray) -> FloatArray:
    """Half-width of ln λ by Monte Carlo: the longer side of the interval, so that no lean tail is averaged away."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.maximum(np.log(drawn.high / central), np.log(central / drawn.low)))


def draw(inputs: tuple[Uncertain, ...], count: int, random: np.random.Generator) -> list[FloatArray]:
    """Amounts by which every input is off: rectangles and normals, shape (samples, 1, 1), or one for each cell."""
    amounts = []
    for entry in inputs:
        if entry.draw is not None:
            amounts.append(entry.draw(count, random))
            continue
        unit = random.uniform(-RECTANGLE, RECTANGLE, count) if entry.rectangular else random.standard_normal(count)
        amounts.append((entry.standard * unit)[:, np.newaxis, np.newaxis])
    return amounts


@dataclass
class _Tally:
    """Running sums and a histogram of ln λ per cell: memory does not grow with the samples."""

    delivered: FloatArray
    sums: FloatArray
    squares: FloatArray
    leaner: FloatArray
    unknown: FloatArray
    histogram: FloatArray

    @classmethod
    def empty(cls, shape: tuple[int, ...]) -> _Tally:
        histogram = np.zeros((BINS.size + 1, int(np.prod(shape))))
        return cls(np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape), histogram)

    def add(self, ratio: FloatArray, limit: float) -> None:
        known, flows = ~np.isnan(ratio), np.isfinite(ratio)
        finite = np.where(flows, ratio, 0.0)
        self.delivered += flows.sum(axis=0)
        # Sums about 1, near which λ ratios lie: then no digits cancel.
        centred = np.where(flows, finite - 1.0, 0.0)
        self.sums += centred.sum(axis=0)
        self.squares += (centred**2).sum(axis=0)
        self.leaner += (known & (ratio > limit)).sum(axis=0)
        self.unknown += (~known).sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            bins = np.searchsorted(BINS, np.log(np.where(known, ratio, 1.0)), side="right")
        cells = self.histogram.shape[1]
        flat = bins.reshape(len(ratio), cells) * cells + np.arange(cells)
        counted = np.bincount(flat[known.reshape(len(ratio), cells)], minlength=self.histogram.size)
        self.histogram += counted.reshape(self.histogram.shape)

    def spread(self, samples: int, limit: float) -> Distribution:
        known = samples - self.unknown
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = self.sums / self.delivered
            variance = np.maximum(self.squares / self.delivered - mean**2, 0.0)
            share = np.where(known > 0, 1.0 / known, np.nan)
        low, high = (self._quantile(q, known) for q in COVERED)
        return Distribution(
            samples=samples,
            limit=limit,
            mean=1.0 + mean,
            standard=np.sqrt(variance),
            low=low,
            high=high,
            leaner=self.leaner * share,
            no_fuel=(known - self.delivered) * share,
        )

    def _quantile(self, share: float, known: FloatArray) -> FloatArray:
        """λ ratio below which a share of the samples lies, interpolated within its bin."""
        below = np.cumsum(self.histogram, axis=0)
        wanted = share * known.reshape(-1)
        index = np.argmax(below >= wanted, axis=0)
        cells = np.arange(below.shape[1])
        before = np.where(index > 0, below[index - 1, cells], 0.0)
        inside = self.histogram[index, cells]
        edges = np.concatenate([[-np.inf], BINS, [np.inf]])
        left, right = edges[index], edges[index + 1]
        # Beyond the histogram an end is ±∞: it is not guessed.
        with np.errstate(divide="ignore", invalid="ignore"):
            value = left + (wanted - before) / inside * (right - left)
        value = np.where(np.isneginf(left), -np.inf, np.where(np.isposinf(right), np.inf, value))
        result = np.where(wanted > 0, np.exp(value), np.nan)
        return np.asarray(result.reshape(known.shape))
