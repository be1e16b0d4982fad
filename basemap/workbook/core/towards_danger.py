"""Figures of a sheet that do not follow an edit, rounded towards the danger as the words of all outputs are."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from basemap.model.installation import FloatArray
from basemap.rounding import percent_up, signed_percent


def band_percent(relative: FloatArray) -> FloatArray:
    """Bands in %, up to the next tenth, never narrower than they are; what is not finite stays."""
    return _each(percent_up, relative)


def error_percent(ratio: FloatArray) -> FloatArray:
    """How far ratios are from 1, %, away from it to the next tenth, without rounding noise; what is not finite stays."""
    return _each(lambda one: signed_percent(one).removesuffix(" %"), ratio)


def _each(words: Callable[[float], str], values: FloatArray) -> FloatArray:
    shown = [float(words(one)) if np.isfinite(one) else one for one in values.ravel().tolist()]
    return np.array(shown, dtype=np.float64).reshape(values.shape)
