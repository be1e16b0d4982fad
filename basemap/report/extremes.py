"""The leanest and the richest cell of an outcome, over what the target reaches."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.rounding import off


class Extreme(NamedTuple):
    """The furthest λ ratio over the cells that the target reaches, and where it lies."""

    ratio: float
    rpm: float
    load: float

    def in_words(self, load_unit: str) -> str:
        """Such as ``12.0 % lean at 7000 rpm, 100 kPa``."""
        return f"{off(self.ratio)} at {self.rpm:g} rpm, {self.load:g} {load_unit}"


def extremes(result: Result, ratio: FloatArray) -> tuple[Extreme, Extreme] | None:
    """Leanest and richest of a λ ratio over reachable cells; `None` where it is known nowhere."""
    job = result.job
    judged = result.table.reachable & ~np.isnan(ratio)
    if not judged.any():
        return None

    def at(flat: int) -> Extreme:
        row, column = np.unravel_index(flat, ratio.shape)
        return Extreme(float(ratio[row, column]), float(job.rpm[column]), float(job.target.shown.load[row]))

    lean = int(np.where(judged, ratio, -np.inf).argmax())
    rich = int(np.where(judged, ratio, np.inf).argmin())
    return at(lean), at(rich)
