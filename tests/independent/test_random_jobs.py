"""Whole random jobs: the program against the independent calculation, every cell to 1e-9."""

from __future__ import annotations

import math
from functools import cache

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from basemap.adaptation.pipeline import compute
from basemap.model.result import Computed
from tests.builders.cases import each
from tests.independent import calculation
from tests.independent.batches import BATCHES, batch_of, problems_of
from tests.independent.comparison import disagreements, grid_disagreements, setting_disagreements, sweep_disagreements
from tests.independent.plain_numbers import Grid, Problem
from tests.independent.strategies import problems, to_job

DETERMINISTIC = settings(
    max_examples=80,
    derandomize=True,
    deadline=None,
    database=None,
    phases=[Phase.generate],  # shrinking takes minutes: the failing problem is printed whole
    suppress_health_check=list(HealthCheck),
)


@cache
def computed_batch(batch: int) -> list[tuple[Problem, Computed]]:
    """Random jobs and the program's results, worked out once for all tests."""
    return [(problem, compute(to_job(problem))) for problem in batch_of("any", batch)]


@pytest.mark.law
@each("batch", range(BATCHES))
def test_every_cell_of_random_jobs_is_what_the_independent_calculation_finds(batch: int) -> None:
    for number, (problem, computed) in enumerate(computed_batch(batch)):
        assert grid_disagreements(problem, computed) == [], f"batch {batch}, job {number}"


@pytest.mark.law
@each("batch", range(BATCHES))
def test_every_setting_of_random_jobs_is_what_the_independent_calculation_finds(batch: int) -> None:
    for number, (problem, computed) in enumerate(computed_batch(batch)):
        assert setting_disagreements(problem, computed) == [], f"batch {batch}, job {number}"


@pytest.mark.law
@each("batch", range(BATCHES))
def test_the_voltage_sweep_of_random_jobs_is_what_the_independent_calculation_finds(batch: int) -> None:
    for number, (problem, computed) in enumerate(computed_batch(batch)[::2]):
        assert sweep_disagreements(problem, computed) == [], f"batch {batch}, job {2 * number}"


@pytest.mark.law
@each("batch", range(BATCHES))
def test_jobs_with_a_bend_in_the_flow_line_agree_with_the_independent_calculation(batch: int) -> None:
    for number, problem in enumerate(batch_of("bent line", batch)):
        assert disagreements(problem, compute(to_job(problem))) == [], f"batch {batch}, job {number}"


@pytest.mark.law
@each("batch", range(BATCHES))
def test_jobs_with_estimated_breathing_agree_with_the_independent_calculation(batch: int) -> None:
    for number, problem in enumerate(batch_of("breathing", batch)):
        assert disagreements(problem, compute(to_job(problem))) == [], f"batch {batch}, job {number}"


@pytest.mark.law
def test_the_jobs_with_a_bend_reach_both_sides_of_it() -> None:
    drawn = list(problems_of("bent line"))
    bent = [problem for problem in drawn if problem.target.low is not None]
    below = [openings_below_the_bend(problem) for problem in bent]
    assert sum(any(found) and not all(found) for found in below) > 20
    assert sum(problem.donor.told_bent_line and problem.donor.low is not None for problem in drawn) > 20
    assert sum("bent_line" in problem.stuck for problem in drawn) > 5


def openings_below_the_bend(problem: Problem) -> list[bool]:
    """For every cell of the target that has a number, whether its opening ends below the bend."""
    found, target = calculation.answer(problem), problem.target
    share = calculation.rated_mass_flow(target.low) if target.low is not None else math.nan
    return [
        pulse - calculation.dead_time(target.dead, problem.new.battery, across) <= target.at_mass / share
        for line, across in zip(
            found.pulse, (calculation.pressure_across(target, p) for p in problem.new.load), strict=True
        )
        for pulse in line
        if math.isfinite(pulse)
    ]


@pytest.mark.law
@DETERMINISTIC
@given(problems())
def test_jobs_that_hypothesis_draws_agree_with_the_independent_calculation(problem: Problem) -> None:
    assert disagreements(problem, compute(to_job(problem))) == []


@pytest.mark.law
def test_the_random_jobs_reach_every_corner() -> None:
    """A comparison is only as good as its cases: there must be enough of every kind."""
    drawn = [problem for batch in range(BATCHES) for problem, _ in computed_batch(batch)]
    answers = [calculation.answer(problem) for problem in drawn]
    new = [value for found in answers for value in flat(found.new)]
    duty = [value for found in answers for value in flat(found.duty)]
    untouched = [value for found in answers for value in flat(found.outcomes["old_table_old_settings"])]
    assert sum(map(math.isfinite, new)) > 0.9 * len(new)
    assert sum(map(math.isnan, new)) > 100
    assert sum(value >= 1.0 for value in duty) > 200
    assert sum(map(math.isinf, untouched)) > 100
    for corner in corners(drawn).values():
        assert corner > 10, corners(drawn)


def corners(drawn: list[Problem]) -> dict[str, int]:
    """How many of the jobs are of each kind."""
    return {
        "pulse width": sum(not p.old.is_ve for p in drawn),
        "two-stroke": sum(p.donor.revolutions == 1 for p in drawn),
        "fixed regulator": sum(p.target.fixed_regulator != p.donor.fixed_regulator for p in drawn),
        "fixed and corrected": sum(p.target.fixed_regulator and p.target.corrects_rail_pressure for p in drawn),
        "dead time over pressure": sum(p.target.dead.pressures is not None for p in drawn),
        "slope": sum(p.target.slope is not None for p in drawn),
        "flow told wrongly": sum(p.donor.told_flow is not None for p in drawn),
        "flow stuck": sum(p.target.told_flow is not None or "static_flow" in p.stuck for p in drawn),
        "dead time stuck": sum(p.target.told_dead is not None or "dead_time" in p.stuck for p in drawn),
        "openings told wrongly": sum(p.donor.told_openings is not None for p in drawn),
        "dead time inside": sum(p.old.dead_time_inside for p in drawn),
        "other contents in the target's cells": sum(p.new.dead_time_inside != p.old.dead_time_inside for p in drawn),
        "κ": sum(p.donor.kappa != 1.0 for p in drawn),
    }


def flat(grid: Grid) -> list[float]:
    """The cells one after another."""
    return [value for line in grid for value in line]
