"""How a cell is stored: rounded half away from zero, within the table's limits."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.table import Shown, Storage


def stored_decimals(storage: Storage, shown: Shown) -> int:
    """Decimals with which a stored cell is written: as stated, else those of the step, else the donor's."""
    if storage.decimals is not None:
        return storage.decimals
    if storage.step is None:
        return shown.decimals
    exponent = Decimal(repr(storage.step)).normalize().as_tuple().exponent
    assert isinstance(exponent, int)
    return max(0, -exponent)


def grain(storage: Storage, shown: Shown) -> float:
    """Difference between neighbouring numbers that can be stored, in the unit shown."""
    return 10.0 ** -stored_decimals(storage, shown) if storage.step is None else storage.step


def round_half_away(values: FloatArray, decimals: int) -> FloatArray:
    """Round half away from zero, as a spreadsheet does.

    A spreadsheet looks at fifteen significant digits: 2.675 is 2.67499… in binary and becomes 2.68. The slight widening
    before the floor does the same.
    """
    scaled = np.abs(values) * 10.0**decimals
    return np.asarray(np.copysign(np.floor(scaled * (1.0 + 2.0**-50) + 0.5), values) / 10.0**decimals)


def round_to_step(values: FloatArray, step: float) -> FloatArray:
    """Round to whole multiples of a step, half away from zero, in decimal arithmetic; NaN stays NaN.

    In binary 0.012/0.008 is 1.5 but 0.036/0.008 is 4.499…: both are half way, and both round up here.
    """
    size = Decimal(repr(step))
    rounded = [_to_step(float(value), size) for value in np.ravel(values)]
    return np.array(rounded, dtype=np.float64).reshape(np.shape(values))


def _to_step(value: float, size: Decimal) -> float:
    if not math.isfinite(value):
        return value
    steps = (Decimal(f"{value:.15g}") / size).quantize(Decimal(1), ROUND_HALF_UP)
    return float(steps * size)


def limits(storage: Storage, shown: Shown) -> tuple[float | None, float | None]:
    """Lowest and highest number that the table can hold: the stated limits, moved inwards to its grain."""
    size = Decimal(repr(grain(storage, shown)))

    def drawn_in(limit: float | None, *, up: bool) -> float | None:
        if limit is None:
            return None
        steps = Decimal(repr(limit)) / size
        return float((math.ceil(steps) if up else math.floor(steps)) * size)

    return drawn_in(storage.minimum, up=True), drawn_in(storage.maximum, up=False)


def stored(values: FloatArray, storage: Storage, shown: Shown) -> FloatArray:
    """What the table holds of `values`, in the unit shown; NaN stays NaN."""
    if storage.step is None:
        rounded = round_half_away(values, stored_decimals(storage, shown))
    else:
        rounded = round_to_step(values, storage.step)
    low, high = limits(storage, shown)
    if low is not None:
        rounded = np.maximum(rounded, low)
    if high is not None:
        rounded = np.minimum(rounded, high)
    return rounded


def hold(number: float, field: Storage) -> float:
    """A number as a field for one number holds it: rounded half away from zero, within its limits."""
    shown = _field_shown()
    if field.decimals is None and field.step is None:
        low, high = limits(field, shown)
        return min(max(number, -math.inf if low is None else low), math.inf if high is None else high)
    return float(stored(np.array([number]), field, shown)[0])


def at_limit(exact: float, field: Storage) -> str:
    """``maximum`` or ``minimum`` if a number lies beyond it by more than rounding; else empty."""
    shown = _field_shown()
    low, high = limits(field, shown)
    half = 0.5 * grain(field, shown) * (1.0 + 1e-9)
    if high is not None and exact - high > half:
        return "maximum"
    return "minimum" if low is not None and low - exact > half else ""


FIELD_DECIMALS = 12
"""Decimals of a field that states neither decimals nor a step: more than matter."""


def _field_shown() -> Shown:
    return Shown("", 1.0, np.empty(0), "", FIELD_DECIMALS)
