from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.physics import breathing
from tests.builders.cases import each

compressions = st.floats(4.0, 16.0)


# Worked out apart from the program, like the values of the residual gas below: 5000·2393/1998 for the same head.
@pytest.mark.check_value
def test_the_speed_of_the_same_mach_index() -> None:
    assert float(breathing.donor_speed(5000.0, 2393.0 / 1998.0, 1.0)) == pytest.approx(5988.488488, abs=5e-7)


@pytest.mark.law
@given(st.floats(500.0, 9000.0), st.floats(0.3, 3.0), st.floats(0.3, 3.0))
def test_the_index_is_the_same_on_both_sides(rpm: float, volume: float, area: float) -> None:
    def index(rpm: float, volume_m3: float, area_m2: float) -> float:
        return 2.0 * volume_m3 * rpm / 60.0 / (area_m2 * 340.0)

    donor_rpm = float(breathing.donor_speed(rpm, volume, area))
    assert index(donor_rpm, 0.5e-3, 5e-4) == pytest.approx(index(rpm, volume * 0.5e-3, area * 5e-4), rel=1e-13)


@pytest.mark.law
def test_a_head_that_grows_with_the_cylinder_changes_nothing() -> None:
    assert breathing.donor_speed(np.array([1000.0, 6000.0]), 1.2, 1.2).tolist() == [1000.0, 6000.0]


def intake_stroke(compression: float, pressure_ratio: float, gamma: float) -> float:
    """Volumetric efficiency from energy, clearance volume 1, intake pressure 1: what was in, comes in and is done.

    Internal energy at the end = that of the burned gas left + enthalpy of what came in − work on the piston.
    """
    end, left = compression / (gamma - 1.0), pressure_ratio / (gamma - 1.0)
    enthalpy_in = end - left + (compression - 1.0)
    mass_times_rt = enthalpy_in * (gamma - 1.0) / gamma
    return mass_times_rt / (compression - 1.0)


# First law on the ideal intake stroke, written as energies and solved for the mass: agreement 1e-13.
@pytest.mark.check_value
@given(compressions, st.floats(0.5, 3.5), st.floats(1.2, 1.45))
def test_the_first_law(compression: float, pressure_ratio: float, gamma: float) -> None:
    expected = intake_stroke(compression, pressure_ratio, gamma)
    assert float(breathing.residual_fraction(compression, pressure_ratio, gamma)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.check_value
def test_worked_values() -> None:
    low = float(breathing.residual_fraction(8.5, 2.0, 1.3))
    assert low == pytest.approx(0.897435897436, abs=5e-13)
    assert float(breathing.residual_fraction(10.5, 2.0, 1.3)) / low == pytest.approx(1.024060150376, abs=5e-13)


@pytest.mark.law
@given(compressions)
def test_at_equal_pressures_nothing_is_lost(compression: float) -> None:
    assert float(breathing.residual_fraction(compression, 1.0)) == pytest.approx(1.0, rel=1e-14)


@pytest.mark.law
@given(compressions, compressions)
def test_less_clearance_keeps_less_burned_gas(one: float, other: float) -> None:
    low, high = sorted([one, other])
    assert float(breathing.residual_fraction(low, 2.5)) <= float(breathing.residual_fraction(high, 2.5)) + 1e-15


@pytest.mark.law
def test_an_array_is_its_elements_and_where_nothing_is_drawn_nothing_is_said() -> None:
    ratios = np.array([1.0, 2.0, 13.6, 20.0])
    factors = breathing.residual_fraction(10.0, ratios)
    assert factors[:2].tolist() == [float(breathing.residual_fraction(10.0, ratio)) for ratio in (1.0, 2.0)]
    assert np.isnan(factors[3])


@pytest.mark.law
@each("compression", [1.0, 0.0, -9.0, float("nan")])
def test_a_compression_ratio_that_cannot_be(compression: float) -> None:
    with pytest.raises(InputError) as caught:
        breathing.residual_fraction(compression, 2.0)
    assert str(caught.value) == f"a compression ratio of {compression:g} cannot be; give one above 1, such as 9.5"


# By hand from f = 1 − (pe/p − 1)/(1.4·(r − 1)): 1 − 2.37750/10.5 = 0.773571 at 8.5 and 1 − 2.37750/13.3 = 0.821241 at
# 10.5, both at 30 kPa and 101.325 kPa.
@pytest.mark.check_value
def test_more_compression_keeps_less_burned_gas_by_so_much() -> None:
    both = (101_325.0, 101_325.0), (np.array([30e3]), np.array([30e3]))
    assert breathing.residual_ratio((8.5, 10.5), *both) == pytest.approx([0.821241 / 0.773571], abs=2e-6)


@pytest.mark.law
@given(compressions, compressions, st.floats(60e3, 105e3), st.floats(60e3, 105e3), st.floats(0.3, 1.5))
def test_there_and_back_and_nothing_above_the_barometer(
    one: float, other: float, here_pa: float, there_pa: float, share: float
) -> None:
    loads = np.array([share * here_pa]), np.array([share * there_pa])
    there = breathing.residual_ratio((one, other), (here_pa, there_pa), loads)
    back = breathing.residual_ratio((other, one), (there_pa, here_pa), loads[::-1])
    if np.isfinite(there).all():
        assert there * back == pytest.approx([1.0], rel=1e-12)
    if share >= 1.0:
        assert there == pytest.approx([1.0], rel=1e-12)
    assert breathing.residual_ratio((one, one), (here_pa, here_pa), (loads[0], loads[0])) == pytest.approx(
        [1.0], rel=1e-12, nan_ok=True
    )
