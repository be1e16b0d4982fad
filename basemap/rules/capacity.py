"""Whether the injectors fit the engine: if they flow far too much, the job is wrong about them or about the engine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from basemap.adaptation.implied import POWER_STOP, implied_power_w, volumetric_efficiency
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray, Installation
from basemap.model.table import TableQuantity
from basemap.rounding import percent_down
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip

LEAST_DUTY = 0.30
"""Least ordinary duty at full load and the highest speed; 60 to 85 % is usual. Common practice, no source."""

CHOSEN = (0.45, 1.0)
"""Ordinary duties: a mistake is named as a reason if it would explain one of these. Common practice, no source."""

POUND_PER_HOUR_IN_CC = 10.5
"""One lb/h in cc/min of petrol at 0.72 g/cc: 453.592 g over 60 min."""


class _AtFullLoad(NamedTuple):
    """One side with the duty of its injectors at full load and the highest speed."""

    name: str
    installation: Installation
    duty: float

    @property
    def low(self) -> bool:
        """Whether the duty is known, and lower than injectors are chosen for."""
        return 0.0 <= self.duty < LEAST_DUTY


def _highest(duty: FloatArray, among: BoolArray) -> float:
    found = np.where(among & np.isfinite(duty), duty, -1.0)
    return float(found.max(initial=-1.0))


def _sides(case: Case) -> Iterator[_AtFullLoad]:
    """The sides whose duty depends on the stated flow.

    That of a table of pulses does not: there, a wrong flow shows in the volumetric efficiency. A target with a cut
    never runs its injectors at full load.
    """
    donor, engine = case.on_donor_axes.table, case.job.target.hardware.engine
    if case.job.donor.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        yield _AtFullLoad("donor", case.job.donor.hardware, _highest(donor.donor.duty, donor.visited))
    if engine.load_cut_pa is None and engine.rev_cut_rpm is None:
        yield _AtFullLoad("target", case.job.target.hardware, _highest(case.table.target.duty, case.reachable))


def _too_much_flow(case: Case) -> Iterator[Answer]:
    sides = [side for side in _sides(case) if side.low]
    if not sides:
        return
    first = sides[0]
    duties = " and ".join(f"{percent_down(side.duty)} % on the {side.name}" for side in sides)
    reasons = list(_reasons(case, first))
    likeliest = "".join(f" {number}. {reason}" for number, reason in enumerate(reasons, 1))
    yield Trip(
        Severity.CAUTION,
        f"At full load and the highest speed the injectors are open for too little of the time: {duties} (caution "
        f"below {100 * LEAST_DUTY:g} %; 60 to 85 % is usual). Possible reasons:{likeliest}",
        value=100.0 * first.duty,
        limit=100.0 * LEAST_DUTY,
    )


def _reasons(case: Case, side: _AtFullLoad) -> Iterator[str]:
    """Mistakes that would explain the duty by their factor, the likeliest first; then that the duty is true."""
    engine, injectors = side.installation.engine, side.installation.injectors
    flow = f"{side.name}.injectors.static_flow"
    count = engine.cylinders * injectors.per_cylinder
    if count > 1.0 and _ordinary(side.duty * count):
        yield f"{flow} is the flow of all {count:g} injectors together: then the duty is {_then(side.duty * count)}."
    if engine.cylinders > 1 and _ordinary(side.duty * engine.cylinders) and not _power_agrees(case, side):
        key = f"{side.name}.engine.displacement"
        yield f"{key} is one cylinder's, not the engine's: then the duty is {_then(side.duty * engine.cylinders)}."
    if _ordinary(side.duty * POUND_PER_HOUR_IN_CC):
        yield (
            f"{flow} is in cc/min but was written as lb/h: then the duty is {_then(side.duty * POUND_PER_HOUR_IN_CC)}."
        )
    yield "The injectors were chosen for boost or for alcohol: then look at the shortest pulse."


def _ordinary(duty: float) -> bool:
    return CHOSEN[0] <= duty <= CHOSEN[1]


def _then(duty: float) -> str:
    return f"{100 * duty:.0f} %"


def _power_agrees(case: Case, side: _AtFullLoad) -> bool:
    """Whether the declared power agrees with the declared displacement, as another rule judges it."""
    rated = side.installation.engine.rated_power_w
    if side.name != "donor" or rated is None:
        return False
    donor, table = case.job.donor.hardware, case.job.donor.table
    ve = volumetric_efficiency(donor, table, case.on_donor_axes.table.donor.air_kg)
    return abs(implied_power_w(donor, table, ve) / rated - 1.0) <= POWER_STOP


TOO_MUCH_FLOW = Rule(
    name="too-much-flow",
    title="Too much flow",
    threshold=f"Duty below {100 * LEAST_DUTY:g} % at full load and the highest speed, on the donor (unless its table "
    "holds pulses) or on the target (unless it has a cut): caution, with the mistakes that would explain it.",
    why="Typed as the flow of one injector, the flow of all four makes every pulse a quarter of what the engine "
    "needs. Made on both sides, this mistake cancels in the cells, and no other rule shows it.",
    source=PRACTICE,
    remedy="1. Read the flow on the injector's own sheet: one injector, its unit, its pressure. 2. Compare the flow "
    "with the number on the ECU's own page. 3. If it is right, look at the pulse at idle first.",
    judge=_too_much_flow,
)
