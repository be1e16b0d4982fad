"""The rule on inputs that could have been measured on the bench."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.regions import AT_LOAD
from basemap.model.finding import Scope, Severity
from basemap.rounding import cells, excess
from basemap.rules.case import Case, pairs
from basemap.rules.how_far import BY_ONE_INPUT, largest_at_load
from basemap.rules.rule import PRACTICE, Answer, Missing, Rule, Trip


def _uncertainty_at_load(case: Case) -> Iterator[Answer]:
    band = case.relative_uncertainty
    if band is None:
        yield Missing(("relative_uncertainty",), "The uncertainty of the mixture at load has not been worked out.")
        return
    if np.isnan(np.where(case.at_load, band, np.nan)).all():
        yield Missing(case.computed.cancelled or ("donor.tables.fuel",), "No mixture at load can be worked out.")
        return
    found = largest_at_load(case)
    if found is None or found[1] <= BY_ONE_INPUT:
        return
    name, part, cell = found
    past = case.at_load & (case.measurable[name] > BY_ONE_INPUT)
    known_pa = case.load_begins_pa
    yield Trip(
        Severity.STOP,
        f"At load, the {name} alone may put λ {excess(np.exp(part))} % off (k = 2), at {case.address(cell)} (stop "
        f"above {100 * BY_ONE_INPUT:g} %; {cells(int(past.sum()))} at load): the result is a guess there. A "
        "measurement on the bench would settle it.",
        f"1. Measure the {name} and state it with its spread. 2. Or {case.cut_advice(known_pa, None)}",
        scope=Scope.LIMIT,
        value=100.0 * part,
        limit=100.0 * BY_ONE_INPUT,
        cells=pairs(past),
        limit_load_pa=known_pa,
    )


UNCERTAINTY_AT_LOAD = Rule(
    name="uncertainty-at-load",
    title="Uncertainty at load",
    threshold=f"Limit stop at {AT_LOAD:g} of the barometer where, from there up, one input that can be measured on "
    f"the bench puts λ of the adapted table more than {100 * BY_ONE_INPUT:g} % off by itself (k = 2).",
    why="A mixture that may be a quarter off is a guess, and at load a guess can melt a piston. For what only the "
    "running engine can settle, see how far the table may be loaded.",
    source=PRACTICE,
    remedy="Measure it, state it with its spread, and adapt again.",
    judge=_uncertainty_at_load,
    can_stop=True,
)
