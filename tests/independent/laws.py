"""Helpers of the tests of laws: running a problem, and problems whose ECUs were told the truth."""

from __future__ import annotations

import copy
import random
from dataclasses import replace

from numpy.testing import assert_allclose

from basemap.adaptation.pipeline import compute
from basemap.model.installation import FloatArray
from basemap.model.table_result import LAMBDA_CASES, TableResult
from tests.independent.plain_numbers import Cells, DeadPoints, Problem, Side
from tests.independent.strategies import random_problem, to_job
from tests.independent.worked import installation_a, installation_b, problem, ve_cells

SEED = 7_000


def run(given: Problem) -> TableResult:
    return compute(to_job(given)).table


def effective(found: TableResult) -> FloatArray:
    """The pulse without the dead time, s."""
    return found.target.pulse_s - found.target.dead_time_s


def untold(side: Side) -> Side:
    """The same installation with an ECU that was told the truth."""
    return replace(
        side,
        told_displacement=None,
        told_flow=None,
        told_stoichiometric=None,
        told_openings=None,
        told_dead=None,
    )


def truthful(given: Problem) -> Problem:
    """The same hardware with every setting true and none kept from the donor."""
    donor, target = untold(given.donor), untold(given.target)
    target.corrects_rail_pressure = donor.corrects_rail_pressure
    target.corrects_charge_temperature = donor.corrects_charge_temperature
    new = replace(given.old, lambda_=given.new.lambda_, battery=given.new.battery)
    return Problem(donor, target, given.old, new)


def honest_problems(count: int, seed: int, *, is_ve: bool | None = None) -> list[Problem]:
    """Random problems whose settings are true; of VE or of pulse width only, if `is_ve` says so."""
    generator, found = random.Random(SEED + seed), list[Problem]()
    while len(found) < count:
        given = truthful(random_problem(generator))
        if is_ve is None or given.old.is_ve == is_ve:
            found.append(given)
    return found


def simple(given: Problem) -> Problem:
    """The problem with dead times that do not depend on pressure and are not inside the cells."""
    for side in (given.donor, given.target):
        side.dead = DeadPoints(side.dead.volts, side.dead.seconds[:1])
    given.old.dead_time_inside = given.new.dead_time_inside = False
    return given


def a_to_b(cells: Cells | None = None) -> Problem:
    return problem(installation_a(), installation_b(), ve_cells(0.85) if cells is None else cells)


def times_flow(side: Side, factor: float) -> Side:
    scaled = copy.deepcopy(side)
    scaled.static.value *= factor
    if scaled.slope is not None:
        scaled.slope.value *= factor
    return scaled


def same_answer(one: Problem, other: Problem) -> None:
    first, second = run(one), run(other)
    for name in ("new", "pulse_s", "duty"):
        assert_allclose(getattr(second, name), getattr(first, name), rtol=1e-11)
    assert_allclose(second.target.air_kg, first.target.air_kg, rtol=1e-11)
    for case in LAMBDA_CASES:
        assert_allclose(second.lambda_ratio[case], first.lambda_ratio[case], rtol=1e-9)
