"""What the registry says of one quantity."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.units import si


@dataclass(frozen=True)
class Range:
    """The values of a quantity that are taken for real.

    Parameters
    ----------
    kind
        What it is.
    low, high
        Both ends, as a job file writes them.
    """

    kind: Kind
    low: str
    high: str

    @cached_property
    def limits(self) -> tuple[float, float]:
        """Both ends, SI.

        >>> Range(Kind.BAROMETER, "45 kPa", "110 kPa").limits, Range(Kind.PERCENT, "0", "100").limits
        ((45000.0, 110000.0), (0.0, 1.0))
        """
        size = 0.01 if self.kind is Kind.PERCENT else 1.0
        return si(self.low) * size, si(self.high) * size

    @property
    def whole(self) -> tuple[int, int]:
        """Both ends of a count."""
        return int(self.low), int(self.high)

    def holds(self, value: float) -> bool:
        """Whether an SI value is within."""
        low, high = self.limits
        return low <= value <= high


@dataclass(frozen=True)
class Quantity:
    """One quantity of a job.

    Parameters
    ----------
    key
        Of the job file, its side left out: ``engine.displacement``. NAME stands for a name of the user's own.
    range
        The values that are taken for real.
    by_mass
        The same of a flow that is stated as mass.
    """

    key: str
    range: Range
    by_mass: Range | None = None
