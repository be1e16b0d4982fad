"""Power and torque of both makers as evidence: worked by hand, symmetries, and what does not compare."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from basemap.belief.evidence import Figured, WideOpen, as_evidence, makers_figures
from basemap.model.installation import Cycle, Engine, Induction
from tests.builders.cases import each

SEA_LEVEL_PA = 101_325.0
FLAT = WideOpen(np.array([1000.0, 7000.0]), np.array([30e3, 100e3]), np.array([[0.6, 0.6], [0.85, 0.85]]))
SLOPED = WideOpen(np.array([1000.0, 4000.0, 7000.0]), np.array([30e3, 100e3]), np.array([[0.5] * 3, [0.8, 0.9, 0.7]]))

DONOR = Engine(
    displacement_m3=1998e-6,
    cylinders=4,
    cycle=Cycle.FOUR_STROKE,
    induction=Induction.ATMOSPHERIC,
    rated_power_w=92e3,
    rated_speed_rpm=6000.0,
    peak_torque_nm=170.0,
    peak_torque_speed_rpm=4500.0,
)
TARGET = replace(DONOR, displacement_m3=2393e-6, rated_power_w=125e3, rated_speed_rpm=6500.0, peak_torque_nm=220.0)


def at(engine: Engine, barometer_pa: float = SEA_LEVEL_PA) -> Figured:
    return Figured(engine, barometer_pa)


# By hand. Donor: 92 kW at 6000 rpm are 146.4225 N·m, ·4π/1.998 l = 9.20921 bar; friction 0.97 + 0.9 + 1.8 = 3.67 bar;
# W = 12.87921. Target: 125 kW at 6500 rpm are 183.6403 N·m = 9.64351 bar, friction 0.97 + 0.975 + 2.1125 = 4.0575,
# W = 13.70101. ln(13.70101/12.87921) = 0.061855. Torque: 10.69211 + 2.6575 = 13.34961, 11.55287 + 2.6575 = 14.21037:
# ln = 0.062485.
@pytest.mark.check_value
def test_worked_figures_of_two_engines_that_breathe_alike_at_all_speeds() -> None:
    power, torque = makers_figures(at(DONOR), at(TARGET), FLAT)
    assert power.value == pytest.approx(0.061855, abs=1e-6)
    assert torque.value == pytest.approx(0.062485, abs=1e-6)
    assert (power.rpm, torque.rpm, power.pressure_over_barometer) == (6500.0, 4500.0, 1.0)
    assert power.standard == torque.standard == pytest.approx(0.0707107, abs=1e-7)
    assert not power.beyond_donor


# By hand: the donor's table wide open reads 0.9 − 2/3·0.2 = 0.766667 at 6000 rpm and 0.9 − 5/6·0.2 = 0.733333 at 6500.
@pytest.mark.check_value
def test_the_donors_table_carries_a_figure_from_its_speed_to_the_targets() -> None:
    flat, sloped = (makers_figures(at(DONOR), at(TARGET), table)[0] for table in (FLAT, SLOPED))
    assert sloped.value - flat.value == pytest.approx(math.log(0.7666667 / 0.7333333), abs=1e-6)


# Heywood, section 13.6, as printed from memory: 0.97 + 0.15·(N/1000) + 0.05·(N/1000)² bar. Without it brake work would
# overstate breathing: d ln BMEP/d ln air = W/BMEP is 1.40 and 1.42 for these two engines.
@pytest.mark.check_value
def test_brake_work_would_overstate_breathing() -> None:
    more = replace(DONOR, rated_power_w=1.01 * 92e3, peak_torque_nm=None)
    (found,) = makers_figures(at(DONOR), at(more), FLAT)
    assert math.log(1.01) / found.value == pytest.approx(12.87921 / 9.20921, rel=2e-3)


@pytest.mark.law
def test_an_engine_breathes_like_itself_and_the_air_of_the_day_does_not_enter() -> None:
    for table in (FLAT, SLOPED):
        assert [entry.value for entry in makers_figures(at(DONOR), at(DONOR), table)] == [0.0, 0.0]
    here, there = (makers_figures(at(DONOR), at(TARGET, barometer), SLOPED) for barometer in (101e3, 75e3))
    assert [entry.value for entry in here] == [entry.value for entry in there]


@pytest.mark.law
def test_there_and_back_cancels() -> None:
    there, back = makers_figures(at(DONOR), at(TARGET), FLAT), makers_figures(at(TARGET), at(DONOR), FLAT)
    for one, other in zip(there, back, strict=True):
        assert one.value == pytest.approx(-other.value, rel=1e-12)


@pytest.mark.law
def test_a_two_stroke_does_its_work_in_one_turn() -> None:
    """At the same work per cycle it has twice the torque."""
    four = replace(DONOR, rated_power_w=None)
    two = replace(four, cycle=Cycle.TWO_STROKE, peak_torque_nm=2 * 170.0)
    assert [entry.value for entry in makers_figures(at(four), at(two), FLAT)] == pytest.approx([0.0], abs=1e-12)


# By hand, both boosted and else alike: 180 kPa against 150 kPa breathes 150/180 at the same work per cycle, at
# q = ln(180/101.325); the donor is read at 150 kPa for its figure and at 180 kPa (its top row) for the target.
@pytest.mark.check_value
def test_boosted_engines_are_compared_at_their_peak_pressures() -> None:
    table = WideOpen(FLAT.rpm, np.array([100e3, 150e3, 180e3]), np.array([[0.8] * 2, [0.9] * 2, [1.0] * 2]))
    boosted = replace(DONOR, induction=Induction.BOOSTED, peak_pressure_pa=150e3)
    found = makers_figures(at(boosted), at(replace(boosted, peak_pressure_pa=180e3)), table)
    assert [entry.value for entry in found] == pytest.approx([math.log(0.9 / 1.0 * 150.0 / 180.0)] * 2, rel=1e-12)
    assert found[0].pressure_over_barometer == pytest.approx(180.0 / 101.325, rel=1e-12)


@pytest.mark.law
@each(
    ("donor", "target"),
    [
        (DONOR, replace(TARGET, induction=Induction.BOOSTED, peak_pressure_pa=180e3)),
        (
            replace(DONOR, induction=Induction.BOOSTED, peak_pressure_pa=180e3),
            replace(TARGET, induction=Induction.BOOSTED),
        ),
        (DONOR, replace(TARGET, rated_power_w=None, peak_torque_nm=None)),
    ],
)
def test_what_does_not_compare_says_nothing(donor: Engine, target: Engine) -> None:
    assert makers_figures(at(donor), at(target), FLAT) == ()


@pytest.mark.law
def test_a_figure_that_one_side_lacks_is_left_out() -> None:
    found = makers_figures(at(DONOR), at(replace(TARGET, peak_torque_nm=None)), FLAT)
    assert [entry.name for entry in found] == ["rated power of both engines"]
    assert found[0].keys == ("donor.engine.rated_power", "target.engine.rated_power")


@pytest.mark.law
@each("table", [replace(FLAT, rpm=np.array([1000.0, 6400.0])), replace(FLAT, load_pa=np.array([30e3, 90e3]))])
def test_beyond_the_donors_table_a_figure_is_half_as_good(table: WideOpen) -> None:
    power = makers_figures(at(DONOR), at(TARGET), table)[0]
    assert power.beyond_donor
    assert power.standard == pytest.approx(2 * 0.0707107, abs=1e-6)


@pytest.mark.law
def test_an_empty_cell_is_no_figure() -> None:
    holed = replace(SLOPED, efficiency=np.array([[0.5] * 3, [0.8, 0.9, np.nan]]))
    assert makers_figures(at(DONOR), at(TARGET), holed) == ()


@pytest.mark.law
def test_evidence_is_net_of_what_physics_expects_and_correlated() -> None:
    observations = makers_figures(at(DONOR), at(TARGET), FLAT)
    found = as_evidence(observations, np.array([0.01, 0.0]))
    assert found.values == pytest.approx([observations[0].value - 0.01, observations[1].value], rel=1e-12)
    assert found.noise == pytest.approx(np.array([[0.005, 0.0035], [0.0035, 0.005]]), rel=1e-9)
    assert found.points.pressure.tolist() == [0.0, 0.0]


@pytest.mark.law
def test_where_rows_have_no_pressure_the_top_row_is_wide_open() -> None:
    found = makers_figures(at(DONOR), at(TARGET), replace(SLOPED, load_pa=None))
    assert [entry.value for entry in found] == [entry.value for entry in makers_figures(at(DONOR), at(TARGET), SLOPED)]
