"""What the drives of a job taught about the cells of its table."""

from __future__ import annotations

from dataclasses import dataclass

from basemap.model.installation import FloatArray

LARGE_CHANGE, LEANER_AT_LOAD = 0.15, 0.05
"""Changes of a cell by drives that must be accepted: of any cell, and of one at load towards lean. Common practice, no
source."""

PROBE_NOT_PROVED = 0.05
"""Standard uncertainty of the scale of a probe that nobody has proved at two points: wrong scales are 5 to 10 % off
(our judgement). It never excuses a lean reading; it only widens the band of what the drives teach."""


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
        Factor on the fuel of every cell, with the hardware as the job states it, for the fuel that the drives showed to
        be missing or too much; 1 where they show nothing.
    left
        ln of λ over the intended that is expected with the factor: negative where surplus fuel is kept because no log
        supports taking it out.
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
