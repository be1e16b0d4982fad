"""How the target of a job is believed to breathe: from likeness, physics and evidence to a factor on its cells."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from basemap.adaptation.breathing import estimate
from basemap.adaptation.chain import decode, settled
from basemap.adaptation.implied import volumetric_efficiency
from basemap.adaptation.setting_fields import in_force
from basemap.adaptation.throttle import nearly_shut_rows, needs_pressure, over_throttle
from basemap.belief.evidence import Figured, WideOpen, as_evidence, makers_figures
from basemap.belief.field import METER, SPREADS, Field, Points
from basemap.model.axes import LoadAxis
from basemap.model.belief import BreathingBelief
from basemap.model.evidence import Observation
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Breathing
from basemap.physics import throttle

LEANER_ENDS, LEANER_IN_FULL = 0.6, 0.5
"""Shares of the barometer: above the first physics alone takes no fuel away; below the second it does so in full."""


def prior_field(job: Job) -> Field:
    """The belief from likeness alone; if the ECU measures the air, the error of its meter."""
    counts_air = job.donor.table.points.axis is LoadAxis.AIR_MASS
    return Field(METER if counts_air else SPREADS[job.likeness])


def points_of(job: Job) -> Points:
    """The cells of the target's table, row by row."""
    table, barometer_pa = job.target.table, job.target.hardware.conditions.barometer_pa
    return Points.at(table.rpm, np.broadcast_to(table.pressure_pa, table.values.shape) / barometer_pa)


def observations(job: Job, efficiency: FloatArray) -> tuple[Observation, ...]:
    """What the makers' figures of both engines say about it.

    Parameters
    ----------
    efficiency
        Volumetric efficiency of the donor at its own points, shape (loads, speeds).
    """
    table = job.donor.table
    if table.points.axis is LoadAxis.AIR_MASS:
        return ()
    rows = None if over_throttle(table) else table.load_pa
    sides = job.donor.hardware, job.target.hardware
    donor, target = (Figured(side.engine, side.conditions.barometer_pa) for side in sides)
    found = makers_figures(donor, target, WideOpen(table.rpm, rows, efficiency))
    # A figure that the target only copies from the donor is not a second one.
    return tuple(entry for entry in found if not job.copied.intersection(entry.keys))


def field_of(job: Job, evidence: tuple[Observation, ...], expected: FloatArray) -> Field:
    """The field of a job with its evidence, about what physics expects.

    Parameters
    ----------
    expected
        ln B by physics in the target's cells, shape (loads, speeds).
    """
    field = prior_field(job)
    if not evidence:
        return field
    return field.given(as_evidence(evidence, _expected_at(job, evidence, expected)))


def surprise(job: Job, evidence: tuple[Observation, ...], expected: FloatArray) -> float:
    """How many standard deviations below the belief from likeness the lowest observation lies; 0 if none does."""
    if not evidence:
        return 0.0
    stated = as_evidence(evidence, _expected_at(job, evidence, expected))
    spread = np.sqrt(prior_field(job).standard(stated.points) ** 2 + np.diag(stated.noise))
    return min(0.0, float((stated.values / spread).min()))


def _expected_at(job: Job, evidence: tuple[Observation, ...], expected: FloatArray) -> FloatArray:
    """What physics expects where the observations were made: at full load, along the row nearest to it."""
    table = job.target.table
    if job.breathing is not Breathing.INLET_MACH:
        return np.zeros(len(evidence))  # residual gas has no effect at full load
    found = []
    for entry in evidence:
        load_pa = entry.pressure_over_barometer * job.target.hardware.conditions.barometer_pa
        row = int(np.abs(table.load_pa - load_pa).argmin())
        found.append(float(np.interp(entry.rpm, table.rpm, expected[row])))
    return np.asarray(np.nan_to_num(np.array(found)))


@dataclass(frozen=True)
class Believed:
    """How the target of a job is believed to breathe in the cells of its table, and the field behind it.

    Parameters
    ----------
    breathing
        The belief in every cell.
    field, points
        The field of what physics does not expect, and the cells as points of it.
    """

    breathing: BreathingBelief
    field: Field
    points: Points

    @classmethod
    def of(cls, job: Job) -> Believed:
        """The belief, starting from the donor's table."""
        settings = in_force(job)
        return cls.from_air(settled(job, settings), decode(job, settings).air_kg)

    @classmethod
    def from_air(cls, job: Job, donor_air_kg: FloatArray) -> Believed:
        """The belief if the donor's air is known already; the job must be `settled`."""
        asked = estimate(job)
        physics = np.zeros(job.target.table.values.shape)
        if asked is not None:
            physics = np.log(asked.factor(job, donor_air_kg))
        evidence = observations(job, volumetric_efficiency(job.donor.hardware, job.donor.table, donor_air_kg))
        field, points = field_of(job, evidence, physics), points_of(job)
        learnt, standard = _of_the_air(job, field, points)
        known = np.nan_to_num(learnt)
        by_evidence = known if job.breathing_both_ways else np.maximum(known, 0.0)
        found = BreathingBelief(
            physics,
            physics + learnt,
            standard,
            _by_physics(job, physics),
            by_evidence,
            evidence,
            surprise(job, evidence, physics),
        )
        return cls(found, field, points)

    @classmethod
    def again(cls, job: Job, breathing: BreathingBelief) -> Believed:
        """The belief, rebuilt from the part that a result keeps."""
        return cls(breathing, field_of(job, breathing.evidence, breathing.expected), points_of(job))

    def rows(self, rows: BoolArray, part: Job) -> Believed:
        """The belief in some rows of the table; `part` is the job with only these."""
        found = self.breathing
        return Believed(found.rows(rows), self.field, points_of(part))

    def at(self, run: Job) -> Believed:
        """The belief at the cells of a further table, which do not follow it; `run` has that table as its main one."""
        points, nothing = points_of(run), np.zeros(run.target.table.values.shape)
        mean, standard = _of_the_air(run, self.field, points)
        found = BreathingBelief(nothing, mean, standard, nothing, nothing, self.breathing.evidence)
        return Believed(found, self.field, points)

    def draw(self, count: int, random: np.random.Generator) -> FloatArray:
        """Deviations of ln B from its mean in units of each cell's standard deviation, shape (count, loads, speeds).

        Cells whose pressure is not known have a deviation of 0.
        """
        shape = self.breathing.standard.shape
        units = random.standard_normal((count, self._every_cell.shape[1])) @ self._every_cell.T
        return np.asarray(units.reshape(count, *shape))

    def unit_factor(self, cells: tuple[NDArray[np.intp], ...] | None = None) -> FloatArray:
        """A factor of the cells' correlations, shape (cells, rank): of all cells, or of those at some indices.

        Cells whose pressure is not known have none.
        """
        shape = self.breathing.standard.shape
        chosen = slice(None) if cells is None else np.ravel_multi_index(cells, shape)
        factor = np.nan_to_num(self.field.factor(self.points.only(chosen)))
        length = np.sqrt(np.sum(factor**2, axis=1))
        return np.asarray(factor / np.where(length > 0.0, length, 1.0)[:, np.newaxis])

    @cached_property
    def _every_cell(self) -> FloatArray:
        return self.unit_factor()


def _of_the_air(job: Job, field: Field, points: Points) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the effect of ln B on ln of the air of the target's cells, shape (loads, speeds).

    It is ln B itself, except on a throttle axis where the ECU measures no pressure. There the manifold
    pressure adjusts: a choked blade sets the air, however the cylinders breathe. Nearly shut, the idle valve sets the
    air; idle valves are not carried over, so the belief narrows nothing there.
    """
    table = job.target.table
    mean, standard = (values.reshape(table.values.shape) for values in (field.mean(points), field.standard(points)))
    if not over_throttle(table) or needs_pressure(table):
        return mean, standard
    ratio = np.exp(points.pressure).reshape(mean.shape)
    air = np.where(mean == 0.0, 1.0, throttle.air_over(ratio, np.exp(mean)))
    # The manifold pressure is the one that follows from the mean of the belief.
    follows = throttle.stiffness(ratio * air * np.exp(-mean))
    shut = nearly_shut_rows(table)[:, np.newaxis]
    return np.where(shut, mean, np.log(air)), np.where(shut, standard, standard * follows)


def _by_physics(job: Job, expected: FloatArray) -> FloatArray:
    """What physics may do to the cells: everything if the job asks for it, else lean them out only at light load."""
    if not job.breathing_by_default:
        return expected
    share = np.broadcast_to(job.target.table.pressure_pa, expected.shape) / job.target.hardware.conditions.barometer_pa
    leaner = np.clip((LEANER_ENDS - share) / (LEANER_ENDS - LEANER_IN_FULL), 0.0, 1.0)
    return np.where(expected < 0.0, expected * leaner, expected)


def without(believed: Believed, band: FloatArray) -> FloatArray:
    """The expanded band (k = 2) without the uncertainty of breathing: the part that can be measured on the bench."""
    field = 2.0 * np.nan_to_num(believed.breathing.standard)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.sqrt(np.maximum(np.square(band) - field**2, 0.0)))
