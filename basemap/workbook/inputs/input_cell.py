"""One input cell, and the functions that give its unit, spread, origin and leader."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from basemap.model.job import Input, Job, SideName
from basemap.workbook.inputs.quantities import TEMPERATURES, Group, ShownUnit

AS_PARTS, AS_TYPED = "as parts", "as typed"
YES, NO = "yes", "no"
PART_NAMES = {
    "petrol": "petrol",
    "ethanol": "ethanol",
    "methanol": "methanol",
    "n-heptane": "heptane",
    "iso-octane": "isooctane",
    "toluene": "toluene",
}
"""Component → its word in the name of a cell."""


@dataclass(frozen=True)
class InputCell:
    """One quantity or choice of one side.

    Parameters
    ----------
    side, name, key, label, group
        ``donor`` or ``target``; the name of the cell; its job-file key; its words; its heading.
    value
        The number in `unit`, or the chosen word.
    unit
        As in the job.
    used_unit, size, zero
        The formulas use value · size + zero in `used_unit`, from a cell named ``…_used``; not for a choice.
    low, high, why
        Limits in `unit`, and the reason for them.
    choices
        The words to choose from.
    spread, origin
        As text.
    follows
        The cell that this one repeats, such as ``donor_rail_pressure`` for the same part; it is no input then.
    used_formula
        Instead of value · size + zero.
    used_name
        Instead of ``NAME_used``.
    """

    side: SideName
    name: str
    key: str
    label: str
    group: Group
    value: float | str
    unit: str = ""
    used_unit: str = ""
    size: float = 1.0
    zero: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    why: str = ""
    choices: tuple[str, ...] = ()
    spread: str = ""
    origin: str = ""
    follows: str = ""
    used_formula: str = ""
    used_name: str = ""
    whole: bool = False

    @property
    def changeable(self) -> bool:
        """Whether a tuner may change it: it follows no other cell, and there is a choice."""
        return not self.follows and len(self.choices) != 1

    @property
    def used(self) -> float:
        """The number in the unit of the formulas."""
        assert isinstance(self.value, float)
        return self.value * self.size + self.zero

    @property
    def used_cell(self) -> str:
        """Name of the cell that the formulas use; for a choice it is the cell itself."""
        return self.name if isinstance(self.value, str) else self.used_name or f"{self.name}_used"


def plain(value: float) -> str:
    """A number as text for a formula, with fifteen digits.

    >>> plain(1.0), plain(1e-6 / 60.0)
    ('1', '1.66666666666667E-08')
    """
    return f"{value:.15g}".replace("e", "E")


def known_rail(job: Job, side: SideName) -> bool:
    """Whether the job gives a rail pressure; a donor's may be left out where it cancels."""
    return job.side(side).flow_known or "donor.fuel.rail_pressure" in job.inputs


def is_cancelled(job: Job) -> bool:
    """Whether the job leaves out what cancels of the donor, so that its side starts with the air of a cell."""
    return not (job.donor.flow_known and job.donor.fuel_known and job.donor.dead_time_known)


def written(job: Job, side: SideName, key: str) -> Input | None:
    """A quantity as the job states it for a side; conditions may be stated for both sides together."""
    own = job.inputs.get(f"{side}.{key}")
    if own is None and key.startswith("conditions."):
        return job.inputs.get(key)
    return own if own is not None and not math.isnan(own.shown) else None


def unit_of(written: Input | None, default: ShownUnit) -> ShownUnit:
    """The unit of an input, with its size and the zero point of a temperature."""
    if written is None:
        return default
    if written.unit in TEMPERATURES and default.zero + default.size > 200:
        return TEMPERATURES[written.unit]
    return ShownUnit(written.unit, written.value / written.shown) if written.shown else default


def spread(written: Input | None, unit: ShownUnit) -> str:
    """The half-width of an input in its own unit, as text."""
    if written is None or written.half_width is None:
        return ""
    return f"± {written.half_width / unit.size:.3g}{' (k = 2)' if written.k2 else ''}"


def origin(job: Job, side: SideName, key: str) -> str:
    """The origin of a value, in a word or two."""
    written = job.inputs.get(f"{side}.{key}") or (job.inputs.get(key) if key.startswith("conditions.") else None)
    if written is not None:
        return written.origin
    return "as the donor" if is_same_part(job, side, key) else "default"


def is_same_part(job: Job, side: SideName, key: str) -> bool:
    """Whether the target takes the value of a key from the donor."""
    if side == "donor" or key.split(".")[0] not in job.same_as_donor:
        return False
    return f"target.{key}" not in job.inputs


def choice(
    job: Job, side: SideName, stem: str, key: str, label: str, group: Group, value: str, choices: Sequence[str]
) -> InputCell:
    """A cell that holds one of several words."""
    return InputCell(
        side, f"{side}_{stem}", f"{side}.{key}", label, group, value, choices=tuple(choices),
        why=f"one of: {', '.join(choices)}", origin=origin(job, side, key),
    )  # fmt: skip


def without_rail(job: Job, cell: InputCell) -> InputCell:
    """A choice; fixed while the job gives no rail pressure, for the other word would need one."""
    if known_rail(job, cell.side):
        return cell
    return replace(cell, choices=(str(cell.value),), origin="needs rail pressure")
