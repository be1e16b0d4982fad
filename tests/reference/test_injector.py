"""The injector held against a flow library, an interpolation library and worked numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from fluids import flow_meter
from scipy import interpolate

from basemap.physics import injector
from tests.builders.cases import each

# Both libraries have no types.
flow_meter_discharge: Any = flow_meter.flow_meter_discharge
RegularGridInterpolator: Any = interpolate.RegularGridInterpolator

VOLTS = np.array([8.0, 10.0, 12.0, 14.0, 16.0])
SECONDS = np.array([[2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3]])
PASCALS = np.array([2.5e5, 3e5, 4e5])
SECONDS_OVER_PRESSURE = np.array(
    [
        [2.35e-3, 1.62e-3, 1.12e-3, 0.80e-3, 0.62e-3],
        [2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3],
        [3.20e-3, 2.05e-3, 1.37e-3, 0.96e-3, 0.72e-3],
    ]
)


def through_a_hole(pressure_across_pa: float, density: float) -> float:
    """An incompressible fluid through a hole of 0.5 mm in a 50 mm pipe, discharge coefficient 0.8, kg/s."""
    return float(
        flow_meter_discharge(
            D=0.05, Do=0.5e-3, P1=101_325.0 + pressure_across_pa, P2=101_325.0, rho=density, C=0.8, expansibility=1.0
        )
    )


# fluids 1.3.1, differential-pressure meter. Agreement 1e-12, of which nothing is ours: one law, one coefficient.
@pytest.mark.check_value
@each("pressure_pa", [1e3, 1.5e5, 3.5e5, 6e5])
@each("density", [683.81407, 745.0, 786.38, 795.69])
def test_the_orifice_of_a_library(pressure_pa: float, density: float) -> None:
    rated_density, rated_pressure = 683.81407, 3e5
    rated = through_a_hole(rated_pressure, rated_density)
    flow = float(injector.mass_flow(rated, rated_pressure, rated_density, pressure_pa, density))
    assert flow == pytest.approx(through_a_hole(pressure_pa, density), rel=1e-9)


# scipy 1.17.1, linear, beyond the data too. The range keeps above zero, where scipy would go on.
@pytest.mark.check_value
def test_dead_time_of_a_library_over_voltage() -> None:
    volts = np.linspace(6.0, 20.0, 141)
    theirs = RegularGridInterpolator((VOLTS,), SECONDS[0], bounds_error=False, fill_value=None)(volts[:, np.newaxis])
    np.testing.assert_allclose(injector.dead_time(volts, 3e5, VOLTS, SECONDS), theirs, rtol=1e-12)


@pytest.mark.check_value
def test_dead_time_of_a_library_over_voltage_and_pressure() -> None:
    volts, pascals = np.meshgrid(np.linspace(6.0, 19.0, 53), np.linspace(2e5, 5e5, 31))
    theirs = RegularGridInterpolator((PASCALS, VOLTS), SECONDS_OVER_PRESSURE, bounds_error=False, fill_value=None)(
        np.stack([pascals, volts], axis=-1)
    )
    ours = injector.dead_time(volts, pascals, VOLTS, SECONDS_OVER_PRESSURE, PASCALS)
    np.testing.assert_allclose(ours, theirs, rtol=1e-12)


# Worked by hand from the points: 13.8 V is nine tenths of the way from 12 to 14 V, and so on; 23 V would be −0.05 ms.
@pytest.mark.check_value
@each(
    ("volts", "milliseconds", "standing"),
    [
        (13.8, 0.885, "within"),
        (11.0, 1.475, "within"),
        (9.1, 2.1325, "within"),
        (6.5, 3.2375, "not known"),
        (20.0, 0.25, "extrapolated"),
        (23.0, 0.0, "extrapolated"),
    ],
)
def test_dead_time_worked_by_hand(volts: float, milliseconds: float, standing: str) -> None:
    assert 1e3 * float(injector.dead_time(volts, 3e5, VOLTS, SECONDS)) == pytest.approx(milliseconds, abs=1e-12)
    assert injector.dead_time_standing(volts, VOLTS) == standing
