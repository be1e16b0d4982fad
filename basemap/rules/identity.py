"""Whose map is it? The single wrong input that would explain an implausible donor, likeliest first.

Each candidate is tried by changing the job and decoding its table again: a size takes the value at which the implied
volumetric efficiency becomes 0.85 (or the power agrees), and what the ECU applies to a cell is reversed. A candidate is
likelier if everything else then fits better. The program only lists candidates; the user chooses.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.model.injectors import FlowRating, RatedBentLine
from basemap.model.installation import Installation
from basemap.model.job import Job
from basemap.model.settings import InForce
from basemap.rules.implied_numbers import Anchor, Implied, implied

LISTED = 3
_LARGEST_FACTOR = 20.0
_SOLVED = 1e-4
_SAME = 0.02  # ln: a candidate that moves the number by less explains nothing


class Explanation(NamedTuple):
    """One input that would explain an implausible donor if it were wrong.

    Parameters
    ----------
    key
        Job-file key.
    words
        What it would be instead, in words.
    value
        In SI; `None` for what the ECU applies to a cell.
    misfit
        The lower, the likelier.
    """

    key: str
    words: str
    value: float | None
    misfit: float


# Sizes


class _Size(NamedTuple):
    """An input with a value: what it is called, how it changes, and how likely another value is.

    A wrong value is compared with the `usual` one, or with the declared one if that is `None`; `spread` is that of its
    logarithm.
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
    """Change static flow and slopes alike, which belong to one part; the open time at a bend stays."""

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
"""Likelier first: injectors get changed, a pressure is misread, a displacement is in the papers (practice)."""


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
    """The declared value and the other one, in the unit of the job."""
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
            continue  # a stand-in cannot explain anything
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
    """Twice the openings give exactly twice the fuel: a slip between batch and sequential injection."""
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
    """The implausible number of a donor, and the single inputs that would explain it, likeliest first.

    Returns
    -------
    The number that is implausible, `None` if none is, and at most three explanations.
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
