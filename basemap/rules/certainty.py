"""The rule on how sure the answer is."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.regions import AT_LOAD
from basemap.model.result import Scope, Severity
from basemap.rounding import cells, percent_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import PRACTICE, Answer, Missing, Rule, Trip

UNSURE, GUESS = 0.10, 0.25


def _uncertainty_at_load(case: Case) -> Iterator[Answer]:
    band = case.relative_uncertainty
    if band is None:
        yield Missing(("relative_uncertainty",), "How sure the mixture at load is has not been worked out.")
        return
    at_load = np.where(case.at_load, band, np.nan)
    if np.isnan(at_load).all():
        yield Missing(case.computed.cancelled or ("donor.tables.fuel",), "No mixture at load can be worked out.")
        return
    found = grade(at_load, Limits(UNSURE, GUESS))
    if found is None:
        return
    stop = found.severity is Severity.STOP
    known_pa = case.load_begins_pa
    first = f"1. Measure {case.measure_first} and state it with its spread."
    yield Trip(
        found.severity,
        f"At load, λ after adapting is only known to ± {percent_up(found.value)} % (k = 2), at "
        f"{case.address(found.cell)} ({found.severity} above {100 * found.limit:g} %; {cells(found.count)} at load)"
        f"{': the answer is a guess there.' if stop else '.'}",
        f"{first} 2. Or {case.cut_advice(known_pa, None)}"
        if stop
        else f"{first} 2. Until then start richer by so much at load, and approach it in steps with the wideband in "
        "view.",
        scope=Scope.LIMIT if stop else Scope.FILE,
        value=100.0 * found.value,
        limit=100.0 * found.limit,
        cells=pairs(found.past),
        limit_load_pa=known_pa if stop else None,
    )


UNCERTAINTY_AT_LOAD = Rule(
    name="uncertainty-at-load",
    title="Uncertainty at load",
    threshold=f"Expanded uncertainty (k = 2) of λ after adapting, from {AT_LOAD:g} of the barometer up, above "
    f"{100 * UNSURE:g} %: caution; above {100 * GUESS:g} %: limit stop at {AT_LOAD:g} of the barometer.",
    why="A mixture that may be a quarter off is a guess, and at load a guess can melt a piston.",
    source=PRACTICE,
    remedy="Measure what the uncertainty comes from, state it with its spread, and adapt again.",
    judge=_uncertainty_at_load,
    can_stop=True,
)
