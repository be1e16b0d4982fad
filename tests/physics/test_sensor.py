from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.physics import sensor, thermistor
from basemap.physics.sensor import FloatArray, Linear, Scale, Tabulated, Thermistor
from tests.builders.cases import each

WIDEBAND = Linear(np.array([0.5, 4.5]), np.array([9.0, 19.0]))
OTHER_WIDEBAND = Linear(np.array([0.0, 5.0]), np.array([10.0, 20.0]))
FALLING = Tabulated(np.array([0.5, 1.0, 3.0, 4.5]), np.array([400.0, 370.0, 300.0, 260.0]))

# A widely printed set for 10 kΩ at 25 °C.
COEFFICIENTS = (1.129148e-3, 2.34125e-4, 8.76741e-8)
TEN_KILOHM = Thermistor(COEFFICIENTS, pull_up_ohm=2490.0, supply_v=5.0)


@dataclass(frozen=True)
class Squared:
    """value = volts²: a smooth scale whose chords miss it by a quarter of the step squared, half way."""

    knots_v: FloatArray
    known: tuple[float, float] = (0.0, 25.0)

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        return np.asarray(volts, dtype=np.float64) ** 2

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        return np.sqrt(np.asarray(value, dtype=np.float64))


@dataclass(frozen=True)
class Reciprocal:
    """value = 1/volts: the chord from a to b is furthest off at √(a·b), by (√b − √a)²/(a·b)."""

    knots_v: FloatArray
    known: tuple[float, float] = (0.1, 10.0)

    def value_at(self, volts: float | FloatArray) -> FloatArray:
        return 1.0 / np.asarray(volts, dtype=np.float64)

    def volts_at(self, value: float | FloatArray) -> FloatArray:
        return 1.0 / np.asarray(value, dtype=np.float64)


SQUARED, RECIPROCAL = Squared(np.empty(0)), Reciprocal(np.empty(0))


@pytest.mark.law
def test_a_line_by_hand_and_beyond_its_points() -> None:
    assert WIDEBAND.value_at(np.array([0.5, 2.5, 4.5, 5.0])).tolist() == [9.0, 14.0, 19.0, 20.25]
    assert WIDEBAND.volts_at(np.array([9.0, 14.0, 20.25])).tolist() == [0.5, 2.5, 5.0]


@pytest.mark.law
def test_a_table_by_hand_and_held_at_its_ends() -> None:
    assert FALLING.value_at(np.array([0.0, 0.5, 2.0, 4.5, 5.0])).tolist() == [400.0, 400.0, 335.0, 260.0, 260.0]
    volts = FALLING.volts_at(np.array([400.0, 335.0, 260.0, 401.0, 250.0]))
    assert volts[:3].tolist() == [0.5, 2.0, 4.5]
    assert np.isnan(volts[3:]).all()


@pytest.mark.law
@pytest.mark.parametrize("scale", [WIDEBAND, TEN_KILOHM, FALLING])
@given(volts=st.floats(0.5, 4.5))
def test_volts_to_value_to_volts(scale: Scale, volts: float) -> None:
    assert float(scale.volts_at(scale.value_at(volts))) == pytest.approx(volts, rel=1e-12)


# A divider by hand: the resistor's own value halves the supply.
@pytest.mark.law
def test_a_divider_of_two_equal_resistors() -> None:
    temperature = thermistor.temperature(2490.0, COEFFICIENTS)
    assert float(TEN_KILOHM.value_at(2.5)) == pytest.approx(float(temperature), rel=1e-14)
    assert float(TEN_KILOHM.volts_at(temperature)) == pytest.approx(2.5, rel=1e-13)


@pytest.mark.law
def test_a_cold_thermistor_shows_more_volts() -> None:
    volts = TEN_KILOHM.volts_at(np.array([233.15, 273.15, 313.15, 373.15]))
    assert (np.diff(volts) < 0.0).all()
    assert volts[0] < 5.0


@pytest.mark.law
def test_no_temperature_stands_at_the_ends_of_the_supply() -> None:
    assert np.isnan(TEN_KILOHM.value_at(np.array([-0.1, 0.0, 5.0, 5.1]))).all()


@pytest.mark.law
@each("scale", [WIDEBAND, FALLING, TEN_KILOHM])
def test_the_same_scale_reads_right(scale: Scale) -> None:
    readings = sensor.reading_error(scale, scale, 10.0 if scale is WIDEBAND else 280.0, 390.0)
    assert np.abs(readings.error).max() == 0.0


# By hand: (10 + 2v) − (9 + 2.5(v − 0.5)) = 2.25 − 0.5v. λ from 0.7 to 1.2 at 14.7 is 10.29 to 17.64: 1.016 to 3.956 V.
@pytest.mark.law
def test_two_lines_by_hand() -> None:
    readings = sensor.reading_error(OTHER_WIDEBAND, WIDEBAND, 10.29, 17.64)
    assert readings.volts[[0, -1]] == pytest.approx(np.array([1.016, 3.956]), rel=1e-13)
    assert readings.true[[0, -1]] == pytest.approx(np.array([10.29, 17.64]), rel=1e-13)
    assert readings.error == pytest.approx(2.25 - 0.5 * readings.volts, rel=1e-12)
    assert readings.worst == 0
    assert readings.error[readings.worst] == pytest.approx(1.742, rel=1e-12)


@pytest.mark.law
def test_a_falling_scale_is_compared_over_the_same_range() -> None:
    shifted = Tabulated(FALLING.points_v, FALLING.values + np.array([0.0, 0.0, 4.0, 0.0]))
    readings = sensor.reading_error(shifted, FALLING, 280.0, 390.0)
    assert readings.true[[0, -1]] == pytest.approx(np.array([390.0, 280.0]), rel=1e-13)
    worst = readings.worst
    assert (readings.volts[worst], readings.true[worst], readings.read[worst]) == (3.0, 300.0, 304.0)


@pytest.mark.law
def test_the_range_ends_where_the_fitted_sensor_s_table_does() -> None:
    readings = sensor.reading_error(Linear(np.array([0.0, 5.0]), np.array([420.0, 250.0])), FALLING, 200.0, 380.0)
    assert (readings.true[0], readings.true[-1]) == (pytest.approx(380.0), 260.0)


@pytest.mark.law
def test_a_voltage_that_cannot_be_read_is_the_worst() -> None:
    low_supply = Thermistor(COEFFICIENTS, pull_up_ohm=2490.0, supply_v=3.3)
    readings = sensor.reading_error(low_supply, TEN_KILOHM, 263.15, 373.15)
    assert math.isnan(readings.error[readings.worst])
    assert readings.volts[readings.worst] >= 3.3


# The largest difference of two smooth scales lies between their ends: 4.5v − v² is largest at 2.25 V, 5.0625.
@pytest.mark.law
def test_a_largest_error_away_from_every_point() -> None:
    readings = sensor.reading_error(Linear(np.array([0.0, 1.0]), np.array([0.0, 4.5])), SQUARED, 0.0, 25.0)
    assert readings.error[readings.worst] == pytest.approx(5.0625, rel=1e-15)
    assert readings.volts[readings.worst] == pytest.approx(2.25, abs=1e-7)


@pytest.mark.law
def test_the_chords_of_a_square_miss_by_a_quarter_of_the_step_squared() -> None:
    points = np.array([0.0, 1.0, 1.5, 3.7, 5.0])
    left = sensor.largest_error_between_points(Tabulated(points, points**2), SQUARED, 0.0, 25.0)
    assert left.error == pytest.approx(np.diff(points) ** 2 / 4.0, rel=1e-14)
    assert left.volts == pytest.approx((points[:-1] + points[1:]) / 2.0, abs=1e-7)
    assert left.worst == 2


@pytest.mark.law
@given(st.floats(0.2, 4.0), st.floats(0.1, 5.0))
def test_the_chord_of_a_reciprocal_by_its_closed_form(start: float, step: float) -> None:
    points = np.array([start, start + step])
    table = Tabulated(points, 1.0 / points)
    left = sensor.largest_error_between_points(table, RECIPROCAL, 0.1, 10.0)
    expected = (math.sqrt(points[1]) - math.sqrt(points[0])) ** 2 / (points[0] * points[1])
    assert float(left.error[0]) == pytest.approx(expected, rel=1e-9, abs=1e-14)


@pytest.mark.law
def test_rounding_of_the_entered_values_is_part_of_the_error() -> None:
    points = np.array([1.0, 2.0])
    left = sensor.largest_error_between_points(Tabulated(points, np.array([1.1, 4.1])), SQUARED, 1.0, 4.0)
    assert left.error == pytest.approx(np.array([0.35]), rel=1e-13)


@pytest.mark.law
def test_a_line_entered_on_any_points_leaves_nothing() -> None:
    points = np.array([0.7, 1.9, 4.4])
    left = sensor.largest_error_between_points(Tabulated(points, WIDEBAND.value_at(points)), WIDEBAND, 10.0, 18.0)
    assert np.abs(left.error).max() < 1e-13


@pytest.mark.law
def test_a_corner_of_the_fitted_scale_between_two_points_is_found() -> None:
    points = np.array([0.5, 4.5])
    left = sensor.largest_error_between_points(Tabulated(points, FALLING.value_at(points)), FALLING, 260.0, 400.0)
    # The chord at 3 V: 400 − 140·2.5/4 = 312.5 against 300; at 1 V 382.5 against 370.
    assert left.error.max() == pytest.approx(12.5, rel=1e-13)


@pytest.mark.law
def test_only_the_part_of_a_segment_in_the_range_counts() -> None:
    points = np.array([0.0, 2.0, 4.0])
    left = sensor.largest_error_between_points(Tabulated(points, points**2), SQUARED, 12.25, 16.0)
    assert left.volts.tolist() == [3.5]
    assert left.error == pytest.approx(np.array([0.75]), rel=1e-12)


# An independent search: a grid of 200 001 voltages over the range. It comes within 1e-6 K from below.
@pytest.mark.law
def test_a_thermistor_table_by_a_plain_search() -> None:
    points = np.linspace(0.25, 4.75, 10)
    table = Tabulated(points, TEN_KILOHM.value_at(points))
    left = sensor.largest_error_between_points(table, TEN_KILOHM, 263.15, 373.15)
    low, high = np.sort(TEN_KILOHM.volts_at(np.array([263.15, 373.15])))
    volts = np.linspace(max(low, points[0]), min(high, points[-1]), 200_001)
    plain = np.abs(np.interp(volts, points, table.values) - TEN_KILOHM.value_at(volts)).max()
    largest = abs(float(left.error[left.worst]))
    assert plain <= largest <= plain + 1e-6
    assert largest > 0.5


def refusal(build: object) -> str:
    assert callable(build)
    with pytest.raises(InputError) as caught:
        build()
    return str(caught.value)


V = np.array


@pytest.mark.law
def test_scales_that_are_refused() -> None:
    assert refusal(lambda: Tabulated(V([1.0]), V([2.0]))) == (
        "a scale is proved at two points, never at one; give two voltages or more with their values"
    )
    assert refusal(lambda: Linear(V([1.0, 2.0]), V([2.0]))) == (
        "2 voltages and 1 values; give one value for every voltage"
    )
    assert refusal(lambda: Tabulated(V([1.0, 3.0, 2.0]), V([1.0, 2.0, 3.0]))) == (
        "the voltages of a scale must rise, each with a value, but they are 1, 3, 2; sort them"
    )
    assert refusal(lambda: Linear(V([1.0, 2.0]), V([3.0, 3.0]))) == (
        "a linear scale takes two points with two different values"
    )
    assert refusal(lambda: Tabulated(V([1.0, 2.0, 3.0]), V([1.0, 2.0, 2.0])).volts_at(1.5)) == (
        "the values of a sensor's scale must rise or fall throughout, or one reading would mean two voltages; correct "
        "1, 2, 2"
    )
    assert refusal(lambda: Thermistor(COEFFICIENTS, 0.0, 5.0)) == (
        "a pull-up of 0 ohm on 5 V reads nothing; give both above 0"
    )


@pytest.mark.law
def test_ranges_that_are_refused() -> None:
    assert refusal(lambda: sensor.reading_error(WIDEBAND, FALLING, 100.0, 200.0)) == (
        "the fitted sensor's scale states values from 260 to 400, none between 100 and 200; "
        "give points of its scale in that range"
    )
    turning = Thermistor((1e-3, 3e-4, -5e-7), 2490.0, 5.0)
    assert refusal(lambda: sensor.reading_error(WIDEBAND, turning, 100.0, 300.0)) == (
        "the fitted sensor's scale has no voltage for 100 or 300; give points nearer to them"
    )
    short = Tabulated(V([0.1, 0.2]), V([1.0, 2.0]))
    assert refusal(lambda: sensor.largest_error_between_points(short, SQUARED, 4.0, 9.0)) == (
        "the table's voltages end outside 2…3 V, where the sensor works; enter points there"
    )
