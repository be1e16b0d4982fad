"""Linear interpolation between points, as a formula and as a number; end segments are continued.

Only functions that Excel, LibreOffice and Google Sheets share. Points out of order give #N/A, which reaches every
cell that depends on them, rather than a wrong number.
"""

from __future__ import annotations

import numpy as np

from basemap.model.installation import FloatArray


def segment_formula(points: str, at: str, ordered: tuple[str, str] | None) -> str:
    """Number of the segment that serves `at`, counted from 1.

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
    """The value at `at`, by the segment whose number stands in the cell `segment`."""
    if count == 1:
        return f"INDEX({values},1)"
    rise = f"(INDEX({values},{segment}+1)-INDEX({values},{segment}))"
    run = f"(INDEX({points},{segment}+1)-INDEX({points},{segment}))"
    return f"INDEX({values},{segment})+({at}-INDEX({points},{segment}))*{rise}/{run}"


def segment_number(points: FloatArray, at: float) -> int:
    """What `segment_formula` gives."""
    return int(max(1, min(points.size - 1, int((points <= at).sum())))) if points.size > 1 else 1


def value_at(points: FloatArray, values: FloatArray, at: float) -> float:
    """What `value_formula` gives."""
    if points.size == 1:
        return float(values[0])
    low = segment_number(points, at) - 1
    rise, run = values[low + 1] - values[low], points[low + 1] - points[low]
    return float(values[low] + (at - points[low]) * rise / run)


def ends(values: FloatArray) -> tuple[float, float]:
    """Least and greatest of what is known; 0 and 0 where nothing is."""
    known = values[np.isfinite(values)]
    return (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
