"""What observations say about anything that is correlated with them: the one routine for every kind of evidence.

All quantities are Gaussian and the observations are linear in them: y = H·z + noise. With r the observations less their
expectation, V their covariance (noise included) and C the covariance of a wanted quantity with them:

    mean + C·V⁻¹·r,    covariance − C·V⁻¹·Cᵀ

(Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equations 2.23 and 2.24.)
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_ROUNDING = 1e-12
"""If less than this share of an observation's variance is left once the others are known, that rest is rounding."""

_CONTRADICTION = 1e-6
"""How far an observation may be off the value that others fix exactly, in its own standard deviations."""


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
        """Observations from their residuals.

        Parameters
        ----------
        residuals
            r: observed less expected, shape (m,).
        covariance
            V: that of the residuals before they were known, noise included, shape (m, m). It may be singular: an exact
            observation may be made twice.

        Raises
        ------
        ValueError
            If observations without noise contradict each other, or the matrix is not a covariance.
        """
        deviation = np.sqrt(np.diag(covariance))
        scale = np.where(deviation > 0.0, deviation, 1.0)
        correlation = covariance / np.outer(scale, scale)
        whitener = _whitener(correlation)
        standard = residuals / scale
        whitened = whitener @ standard
        # In directions that cannot vary, the residuals must be zero.
        if whitened.size < residuals.size:
            unexplained = standard - correlation @ (whitener.T @ whitened)
            if np.abs(unexplained).max() > _CONTRADICTION:
                raise ValueError("observations without noise contradict each other")
        return cls(whitener / scale, whitened)

    def shift(self, cross: FloatArray) -> FloatArray:
        """C·V⁻¹·r, which is added to the mean of n quantities; `cross` is C, shape (n, m)."""
        return np.asarray(self.whiten(cross) @ self.whitened)

    def known(self, cross: FloatArray, other: FloatArray | None = None) -> FloatArray:
        """C·V⁻¹·C′ᵀ, which is subtracted from a covariance, shape (n, n′); without `other`, C′ is C."""
        one = self.whiten(cross)
        return np.asarray(one @ (one if other is None else self.whiten(other)).T)

    def known_variance(self, cross: FloatArray) -> FloatArray:
        """The diagonal of `known` alone, shape (n,)."""
        return np.asarray(np.sum(self.whiten(cross) ** 2, axis=1))

    def whiten(self, cross: FloatArray) -> FloatArray:
        """C·Wᵀ, from which the other products are made, shape (n, ≤ m)."""
        return np.asarray(cross @ self.whitener.T)


def _whitener(correlation: FloatArray) -> FloatArray:
    """W with WᵀW the inverse of a correlation matrix, in the directions that vary at all.

    It is found by Cholesky's factor; if one observation is nearly fixed by the others, by eigenvectors, without such
    directions. Nothing is added to the diagonal, so exact observations stay exact.
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
        # Where an exact observation has fixed a quantity before, only rounding is left, of either sign.
        pinned = np.diag(expected) <= _ROUNDING * (np.abs(sensitivities) @ self.standard) ** 2
        expected[pinned, :] = expected[:, pinned] = 0.0
        observed = Observed.of(values - sensitivities @ self.mean, expected)
        return Gaussian(self.mean + observed.shift(cross), self.covariance - observed.known(cross))
