"""One quantity in the registry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.units import si
from basemap.model.installation import Installation
from basemap.model.job import Side


@dataclass(frozen=True)
class Range:
    """The plausible values of a quantity.

    Parameters
    ----------
    kind
        The kind of quantity.
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
        """Whether an SI value is within the range."""
        low, high = self.limits
        return low <= value <= high


_ROOTS = {"settings": "told", "tables": "table"}
"""Section of the job file → the part of a side that holds its values, where it is not the hardware."""


@dataclass(frozen=True)
class Default:
    """The value assumed for an input that a job leaves out or calls "unknown".

    Parameters
    ----------
    name
        Our own name for it, under which it is looked up.
    value
        As a job file would write it.
    half_width
        Half-width of its spread, as a job file would write it; `None` if it has none.
    when
        ``left out``, ``unknown``, or ``either``.
    why
        Reason for the value.
    moves
        What it moves most.
    key
        Key that is left out, without its side; if empty, the key of its quantity.
    kind
        Kind of the value, if it is a quantity; filled in by the registry.
    input_key
        Key under which the value is kept, if it differs from `key`; filled in by the registry.
    """

    name: str
    value: str
    half_width: str | None
    when: str
    why: str
    moves: str = ""
    key: str = ""
    kind: Kind | None = None
    input_key: str | None = None

    @property
    def text(self) -> str:
        """Value and spread as one quantity."""
        return self.value if self.half_width is None else f"{self.value} ± {self.half_width}"


class UsualSpread(NamedTuple):
    """Half-width that is assumed if the job gives no spread, and why.

    `measured_to` is the half-width that a careful measurement leaves.
    """

    name: str
    half_width: float
    relative: bool
    unit: str
    reason: str
    measured_to: float


@dataclass(frozen=True)
class Quantity:
    """One quantity of a job.

    Parameters
    ----------
    key
        Of the job file, its side left out: ``engine.displacement``. NAME stands for a name of the user's own.
    range
        Its plausible values.
    by_mass
        The plausible values of a flow that is stated as mass.
    words
        Its name in words, when shown by itself.
    why
        Reason for the range, shown to whoever enters a value outside it.
    unit
        Unit in which it is shown if the job states none, as a job file writes it.
    path
        Path of its value: an attribute of the hardware, or, in the sections ``settings`` and ``tables``, of what the
        ECU was told or of the table.
    cell
        Name of its cell in a workbook, without ``donor_`` or ``target_`` in front.
    defaults
        What is assumed if a job does not say; several if it depends on what else the job says.
    spreads
        What spread is assumed if a job gives none.
    question
        Its name in a question of `basemap new`.
    """

    key: str
    range: Range
    by_mass: Range | None = None
    words: str = ""
    why: str = ""
    unit: str = ""
    path: str = ""
    cell: str = ""
    defaults: tuple[Default, ...] = ()
    spreads: tuple[UsualSpread, ...] = ()
    question: str = ""

    @property
    def section(self) -> str:
        """The section of the job file: ``engine`` of ``engine.throttles.bore``."""
        return self.key.partition(".")[0]

    def on(self, side: Side) -> float | None:
        """Its value on one side of a job, SI; `None` if the job does not say."""
        found = _read(getattr(side, _ROOTS.get(self.section, "hardware")), self.path)
        return None if found is None else float(found)

    def moved(self, hardware: Installation, move: Callable[[Any], Any]) -> Installation:
        """The hardware with another value of this quantity: `move` of the value that it has."""
        moved: Installation = _put(hardware, self.path, move(_read(hardware, self.path)))
        return moved


def _read(root: Any, path: str) -> Any:
    """The attribute at a path such as ``engine.displacement_m3``; `None` if any part of the path is."""
    for name in path.split("."):
        root = None if root is None else getattr(root, name)
    return root


def _put(root: Any, path: str, value: Any) -> Any:
    """The same data with another value at a path."""
    name, _, rest = path.partition(".")
    return replace(root, **{name: _put(getattr(root, name), rest, value) if rest else value})
