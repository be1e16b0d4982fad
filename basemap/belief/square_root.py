"""A factor of a covariance matrix, for drawing values that vary together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LEFT_OUT = 1e-10
"""Share of the largest variance that may be missing from the variance of any quantity."""


def square_root(column: Callable[[int], FloatArray], variance: FloatArray) -> FloatArray:
    """F with F·Fᵀ the covariance of n quantities, shape (n, rank): Cholesky's factor, the largest pivot first.

    A smooth field over many cells has far fewer directions than cells: the work is n·rank², the memory n·rank, and a
    singular covariance needs no special care.

    Parameters
    ----------
    column
        One column of the covariance, shape (n,).
    variance
        Its diagonal, shape (n,).
    """
    left = np.array(variance, dtype=np.float64)
    factor = np.zeros((left.size, left.size), order="F")
    smallest = LEFT_OUT * float(left.max(initial=0.0))
    for rank in range(left.size):
        pivot = int(left.argmax())
        if not left[pivot] > smallest:
            return factor[:, :rank]
        new = (column(pivot) - factor[:, :rank] @ factor[pivot, :rank]) / np.sqrt(left[pivot])
        factor[:, rank] = new
        left -= new**2
        left[pivot] = 0.0
    return factor
