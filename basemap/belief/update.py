"""What a drive shows about all unknowns: one update of one belief.

ln λ as read, less the ln λ expected from the pulse, is the sum of the effects of all unknowns, of the breathing field,
and of noise: V = J·P·Jᵀ + K + R. The slopes are taken again at the answer, twice (Gauss and Newton).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.belief.field import SCALES, Field
from basemap.belief.field import Points as FieldPoints
from basemap.belief.posterior import Observed
from basemap.belief.unknowns import Drive, Slopes, Unknowns
from basemap.model.drive import DrivePoints
from basemap.model.installation import FloatArray

RELINEARISED = 2
DONOR_SHARES = (0.25, 0.70, 0.05)
"""How the errors of the donor's table are shared among a common factor and the field's two scales. Our judgement."""


@dataclass(frozen=True)
class Observations:
    """What was observed.

    Parameters
    ----------
    drive
        The points of the steady stretches, n of them.
    log_lambda, variance
        As read there, with its variance, shape (n,).
    key_on_off_pa
        Barometer less the pressure read with the key on and the engine off, Pa; `None` if no log has that.
    log_formula, formula_variance
        ln of the logged pulses over those of the ECU's own formula, with its variance; `None` if no pulse is logged.
    """

    drive: Drive
    log_lambda: FloatArray
    variance: FloatArray
    key_on_off_pa: float | None = None
    log_formula: float | None = None
    formula_variance: float = 1.0


@dataclass(frozen=True)
class Prior:
    """The belief before: the unknowns, how the target breathes, and how well the donor's table fits the donor.

    Parameters
    ----------
    state
        Standard uncertainty of the donor's table, relative.
    key_on_pa
        Standard uncertainty of the barometer, compared with the key-on reading of a sound sensor, Pa.
    """

    unknowns: Unknowns
    field: Field
    state: float
    barometer_pa: float
    key_on_pa: float

    def places(self, points: DrivePoints) -> FieldPoints:
        """Points of a drive as points of the field."""
        return FieldPoints.at(points.rpm, points.pressure_pa / self.barometer_pa)

    def mean(self, points: DrivePoints) -> FloatArray:
        """Mean of the belief in ln of the breathing, shape (n,)."""
        return self.field.mean(self.places(points))

    def covariance(self, one: DrivePoints, other: DrivePoints) -> FloatArray:
        """Covariance of breathing and donor's table together between n and m points, shape (n, m)."""
        here, there = self.places(one), self.places(other)
        return np.asarray(self.field.covariance(here, there) + self.state**2 * _donor_kernel(here, there))

    def variance(self, points: DrivePoints) -> FloatArray:
        """Variance of both together, shape (n,)."""
        return np.asarray(self.field.standard(self.places(points)) ** 2 + self.state**2)


def _donor_kernel(one: FieldPoints, other: FieldPoints) -> FloatArray:
    common, *shares = DONOR_SHARES
    return np.asarray(
        common + sum(share * smooth_kernel(one, other, *size) for share, (_, size) in zip(shares, SCALES, strict=True))
    )


def smooth_kernel(one: FieldPoints, other: FieldPoints, along: float, down: float) -> FloatArray:
    """exp(−½·(Δx/along)² − ½·(Δq/down)²) between n and m points."""
    x, q = np.subtract.outer(one.speed, other.speed), np.subtract.outer(one.pressure, other.pressure)
    return np.asarray(np.exp(-0.5 * ((x / along) ** 2 + (q / down) ** 2)))


@dataclass(frozen=True)
class Linearised:
    """The observations, linearised about one value of the unknowns: y = J·z + field + noise.

    Parameters
    ----------
    slopes
        J, shape (rows, unknowns).
    residual
        y less its prior mean, shape (rows,).
    covariance
        K + R, shape (rows, rows); the last rows, which are not stretches, have noise only.
    points
        How many of the rows are steady stretches; the others follow.
    """

    slopes: FloatArray
    residual: FloatArray
    covariance: FloatArray
    points: int


@dataclass(frozen=True)
class Update:
    """The belief after a drive.

    Parameters
    ----------
    amounts
        Posterior mean of every unknown, in its prior standard deviations, shape (unknowns,).
    standards
        Posterior standard deviations, in the same unit.
    observed, linear
        The observations at the last round.
    """

    prior: Prior
    observations: Observations
    amounts: FloatArray
    standards: FloatArray
    observed: Observed
    linear: Linearised

    def at(self, drive: Drive) -> At:
        """The belief in ln λ at points, now and before the drive."""
        unknowns, prior = self.prior.unknowns, self.prior
        before = unknowns.slopes(drive, np.zeros(unknowns.size))
        slopes = unknowns.slopes(drive, self.amounts)
        cross = self._cross(drive.points, slopes)
        prior_variance = prior.variance(drive.points)
        mean = slopes.at + prior.mean(drive.points) + self.observed.shift(self._field_only(drive.points))
        own = np.sum(slopes.by**2, axis=1) + prior_variance
        after = own - self.observed.known_variance(cross)
        return At(
            before=before.at + prior.mean(drive.points),
            standard_before=np.sqrt(np.sum(before.by**2, axis=1) + prior_variance),
            mean=mean,
            standard=np.sqrt(np.maximum(after, 0.0)),
            slopes=slopes,
        )

    def covariance(self, drive: Drive, other: Drive) -> FloatArray:
        """Posterior covariance of ln λ between n and m points, shape (n, m)."""
        unknowns = self.prior.unknowns
        one, two = unknowns.slopes(drive, self.amounts), unknowns.slopes(other, self.amounts)
        own = one.by @ two.by.T + self.prior.covariance(drive.points, other.points)
        return np.asarray(own - self.observed.known(self._cross(drive.points, one), self._cross(other.points, two)))

    def follows(self, drive: Drive, read: FloatArray) -> FloatArray:
        """Change of the believed ln λ at points if the stretches had been read differently, shape (k, n).

        Parameters
        ----------
        read
            Changes of ln λ as read, in k cases, shape (k, stretches).
        """
        cross = self._cross(drive.points, self.prior.unknowns.slopes(drive, self.amounts))
        whitened = read @ self.observed.whitener[:, : self.linear.points].T
        return np.asarray(whitened @ self.observed.whiten(cross).T)

    def _cross(self, points: DrivePoints, slopes: Slopes) -> FloatArray:
        return np.asarray(slopes.by @ self.linear.slopes.T + self._field_only(points))

    def _field_only(self, points: DrivePoints) -> FloatArray:
        """Covariance of the field at points with the observations, shape (n, rows)."""
        full = np.zeros((points.rpm.size, self.linear.residual.size))
        full[:, : self.linear.points] = self.prior.covariance(points, self.observations.drive.points)
        return full


@dataclass(frozen=True)
class At:
    """ln λ at points: mean and standard uncertainty before and after, shape (n,)."""

    before: FloatArray
    standard_before: FloatArray
    mean: FloatArray
    standard: FloatArray
    slopes: Slopes


def update(prior: Prior, observations: Observations) -> Update:
    """The belief after everything that was observed, worked out from the prior."""
    amounts = np.zeros(prior.unknowns.size)
    for _ in range(RELINEARISED + 1):
        linear = about(prior, observations, amounts)
        observed = Observed.of(linear.residual, linear.slopes @ linear.slopes.T + linear.covariance)
        amounts = observed.shift(linear.slopes.T)
    standards = np.sqrt(np.maximum(1.0 - observed.known_variance(linear.slopes.T), 0.0))
    return Update(prior, observations, amounts, standards, observed, linear)


def about(prior: Prior, observations: Observations, amounts: FloatArray) -> Linearised:
    """The observations, linearised about a value of the unknowns."""
    unknowns, points = prior.unknowns, observations.drive.points
    slopes = unknowns.slopes(observations.drive, amounts)
    rows, count = [slopes.by], points.rpm.size
    residual = [observations.log_lambda - slopes.at - prior.mean(points) + slopes.by @ amounts]
    noise = [observations.variance]
    pressure = unknowns.place("pressure reading")
    if observations.key_on_off_pa is not None:
        rows.append(_row(unknowns.size, pressure, unknowns.pressure_pa))
        residual.append(np.array([observations.key_on_off_pa]))
        noise.append(np.array([prior.key_on_pa**2]))
    formula = next((index for index, entry in enumerate(unknowns.inputs) if "formula factor" in entry.name), None)
    if formula is not None and observations.log_formula is not None:
        rows.append(_row(unknowns.size, formula, unknowns.inputs[formula].standard))
        residual.append(np.array([observations.log_formula]))
        noise.append(np.array([observations.formula_variance]))
    covariance = np.diag(np.concatenate(noise))
    covariance[:count, :count] += prior.covariance(points, points)
    return Linearised(np.vstack(rows), np.concatenate(residual), covariance, count)


def _row(size: int, index: int, value: float) -> FloatArray:
    row = np.zeros((1, size))
    row[0, index] = value
    return row
