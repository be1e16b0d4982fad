"""Medians of few numbers: np.median takes ten times as long on a dozen, and loads all of numpy.ma to look for masks."""

from __future__ import annotations

import math

import numpy as np

from basemap.model.installation import FloatArray


def median(values: FloatArray) -> float | None:
    """The median of what is finite; `None` where nothing is."""
    finite = sorted(value for value in values.ravel().tolist() if math.isfinite(value))
    if not finite:
        return None
    half = len(finite) // 2
    return finite[half] if len(finite) % 2 else 0.5 * (finite[half - 1] + finite[half])


def upper_median(values: FloatArray) -> float:
    """Of two middle ones the upper, for where it does not matter which; of at least one number, all finite."""
    return float(np.partition(values, values.size // 2)[values.size // 2])
