"""Laws of the limits, of temperature and voltage, and of the direction of each change."""

from __future__ import annotations

import copy
import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.independent.laws import (
    a_to_b,
    effective,
    run,
    times_flow,
)
from tests.independent.plain_numbers import Cells, DeadPoints
from tests.independent.strategies import (
    random_dead_time,
    random_table,
)
from tests.independent.worked import installation_a, problem, pulse_cells, ve_cells

pytestmark = pytest.mark.law


# --- limits ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [ve_cells(0.85), pulse_cells(10.0)], ids=["VE", "pulse width"])
def test_what_needs_no_fuel_needs_the_dead_time(cells: Cells) -> None:
    huge = a_to_b(cells)
    huge.target = times_flow(huge.target, 1e9)
    tiny = a_to_b(cells)
    tiny.target.displacement *= 1e-9
    hot = a_to_b(cells)
    hot.target.charge_temperature *= 1e9
    for given in (huge, tiny, hot):
        assert_allclose(run(given).pulse_s, 0.85e-3, rtol=2e-8)


def test_the_colder_the_charge_the_longer_the_pulse_without_end() -> None:
    given = a_to_b()
    found = []
    for kelvin in (1e-3, 1.0, 1e3):
        given.target.charge_temperature = kelvin
        found.append(effective(run(given))[1, 0] * kelvin)
    assert_allclose(found, found[2], rtol=1e-9)


def test_a_cell_without_fuel_stays_without_fuel() -> None:
    given = a_to_b()
    given.old.values[0][0] = 0.0
    found = run(given)
    assert found.target.air_kg[0, 0] == 0.0
    assert found.new[0, 0] == 0.0
    assert found.pulse_s[0, 0] == pytest.approx(0.85e-3, rel=1e-12)


def test_no_pressure_across_the_injector_gives_no_fuel_and_no_cell() -> None:
    given = a_to_b()
    given.target.fixed_regulator, given.target.rail_pressure = True, 90_000.0
    given.old.load = given.new.load = [101_325.0 + 80_000.0, 101_325.0 + 100_000.0]
    found = run(given)
    assert np.all(np.isfinite(found.new[0]))
    assert np.all(np.isnan(found.new[1]))
    assert np.all(found.lambda_ratio["old_table_old_settings"][1] == np.inf)
    assert np.all(found.lambda_ratio["old_table_new_settings"][1] == np.inf)


def test_an_old_pulse_shorter_than_the_dead_time_gives_no_fuel() -> None:
    given = a_to_b(pulse_cells(1.0))
    given.target.dead = DeadPoints([8.0, 16.0], [[1.1e-3, 1.1e-3]])
    found = run(given)
    assert np.all(found.lambda_ratio["old_table_old_settings"] == np.inf)


def test_a_donor_pulse_shorter_than_its_dead_time_tells_nothing_of_the_air() -> None:
    found = run(a_to_b(pulse_cells(0.8)))
    for grid in (found.new, found.pulse_s, found.target.air_kg):
        assert np.all(np.isnan(grid))


def test_a_dead_time_setting_that_is_longer_than_the_pulse_needed_leaves_no_cell() -> None:
    given = a_to_b()
    given.target.told_dead = DeadPoints([8.0, 16.0], [[5e-3, 5e-3]])
    found = run(given)
    assert np.all(np.isnan(found.new[0]))  # 30 kPa needs 2.9 ms
    assert np.all(np.isnan(found.pulse_s[0]))
    assert np.all(found.target.air_kg[0] > 0.0)
    assert np.all(found.new[1] > 0.0)  # 100 kPa needs 7.6 ms


def test_an_injector_that_never_closes_passes_its_static_flow() -> None:
    """By the flow line the λ ratio would be 1 at any duty, but an injector passes no more than its static flow."""
    given = a_to_b(ve_cells(0.85, rpm=(9_000.0, 18_000.0)))
    given.target.slope = copy.deepcopy(given.target.static)
    given.target.slope.value *= 0.9
    found = run(given)
    assert found.duty[1, 1] > 1.0 > found.duty[1, 0]
    assert found.lambda_ratio["new_table_new_settings"][1, 0] == pytest.approx(1.0, rel=1e-9)
    # fuel needed / (static flow × window): the line's ṁ·(t - τ) against ṁ/0.9 · Tc
    passed = found.target.static_flow_kg_s[1, 0] * found.target.window_s.reshape(-1)[-1]
    needed = found.target.line_flow_kg_s[1, 0] * effective(found)[1, 1]
    assert found.lambda_ratio["new_table_new_settings"][1, 1] == pytest.approx(needed / passed, rel=1e-9)


# --- the charge temperature ------------------------------------------------------------------------------------------


def test_a_charge_temperature_that_the_ecu_corrects_for_moves_no_cell() -> None:
    given = a_to_b()
    cool = run(given)
    given.target.charge_temperature += 40.0
    hot = run(given)
    assert_allclose(hot.new, cool.new, rtol=1e-12)
    assert_allclose(hot.lambda_ratio["old_table_new_settings"], 1.0, rtol=1e-12)


def test_a_charge_temperature_that_the_ecu_does_not_correct_for_is_folded_into_the_cells() -> None:
    given = a_to_b()
    given.donor.corrects_charge_temperature = given.target.corrects_charge_temperature = False
    cool = run(given)
    given.target.charge_temperature += 40.0
    hot = run(given)
    thinner = given.donor.charge_temperature / given.target.charge_temperature
    assert_allclose(hot.new, cool.new * thinner, rtol=1e-12)
    assert_allclose(hot.lambda_ratio["old_table_new_settings"], thinner, rtol=1e-12)


def test_the_voltage_matters_only_through_a_dead_time_that_the_ecu_does_not_know() -> None:
    generator_problem = a_to_b()
    slope = DeadPoints([8.0, 14.0], [[2.6e-3, 0.85e-3]])
    generator_problem.target.dead = slope
    generator_problem.new.battery = 8.5
    assert_allclose(run(generator_problem).new, 85.0, rtol=1e-12)
    generator_problem.stuck = {"dead_time"}
    assert np.all(run(generator_problem).new > 85.0 * 1.05)


# --- which way -------------------------------------------------------------------------------------------------------


CHANGES: list[tuple[str, str, float, str]] = [
    ("bigger engine", "displacement", 1.1, "leaner"),
    ("more cylinders in the same engine", "cylinders", 2, "richer"),
    ("fuel that needs more air: the same fuel is more of what is needed", "stoichiometric", 1.1, "richer"),
    ("denser fuel", "density", 1.1, "richer"),
    ("higher rail pressure", "rail_pressure", 1.1, "richer"),
    ("more injectors", "per_cylinder", 2.0, "richer"),
    ("hotter charge", "charge_temperature", 1.1, "richer"),
]


@pytest.mark.parametrize(("name", "attribute", "factor", "way"), CHANGES, ids=[change[0] for change in CHANGES])
def test_which_way_an_untouched_pulse_table_goes(name: str, attribute: str, factor: float, way: str) -> None:
    base = problem(installation_a(), installation_a(), pulse_cells(10.0))
    base.donor.corrects_charge_temperature = base.target.corrects_charge_temperature = False
    changed = copy.deepcopy(base)
    value = getattr(changed.target, attribute) * factor
    setattr(changed.target, attribute, value)
    before = run(base).lambda_ratio["old_table_old_settings"]
    after = run(changed).lambda_ratio["old_table_old_settings"]
    assert np.all(after > before * 1.01 if way == "leaner" else after < before * 0.99), name


@pytest.mark.parametrize("cells", [ve_cells(0.85), pulse_cells(10.0)], ids=["VE", "pulse width"])
def test_bigger_injectors_are_richer_and_slower_ones_leaner(cells: Cells) -> None:
    base = problem(installation_a(), installation_a(), cells)
    bigger, slower = copy.deepcopy(base), copy.deepcopy(base)
    bigger.target = times_flow(bigger.target, 1.1)
    slower.target.dead = DeadPoints([8.0, 16.0], [[1.0e-3, 1.0e-3]])
    assert_allclose(run(bigger).lambda_ratio["old_table_old_settings"], 1 / 1.1, rtol=1e-12)
    assert np.all(run(slower).lambda_ratio["old_table_old_settings"] > 1.01)


def test_a_fixed_rail_is_leaner_under_boost_and_richer_at_part_load() -> None:
    base = problem(
        installation_a(), replace(installation_a(), fixed_regulator=True), ve_cells(0.85, rpm=(2000.0, 3000.0))
    )
    base.old.load = base.new.load = [40_000.0, 101_325.0 + 80_000.0]
    untouched = run(base).lambda_ratio["old_table_old_settings"]
    assert np.all(untouched[0] < 1.0)
    assert np.all(untouched[1] > 1.0)
    base.donor.corrects_rail_pressure = base.target.corrects_rail_pressure = True
    assert_allclose(run(base).lambda_ratio["old_table_old_settings"], 1.0, rtol=1e-12)


def test_a_wrong_dead_time_of_the_donor_is_taken_out() -> None:
    """Told 0.3 ms too much, the donor was tuned leaner in its cells: the target, told the truth, needs them richer."""
    given = a_to_b()
    honest = run(given).new
    given.donor.told_dead = DeadPoints([8.0, 16.0], [[1.15e-3, 1.15e-3]])
    found = run(given).new
    assert np.all(found > honest)
    # the part of the cell that was missing is the same time at every load
    missing = (found - honest) * np.array([[30_000.0], [100_000.0]])
    assert_allclose(missing, missing[1, 0], rtol=1e-9)


def test_dead_time_random_points_fall_with_voltage() -> None:
    """The program would rightly refuse a random job whose dead times do not."""
    generator = random.Random(1)
    for _ in range(50):
        points = random_dead_time(generator)
        for row in points.seconds:
            assert all(first > second for first, second in pairwise(row))
        for low, high in pairwise(points.seconds):
            assert all(first < second for first, second in zip(low, high, strict=True))
        table = random_table(generator, boosted=False)
        assert table.load == sorted(table.load)
