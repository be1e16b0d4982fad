"""What observations say of anything that varies with them: the one routine for every kind of evidence.

Everything is Gaussian and the observations are linear in it: y = H·z + noise. With r the observations less what was
expected of them, V their covariance (the noise in it) and C the covariance of a wanted quantity with them:

    mean + C·V⁻¹·r,    covariance − C·V⁻¹·Cᵀ

(Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equations 2.23 and 2.24.)
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_ROUNDING = 1e-12
"""Share of an observation's variance below which what is left of it, given the others, is the rounding of numbers."""

_CONTRADICTION = 1e-6
"""How far, in its own standard deviations, an observation may be off what others that fix it exactly say."""


class Observed(NamedTuple):
    """Observations, ready to be asked what they say of any quantity.

    Parameters
    ----------
    whitener
        W with WᵀW = V⁻¹, or its pseudo-inverse where some observations are fixed by others, shape (≤ m, m).
    whitened
        W·r, shape (≤ m,).
    """

    whitener: FloatArray
    whitened: FloatArray

    @classmethod
    def of(cls, residuals: FloatArray, covariance: FloatArray) -> Observed:
        """Observations as they came.

        Parameters
        ----------
        residuals
            r: observed less expected, shape (m,).
        covariance
            V: of the residuals before they were known, the noise in it, shape (m, m). It may be singular: an exact
            observation may be made twice.

        Raises
        ------
        ValueError
            Where observations without noise contradict each other, or the covariance is none.
        """
        deviation = np.sqrt(np.diag(covariance))
        scale = np.where(deviation > 0.0, deviation, 1.0)
        correlation = covariance / np.outer(scale, scale)
        whitener = _whitener(correlation)
        standard = residuals / scale
        whitened = whitener @ standard
        # What lies in no direction that can vary must be nothing.
        if whitened.size < residuals.size:
            unexplained = standard - correlation @ (whitener.T @ whitened)
            if np.abs(unexplained).max() > _CONTRADICTION:
                raise ValueError("observations without noise contradict each other")
        return cls(whitener / scale, whitened)

    def shift(self, cross: FloatArray) -> FloatArray:
        """C·V⁻¹·r: what is added to the mean of n quantities; `cross` is C, shape (n, m)."""
        return np.asarray((cross @ self.whitener.T) @ self.whitened)

    def known(self, cross: FloatArray, other: FloatArray | None = None) -> FloatArray:
        """C·V⁻¹·C′ᵀ: what is taken from the covariance of quantities, shape (n, n′); `other` is C where left out."""
        one = cross @ self.whitener.T
        return np.asarray(one @ (one if other is None else other @ self.whitener.T).T)

    def known_variance(self, cross: FloatArray) -> FloatArray:
        """The diagonal of `known`, shape (n,), without the rest of it."""
        return np.asarray(np.sum((cross @ self.whitener.T) ** 2, axis=1))


def _whitener(correlation: FloatArray) -> FloatArray:
    """W with WᵀW the inverse of a correlation matrix; of the directions that vary at all.

    By Cholesky's factor. Where one observation is all but fixed by the others, by eigenvectors, and such directions
    are left out: nothing is added to the diagonal, so that exact observations stay exact.
    """
    size = len(correlation)
    try:
        factor = np.linalg.cholesky(correlation)
    except np.linalg.LinAlgError:
        factor = np.zeros((size, size))
    pivots = np.diag(factor)
    if size == 0 or pivots.min() ** 2 > _ROUNDING * size:
        return np.linalg.solve(factor, np.eye(size))
    values, vectors = np.linalg.eigh(correlation)
    if values[0] < -_ROUNDING * 1e3 * size:
        raise ValueError("this is no covariance: it has a negative direction")
    varies = values > _ROUNDING * size
    return np.asarray(vectors[:, varies].T / np.sqrt(values[varies])[:, np.newaxis])


class Gaussian(NamedTuple):
    """Belief in n quantities at once.

    Parameters
    ----------
    mean
        Shape (n,).
    covariance
        Shape (n, n).
    """

    mean: FloatArray
    covariance: FloatArray

    @property
    def standard(self) -> FloatArray:
        """Standard deviation of each, shape (n,)."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    def given(self, values: FloatArray, sensitivities: FloatArray, noise: FloatArray) -> Gaussian:
        """The belief after observations y = H·z + noise.

        Parameters
        ----------
        values
            y, shape (m,).
        sensitivities
            H, shape (m, n).
        noise
            Covariance of the noise, shape (m, m).
        """
        cross = self.covariance @ sensitivities.T
        expected = sensitivities @ cross + noise
        # What an exact observation has pinned before is left with the rounding of numbers, of either sign.
        pinned = np.diag(expected) <= _ROUNDING * (np.abs(sensitivities) @ self.standard) ** 2
        expected[pinned, :] = expected[:, pinned] = 0.0
        observed = Observed.of(values - sensitivities @ self.mean, expected)
        return Gaussian(self.mean + observed.shift(cross), self.covariance - observed.known(cross))
