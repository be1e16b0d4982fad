"""Laws of an ECU's settings and of what it corrects for."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from basemap.model.table_result import LAMBDA_CASES
from tests.independent.laws import (
    honest_problems,
    run,
    same_answer,
    simple,
    times_flow,
)
from tests.independent.plain_numbers import DeadPoints
from tests.independent.worked import installation_a, installation_b, problem, ve_cells

pytestmark = pytest.mark.law


def test_telling_an_ecu_the_truth_is_the_same_as_telling_it_nothing() -> None:
    for given in honest_problems(15, 18):
        told = copy.deepcopy(given)
        donor = told.donor
        rating = donor.static if donor.slope is None else donor.slope
        donor.told_displacement, donor.told_stoichiometric = donor.displacement, donor.stoichiometric
        donor.told_openings, donor.told_dead = donor.openings, donor.dead
        donor.told_flow = rating.value * (donor.rail_pressure / rating.pressure) ** 0.5
        donor.told_flow_is_mass = rating.is_mass
        same_answer(given, told)


def test_an_ecu_that_corrects_for_rail_pressure_needs_no_new_flow_for_the_same_injector() -> None:
    """The flow it keeps is stated at the donor's rail pressure, and it measures the target's."""
    given = problem(installation_a(), replace(installation_a(), rail_pressure=400_000.0), ve_cells(0.85))
    given.donor.corrects_rail_pressure = given.target.corrects_rail_pressure = True
    entered = run(given)
    given.stuck = {"static_flow"}
    for found in (entered, run(given)):
        assert_allclose(found.new, found.old, rtol=1e-12)
        assert_allclose(found.lambda_ratio["old_table_old_settings"], 1.0, rtol=1e-12)


def test_old_settings_share_the_old_displacement_among_the_cylinders_that_are_there() -> None:
    """Twice as many cylinders of the same size: the ECU takes each to be half as big, and gives it half the fuel."""
    twice = replace(installation_a(), displacement=2 * installation_a().displacement, cylinders=8)
    found = run(problem(installation_a(), twice, ve_cells(0.5)))
    assert_allclose(found.lambda_ratio["old_table_old_settings"], 2.0, rtol=1e-12)
    assert_allclose(found.lambda_ratio["old_table_new_settings"], 1.0, rtol=1e-12)


def test_the_old_table_runs_with_the_donors_mixture() -> None:
    given = problem(installation_a(), installation_a(), ve_cells(0.5))
    given.new.lambda_ = [[0.8, 0.9], [0.95, 1.05]]
    found = run(given)
    for case in LAMBDA_CASES[:2]:
        assert_allclose(found.lambda_ratio[case], 1.0 / np.array(given.new.lambda_), rtol=1e-12)
    assert_allclose(found.new, found.old, rtol=1e-12)


def test_a_dead_time_is_that_of_the_pressure_across_whatever_makes_it() -> None:
    rising = DeadPoints([8.0, 16.0], [[0.7e-3, 0.7e-3], [1.1e-3, 1.1e-3]], [300_000.0, 400_000.0])
    fixed = replace(installation_b(), dead=rising, rail_pressure=300_000.0, fixed_regulator=True)
    across = 300_000.0 + 101_325.0 - 30_000.0
    referenced = replace(fixed, rail_pressure=across, fixed_regulator=False)
    one, other = (run(problem(installation_a(), side, ve_cells(0.85))) for side in (fixed, referenced))
    assert_allclose(one.pulse_s[0], other.pulse_s[0], rtol=1e-12)
    assert_allclose(other.target.dead_time_s, 0.7e-3 + 0.4e-3 * (across - 300_000.0) / 100_000.0, rtol=1e-12)


def test_the_donors_injectors_and_fuel_cancel_where_its_ecu_knew_them() -> None:
    for given in map(simple, honest_problems(15, 19, is_ve=True)):
        given.donor.fixed_regulator = False
        other = copy.deepcopy(given)
        other.donor = times_flow(other.donor, 1.7)
        other.donor.density *= 0.9
        other.donor.stoichiometric *= 0.7
        other.donor.rail_pressure *= 1.2
        first, second = run(given), run(other)
        for name in ("new", "pulse_s", "duty"):
            assert_allclose(getattr(second, name), getattr(first, name), rtol=1e-11)


def test_a_ve_cell_is_the_efficiency_that_it_implies() -> None:
    """By the definition of volumetric efficiency, if the ECU knows everything and nothing is inside the cell."""
    for given in map(simple, honest_problems(15, 20, is_ve=True)):
        given.donor.fixed_regulator = False
        given.donor.kappa = given.target.kappa = 1.0
        given.old.pressure_inside = given.old.lambda_inside = False
        given.new = replace(given.old)
        assert_allclose(run(given).implied_ve, given.old.values, rtol=1e-11)
