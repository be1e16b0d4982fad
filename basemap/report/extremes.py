"""The leanest and the richest cell of an outcome, among those that the target reaches."""

from __future__ import annotations

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.model.table_result import Point
from basemap.rounding import off


def extremes(result: Result, ratio: FloatArray) -> tuple[Point, Point] | None:
    """Leanest and richest cell of a λ ratio, among the reachable ones; `None` where it is known nowhere."""
    job = result.job
    judged = result.table.reachable & ~np.isnan(ratio)
    if not judged.any():
        return None

    def at(flat: int) -> Point:
        row, column = np.unravel_index(flat, ratio.shape)
        return Point(float(ratio[row, column]), float(job.rpm[column]), float(job.target.shown.load[row]))

    lean = int(np.where(judged, ratio, -np.inf).argmax())
    rich = int(np.where(judged, ratio, np.inf).argmin())
    return at(lean), at(rich)


def extreme_in_words(point: Point, load_unit: str) -> str:
    """Such as ``12.0 % lean at 7000 rpm, 100 kPa``."""
    return f"{off(point.ratio)} at {point.rpm:g} rpm, {point.load:g} {load_unit}"
