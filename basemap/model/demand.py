"""How much fuel an engine takes at full load."""

from __future__ import annotations

from dataclasses import dataclass

LITRES_PER_HOUR = 3.6e6
"""Litres per hour of one m³/s."""


@dataclass(frozen=True)
class Demand:
    """Fuel at full load and one engine speed (rev/min), m³/s of the fuel in the rail; NaN where it is not known."""

    rpm: float
    flow_m3_s: float

    @property
    def litres_per_hour(self) -> float:
        """The same in l/h."""
        return self.flow_m3_s * LITRES_PER_HOUR


@dataclass(frozen=True)
class FuelDemand:
    """What the pump of the target must give.

    Parameters
    ----------
    rated
        At the rated speed; `None` if the job does not state it.
    rev_limit
        At the highest speed: the rev limit or the cut, else the end of the table.
    most
        The most that it takes at any speed up to that.
    pressure_pa
        Gauge pressure at which the pump must give it, Pa: on a rail that follows the manifold with the boost.
    """

    rated: Demand | None
    rev_limit: Demand
    most: Demand
    pressure_pa: float
