"""Thermistors held against a published service table, a published set of coefficients and a general least squares."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, least_squares

from basemap.constants import ZERO_CELSIUS
from basemap.errors import InputError
from basemap.physics import thermistor
from basemap.physics.sensor import Thermistor
from tests.builders.cases import each

# A service table for a sensor of 2.5 kΩ at 20 °C (°C, ohm).
SERVICE_TABLE = {
    -20.0: 15971.0,
    0.0: 5975.0,
    20.0: 2502.0,
    25.0: 2044.0,
    40.0: 1152.0,
    80.0: 308.6,
    100.0: 175.7,
}
CELSIUS = np.array(list(SERVICE_TABLE))
OHM = np.array(list(SERVICE_TABLE.values()))
THREE = np.array([0, 3, 6])

# A widely printed set for 10 kΩ at 25 °C.
TEN_KILOHM = (1.129148e-3, 2.34125e-4, 8.76741e-8)


def through(rows: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> tuple[float, float, float]:
    return thermistor.steinhart_hart(OHM[rows], CELSIUS[rows] + ZERO_CELSIUS)


# Coefficients through −20, 25 and 100 °C worked out apart from the program, printed to 12 digits or more.
@pytest.mark.check_value
def test_the_coefficients_through_three_points() -> None:
    assert through(THREE) == pytest.approx((1.3359490668572e-3, 2.5598084319383e-4, 1.50844817559e-7), rel=1e-10)


# The table's other points lie within 0.02 K of the curve through three of them; they are printed to 4 digits, which is
# 0.012 K at 20 °C.
@pytest.mark.check_value
@each("row", range(len(SERVICE_TABLE)))
def test_the_rest_of_the_service_table(row: int) -> None:
    read = float(thermistor.temperature(OHM[row], through(THREE))) - ZERO_CELSIUS
    assert read == pytest.approx(CELSIUS[row], abs=0.02)


# The divider read at its published temperatures: 2490 ohm to 5 V, by Ohm's law.
@pytest.mark.check_value
def test_the_service_table_as_volts() -> None:
    scale = Thermistor(through(THREE), pull_up_ohm=2490.0, supply_v=5.0)
    volts = 5.0 * OHM / (OHM + 2490.0)
    assert scale.value_at(volts) - ZERO_CELSIUS == pytest.approx(CELSIUS, abs=0.02)
    assert scale.volts_at(CELSIUS + ZERO_CELSIUS) == pytest.approx(volts, abs=5e-4)


# Published coefficients, worked out apart: 10000, 32650 and 1000 ohm to 5 decimals.
@pytest.mark.check_value
@each(("ohm", "celsius"), [(10_000.0, 24.99967), (32_650.0, 0.00022), (1000.0, 87.16814)])
def test_published_coefficients(ohm: float, celsius: float) -> None:
    assert float(thermistor.temperature(ohm, TEN_KILOHM)) - ZERO_CELSIUS == pytest.approx(celsius, abs=5e-6)


# scipy's brentq on the equation itself; agreement 1e-12 of the resistance. C negative and C vanishing included.
@pytest.mark.check_value
@each("c", [8.76741e-8, 1e-15, 0.0, -1e-15, -8.76741e-8])
@each("celsius", [-40.0, 0.0, 25.0, 90.0, 140.0])
def test_the_inverse_by_iteration(c: float, celsius: float) -> None:
    a, b, _ = TEN_KILOHM
    kelvin = celsius + ZERO_CELSIUS

    def miss(logarithm: float) -> float:
        return a + b * logarithm + c * logarithm**3 - 1.0 / kelvin

    logarithm = brentq(miss, 0.0, 18.0, xtol=1e-15, rtol=1e-15)  # type: ignore[no-untyped-call]
    assert float(thermistor.resistance(kelvin, (a, b, c))) == pytest.approx(np.exp(logarithm), rel=1e-12)


# scipy's general least squares on the temperatures themselves. Ours are squares of the error to first order, and the
# errors here are 0.02 K in 300, so the two curves agree to 1e-5 K.
@pytest.mark.check_value
def test_least_squares_through_the_whole_table() -> None:
    ours = thermistor.steinhart_hart(OHM, CELSIUS + ZERO_CELSIUS)

    def misses(scaled: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> object:
        a, b, c = scaled * np.array([1e-3, 1e-4, 1e-7])
        logarithm = np.log(OHM)
        return 1.0 / (a + b * logarithm + c * logarithm**3) - (CELSIUS + ZERO_CELSIUS)

    found = least_squares(misses, np.array([1.3, 2.6, 1.5]), xtol=1e-15, ftol=1e-15, gtol=1e-15)  # type: ignore[operator]
    theirs = found.x * np.array([1e-3, 1e-4, 1e-7])
    ohm = np.geomspace(175.7, 15_971.0, 50)
    both = [thermistor.temperature(ohm, (float(a), float(b), float(c))) for a, b, c in (ours, theirs)]
    assert both[0] == pytest.approx(both[1], abs=1e-5)


@pytest.mark.law
@given(st.floats(0.5, 2.0), st.floats(1.5, 5.0), st.floats(1.5, 5.0))
def test_the_curve_passes_through_its_three_points(scale: float, first: float, second: float) -> None:
    ohm = 2000.0 * scale * np.array([first, 1.0, 1.0 / second])
    # Near a plain exponential of 3400 K, so that the points are a thermistor's, but not on it.
    kelvin = 1.0 / (1.0 / 298.15 + np.log(ohm / (2000.0 * scale)) / 3400.0 + np.array([0.0, 0.0, 1e-6]))
    coefficients = thermistor.steinhart_hart(ohm, kelvin)
    assert thermistor.temperature(ohm, coefficients) == pytest.approx(kelvin, rel=1e-10)


@pytest.mark.law
def test_the_order_of_the_points_does_not_matter() -> None:
    assert through(THREE[::-1]) == through(THREE)


@pytest.mark.law
def test_resistance_and_back() -> None:
    kelvin = np.linspace(223.15, 423.15, 21)
    there = thermistor.resistance(kelvin, TEN_KILOHM)
    assert thermistor.temperature(there, TEN_KILOHM) == pytest.approx(kelvin, rel=1e-13)


# 1/T = 1e-3 + 3e-4·x − 5e-7·x³ turns at x = √200: below 1/(1e-3 + 2e-4·√200) = 261.2 K it has no resistance.
@pytest.mark.law
def test_beyond_its_turn_a_curve_says_nothing() -> None:
    turning = (1e-3, 3e-4, -5e-7)
    assert np.isnan(thermistor.resistance(np.array([200.0, 261.0]), turning)).all()
    assert float(thermistor.resistance(262.0, turning)) < np.exp(np.sqrt(200.0))
    assert np.isnan(thermistor.temperature(np.exp(16.0), turning))


@pytest.mark.law
@each(
    ("ohm", "kelvin", "message"),
    [
        (
            [2500.0, 300.0],
            [293.15, 353.15],
            "2 resistances and 2 temperatures; a thermistor takes three points or more, "
            "one temperature for every resistance",
        ),
        (
            [2500.0, 300.0, 170.0],
            [293.15, 353.15],
            "3 resistances and 2 temperatures; a thermistor takes three points or more, "
            "one temperature for every resistance",
        ),
        (
            [170.0, 300.0, 2500.0],
            [293.15, 353.15, 373.15],
            "a thermistor's resistance falls as it gets warmer; correct the resistances or temperatures",
        ),
        (
            [0.0, 300.0, 2500.0],
            [373.15, 353.15, 293.15],
            "a thermistor's resistance falls as it gets warmer; correct the resistances or temperatures",
        ),
        (
            [100.0, 300.0, 16000.0],
            [373.15, 372.15, 253.15],
            "no thermistor's curve passes near these points; correct the resistances or temperatures",
        ),
    ],
)
def test_points_that_are_no_thermistor_s(ohm: list[float], kelvin: list[float], message: str) -> None:
    with pytest.raises(InputError) as caught:
        thermistor.steinhart_hart(np.array(ohm), np.array(kelvin))
    assert str(caught.value) == message
