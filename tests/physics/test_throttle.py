from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.physics import throttle
from tests.builders.cases import each

ratios = st.floats(1e-3, 1.0)
scales = st.floats(0.2, 5.0)


# NACA report 1135, table I (γ = 1.4), from memory: Mach number in the throat, p/pt, A/A*. The flow per area is A*/A of
# the sonic one. p/pt is printed to 1e-4, which is 9e-4 in the flow at p/pt = 0.9725, less further down.
@pytest.mark.check_value
@each(
    ("pressure_ratio", "area_ratio"),
    [(0.9725, 2.9635), (0.9395, 2.0351), (0.8430, 1.3398), (0.6560, 1.0382), (0.5283, 1.0)],
)
def test_the_published_table_of_isentropic_flow(pressure_ratio: float, area_ratio: float) -> None:
    share = float(throttle.flow_function(pressure_ratio) / throttle.flow_function(throttle.CRITICAL_RATIO))
    assert share == pytest.approx(1.0 / area_ratio, rel=1e-3)


# Heywood, appendix C, from memory: critical pressure ratio 0.528, choked flow function 0.685 for γ = 1.4.
@pytest.mark.check_value
def test_the_choked_flow() -> None:
    assert pytest.approx(0.5283, abs=5e-5) == throttle.CRITICAL_RATIO
    assert float(throttle.flow_function(0.3)) == pytest.approx(0.6847, abs=5e-5)


@pytest.mark.law
def test_below_the_critical_ratio_nothing_changes_and_at_one_nothing_flows() -> None:
    flow = throttle.flow_function(np.array([0.0, 0.1, throttle.CRITICAL_RATIO, 1.0, 1.2, np.nan]))
    assert flow[0] == flow[1] == flow[2] > 0.0
    assert flow[3:5].tolist() == [0.0, 0.0]
    assert np.isnan(flow[5])


@pytest.mark.law
@given(ratios, ratios)
def test_more_manifold_pressure_never_more_flow(one: float, other: float) -> None:
    low, high = sorted([one, other])
    assert float(throttle.flow_function(low)) >= float(throttle.flow_function(high))


@pytest.mark.law
@given(ratios)
def test_the_same_engine_keeps_its_ratio(ratio: float) -> None:
    assert float(throttle.target_ratio(ratio, 1.0, 1.0, 1.0)) == pytest.approx(ratio, rel=1e-12)


@pytest.mark.law
@given(ratios, scales, scales, st.floats(0.8, 1.25))
def test_there_and_back(ratio: float, displacement: float, area: float, temperature: float) -> None:
    there = throttle.target_ratio(ratio, displacement, area, temperature)
    back = throttle.target_ratio(there, 1.0 / displacement, 1.0 / area, 1.0 / temperature)
    # Near 1 the pressure drop itself is what is carried, and a double keeps 1e-16 of the ratio beside it.
    assert float(back) == pytest.approx(ratio, rel=1e-12)


@pytest.mark.law
@given(ratios, scales)
def test_the_balance_holds_at_the_answer(ratio: float, scale: float) -> None:
    answer = float(throttle.target_ratio(ratio, scale, 1.0, 1.0))
    before = float(throttle.flow_function(ratio)) / ratio
    # (1 − Π) of the answer is rounded to 1e-16, so the flow, its root, to 1e-16/(1 − Π) at the most.
    tolerance = 1e-12 + 1e-15 / max(1.0 - answer, 1e-15)
    assert float(throttle.flow_function(answer)) / answer == pytest.approx(scale * before, rel=tolerance, abs=1e-7)


@pytest.mark.law
@given(ratios, scales, scales)
def test_a_bigger_engine_pulls_the_manifold_further_down(ratio: float, one: float, other: float) -> None:
    small, big = sorted([one, other])
    at_small = float(throttle.target_ratio(ratio, small, 1.0, 1.0))
    assert float(throttle.target_ratio(ratio, big, 1.0, 1.0)) <= at_small * (1.0 + 1e-14)
    assert 0.0 < at_small <= 1.0


@pytest.mark.law
def test_sonic_flow_divides_the_ratio() -> None:
    assert float(throttle.target_ratio(0.3, 1.5, 1.0, 1.0)) == pytest.approx(0.2, rel=1e-14)
    assert float(throttle.target_ratio(0.3, 1.0, 1.0, 4.0)) == pytest.approx(0.15, rel=1e-14)


@pytest.mark.law
def test_the_branches_meet_at_the_critical_ratio() -> None:
    near = throttle.CRITICAL_RATIO * np.array([1.0 - 1e-9, 1.0, 1.0 + 1e-9])
    assert throttle.target_ratio(near, 1.0, 1.0, 1.0) == pytest.approx(near, rel=1e-12)
    across = throttle.target_ratio(0.4, 0.4 / near, 1.0, 1.0)
    assert across == pytest.approx(near, rel=1e-12)


@pytest.mark.law
def test_at_the_barometer_and_above_the_ratio_is_kept() -> None:
    assert throttle.target_ratio(np.array([1.0, 1.02]), 1.4, 0.7, 1.1).tolist() == [1.0, 1.02]


@pytest.mark.law
def test_no_air_stays_none_and_impossible_air_is_not_known() -> None:
    moved = throttle.target_ratio(np.array([0.0, -0.1, np.nan]), 1.4, 1.0, 1.0)
    assert moved[0] == 0.0
    assert np.isnan(moved[1:]).all()


@pytest.mark.law
def test_a_table_is_its_cells() -> None:
    table = np.array([[0.2, 0.5], [0.9, 1.0]])
    each = [[float(throttle.target_ratio(cell, 1.3, 0.9, 1.05)) for cell in row] for row in table]
    assert throttle.target_ratio(table, 1.3, 0.9, 1.05).tolist() == each


# By hand: 400 mg wide open, a cylinder 1.5 times the size, half the barometer, 300 K against 330 K, ratio 0.6.
@pytest.mark.law
def test_air_by_hand() -> None:
    air = throttle.target_air(0.6, 400e-6, 1.5, 330.0 / 300.0, 0.5)
    assert float(air) == pytest.approx(198e-6, rel=1e-14)


# V̇/(A·√(R·T)) by hand: so much that the flow is sonic at Π = 0.4, with Ψ = 0.684731 (γ = 1.4).
@pytest.mark.law
def test_a_sonic_manifold_by_hand() -> None:
    drawn = 0.684731456 / 0.4 * 1e-3 * (287.05287 * 300.0) ** 0.5
    assert float(throttle.pressure_ratio(drawn, 1e-3, 300.0)) == pytest.approx(0.4, rel=1e-8)


@pytest.mark.law
def test_an_engine_that_draws_nothing_leaves_the_barometer() -> None:
    assert float(throttle.pressure_ratio(0.0, 1e-3, 300.0)) == 1.0


@pytest.mark.law
@given(st.floats(0.0, 1.3), st.floats(0.05, 1.0))
def test_the_pulse_of_a_fixed_rail_is_taken_apart_again(ratio: float, barometer_over_rail: float) -> None:
    more_pressure = 1.0 + barometer_over_rail * (1.0 - ratio)
    apparent = ratio / more_pressure**0.5
    assert float(throttle.fixed_rail_ratio(apparent, barometer_over_rail)) == pytest.approx(ratio, rel=1e-12, abs=1e-15)


@pytest.mark.law
def test_wide_open_and_without_a_barometer_a_fixed_rail_hides_nothing() -> None:
    assert float(throttle.fixed_rail_ratio(1.0, 0.4)) == pytest.approx(1.0, rel=1e-15)
    assert float(throttle.fixed_rail_ratio(0.3, 0.0)) == pytest.approx(0.3, rel=1e-15)
    assert float(throttle.fixed_rail_ratio(0.0, 0.4)) == 0.0


# Roots of the quadratic by numpy, which finds them from a further_table matrix.
@pytest.mark.check_value
@each(("a", "b"), [(0.1, 0.33), (0.5, 0.4), (0.9, 0.25), (1.05, 0.4)])
def test_it_is_the_positive_root_of_the_quadratic(a: float, b: float) -> None:
    positive = max(float(root.real) for root in np.roots([1.0, a * a * b, -a * a * (1.0 + b)]))
    assert float(throttle.fixed_rail_ratio(a, b)) == pytest.approx(positive, rel=1e-13)


@pytest.mark.law
@given(ratio=ratios, efficiency=scales)
def test_air_follows_the_efficiency_by_the_stiffness_of_the_manifold(ratio: float, efficiency: float) -> None:
    step = 1e-5
    ends = [float(np.log(throttle.air_over(ratio, np.exp(by)))) for by in (step, -step)]
    kink = abs(ratio - throttle.CRITICAL_RATIO) < 1e-4 or ratio > 1.0 - 1e-4
    assert kink or (ends[0] - ends[1]) / (2.0 * step) == pytest.approx(float(throttle.stiffness(ratio)), abs=2e-4)
    air = float(throttle.air_over(ratio, efficiency))
    assert min(1.0, efficiency) * (1 - 1e-12) <= air <= max(1.0, efficiency) * (1 + 1e-12)
    there_and_back = float(throttle.air_over(ratio * air / efficiency, 1.0 / efficiency))
    assert air * there_and_back == pytest.approx(1.0, rel=1e-9)


@pytest.mark.law
def test_a_choked_blade_sets_the_air_and_an_open_one_leaves_it_to_the_cylinders() -> None:
    assert throttle.stiffness(np.array([0.1, 0.5, throttle.CRITICAL_RATIO, 1.0, 1.3])).tolist() == [0, 0, 0, 1, 1]
    np.testing.assert_allclose(throttle.air_over(np.array([0.2, 1.0]), 1.2), [1.0, 1.2], rtol=1e-14)
    assert np.isnan(throttle.air_over(np.array([0.0, -0.1, np.nan]), 1.2)).all()
