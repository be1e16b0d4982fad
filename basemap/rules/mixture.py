"""Rules on the mixture. λ is judged twice: loaded untouched (a caution at most), and adapted with the new settings."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from basemap.adaptation.outcomes import WIDE_OPEN_PLACE
from basemap.adaptation.regions import BOOST_PA
from basemap.constants import LEAN_CAUTION, LEAN_STOP, LEANEST_WIDE_OPEN
from basemap.model.axes import FULL_LOAD_EFFICIENCY
from basemap.model.band import LeanEnd
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark
from basemap.rounding import cells, lean, rounded_down, rounded_up, without_noise
from basemap.rules.case import Case, pairs
from basemap.rules.causes import OPEN_THROUGHOUT, RANGE, UNCERTAIN
from basemap.rules.grading import Grade, Limits, grade, worst
from basemap.rules.rule import PRACTICE, UNTOUCHED, Answer, Missing, Rule, Trip
from basemap.rules.slips import departures

RICH_CAUTION = 0.85
RICHEST_LAMBDA = 0.65
LEANEST_IN_BOOST = 0.90
BOOST_RAMP_PA = 20_000.0
"""Boost over which the limit of the intended λ falls from that of wide open to that of boost. Common practice."""

LEANEST_USUAL = 0.95
"""Intended λ wide open above which it is questioned: 0.85 to 0.90 is usual. Common practice, no source."""

LAMBDA_SLIP = 0.05
"""How far one intended λ at load may be from what its neighbours suggest, relative. Common practice, no source."""

SAME_LAMBDA = 1e-9
"""Smaller differences are rounding: a limit that is interpolated differs in its last bit."""

UPSIDE_DOWN = 0.02
"""How much leaner than part load full load may be intended; both may be meant to be the same."""

AT_LOAD_WITHIN = 0.12
"""Lean end of the band at load, above the intended mixture, up to which the engine may be loaded while λ is watched.

Common practice, no source: full-load mixtures of λ 0.85 to 0.88 then stay below 1.
"""

RICHEST_AT_LOAD = 0.15
"""The most by which cells at load are written richer than intended. Common practice, no source."""


def adapted_extremes(case: Case, cells_judged: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Leanest and richest λ ratio that is expected of the new table, unrounded and as stored, new settings entered."""
    leanest, richest = case.table.expected_extremes
    return np.where(cells_judged, leanest, np.nan), np.where(cells_judged, richest, np.nan)


def _lean(case: Case) -> Iterator[Answer]:
    leanest, _ = adapted_extremes(case, case.at_load)
    richer = leanest / (1.0 + case.job.richer_at_load)
    found = grade(richer, Limits(LEAN_CAUTION, LEAN_STOP))
    if found is not None and found.severity is Severity.STOP:
        yield _too_lean(case, found)
    elif (end := case.lean_at_load) is not None and end.ratio > 1.0 + AT_LOAD_WITHIN:
        yield _maybe_lean(case, end, float(richer[end.cell]))
    elif found is not None:
        yield _too_lean(case, found)
    untouched = np.where(case.at_load, case.ratio("old_table_old_settings"), np.nan)
    found = grade(untouched, Limits(caution=LEAN_CAUTION))
    if found is not None:
        yield Trip(
            Severity.CAUTION,
            f"If loaded as it is, λ is {_times(found)} the intended at {case.address(found.cell)}: "
            f"{lean(found.value)} (limit {found.limit:.2f}; {cells(found.count)} at load).",
            UNTOUCHED,
            as_loaded=True,
            value=found.value,
            limit=found.limit,
            cells=pairs(found.past),
        )


def _times(found: Grade) -> str:
    return f"{rounded_up(found.value, 3)} times"


def _too_lean(case: Case, found: Grade) -> Trip:
    return Trip(
        found.severity,
        f"With the new table and settings, λ is {_times(found)} the intended at {case.address(found.cell)}: "
        f"{lean(found.value)} ({found.severity} above {found.limit:.2f}; {cells(found.count)} at load)."
        f"{_cause(case, found.cell)}",
        value=found.value,
        limit=found.limit,
        cells=pairs(found.past),
        cause=_BEHIND.get(_mark(case, found.cell)),
    )


_BEHIND: dict[Mark | None, str] = {Mark.SATURATED: OPEN_THROUGHOUT, Mark.ABOVE_MAXIMUM: RANGE}


def _cause(case: Case, cell: tuple[int, ...]) -> str:
    """What makes an adapted cell lean, if its marks say so."""
    mark = _mark(case, cell)
    return f" The cell is marked: {mark}." if mark else ""


def _mark(case: Case, cell: tuple[int, ...]) -> Mark | None:
    return next((mark for mark in (Mark.SATURATED, Mark.ABOVE_MAXIMUM) if case.marked(mark)[cell]), None)


def _propose(lean_end: float) -> str:
    """How much richer to write the cells at load for a lean end, λ over the intended before any is written richer."""
    key, most = "options.richer_at_load", f"{100 * RICHEST_AT_LOAD:g} %"
    needed = 100.0 * (lean_end - 1.0)
    if needed <= 100.0 * RICHEST_AT_LOAD:
        return f'With {key} = "{math.ceil(needed - 1e-9)} %" the lean end is as intended.'
    return f'Even {key} = "{most}" leaves {lean(lean_end / (1.0 + RICHEST_AT_LOAD))}.'


def _maybe_lean(case: Case, end: LeanEnd, expected: float) -> Trip:
    richer, limit = case.job.richer_at_load, 1.0 + AT_LOAD_WITHIN
    propose = _propose((1.0 + richer) * end.ratio)
    past = case.at_load & (case.lean_ends / (1.0 + richer) > limit)
    past[end.cell] = True
    return Trip(
        Severity.CAUTION,
        f"Not shown to be safe: somewhere at load λ may be {rounded_up(end.ratio, 3)} times the intended within its "
        f"uncertainty (k = 2; caution above {limit:.2f}), most likely at {case.address(end.cell)}, where "
        f"{rounded_up(without_noise(expected), 3)} times is expected.",
        f"{case.measure(WIDE_OPEN_PLACE)} {propose}",
        value=end.ratio,
        limit=limit,
        cells=pairs(past),
        cause=UNCERTAIN,
    )


LEAN_AT_LOAD = Rule(
    name="lean-at-load",
    title="Lean at load",
    threshold=f"λ actual / λ intended above {LEAN_STOP:.2f}: stop; above {LEAN_CAUTION:.2f}: caution. Lean end (k = 2) "
    f"of all cells at load together above {1.0 + AT_LOAD_WITHIN:.2f}: caution. Judged from 0.8 of the barometer up, "
    "with `richer_at_load` counted in. The untouched map: caution at most.",
    why="A lean mixture at load melts pistons and burns valves: it burns hot and knocks.",
    source=PRACTICE,
    remedy="1. Do not run the engine at load with this table. 2. Find out what makes the cell lean: an injector that "
    "is always open, a number that the table cannot store, a setting that the ECU cannot be told. 3. Correct that "
    "and adapt again.",
    judge=_lean,
    can_stop=True,
)


def _rich(case: Case) -> Iterator[Answer]:
    intended = case.job.target.table.intended_lambda
    _, richest = adapted_extremes(case, case.at_load)
    found = grade(richest * intended, Limits(stop=RICHEST_LAMBDA, above=False), case.of_parts)
    if found is None:
        found = grade(richest, Limits(caution=RICH_CAUTION, above=False))
    if found is not None:
        yield _too_rich(case, found, richest)
    untouched = np.where(case.at_load, case.ratio("old_table_old_settings"), np.nan)
    past = (untouched < RICH_CAUTION) | (untouched * intended < RICHEST_LAMBDA)
    if past.any():
        cell = worst(untouched, past, above=False)
        yield Trip(
            Severity.CAUTION,
            f"If loaded as it is, λ is {rounded_down(untouched[cell], 3)} times the intended at {case.address(cell)}, "
            f"so λ is {rounded_down(untouched[cell] * intended[cell], 3)} (limits: {RICH_CAUTION} times, λ "
            f"{RICHEST_LAMBDA}; {cells(int(past.sum()))} at load).",
            UNTOUCHED,
            as_loaded=True,
            value=float(untouched[cell]),
            limit=RICH_CAUTION,
            cells=pairs(past),
        )


def _too_rich(case: Case, found: Grade, ratio: FloatArray) -> Trip:
    number, limit = rounded_down(found.value if found.shown else without_noise(found.value), 3), found.limit
    where = case.address(found.cell)
    if limit == RICH_CAUTION:
        message = (
            f"With the new table and settings, λ is {number} times the intended at {where} (caution below {limit}; "
            f"{cells(found.count)} at load)."
        )
    elif found.shown:
        message = (
            f"With the new table and settings, λ is {number} at {where} (stop below {limit}), "
            f"{rounded_down(float(ratio[found.cell]), 3)} times the intended."
        )
    else:
        message = (
            f"Not shown to be safe: at {where} λ may be {rounded_down(found.adverse, 3)} within its uncertainty (k = "
            f"2); expected is {number} (stop below {limit})."
        )
    remedy = None if found.shown else f"{case.measure(WIDE_OPEN_PLACE)} Stay off full load until then."
    value = found.value if found.shown else found.adverse
    cause = None if found.shown else UNCERTAIN
    return Trip(found.severity, message, remedy, value=value, limit=limit, cells=pairs(found.past), cause=cause)


RICH_AT_LOAD = Rule(
    name="rich-at-load",
    title="Rich at load",
    threshold=f"λ below {RICHEST_LAMBDA}: stop; λ actual / λ intended below {RICH_CAUTION}: caution. Judged from 0.8 "
    "of the barometer up. The untouched map: caution at most.",
    why="At worst the engine misfires and the fuel burns in the exhaust. Plugs foul, and fuel washes the oil off the "
    "bores.",
    source=PRACTICE,
    remedy="1. Check the target's intended λ: one this rich is rarely meant. 2. Check whether the cell is held at the "
    "lowest number that the table can store. 3. Correct that and adapt again.",
    judge=_rich,
    can_stop=True,
)


def _intended(case: Case) -> Iterator[Answer]:
    intended = case.job.target.table.intended_lambda
    wide_open = _at_wide_open(case, intended)
    tripped = False
    for place, found in (
        ("in boost", _in_boost(case, intended)),
        ("wide open", grade(wide_open, Limits(LEANEST_USUAL, LEANEST_WIDE_OPEN))),
    ):
        if found is not None:
            tripped = True
            yield _intended_trip(case, found, place)
    if not tripped:
        yield from _upside_down(case, intended)
        yield from _one_cell(case, intended)
    entry = case.stand_in_lambda
    if entry is not None and not tripped:
        yield Missing((entry.key,), f"An intended λ of {entry.value} stands in for the unknown one.")


def _in_boost(case: Case, intended: FloatArray) -> Grade | None:
    """The worst cell in boost, compared with what is allowed in its row; the caution of wide open holds below that."""
    load = case.job.target.table.load_pa / (FULL_LOAD_EFFICIENCY if case.counts_air else 1.0)
    begins = case.barometer_pa + BOOST_PA
    allowed = np.interp(load, (begins, begins + BOOST_RAMP_PA), (LEANEST_WIDE_OPEN, LEANEST_IN_BOOST))[:, np.newaxis]
    for severity, limit in ((Severity.STOP, allowed), (Severity.CAUTION, np.fmin(allowed, LEANEST_USUAL))):
        past = case.boost & (intended > limit + SAME_LAMBDA)
        if past.any():
            cell = worst(intended - limit, past, above=True)
            value = float(intended[cell])
            return Grade(severity, float(limit[cell[0], 0]), value, value, past, cell)
    return None


def _upside_down(case: Case, intended: FloatArray) -> Iterator[Trip]:
    """A λ table that is upside down: it would be lean where the engine works hardest."""
    part_load = case.reachable & ~case.at_load
    if not (part_load.any() and case.at_load.any()):
        return
    at_load, below = float(np.nanmean(intended[case.at_load])), float(np.nanmean(intended[part_load]))
    if at_load > below + UPSIDE_DOWN:
        yield Trip(
            Severity.CAUTION,
            f"The intended λ is leaner at load than at part load, {rounded_up(at_load, 3)} against "
            f"{rounded_up(below, 3)} on average: is the λ table upside down, or transposed?",
            "Compare the corners of the λ table with the controller's: full load should be richer than cruising.",
            value=at_load,
            limit=below + UPSIDE_DOWN,
            cells=pairs(case.at_load),
        )


def _one_cell(case: Case, intended: FloatArray) -> Iterator[Trip]:
    """One λ at load that differs from what its neighbours suggest, judged as a cell of the fuel table is."""
    table = case.job.target.table
    off, agreed = departures(np.log(intended), table.rpm, table.load_pa)
    beyond = case.at_load & (np.abs(off) > np.log1p(LAMBDA_SLIP))
    if beyond.any():
        cell = worst(agreed * np.abs(off), beyond, above=True)
        wanted = float(intended[cell] / np.exp(off[cell]))
        yield Trip(
            Severity.CAUTION,
            f"The intended λ is {intended[cell]:.3g} at {case.address(cell)}, where the cells around it suggest about "
            f"{wanted:.3g} (caution beyond {100 * LAMBDA_SLIP:g} %): a typing error?",
            "Compare this cell with the controller's own λ table, digit by digit.",
            value=float(intended[cell]),
            limit=wanted * (1.0 + LAMBDA_SLIP),
            cells=((cell[0], cell[1]),),
        )


def _at_wide_open(case: Case, intended: FloatArray) -> FloatArray:
    """Intended λ of the wide-open rows; if no row is near enough, the one row that the ECU reads between them."""
    if case.wide_open.any():
        return np.where(case.wide_open, intended, np.nan)
    if case.highest_load_pa < case.barometer_pa * (1.0 - 1e-9):
        return np.full_like(intended, np.nan)
    between = case.at_pressure(intended, case.barometer_pa)
    return np.where(case.reachable.any(axis=0), between, np.nan)


def _intended_trip(case: Case, found: Grade, place: str) -> Trip:
    between = len(found.cell) == 1
    where = (
        f"{case.speed(case.job.rpm[found.cell[0]])} and {case.load(case.barometer_pa)}, between rows,"
        if between
        else case.address(found.cell)
    )
    return Trip(
        found.severity,
        f"The intended λ is {rounded_up(found.value, 3)} at {where} {place} "
        f"({found.severity} above {rounded_down(found.limit, 2)}).",
        value=found.value,
        limit=found.limit,
        cells=() if between else pairs(found.past),
    )


INTENDED_MIXTURE = Rule(
    name="intended-mixture-at-load",
    title="Intended mixture at load",
    threshold=f"Target's intended λ above {LEANEST_WIDE_OPEN:.2f} wide open (within 5 % of the barometer) or above "
    f"{LEANEST_IN_BOOST:.2f} in boost: stop (from 5 to {(BOOST_PA + BOOST_RAMP_PA) / 1e3:g} kPa above the barometer "
    f"the limit runs in a straight line between the two). Above {LEANEST_USUAL:.2f} there, leaner at load than at "
    f"part load by more than {UPSIDE_DOWN:g} on average, or one cell at load more than {100 * LAMBDA_SLIP:g} % from "
    "what its neighbours suggest: caution. No uncertainty band.",
    why="If the intended mixture is lean, a table that hits it exactly still overheats the engine and makes it knock.",
    source=PRACTICE,
    remedy='1. State the λ that the target should run at load as "target.tables.fuel.lambda": a number or a separate '
    "file. 2. Adapt again.",
    judge=_intended,
    can_stop=True,
)
