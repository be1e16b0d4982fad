"""Pairs of engines whose truth is known: one donor's map, and targets that breathe as is drawn.

Every uncertain input of the job is drawn by its spread; ln B, how the target truly breathes, either from the very field
that the program believes in, or of another making. The makers' figures of the target are those of its truth, with 5 %
of error for each engine. Nothing of the truth is told to the program but those figures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from basemap.adaptation.outcomes import places
from basemap.adaptation.pipeline import adapt
from basemap.adaptation.regions import Regions
from basemap.belief.breathing import field_of, points_of
from basemap.belief.budget import moved
from basemap.belief.evidence import ALIKE, OF_ONE_FIGURE
from basemap.belief.field import SPREADS, Field, Points
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.monte_carlo import draw
from basemap.belief.world import Forward, nominal
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Likeness
from basemap.model.result import Result
from basemap.physics import work

POWER_RPM, TORQUE_RPM = 6200.0, 4500.0
FIGURES = Points.at(np.array([POWER_RPM, TORQUE_RPM]), 1.0)
PLACES = ("idle", "cruise", "wide open")
DONOR_PRESSURE_PA = 13.4e5
"""Indicated mean effective pressure of the donor at a volumetric efficiency of 1, invented."""

_AT_ONCE = 250

Truth = Callable[[Points, Likeness, int, np.random.Generator], FloatArray]
"""So many draws of ln B at some points, of a likeness' size, shape (draws, points)."""


def from_the_field(points: Points, likeness: Likeness, count: int, random: np.random.Generator) -> FloatArray:
    """Drawn from what the program believes."""
    factor = Field(SPREADS[likeness]).factor(points)
    return np.asarray(random.standard_normal((count, factor.shape[1])) @ factor.T)


def cam_switch(points: Points, likeness: Likeness, count: int, random: np.random.Generator) -> FloatArray:
    """More on one side of a speed than on the other."""
    switch = np.log(random.uniform(2500.0, 5500.0, (count, 1)))
    shape = random.standard_normal((count, 1)) * np.where(points.speed > switch, 1.0, -1.0)
    return _of_another_making(shape, points, likeness, random)


def step_over_load(points: Points, likeness: Likeness, count: int, random: np.random.Generator) -> FloatArray:
    """One efficiency at light load, another at load."""
    step = np.log(random.uniform(0.5, 0.9, (count, 1)))
    at_load, at_light = random.standard_normal((2, count, 1))
    return _of_another_making(np.where(points.pressure > step, at_load, at_light), points, likeness, random)


def tilt(points: Points, likeness: Likeness, count: int, random: np.random.Generator) -> FloatArray:
    """More with every doubling of the speed: as large as the field 0.6 of ln N from 3000 rpm, twice that at 900."""
    shape = random.standard_normal((count, 1)) * (points.speed - np.log(3000.0)) / 0.6
    return _of_another_making(shape, points, likeness, random)


def _of_another_making(
    shape: FloatArray, points: Points, likeness: Likeness, random: np.random.Generator
) -> FloatArray:
    """A factor on all, a smooth part of another shape, and what light load makes; each as large as the field's."""
    spread, (common, light) = SPREADS[likeness], random.standard_normal((2, len(shape), 1))
    return np.asarray(spread.common * common + spread.smooth * shape + spread.part_load * light * points.part_load)


def of_another_making(points: Points, likeness: Likeness, count: int, random: np.random.Generator) -> FloatArray:
    """A cam that switches, a step over load and a tilt, a third of each."""
    kinds = (cam_switch, step_over_load, tilt)
    shares = [len(part) for part in np.array_split(np.arange(count), len(kinds))]
    each = [kind(points, likeness, share, random) for kind, share in zip(kinds, shares, strict=True)]
    return random.permutation(np.concatenate(each))


@dataclass(frozen=True)
class Drawn:
    """Truths of one job, n of them, as arrays.

    Parameters
    ----------
    parts
        ln λ over what is expected by what may be wrong with parts and readings, shape (n, loads, speeds).
    breathes
        ln B in the cells, shape (n, loads, speeds).
    observed
        ln B as the makers' figures have it, shape (n, 2).
    """

    parts: FloatArray
    breathes: FloatArray
    observed: FloatArray


def drawn(job: Job, truth: Truth, count: int, random: np.random.Generator) -> Drawn:
    """Draw truths of a job."""
    forward, cells = Forward.of(job), points_of(job)
    own = tuple(entry for entry in uncertain_inputs(job, forward.believed) if entry.draw is None)
    loaded = forward.new(adapt(job).table.new * job.target.shown.per_unit)
    central = np.log(forward.lambda_ratio(loaded, nominal(job)))
    parts = []
    for start in range(0, count, _AT_ONCE):
        some = min(_AT_ONCE, count - start)
        world = moved(nominal(job), own, draw(own, some, random))
        parts.append(np.log(forward.lambda_ratio(loaded, world)) - central)
    both = Points(np.append(cells.speed, FIGURES.speed), np.append(cells.pressure, FIGURES.pressure))
    breathes = truth(both, job.likeness, count, random)
    noise = 2.0 * OF_ONE_FIGURE**2 * np.array([[1.0, ALIKE], [ALIKE, 1.0]])
    off = random.standard_normal((count, 2)) @ np.linalg.cholesky(noise).T
    shape = job.target.table.values.shape
    return Drawn(
        np.concatenate(parts), breathes[:, : cells.size].reshape(count, *shape), breathes[:, cells.size :] + off
    )


@dataclass(frozen=True)
class Held:
    """What the program says of many pairs, held against their truth.

    Parameters
    ----------
    inside
        Place → share of the pairs whose truth lay within the k = 2 band.
    leanest
        True λ over the intended of the leanest cell at load without any evidence in the cells, shape (n,).
    end
        Lean end of the leanest cell at load, exp(m + 2u), without any evidence in the cells, shape (n,).
    """

    inside: dict[str, float]
    leanest: FloatArray
    end: FloatArray


def held(result: Result, truths: Drawn, with_figures: bool) -> Held:
    """The bands and lean ends of a job, and of pairs that share its budget.

    What evidence says of a cell is linear in what was observed, and how sure it is depends on no value: the belief of
    each pair is that of `result`, with the mean that its own figures give.
    """
    job, band = result.job, result.band.adapted
    believed = result.table.breathing
    mean = np.broadcast_to(believed.mean, truths.breathes.shape)
    if with_figures:
        assert len(believed.evidence) == FIGURES.size
        mean = np.tensordot(truths.observed, _gain(result), axes=1) + believed.expected
    inside = np.abs(truths.parts + truths.breathes - mean) <= band
    at_load = Regions(result).at_load
    central = np.log(result.table.lambda_ratio["new_table_new_settings"])
    lean = (central + truths.parts + truths.breathes)[:, at_load].max(axis=1)
    end = (central + mean + band)[:, at_load].max(axis=1)
    at = {name: place.cell for name, place in places(job).items()}
    return Held({name: float(inside[(slice(None), *at[name])].mean()) for name in PLACES}, np.exp(lean), np.exp(end))


def _gain(result: Result) -> FloatArray:
    """How much of either figure's ln B every cell's mean takes, shape (2, loads, speeds)."""
    evidence, points = result.table.breathing.evidence, points_of(result.job)
    nothing = np.zeros(result.table.new.shape)
    unit = [
        field_of(result.job, tuple(replace(one, value=float(i == j)) for j, one in enumerate(evidence)), nothing)
        for i in range(len(evidence))
    ]
    return np.array([field.mean(points).reshape(nothing.shape) for field in unit])


def rank_correlation(one: FloatArray, other: FloatArray) -> float:
    """Spearman's: the correlation of the ranks."""
    one_rank, other_rank = (np.argsort(np.argsort(values)).astype(np.float64) for values in (one, other))
    return float(np.corrcoef(one_rank, other_rank)[0, 1])


def highest_rank_correlation(truths: Drawn, leanest: FloatArray) -> float:
    """The most that anything worked out from the two figures can have with the true worst leanness.

    Nothing that is told ranks the pairs better than the truth's mean given what is told: a smooth function of the two
    figures, fitted here by the truth itself (cubic), which no program is told.
    """
    power, torque = (truths.observed / truths.observed.std(axis=0)).T
    terms = [power**i * torque**j for i in range(4) for j in range(4 - i)]
    design = np.stack(terms, axis=1)
    fitted = design @ np.linalg.lstsq(design, np.log(leanest), rcond=None)[0]
    return rank_correlation(fitted, leanest)


def with_figures_of(job: Job, observed: FloatArray) -> Job:
    """The job with the makers' figures of both engines, the target's as its truth makes them.

    Parameters
    ----------
    observed
        ln B as the figures have it at the speeds of power and torque, shape (2,).
    """
    table, barometer_pa = job.donor.table, job.donor.hardware.conditions.barometer_pa
    open_row = table.values[int(np.abs(table.load_pa - barometer_pa).argmin())]
    engines = job.donor.hardware.engine, job.target.hardware.engine
    told = []
    for rpm, deviation in zip((POWER_RPM, TORQUE_RPM), observed, strict=True):
        friction = float(work.friction_mean_effective_pressure(rpm))
        before = DONOR_PRESSURE_PA * float(np.interp(rpm, table.rpm, open_row))
        works = before, before * float(np.exp(deviation))
        told.append(
            [
                (each - friction) * engine.displacement_m3 / (4.0 * np.pi)
                for each, engine in zip(works, engines, strict=True)
            ]
        )
    sides = []
    for index, side in enumerate((job.donor, job.target)):
        engine = replace(
            side.hardware.engine,
            rated_power_w=told[0][index] * 2.0 * np.pi * POWER_RPM / 60.0,
            rated_speed_rpm=POWER_RPM,
            peak_torque_nm=told[1][index],
            peak_torque_speed_rpm=TORQUE_RPM,
        )
        sides.append(replace(side, hardware=replace(side.hardware, engine=engine)))
    return replace(job, donor=sides[0], target=sides[1])
