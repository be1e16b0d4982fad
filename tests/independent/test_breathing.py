"""Estimates of the breathing by hand, in the whole chain."""

from __future__ import annotations

import copy
import random

import pytest

from basemap.adaptation.pipeline import compute
from tests.independent.plain_numbers import Problem
from tests.independent.strategies import random_problem, to_job


def alike(breathing: str) -> Problem:
    """Two equal engines, which a test changes: 1000, 2000 and 4000 rpm, 40 and 100 kPa, 100 kPa outside."""
    problem = random_problem(random.Random(1))
    donor = problem.donor
    donor.revolutions, donor.barometer, donor.fixed_regulator = 2, 100e3, False
    donor.told_displacement = donor.told_flow = donor.told_stoichiometric = donor.told_openings = donor.told_dead = None
    problem.target = copy.deepcopy(donor)
    problem.stuck = set()
    problem.breathing = breathing
    table = problem.old
    table.is_ve, table.rpm, table.load = True, [1000.0, 2000.0, 4000.0], [40e3, 100e3]
    table.values = [[0.5, 0.6, 0.7], [0.7, 0.9, 0.8]]
    table.lambda_ = [[1.0] * 3 for _ in range(2)]
    table.pressure_inside = table.lambda_inside = table.dead_time_inside = False
    problem.new = copy.deepcopy(table)
    return problem


# By hand, γ = 1.4: of a filling at r = 8 and 12 against 2.5 times the pressure (100 kPa behind 40) remain
# 1 - 1.5/(1.4 · 7) = 0.846939 and 1 - 1.5/(1.4 · 11) = 0.902597; with 100 kPa in the manifold all of it.
@pytest.mark.check_value
def test_residual_gas_by_hand() -> None:
    problem = alike("residual gas")
    problem.donor.compression_ratio, problem.target.compression_ratio = 8.0, 12.0
    table = compute(to_job(problem)).table
    factor = table.target.air_kg / table.donor.air_kg
    assert factor[0] == pytest.approx([0.902597 / 0.846939] * 3, rel=2e-6)
    assert factor[1] == pytest.approx([1.0] * 3, rel=1e-12)


# By hand: with half the valve area for the same cylinder, the donor is taken at twice the speed: at 1000 rpm its cell
# at 2000, at 2000 that at 4000, and above that the last one.
@pytest.mark.check_value
def test_the_inlet_mach_index_by_hand() -> None:
    problem = alike("inlet mach")
    problem.target.valve_area = problem.donor.valve_area / 2.0
    table = compute(to_job(problem)).table
    factor = table.target.air_kg / table.donor.air_kg
    assert factor[1] == pytest.approx([9.0 / 7.0, 8.0 / 9.0, 1.0], rel=1e-9)


@pytest.mark.law
@pytest.mark.parametrize("breathing", ["inlet mach", "residual gas"])
def test_like_engines_breathe_alike(breathing: str) -> None:
    table = compute(to_job(alike(breathing))).table
    assert table.target.air_kg == pytest.approx(table.donor.air_kg, rel=1e-12)
