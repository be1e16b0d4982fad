"""Air held against the standard atmosphere and against the real gas."""

from __future__ import annotations

from typing import Any

import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from basemap.physics import air
from tests.builders.cases import each


# Tables of the standard atmosphere (ISO 2533:1975, US 1976) over geopotential altitude, from memory, printed to
# 0.1 Pa. Agreement is half of the last digit up to 5000 m. Above, the printed values go with a molar mass of
# 28.9644 g/mol, where ISO's 28.964420 makes 26 436.24 and 22 632.04: 3e-6.
@pytest.mark.check_value
@each(
    ("altitude_m", "pressure_pa", "tolerance_pa"),
    [
        (0.0, 101_325.0, 0.0),
        (500.0, 95_460.8, 0.05),
        (1000.0, 89_874.6, 0.05),
        (2000.0, 79_495.2, 0.05),
        (3000.0, 70_108.5, 0.05),
        (5000.0, 54_019.9, 0.05),
        (10_000.0, 26_436.3, 0.07),
        (11_000.0, 22_632.1, 0.07),
    ],
)
def test_the_published_standard_atmosphere(altitude_m: float, pressure_pa: float, tolerance_pa: float) -> None:
    assert air.standard_pressure(altitude_m) == pytest.approx(pressure_pa, abs=tolerance_pa, rel=0)


# fluids 1.3.1, US Standard Atmosphere 1976. It takes the GEOMETRIC height, so its argument is turned round here
# (radius of the earth 6 356 766 m, the standard's own). Agreement 3e-7 up to 3000 m and 1e-6 at 10 000 m: its molar
# mass is 28.9644 g/mol, ours 28.964420.
@pytest.mark.check_value
@each("altitude_m", [-500.0, 0.0, 500.0, 1000.0, 2000.0, 3000.0])
def test_the_standard_atmosphere_of_a_library(altitude_m: float) -> None:
    geometric_m = 6_356_766.0 * altitude_m / (6_356_766.0 - altitude_m)
    assert air.standard_pressure(altitude_m) == pytest.approx(float(ATMOSPHERE_1976(geometric_m).P), rel=5e-7)


@pytest.mark.check_value
def test_the_standard_atmosphere_of_a_library_high_up() -> None:
    geometric_m = 6_356_766.0 * 10_000.0 / (6_356_766.0 - 10_000.0)
    assert air.standard_pressure(10_000.0) == pytest.approx(float(ATMOSPHERE_1976(geometric_m).P), rel=1e-6)


# What a height off a map, taken as geopotential, costs: the docstring says under 2e-4 below 3000 m.
@pytest.mark.check_value
@each("altitude_m", [1000.0, 2000.0, 3000.0])
def test_a_height_off_a_map_is_near_enough(altitude_m: float) -> None:
    assert air.standard_pressure(altitude_m) == pytest.approx(float(ATMOSPHERE_1976(altitude_m).P), rel=2e-4)


# CoolProp 8.0.0, 'Air' (Lemmon et al. 2000). The ideal gas is lighter, by 4e-4 at 101 kPa and 15 °C, 9e-4 at 150 kPa
# and 0 °C. At 250 kPa it is 1.5e-3 lighter at 0 °C and within 1e-3 only from 20 °C on.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("pressure_pa", "tolerance"), [(30e3, 1e-3), (100e3, 1e-3), (101_325.0, 1e-3), (150e3, 1e-3), (250e3, 1.5e-3)]
)
@pytest.mark.parametrize("celsius", [0.0, 15.0, 40.0, 60.0])
def test_the_ideal_gas_is_near_the_real_one(
    coolprop: Any, pressure_pa: float, tolerance: float, celsius: float
) -> None:
    real = coolprop.PropsSI("D", "P", pressure_pa, "T", celsius + 273.15, "Air")
    assert float(air.density(pressure_pa, celsius + 273.15)) == pytest.approx(real, rel=tolerance)


# ISO 2533 prints 1.225 kg/m³ at sea level.
@pytest.mark.check_value
def test_standard_air() -> None:
    assert float(air.density(101_325.0, 288.15)) == pytest.approx(1.225, abs=0.5e-6)


# CoolProp 8.0.0, HAPropsSI (ASHRAE RP-1485). Water vapour takes the place of dry air, of which the ideal gas does not
# know. The module says 1.6…3.7 % at 50 % relative humidity: 1.57 % at 25 °C, 3.65 % at 40 °C.
@pytest.mark.check_value
@pytest.mark.parametrize(("celsius", "humidity", "lost"), [(25.0, 0.5, 0.01567), (40.0, 0.5, 0.03651)])
def test_how_much_air_humidity_takes(coolprop: Any, celsius: float, humidity: float, lost: float) -> None:
    dry, humid = (
        1.0 / coolprop.HAPropsSI("Vda", "T", celsius + 273.15, "P", 101_325.0, "R", relative)
        for relative in (0.0, humidity)
    )
    assert 1.0 - humid / dry == pytest.approx(lost, abs=1e-5)
    # Against our own air: the same, within the 1e-3 of the ideal gas.
    assert humid / float(air.density(101_325.0, celsius + 273.15)) == pytest.approx(1.0 - lost, abs=1e-3)
