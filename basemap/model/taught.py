"""What the drives of a job taught about the cells of its table."""

from __future__ import annotations

from dataclasses import dataclass

from basemap.model.installation import FloatArray

LARGE_CHANGE, LEANER_AT_LOAD = 0.15, 0.05
"""Changes of a cell by drives that must be accepted: of any cell, and of one at load towards lean. Common practice, no
source."""

PROBE_NOT_PROVED = 0.05
"""Standard uncertainty of the scale of a probe that nobody has proved at two points: wrong scales are 5 to 10 % off
(our judgement). It never excuses a lean reading; it widens the band of all that the readings say."""


@dataclass(frozen=True)
class Hold:
    """Something that the user must accept by name before a table to load is written."""

    name: str
    says: str
    accepted: bool = False


@dataclass(frozen=True)
class Taught:
    """What drives taught, every array of shape (loads, speeds).

    Parameters
    ----------
    factor
        On the fuel of every cell, by the hardware that the job states: what the drives showed to be missing, or too
        much; 1 where nothing can be said.
    left
        ln of λ over the intended that is expected with it: negative where fuel is left in that no log has supported
        taking out.
    standard
        Standard uncertainty of ln λ now.
    seconds, logs
        How long was compared, and of which logs.
    proved
        Whether the probe was proved at two points.
    holds
        What must be accepted before the new table may be loaded.
    """

    factor: FloatArray
    left: FloatArray
    standard: FloatArray
    seconds: float
    logs: tuple[str, ...]
    proved: bool
    holds: tuple[Hold, ...]
