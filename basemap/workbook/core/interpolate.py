"""Linear interpolation between points, as a formula and as a number; the end segments are continued.

The formulas use only functions that spreadsheet programs share. Points out of order give #N/A in every cell that
depends on them, instead of a wrong number.
"""

from __future__ import annotations

import numpy as np

from basemap.model.installation import FloatArray


def segment_formula(points: str, at: str, ordered: tuple[str, str] | None) -> str:
    """Formula of the number of the segment that holds `at`, counted from 1.

    Parameters
    ----------
    points
        Name or address of the rising points.
    at
        Name or address of the value.
    ordered
        Addresses of all points but the last, and of all but the first; `None` where there is one point.
    """
    if ordered is None:
        return "1"
    lower, upper = ordered
    within = f"MAX(1,MIN(COUNT({points})-1,SUMPRODUCT(1*({points}<={at}))))"
    return f"IF(SUMPRODUCT(1*({upper}<={lower}))>0,NA(),{within})"


def value_formula(points: str, values: str, at: str, segment: str, count: int) -> str:
    """Formula of the value at `at`, from the segment whose number the cell `segment` holds."""
    if count == 1:
        return f"INDEX({values},1)"
    rise = f"(INDEX({values},{segment}+1)-INDEX({values},{segment}))"
    run = f"(INDEX({points},{segment}+1)-INDEX({points},{segment}))"
    return f"INDEX({values},{segment})+({at}-INDEX({points},{segment}))*{rise}/{run}"


def segment_number(points: FloatArray, at: float) -> int:
    """The value of `segment_formula`."""
    return int(max(1, min(points.size - 1, int((points <= at).sum())))) if points.size > 1 else 1


def value_at(points: FloatArray, values: FloatArray, at: float) -> float:
    """The value of `value_formula`."""
    if points.size == 1:
        return float(values[0])
    low = segment_number(points, at) - 1
    rise, run = values[low + 1] - values[low], points[low + 1] - points[low]
    return float(values[low] + (at - points[low]) * rise / run)


def ends(values: FloatArray) -> tuple[float, float]:
    """The least and the greatest finite value; 0 and 0 where there is none."""
    known = values[np.isfinite(values)]
    return (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
