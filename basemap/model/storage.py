"""How a cell is stored: rounded as a spreadsheet rounds, within the table's limits."""

from __future__ import annotations

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.table import Shown, Storage


def round_half_away(values: FloatArray, decimals: int) -> FloatArray:
    """Round half away from zero, as a spreadsheet does.

    The slight widening before the floor stands for the fifteen significant digits at which a spreadsheet looks:
    2.675 is 2.67499… in binary and becomes 2.68.
    """
    scaled = np.abs(values) * 10.0**decimals
    return np.asarray(np.copysign(np.floor(scaled * (1.0 + 2.0**-50) + 0.5), values) / 10.0**decimals)


def stored(values: FloatArray, storage: Storage, shown: Shown) -> FloatArray:
    """What the table holds of `values`, in the unit shown; NaN stays NaN."""
    decimals = shown.decimals if storage.decimals is None else storage.decimals
    rounded = round_half_away(values, decimals)
    if storage.minimum is not None:
        rounded = np.maximum(rounded, storage.minimum)
    if storage.maximum is not None:
        rounded = np.minimum(rounded, storage.maximum)
    return rounded
