"""Published resistances of a sensor, published coefficients, and Ohm's law."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.physics.thermistor import SteinhartHart, divider_resistance, divider_voltage, steinhart_hart

# A vehicle service manual of 2020, table of a coolant sensor: °C and Ω.
TABLE_C = np.array([-20.0, 0.0, 20.0, 25.0, 40.0, 80.0, 100.0])
TABLE_OHM = np.array([15971.0, 5975.0, 2502.0, 2044.0, 1152.0, 308.6, 175.7])
THREE = [0, 3, 6]


@pytest.mark.check_value
def test_coefficients_through_three_published_points() -> None:
    # −20, 25 and 100 °C of the table; the coefficients are of an independent solution of the 3 × 3 system.
    curve = steinhart_hart(TABLE_OHM[THREE], TABLE_C[THREE] + 273.15)
    assert curve.a == pytest.approx(1.3359490668572e-3, rel=1e-11)
    assert curve.b == pytest.approx(2.5598084319383e-4, rel=1e-11)
    assert curve.c == pytest.approx(1.50844817559e-7, rel=1e-10)


@pytest.mark.check_value
def test_the_points_between_are_met_within_a_fiftieth_of_a_kelvin() -> None:
    curve = steinhart_hart(TABLE_OHM[THREE], TABLE_C[THREE] + 273.15)
    assert np.abs(curve.temperature_k(TABLE_OHM) - 273.15 - TABLE_C).max() < 0.02


@pytest.mark.check_value
@pytest.mark.parametrize(("ohm", "celsius"), [(10_000, 24.99967), (32_650, 0.00022), (1_000, 87.16814)])
def test_the_usual_coefficients_of_a_10_kohm_part(ohm: float, celsius: float) -> None:
    # Coefficients 1.129148e-3, 2.34125e-4, 8.76741e-8 as printed in lecture notes on thermistors.
    curve = SteinhartHart(1.129148e-3, 2.34125e-4, 8.76741e-8)
    assert float(curve.temperature_k(ohm)) - 273.15 == pytest.approx(celsius, abs=1e-5)


@pytest.mark.law
def test_a_fit_through_all_points_is_no_worse_than_one_through_three() -> None:
    kelvin = TABLE_C + 273.15
    fits = steinhart_hart(TABLE_OHM, kelvin), steinhart_hart(TABLE_OHM[THREE], kelvin[THREE])
    sums = [float(np.sum((1 / fit.temperature_k(TABLE_OHM) - 1 / kelvin) ** 2)) for fit in fits]
    assert sums[0] < sums[1]


def test_two_points_are_refused() -> None:
    with pytest.raises(ValueError, match="^a thermistor's curve takes at least three points$"):
        steinhart_hart(np.array([1000.0, 100.0]), np.array([300.0, 350.0]))


@pytest.mark.law
def test_equal_resistances_halve_the_supply() -> None:
    assert float(divider_voltage(2490.0, 2490.0, 5.0)) == 2.5


@pytest.mark.law
def test_there_and_back() -> None:
    back = divider_resistance(divider_voltage(TABLE_OHM, 2490.0, 5.0), 2490.0, 5.0)
    assert back == pytest.approx(TABLE_OHM, rel=1e-13)


@pytest.mark.law
@pytest.mark.parametrize("volts", [-0.1, 0.0, 5.0, 5.1])
def test_no_resistance_gives_the_ends(volts: float) -> None:
    assert np.isnan(divider_resistance(volts, 2490.0, 5.0))
