"""Laws of proportion, and of one thing stated in two ways; no formula of the program is repeated."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.independent.laws import (
    SEED,
    a_to_b,
    effective,
    honest_problems,
    run,
    same_answer,
    times_flow,
)
from tests.independent.plain_numbers import Cells, DeadPoints, Problem, Rating
from tests.independent.strategies import (
    seeded_problems,
)
from tests.independent.worked import pulse_cells, ve_cells

pytestmark = pytest.mark.law


# --- proportions -----------------------------------------------------------------------------------------------------


def test_twice_the_injector_halves_the_effective_pulse() -> None:
    for given in seeded_problems(15, SEED + 10):
        one = run(given)
        given.target = times_flow(given.target, 2.0)
        two = run(given)
        known = np.isfinite(one.new) & np.isfinite(two.new)
        assert_allclose(effective(two)[known], effective(one)[known] / 2.0, rtol=1e-9)


def test_twice_the_openings_halve_the_effective_pulse_and_the_window() -> None:
    given = a_to_b()
    one = run(given)
    given.target.openings = 2.0
    two = run(given)
    assert_allclose(effective(two), effective(one) / 2.0, rtol=1e-12)
    assert_allclose(two.target.window_s, one.target.window_s / 2.0, rtol=1e-15)
    assert_allclose(two.new, one.new, rtol=1e-12)


@pytest.mark.parametrize("cells", [ve_cells(0.85), pulse_cells(10.0)], ids=["VE", "pulse width"])
def test_the_effective_pulse_follows_volume_density_temperature_and_fuel(cells: Cells) -> None:
    base = effective(run(a_to_b(cells)))
    changes: list[tuple[str, float]] = [
        ("displacement", 1.0),
        ("charge_temperature", -1.0),
        ("stoichiometric", -1.0),
        ("density", -0.5),
        ("rail_pressure", -0.5),
        ("per_cylinder", -1.0),
    ]
    for name, power in changes:
        given = a_to_b(cells)
        setattr(given.target, name, 1.3 * getattr(given.target, name))
        assert_allclose(effective(run(given)), base * 1.3**power, rtol=1e-11, err_msg=name)


def test_a_pulse_table_as_loaded_is_off_by_the_product_of_the_ratios() -> None:
    for given in honest_problems(15, 11, is_ve=False):
        donor, target = given.donor, given.target
        for side in (donor, target):
            side.fixed_regulator, side.slope = False, None
            side.corrects_rail_pressure = side.corrects_charge_temperature = False
        donor.dead = target.dead = DeadPoints([8.0, 16.0], [[0.7e-3, 0.7e-3]])
        given.old = random_pulses(given.old)
        given.new = replace(given.old)
        volume = (target.displacement / target.cylinders) / (donor.displacement / donor.cylinders)
        filling = donor.charge_temperature / target.charge_temperature
        passed = np.sqrt(donor.density * donor.rail_pressure) * size(donor.static)
        passes = np.sqrt(target.density * target.rail_pressure) * size(target.static)
        number = donor.per_cylinder * donor.openings / (target.per_cylinder * target.openings)
        mixture = donor.stoichiometric / target.stoichiometric
        found = run(given)
        window = found.target.window_s
        closed = np.array(given.old.values) < window
        assert_allclose(
            found.lambda_ratio["old_table_old_settings"][closed],
            volume * filling * passed / passes * number * mixture,
            rtol=1e-11,
        )


def random_pulses(table: Cells) -> Cells:
    """The same cells with pressure, mixture and dead time inside them."""
    return replace(
        table,
        pressure_inside=True,
        lambda_inside=True,
        dead_time_inside=True,
        lambda_=[[1.0] * len(table.rpm)] * len(table.load),
    )


def size(rating: Rating) -> float:
    """Area of the injector's orifice, up to a constant factor."""
    volume = rating.value / rating.density if rating.is_mass else rating.value
    return float(volume * (rating.density / rating.pressure) ** 0.5)


# --- the same thing said otherwise -----------------------------------------------------------------------------------


def said_otherwise(change: Callable[[Problem], Problem], seed: int) -> None:
    for given in seeded_problems(15, SEED + seed):
        given.target.told_flow = None  # its entry would have to be said otherwise as well
        same_answer(given, change(copy.deepcopy(given)))


def test_an_injector_rated_at_four_times_the_pressure_passes_twice_as_much() -> None:
    def otherwise(given: Problem) -> Problem:
        for side in (given.donor, given.target):
            for rating in filter(None, (side.static, side.slope)):
                rating.pressure *= 4.0
                rating.value *= 2.0
        return given

    said_otherwise(otherwise, 12)


def test_a_mass_rating_is_the_volume_rating_times_the_density_of_the_rating_fluid() -> None:
    def otherwise(given: Problem) -> Problem:
        for rating in filter(None, (given.target.static, given.target.slope)):
            rating.value *= 1.0 / rating.density if rating.is_mass else rating.density
            rating.is_mass = not rating.is_mass
        return given

    said_otherwise(otherwise, 13)


def test_two_half_injectors_are_one() -> None:
    def otherwise(given: Problem) -> Problem:
        given.target = times_flow(given.target, 0.5)
        given.target.per_cylinder *= 2.0
        return given

    for given in honest_problems(15, 14):
        first, second = run(given), run(otherwise(copy.deepcopy(given)))
        assert_allclose(second.new, first.new, rtol=1e-11)
        assert_allclose(second.pulse_s, first.pulse_s, rtol=1e-11)


def test_an_engine_is_its_cylinders() -> None:
    def otherwise(given: Problem) -> Problem:
        given.target.displacement *= 2.0
        given.target.cylinders *= 2
        return given

    for given in honest_problems(15, 15):
        first, second = run(given), run(otherwise(copy.deepcopy(given)))
        for name in ("new", "pulse_s", "duty"):
            assert_allclose(getattr(second, name), getattr(first, name), rtol=1e-11)


def test_what_is_inside_a_donor_cell_does_not_change_what_it_means() -> None:
    """The same calibration written by an ECU that applies other things: pulses, air and λ stay."""
    for given in seeded_problems(30, SEED + 16):
        table = given.old
        # a pulse must scale with its cell, as the target's cells must go on meaning what they do
        table.dead_time_inside, given.donor.corrects_rail_pressure = False, False
        rewritten = copy.deepcopy(given)
        for row, pressure in enumerate(table.load):
            for column, mixture in enumerate(table.lambda_[row]):
                factor = (pressure / table.reference_pressure) ** (-1 if table.pressure_inside else 1)
                factor *= mixture if table.lambda_inside else 1.0 / mixture
                rewritten.old.values[row][column] *= factor
        rewritten.old.pressure_inside = not table.pressure_inside
        rewritten.old.lambda_inside = not table.lambda_inside
        first, second = run(given), run(rewritten)
        assert_allclose(second.target.pulse_s, first.target.pulse_s, rtol=1e-10)
        assert_allclose(second.target.air_kg, first.target.air_kg, rtol=1e-10)
        assert_allclose(second.new, first.new, rtol=1e-10)


def test_dead_time_inside_a_pulse_is_the_pulse_plus_the_dead_time() -> None:
    for given in honest_problems(15, 17, is_ve=False):
        donor, target = given.donor, given.target
        donor.dead = DeadPoints([8.0, 16.0], [[0.7e-3, 0.7e-3]])
        target.dead = DeadPoints([8.0, 16.0], [[1.1e-3, 1.1e-3]])
        for side in (donor, target):
            side.corrects_charge_temperature = side.corrects_rail_pressure = False
        outside = replace(given.old, pressure_inside=True, lambda_inside=True, dead_time_inside=False)
        inside = replace(outside, dead_time_inside=True)
        inside.values = [[value + 0.7e-3 for value in line] for line in outside.values]
        first = run(Problem(donor, target, outside, replace(outside)))
        second = run(Problem(donor, target, inside, replace(inside)))
        assert_allclose(second.new, first.new + 1.1, rtol=1e-10)
        assert_allclose(second.pulse_s, first.pulse_s, rtol=1e-10)
