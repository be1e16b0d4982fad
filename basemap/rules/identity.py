"""Whose map is it? The single wrong input that would explain an implausible donor, likeliest first.

Each candidate is tried by changing the job and decoding its table again: sizes take the value at which the implied
volumetric efficiency becomes 0.85 (or the power agrees), and what the ECU applies to a cell is turned over. How
likely a candidate is says how well everything else then fits. Nothing is ever chosen for the user.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

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
from basemap.model.installation import FlowRating, Installation, RatedBentLine
from basemap.model.job import Job
from basemap.model.settings import InForce

EXPECTED_VE = 0.85
"""Volumetric efficiency wide open that a size is solved for. Common practice, no source."""

PART_LOAD_VE = 0.65
VE_SPREAD, PART_LOAD_SPREAD, POWER_SPREAD = 0.12, 0.25, 0.10
"""How far each of them usually lies from what is expected, ln. Common practice, no source."""

LISTED = 3
_UNKNOWN_MISFIT = 9.0
_LARGEST_FACTOR = 20.0
_SOLVED = 1e-4
_SAME = 0.02  # ln: a candidate that moves the number by less explains nothing


class Anchor(StrEnum):
    """Which number is implausible, the most telling first."""

    WIDE_OPEN = "volumetric efficiency wide open"
    POWER = "power"
    PART_LOAD = "volumetric efficiency at part load"


@dataclass(frozen=True)
class Explanation:
    """One input that, being wrong, would explain it.

    Parameters
    ----------
    key
        Job-file key.
    words
        What it would be instead, for people.
    value
        In SI; `None` for what the ECU applies to a cell.
    misfit
        The lower, the likelier.
    """

    key: str
    words: str
    value: float | None
    misfit: float


@dataclass(frozen=True)
class Implied:
    """What a job's cells imply: medians as fractions, power over the declared one; `None` where not known."""

    wide_open: float | None
    part_load: tuple[float, ...]
    power: float | None

    @property
    def anchor(self) -> Anchor | None:
        """The number that is implausible, if one is."""
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
        """Whether a number is an ordinary one."""
        if anchor is Anchor.POWER:
            return self.power is not None and abs(self.power - 1.0) <= POWER_CAUTION
        if anchor is Anchor.WIDE_OPEN:
            return self.wide_open is not None and _within(self.wide_open, VE_LOW, VE_HIGH)
        return bool(self.part_load) and all(_within(ve, VE_PART_LOW, VE_PART_HIGH) for ve in self.part_load)

    @property
    def misfit(self) -> float:
        """How badly the numbers hang together: a sum of squares in usual spreads."""
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


# Sizes


@dataclass(frozen=True)
class _Size:
    """An input with a value: what it is called, how it changes, and how likely another value is.

    `usual` is the value to which a wrong one is held, `None` for the declared one; `spread` of its logarithm.
    """

    key: str
    words: str
    read: Callable[[Installation], float]
    change: Callable[[Installation, float], Installation]
    unit: tuple[str, float]
    prior: float
    usual: float | None
    spread: float


def _flow(installation: Installation, factor: float) -> Installation:
    """Static flow and slopes belong to one part: all change, and the opening at a bend stays."""

    def scaled(rating: FlowRating) -> FlowRating:
        return replace(rating, value=rating.value * factor)

    injectors = installation.injectors
    slope = None if injectors.slope is None else scaled(injectors.slope)
    both = injectors.bent_line
    if both is not None:
        both = RatedBentLine(scaled(both.below), scaled(both.above), both.at_mass_kg * factor)
    return replace(
        installation, injectors=replace(injectors, static=scaled(injectors.static), slope=slope, bent_line=both)
    )


def _rail(installation: Installation, factor: float) -> Installation:
    fuel = installation.fuel
    return replace(installation, fuel=replace(fuel, rail_pressure_pa=fuel.rail_pressure_pa * factor))


def _displacement(installation: Installation, factor: float) -> Installation:
    engine = installation.engine
    return replace(installation, engine=replace(engine, displacement_m3=engine.displacement_m3 * factor))


_SIZES = (
    _Size(
        "donor.injectors.static_flow",
        "injectors of",
        lambda side: side.injectors.static.value,
        _flow,
        ("cc/min", 1e-6 / 60.0),
        0.5,
        None,
        1.0,
    ),
    _Size(
        "donor.fuel.rail_pressure",
        "a rail pressure of",
        lambda side: side.fuel.rail_pressure_pa,
        _rail,
        ("bar", 1e5),
        1.5,
        3e5,
        0.7,
    ),
    _Size(
        "donor.engine.displacement",
        "a displacement of",
        lambda side: side.engine.displacement_m3,
        _displacement,
        ("cc", 1e-6),
        1.5,
        None,
        0.25,
    ),
)
"""Likelier first: injectors are changed, a pressure is misread, a displacement stands in the papers (practice)."""


def _sizes(job: Job, before: Implied, anchor: Anchor) -> Iterator[Explanation]:
    for size in _SIZES:
        solved = _solved(job, size, before, anchor)
        if solved is None:
            continue
        factor, after = solved
        declared = size.read(job.donor.hardware)
        value = declared * factor
        away = math.log(factor if size.usual is None else value / size.usual) / size.spread
        was, now = _shown(job, size, declared, value)
        yield Explanation(
            size.key,
            f"{size.words} {now} instead of {was} ({size.key}){after.contradiction}",
            value,
            after.misfit + size.prior + away**2,
        )


def _solved(job: Job, size: _Size, before: Implied, anchor: Anchor) -> tuple[float, Implied] | None:
    """The factor on a size at which the number is as expected, and what the cells then imply; by secants in ln."""
    x0, y0 = 0.0, before.off(anchor)
    x1, after = math.log(1.1), _changed(job, size, 1.1)
    y1 = after.off(anchor)
    for _ in range(8):
        if math.isnan(y1) or abs(y1 - y0) <= 1e-9:
            return None
        if abs(y1) < _SOLVED:
            return math.exp(x1), after
        x0, x1, y0 = x1, x1 - y1 * (x1 - x0) / (y1 - y0), y1
        if abs(x1) > math.log(_LARGEST_FACTOR):
            return None
        after = _changed(job, size, math.exp(x1))
        y1 = after.off(anchor)
    return None


def _changed(job: Job, size: _Size, factor: float) -> Implied:
    return implied(job.with_side("donor", hardware=size.change(job.donor.hardware, factor)))


def _shown(job: Job, size: _Size, declared: float, value: float) -> tuple[str, str]:
    """The declared value and the other one, in the unit that the job is written in."""
    unit, per_unit = size.unit
    written = job.inputs.get(size.key)
    if written is not None and written.shown:
        unit, per_unit = written.unit, written.value / written.shown
    elif size.key.endswith("static_flow") and job.donor.hardware.injectors.static.is_mass:
        unit, per_unit = "g/min", 1e-3 / 60.0
    return f"{declared / per_unit:.4g} {unit}", f"{float(f'{value / per_unit:.3g}'):g} {unit}"


# What the ECU applies to a cell

_SWITCHES = (
    ("dead_time", "the dead time"),
    ("pressure", "the manifold pressure"),
    ("intended_lambda", "the intended λ"),
)
_SWITCH_PRIOR = 0.3
_APPLIES = "donor.tables.fuel.ecu_applies"


def _switches(job: Job, before: Implied, anchor: Anchor) -> Iterator[Explanation]:
    inside = job.donor.table.inside
    for name, words in _SWITCHES:
        if name == "dead_time" and not (job.donor.dead_time_known and job.donor.flow_known):
            continue  # a stand-in can explain nothing
        was = bool(getattr(inside, name))
        turned = replace(job.donor.table, inside=replace(inside, **{name: not was}))
        after = implied(job.with_side("donor", table=turned))
        moved = abs(after.off(anchor) - before.off(anchor))
        if moved > _SAME and after.settles(anchor):
            how = f"{words} applied by the ECU" if was else f"{words} inside the cells already"
            yield Explanation(_APPLIES, f"{how} ({_APPLIES}){after.contradiction}", None, after.misfit + _SWITCH_PRIOR)


# Openings

_OPENINGS = "donor.injectors.openings_per_cycle"
_OPENINGS_PRIOR = 0.4


def _openings(job: Job, before: Implied, anchor: Anchor) -> Iterator[Explanation]:
    """Twice the openings are twice the fuel, to the last drop: the slip from batch to sequential, or back."""
    declared = job.donor.hardware.injectors.openings_per_cycle
    if declared not in (1.0, 2.0) or not job.donor.flow_known:
        return
    other = 3.0 - declared
    turned = replace(job.donor.hardware, injectors=replace(job.donor.hardware.injectors, openings_per_cycle=other))
    after = implied(job.with_side("donor", hardware=turned))
    if abs(after.off(anchor) - before.off(anchor)) > _SAME and after.settles(anchor):
        words = f"{other:g} instead of {declared:g} openings a cycle ({_OPENINGS}){after.contradiction}"
        yield Explanation(_OPENINGS, words, other, after.misfit + _OPENINGS_PRIOR)


def explanations(job: Job, settings: InForce | None = None) -> tuple[Anchor | None, tuple[Explanation, ...]]:
    """What is implausible about a donor, and which single input would explain it, the likeliest first.

    Returns
    -------
    The number that is implausible, `None` where none is, and at most three explanations.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        before = implied(job, settings)
        anchor = before.anchor
        if anchor is None:
            return None, ()
        found = [*_switches(job, before, anchor), *_openings(job, before, anchor)]
        if anchor is not Anchor.PART_LOAD:
            found += _sizes(job, before, anchor)
    return anchor, tuple(sorted(found, key=lambda each: each.misfit)[:LISTED])
