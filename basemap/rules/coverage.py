"""Rules on where the target's table asks for what the donor's does not hold."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.model.result import Mark, Severity
from basemap.rules.case import Case, pairs
from basemap.rules.rule import MODEL, Answer, Rule, Trip
from basemap.rules.wording import cells


def _outside(case: Case) -> Iterator[Answer]:
    outside = case.marked(Mark.OUTSIDE)
    if not outside.any():
        return
    found = pairs(outside)
    places = [name for name, place in (("idle", case.idle), ("wide open", case.wide_open)) if (place & outside).any()]
    where = f", {' and '.join(places)} among them" if places else ""
    yield Trip(
        Severity.CAUTION if places else Severity.NOTE,
        f"The target's axes go beyond the donor's table: {cells(len(found))} outside donor data{where}, "
        f"such as {case.address(found[-1])}. There the donor's edge is held.",
        value=float(len(found)),
        limit=0.0,
        cells=found,
    )


OUTSIDE_DONOR = Rule(
    name="outside-donor-data",
    title="Outside donor data",
    threshold="A reachable cell of the target's table beyond the donor's axes: note; at idle or wide open: caution.",
    why="Beyond its edge the donor's table says nothing; how the engine breathes is held there, not known.",
    source=MODEL,
    remedy="Give the target axes within the donor's, or measure the mixture in those cells first, from the rich side.",
    judge=_outside,
)
