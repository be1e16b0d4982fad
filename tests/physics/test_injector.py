from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.physics import injector
from tests.builders.cases import each

VOLTS = np.array([8.0, 10.0, 12.0, 14.0, 16.0])
SECONDS = np.array([[2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3]])
PASCALS = np.array([3e5, 4e5])
SECONDS_OVER_PRESSURE = np.array([SECONDS[0], SECONDS[0] * 1.2])

battery = st.floats(5.0, 22.0)
across = st.floats(1e5, 6e5)


@pytest.mark.law
def test_a_manifold_reference_keeps_the_pressure_across_the_injector() -> None:
    manifold = np.array([[20e3], [100e3], [250e3]])
    assert injector.pressure_across(3e5, manifold, 98e3, fixed=False).tolist() == [[3e5], [3e5], [3e5]]


@pytest.mark.law
def test_a_fixed_rail_gains_what_the_manifold_lacks() -> None:
    manifold = np.array([[20e3], [98e3], [250e3]])
    assert injector.pressure_across(3e5, manifold, 98e3, fixed=True).tolist() == [[378e3], [300e3], [148e3]]


@pytest.mark.law
def test_boost_above_a_fixed_rail_is_told_and_not_hidden() -> None:
    assert float(injector.pressure_across(0.5e5, 250e3, 100e3, fixed=True)) == -1e5


@pytest.mark.law
def test_at_the_barometer_both_references_are_the_same() -> None:
    both = [float(injector.pressure_across(3e5, 95e3, 95e3, fixed=fixed)) for fixed in (True, False)]
    assert both == [3e5, 3e5]


@pytest.mark.law
def test_the_rated_state_gives_the_rated_flow() -> None:
    assert float(injector.mass_flow(3.2e-3, 3e5, 683.8, 3e5, 683.8)) == 3.2e-3


@pytest.mark.law
def test_four_times_the_pressure_or_density_is_twice_the_flow() -> None:
    assert float(injector.mass_flow(3e-3, 3e5, 700.0, 12e5, 700.0)) == pytest.approx(6e-3, rel=1e-15)
    assert float(injector.mass_flow(3e-3, 3e5, 700.0, 3e5, 2800.0)) == pytest.approx(6e-3, rel=1e-15)


@pytest.mark.law
def test_no_pressure_no_flow_and_an_unknown_one_stays_unknown() -> None:
    flow = injector.mass_flow(3e-3, 3e5, 700.0, np.array([-1e5, -0.0, 0.0, 1e-9, np.nan]), 745.0)
    assert flow[:3].tolist() == [0.0, 0.0, 0.0]
    assert flow[3] > 0.0
    assert math.isnan(flow[4])


@pytest.mark.law
def test_flow_of_an_array_is_that_of_its_numbers() -> None:
    pressures = np.array([[1e5, 2e5], [3e5, -4e5]])
    flow = injector.mass_flow(3e-3, 3e5, 700.0, pressures, 745.0)
    assert flow.tolist() == [
        [float(injector.mass_flow(3e-3, 3e5, 700.0, p, 745.0)) for p in row] for row in pressures.tolist()
    ]


@pytest.mark.law
def test_dead_time_meets_its_points() -> None:
    assert injector.dead_time(VOLTS, 3e5, VOLTS, SECONDS).tolist() == SECONDS[0].tolist()
    for pressure, row in zip(PASCALS, SECONDS_OVER_PRESSURE, strict=True):
        at_points = injector.dead_time(VOLTS, pressure, VOLTS, SECONDS_OVER_PRESSURE, PASCALS)
        np.testing.assert_allclose(at_points, row, rtol=1e-14)


@pytest.mark.law
def test_dead_time_is_continuous_across_its_points() -> None:
    step = 1e-9
    inner = VOLTS[1:-1]
    left, right = (injector.dead_time(inner + side, 3e5, VOLTS, SECONDS) for side in (-step, step))
    np.testing.assert_allclose(left, right, atol=1e-12, rtol=0)


@pytest.mark.law
def test_dead_time_falls_with_voltage_and_rises_with_pressure_beyond_the_data_too() -> None:
    volts, pascals = np.linspace(5.0, 18.0, 53), np.linspace(2e5, 5e5, 13)[:, np.newaxis]
    surface = injector.dead_time(volts, pascals, VOLTS, SECONDS_OVER_PRESSURE, PASCALS)
    assert surface.shape == (13, 53)
    assert (np.diff(surface, axis=1) < 0.0).all()
    assert (np.diff(surface, axis=0) > 0.0).all()


@pytest.mark.law
def test_the_end_segment_is_continued() -> None:
    # 8 → 10 V: −0.425 ms/V; 14 → 16 V: −0.1 ms/V.
    assert float(injector.dead_time(7.0, 3e5, VOLTS, SECONDS)) == pytest.approx(3.025e-3, rel=1e-12)
    assert float(injector.dead_time(18.0, 3e5, VOLTS, SECONDS)) == pytest.approx(0.45e-3, rel=1e-12)


@pytest.mark.law
def test_dead_time_is_never_below_zero() -> None:
    assert injector.dead_time(np.array([22.6, 30.0, 100.0]), 3e5, VOLTS, SECONDS).tolist() == [0.0, 0.0, 0.0]


@pytest.mark.law
def test_a_single_point_holds_everywhere() -> None:
    constant = injector.dead_time(np.array([6.0, 14.0, 20.0]), 3e5, np.array([14.0]), np.array([[0.9e-3]]))
    assert constant.tolist() == [0.9e-3] * 3


@pytest.mark.law
def test_a_single_pressure_or_voltage_still_interpolates_along_the_other() -> None:
    one_pressure = injector.dead_time(11.0, np.array([1e5, 5e5]), VOLTS, SECONDS, np.array([3e5]))
    assert one_pressure.tolist() == pytest.approx([1.475e-3] * 2, rel=1e-12)
    column = np.array([[1.0e-3], [1.4e-3]])
    one_voltage = injector.dead_time(11.0, 3.25e5, np.array([14.0]), column, PASCALS)
    assert float(one_voltage) == pytest.approx(1.1e-3, rel=1e-12)


@pytest.mark.law
def test_without_data_over_pressure_the_pressure_does_not_matter() -> None:
    assert injector.dead_time(11.0, np.array([-1e5, 3e5, np.nan]), VOLTS, SECONDS).tolist() == pytest.approx(
        [1.475e-3] * 3, rel=1e-12
    )


@pytest.mark.law
def test_a_row_may_come_without_its_bracket() -> None:
    assert float(injector.dead_time(11.0, 3e5, VOLTS, SECONDS[0])) == float(
        injector.dead_time(11.0, 3e5, VOLTS, SECONDS)
    )


@pytest.mark.law
@given(st.lists(battery, min_size=1, max_size=4), st.lists(across, min_size=1, max_size=4))
def test_dead_time_of_arrays_is_that_of_their_numbers(volts: list[float], pascals: list[float]) -> None:
    surface = injector.dead_time(
        np.array(volts)[:, np.newaxis], np.array(pascals), VOLTS, SECONDS_OVER_PRESSURE, PASCALS
    )
    single = [[float(injector.dead_time(v, p, VOLTS, SECONDS_OVER_PRESSURE, PASCALS)) for p in pascals] for v in volts]
    assert surface.tolist() == single


@pytest.mark.law
def test_a_third_axis_of_voltages_broadcasts() -> None:
    volts = np.linspace(8.0, 16.0, 5).reshape(5, 1, 1)
    surface = injector.dead_time(volts, np.full((3, 1), 3e5), VOLTS, SECONDS)
    assert surface.shape == (5, 3, 1)


@pytest.mark.law
def test_data_that_does_not_fit_its_points_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match=r"^times_s has shape \(1, 5\), the points have \(2, 5\)$"):
        injector.dead_time(12.0, 3e5, VOLTS, SECONDS, PASCALS)
    with pytest.raises(ValueError, match=r"^times_s has shape \(2, 5\), the points have \(1, 5\)$"):
        injector.dead_time(12.0, 3e5, VOLTS, SECONDS_OVER_PRESSURE)


@pytest.mark.law
@each(
    ("volts", "standing"),
    [
        (6.9, "not known"),
        (7.0, "extrapolated"),
        (7.9, "extrapolated"),
        (8.0, "within"),
        (16.0, "within"),
        (16.1, "extrapolated"),
        (30.0, "extrapolated"),
    ],
)
def test_how_far_a_dead_time_is_trusted(volts: float, standing: str) -> None:
    assert injector.dead_time_standing(volts, VOLTS) == standing


@pytest.mark.law
def test_one_point_is_trusted_at_itself() -> None:
    point = np.array([14.0])
    assert [injector.dead_time_standing(v, point) for v in (12.9, 13.5, 14.0, 14.5)] == [
        "not known",
        "extrapolated",
        "within",
        "extrapolated",
    ]


@pytest.mark.law
def test_an_opening_delivers_nothing_up_to_the_dead_time_and_rises_without_a_step() -> None:
    pulses = np.array([-1e-3, 0.0, 0.5e-3, 1e-3, 1e-3 + 1e-12, 2e-3])
    mass = injector.delivered(pulses, 1e-3, 4e-3, 4.2e-3, 20e-3)
    assert mass[:4].tolist() == [0.0] * 4
    assert mass[4] == pytest.approx(4e-15, rel=1e-3)
    assert mass[5] == pytest.approx(4e-6, rel=1e-12)


@pytest.mark.law
def test_from_the_window_on_the_injector_never_closes() -> None:
    just_before, at, beyond = injector.delivered(np.array([20e-3 - 1e-12, 20e-3, 35e-3]), 1e-3, 4e-3, 4.2e-3, 20e-3)
    assert just_before == pytest.approx(4e-3 * 19e-3, rel=1e-9)
    assert at == pytest.approx(4.2e-3 * 20e-3, rel=1e-15)
    assert beyond == at


@pytest.mark.law
def test_an_injector_that_is_told_to_stay_open_passes_its_static_flow_whatever_its_dead_time() -> None:
    assert float(injector.delivered(5e-3, 6e-3, 4e-3, 4.2e-3, 5e-3)) == pytest.approx(2.1e-5, rel=1e-15)


@pytest.mark.law
def test_delivery_rises_with_the_pulse() -> None:
    mass = injector.delivered(np.linspace(0.0, 30e-3, 301), 1e-3, 4e-3, 4e-3, 20e-3)
    assert (np.diff(mass) >= 0.0).all()


@pytest.mark.law
def test_an_unknown_pulse_stays_unknown() -> None:
    assert math.isnan(float(injector.delivered(np.nan, 1e-3, 4e-3, 4e-3, 20e-3)))


@pytest.mark.law
@given(st.floats(1e-7, 6e-5), st.floats(0.0, 3e-3), st.floats(1e-3, 2e-2))
def test_the_pulse_for_a_mass_delivers_it(mass: float, dead_s: float, flow: float) -> None:
    pulse = injector.pulse_for(mass, dead_s, flow)
    again = injector.delivered(pulse, dead_s, flow, flow, 10.0)
    # Subtracting the dead time from a short pulse costs digits: 3 ms against 5 µs.
    assert float(again) == pytest.approx(mass, rel=1e-12)


@pytest.mark.law
def test_an_injector_that_passes_nothing_has_no_pulse() -> None:
    pulses = injector.pulse_for(np.array([0.0, 1e-6, 1e-6]), 1e-3, np.array([0.0, 0.0, 1e-3]))
    assert np.isnan(pulses).tolist() == [True, True, False]
    assert pulses[2] == pytest.approx(2e-3, rel=1e-15)


@pytest.mark.law
def test_no_fuel_needs_the_dead_time_and_no_more() -> None:
    assert float(injector.pulse_for(0.0, 1e-3, 4e-3)) == 1e-3
