from __future__ import annotations

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.physics import air
from tests.builders.cases import each


@pytest.mark.law
def test_pressure_at_sea_level_is_the_standard_one() -> None:
    assert air.standard_pressure(0.0) == 101_325.0


@pytest.mark.law
def test_pressure_falls_with_height() -> None:
    heights = np.linspace(-500.0, 11_000.0, 47)
    assert (np.diff(air.standard_pressure(heights)) < 0.0).all()


@pytest.mark.law
def test_pressure_holds_up_the_air_above_it() -> None:
    # dp/dH = −ρ·g with ρ of the same standard atmosphere: the balance that the closed form integrates.
    # The central difference over 20 m is good to 1e-6.
    for height in (0.0, 1500.0, 6000.0, 10_900.0):
        slope = (air.standard_pressure(height + 10.0) - air.standard_pressure(height - 10.0)) / 20.0
        density = float(air.density(air.standard_pressure(height), 288.15 - 0.0065 * height))
        assert slope == pytest.approx(-density * 9.80665, rel=1e-6)


@pytest.mark.law
def test_pressure_of_an_array_is_that_of_its_numbers() -> None:
    heights = np.array([[-500.0, 0.0], [850.0, 11_000.0]])
    pressures = air.standard_pressure(heights)
    assert pressures.shape == heights.shape
    # numpy 1.26 takes a power of an array by other instructions than of a number: the last bit may differ.
    singly = np.array([[air.standard_pressure(h) for h in row] for row in heights.tolist()])
    np.testing.assert_array_max_ulp(pressures, singly, maxulp=1)


@pytest.mark.law
@each("height", [-501.0, 11_001.0, 1e6])
def test_height_outside_the_lowest_layer_is_refused(height: float) -> None:
    with pytest.raises(InputError) as caught:
        air.standard_pressure(height)
    assert str(caught.value) == (
        f"an altitude of {height:g} m is outside -500…11000 m, where the standard atmosphere is known; "
        "give the barometer's absolute pressure instead"
    )


@pytest.mark.law
def test_one_bad_height_in_an_array_is_named() -> None:
    with pytest.raises(InputError, match=r"^an altitude of 12000 m is outside"):
        air.standard_pressure(np.array([0.0, 12_000.0, 500.0]))
    with pytest.raises(InputError, match=r"^an altitude of nan m is outside"):
        air.standard_pressure(float("nan"))
