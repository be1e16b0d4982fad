"""The rule on how the target breathes: what the new cells allow for, and what they leave out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.constants import SAME
from basemap.model.finding import Severity
from basemap.model.likeness import Breathing
from basemap.rounding import cells, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.how_far import DOUBTFUL, figures_doubtful
from basemap.rules.rule import MODEL, PRACTICE, Answer, Rule, Trip

BREATHING_FAR = 0.10
LEANER_BY_EVIDENCE = 0.03
"""Least leaning of a cell at load by the makers' figures that is reported. Common practice, no source."""

COMPRESSION_APART, BAROMETER_APART_PA = 1.0, 5_000.0
"""Compression ratios and barometers that differ by more change light load by some per cent. Common practice."""

_CHECK_FIGURES = "Check rated_power and peak_torque of both engines and their units, displacement and likeness. "


def _breathes(case: Case) -> Iterator[Answer]:
    yield from _applied(case)
    yield from _left_out(case)
    yield from _residual_gas_left_out(case)


def _applied(case: Case) -> Iterator[Answer]:
    factor = case.table.breathing_factor
    if factor is None:
        return
    factor = np.where(case.reachable, factor, np.nan)
    unknown = case.reachable & np.isnan(factor)
    begin = f"How the target breathes is an estimate ({_by_what(case)}), not a measurement"
    if not np.isfinite(factor).any():
        yield Trip(Severity.CAUTION, f"{begin}, and it leaves no air in any reachable cell.", cells=pairs(unknown))
        return
    low, high = (np.unravel_index(find(factor), factor.shape) for find in (np.nanargmin, np.nanargmax))
    lowest, highest = float(factor[low]), float(factor[high])
    # A correction that nobody asked for counts as large only where it takes fuel away.
    asked = case.job.breathing is not Breathing.SAME and not case.job.breathing_by_default
    away = np.abs(factor - 1.0) if asked else 1.0 - factor
    far = ~unknown & case.reachable & (away > BREATHING_FAR + SAME)
    empty = f" It leaves no air in {cells(int(unknown.sum()))} in reach." if unknown.any() else ""
    beyond = [entry.name for entry in case.table.breathing.evidence if entry.beyond_donor]
    held = f" {' and '.join(beyond).capitalize()}: outside the donor's table, so given half the weight." * bool(beyond)
    yield Trip(
        Severity.CAUTION if far.any() or unknown.any() or beyond else Severity.NOTE,
        f"{begin}: its volumetric efficiency is taken as {rounded_down(lowest, 3)} "
        f"({case.address((int(low[0]), int(low[1])))}) to {rounded_up(highest, 3)} times the donor's "
        f"({case.address((int(high[0]), int(high[1])))}).{empty}{held}",
        value=max(1.0 - lowest, highest - 1.0) * 100.0,
        limit=100.0 * BREATHING_FAR,
        cells=pairs(far | unknown),
    )


def _by_what(case: Case) -> str:
    breathing = case.table.breathing
    physics = [str(case.job.breathing)] if case.job.breathing is not Breathing.SAME else []
    return ", ".join(physics + [entry.name for entry in breathing.evidence if breathing.by_evidence.any()])


def _left_out(case: Case) -> Iterator[Answer]:
    """Makers' figures by which the target draws less air: cells are made leaner only if the user says so."""
    breathing = case.table.breathing
    if case.table.taught is not None:
        return  # drives tell more
    expected = np.where(case.at_load, breathing.lambda_expected, np.nan)
    if not breathing.evidence or not (expected < 1.0 - LEANER_BY_EVIDENCE).any():
        return
    row, column = np.unravel_index(int(np.nanargmin(expected)), expected.shape)
    leanest = float(expected[row, column])
    doubtful = figures_doubtful(case)
    why = f" That is more than two such engines differ ({case.job.likeness}): the figures are sooner wrong."
    far, first = (why, _CHECK_FIGURES) if doubtful else ("", "")
    yield Trip(
        Severity.CAUTION if doubtful else Severity.NOTE,
        "The makers' figures of both engines say that the target draws less air than the new cells have fuel for: "
        f"expect {rounded_down(leanest, 3)} times the intended λ at {case.address((int(row), int(column)))}. No fuel "
        f"has been taken out for that.{far}",
        f"{first}Take fuel out where the wideband shows that it is rich, or state options.breathing_both_ways = true.",
        value=100.0 * (1.0 - leanest),
        limit=100.0 * LEANER_BY_EVIDENCE,
    )


def _residual_gas_left_out(case: Case) -> Iterator[Answer]:
    """Residual gas that would make a difference, but is left out because the job does not state all it needs."""
    job = case.job
    if job.breathing is not Breathing.SAME or "options.breathing" in job.declared:
        return
    if case.by_throttle or case.counts_air:
        return
    sides = job.donor.hardware, job.target.hardware
    known = [side.engine.compression_ratio for side in sides if side.engine.compression_ratio is not None]
    barometers = [side.conditions.barometer_pa for side in sides]
    compressed = len(known) == len(sides) and abs(known[0] - known[1]) > COMPRESSION_APART
    if compressed or abs(barometers[0] - barometers[1]) > BAROMETER_APART_PA:
        yield Trip(
            Severity.NOTE,
            "The new cells leave out residual gas, and the two engines differ in "
            f"{'compression' if compressed else 'barometer'}: at light load the target may draw a few per cent more "
            "or less air than the donor.",
            "State compression_ratio of both engines, and barometer or altitude of both sides.",
        )


BREATHING_ESTIMATE = Rule(
    name="breathing-estimate",
    title="How the target breathes",
    threshold="New cells corrected because the target breathes differently from the donor (residual gas, inlet Mach "
    f"index, makers' figures): note. Caution where the correction takes more than {100 * BREATHING_FAR:g} % of the "
    "air out of a reachable cell, or changes it by as much on an estimate that the job asked for; where it leaves no "
    "air; or where it rests on figures outside the donor's table. Note where the makers' figures make λ at load more "
    f"than {100 * LEANER_BY_EVIDENCE:g} % richer than intended; caution, and no load until measured, where they lie "
    f"more than {-DOUBTFUL:g} standard deviations below what is believed of two such engines. Note where compression "
    "ratios differ by more than "
    f"{COMPRESSION_APART:g} or barometers by more than {BAROMETER_APART_PA / 1e3:g} kPa, and residual gas is left "
    "out because the job does not state all it needs.",
    why="A wrong estimate that takes air away makes the mixture lean. Such estimates hold at best within one family "
    "of engines.",
    source=f"{MODEL}: Taylor (inlet Mach index), Heywood, equation 6.2 (residual gas) and section 13.6 (friction); its "
    f"limits: {PRACTICE}",
    remedy='1. Compare with breathing = "same", and see in the workbook what the estimate does to each cell. 2. Where '
    "it takes air away, begin with the richer of the two tables. 3. Trim it on the target with the wideband.",
    judge=_breathes,
)
