"""What a job implies about its engine: volumetric efficiency wide open and at part load, and power."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import NamedTuple

from basemap.adaptation.chain import decode
from basemap.adaptation.implied import (
    POWER_CAUTION,
    POWER_STOP,
    VE_HIGH,
    VE_HIGHEST,
    VE_LOW,
    VE_LOWEST,
    VE_PART_HIGH,
    VE_PART_LOW,
    highest_visited_row,
    implied_power_w,
    median_ve,
    part_load_rows,
    volumetric_efficiency,
)
from basemap.adaptation.reach import visited_cells
from basemap.adaptation.setting_fields import in_force
from basemap.model.job import Job
from basemap.model.settings import InForce

EXPECTED_VE = 0.85
"""Volumetric efficiency wide open for which a size is solved. Common practice, no source."""

PART_LOAD_VE = 0.65

VE_SPREAD, PART_LOAD_SPREAD, POWER_SPREAD = 0.12, 0.25, 0.10
"""How far each of them usually is from its expected value, ln. Common practice, no source."""

_UNKNOWN_MISFIT = 9.0


class Anchor(StrEnum):
    """Which number is implausible, the most telling first."""

    WIDE_OPEN = "volumetric efficiency wide open"
    POWER = "power"
    PART_LOAD = "volumetric efficiency at part load"


class Implied(NamedTuple):
    """What a job's cells imply: medians as fractions, power over the declared one; `None` if not known."""

    wide_open: float | None
    part_load: tuple[float, ...]
    power: float | None

    @property
    def anchor(self) -> Anchor | None:
        """The number that is implausible; `None` if none is."""
        if self.wide_open is not None and not _within(self.wide_open, VE_LOWEST, VE_HIGHEST):
            return Anchor.WIDE_OPEN
        if self.power is not None and abs(self.power - 1.0) > POWER_STOP:
            return Anchor.POWER
        if any(not _within(ve, VE_PART_LOW, VE_PART_HIGH) for ve in self.part_load):
            return Anchor.PART_LOAD
        return None

    def off(self, anchor: Anchor) -> float:
        """How far a number is from what is expected, ln; NaN where it is not known."""
        if anchor is Anchor.POWER:
            return math.nan if self.power is None else _ln(self.power)
        if anchor is Anchor.WIDE_OPEN:
            return math.nan if self.wide_open is None else _ln(self.wide_open / EXPECTED_VE)
        return max((_ln(ve / PART_LOAD_VE) for ve in self.part_load), key=abs, default=math.nan)

    def settles(self, anchor: Anchor) -> bool:
        """Whether a number is ordinary."""
        if anchor is Anchor.POWER:
            return self.power is not None and abs(self.power - 1.0) <= POWER_CAUTION
        if anchor is Anchor.WIDE_OPEN:
            return self.wide_open is not None and _within(self.wide_open, VE_LOW, VE_HIGH)
        return bool(self.part_load) and all(_within(ve, VE_PART_LOW, VE_PART_HIGH) for ve in self.part_load)

    @property
    def misfit(self) -> float:
        """How badly the numbers fit together: a sum of squares, each in its usual spread."""
        parts = [] if self.power is None else [_square(_ln(self.power) / POWER_SPREAD)]
        parts.append(_square(self.off(Anchor.WIDE_OPEN) / VE_SPREAD))
        if self.part_load:
            rows = [_square(_ln(ve / PART_LOAD_VE) / PART_LOAD_SPREAD) for ve in self.part_load]
            parts.append(sum(rows) / len(rows))
        return sum(_UNKNOWN_MISFIT if math.isnan(part) else part for part in parts)

    @property
    def contradiction(self) -> str:
        """What else would then be implausible, in words."""
        if self.power is not None and abs(self.power - 1.0) > POWER_STOP:
            return f", but then its power is {100 * self.power:.0f} % of the declared one"
        if self.wide_open is not None and not _within(self.wide_open, VE_LOWEST, VE_HIGHEST):
            return f", but then it breathes {100 * self.wide_open:.0f} % wide open"
        odd = [ve for ve in self.part_load if not _within(ve, VE_PART_LOW, VE_PART_HIGH)]
        return f", but then it breathes {100 * odd[0]:.0f} % at part load" if odd else ""


def _within(value: float, low: float, high: float) -> bool:
    return low <= value <= high


def _ln(value: float) -> float:
    return math.log(value) if value > 0 else math.nan


def _square(value: float) -> float:
    return value * value


def implied(job: Job, settings: InForce | None = None) -> Implied:
    """What a job's cells imply, by decoding them with the settings in force; those of the job unless given."""
    settings = settings or in_force(job)
    ve = volumetric_efficiency(job.donor.hardware, job.donor.table, decode(job, settings).air_kg)
    visited = visited_cells(job)
    top = highest_visited_row(visited)
    rows = [median_ve(job, ve, visited, row) for row in part_load_rows(job)]
    power, declared = None, job.donor.hardware.engine.rated_power_w
    if declared is not None:
        power = implied_power_w(job.donor.hardware, job.donor.table, ve) / declared
    return Implied(
        wide_open=None if top is None else median_ve(job, ve, visited, top),
        part_load=tuple(row for row in rows if row is not None),
        power=None if power is None or math.isnan(power) else power,
    )
