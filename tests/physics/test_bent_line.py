from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.physics import bent_line, injector
from basemap.physics.bent_line import BentLine

SLOPES = BentLine(below=5.0e-3, above=4.0e-3, at_mass=4.0e-6)
TAU_S = 0.9e-3


masses = st.floats(0.0, 60e-6)
flows = st.floats(1e-3, 20e-3)


# By hand: 3 mg at 5 g/s is 0.6 ms; 4 mg take 0.8 ms, and 2 mg more at 4 g/s another 0.5 ms.
@pytest.mark.law
def test_by_hand() -> None:
    pulses = bent_line.pulse_for(np.array([0.0, 3e-6, 4e-6, 6e-6]), TAU_S, SLOPES)
    assert pulses == pytest.approx(np.array([0.9e-3, 1.5e-3, 1.7e-3, 2.2e-3]), rel=1e-14)
    assert bent_line.mass_for(pulses, TAU_S, SLOPES) == pytest.approx(np.array([0.0, 3e-6, 4e-6, 6e-6]), abs=1e-20)


@pytest.mark.law
@given(masses, flows, flows, st.floats(1e-7, 30e-6))
def test_mass_to_pulse_to_mass(mass: float, low: float, high: float, at_mass: float) -> None:
    slopes = BentLine(low, high, at_mass)
    pulse = bent_line.pulse_for(mass, TAU_S, slopes)
    # The dead time in the pulse costs a few of a double's last digits of it.
    assert float(bent_line.mass_for(pulse, TAU_S, slopes)) == pytest.approx(mass, rel=1e-12, abs=1e-17)


@pytest.mark.law
@given(st.floats(0.9e-3, 20e-3), flows, flows, st.floats(1e-7, 30e-6))
def test_pulse_to_mass_to_pulse(pulse: float, low: float, high: float, at_mass: float) -> None:
    slopes = BentLine(low, high, at_mass)
    mass = bent_line.mass_for(pulse, TAU_S, slopes)
    assert float(bent_line.pulse_for(mass, TAU_S, slopes)) == pytest.approx(pulse, rel=1e-13)


@pytest.mark.law
@given(st.floats(0.0, 20e-3), st.floats(0.0, 20e-3), flows, flows, st.floats(1e-7, 30e-6))
def test_a_longer_pulse_never_delivers_less(one: float, other: float, low: float, high: float, at_mass: float) -> None:
    short, long = sorted([one, other])
    slopes = BentLine(low, high, at_mass)
    less, more = (float(bent_line.mass_for(pulse, TAU_S, slopes)) for pulse in (short, long))
    assert 0.0 <= less <= more * (1.0 + 1e-14)


@pytest.mark.law
def test_up_to_the_dead_time_nothing_comes() -> None:
    assert bent_line.mass_for(np.array([0.0, 0.5e-3, TAU_S]), TAU_S, SLOPES).tolist() == [0.0, 0.0, 0.0]


@pytest.mark.law
def test_equal_slopes_are_one_line() -> None:
    same, pulses = BentLine(4e-3, 4e-3, 4e-6), np.linspace(0.0, 10e-3, 21)
    line = injector.delivered(pulses, TAU_S, 4e-3, 4e-3, 1.0)
    assert bent_line.mass_for(pulses, TAU_S, same) == pytest.approx(line, rel=1e-14, abs=1e-20)


@pytest.mark.law
def test_far_above_the_break_it_is_the_high_line_with_an_offset() -> None:
    pulses = np.array([5e-3, 10e-3])
    rise = np.diff(bent_line.mass_for(pulses, TAU_S, SLOPES))[0] / 5e-3
    assert rise == pytest.approx(4e-3, rel=1e-13)


# Four times the pressure is twice the flow of both slopes and twice the bend; the bend's pulse stays.
@pytest.mark.law
def test_another_pressure_and_fluid() -> None:
    scaled = bent_line.at_state(SLOPES, 3e5, 700.0, np.array([3e5, 12e5]), np.array([700.0, 700.0]))
    assert np.asarray(scaled.below) == pytest.approx(np.array([5e-3, 10e-3]), rel=1e-14)
    assert np.asarray(scaled.above) == pytest.approx(np.array([4e-3, 8e-3]), rel=1e-14)
    assert np.asarray(scaled.at_mass) == pytest.approx(np.array([4e-6, 8e-6]), rel=1e-14)
    denser = bent_line.at_state(SLOPES, 3e5, 700.0, 3e5, 2800.0)
    assert float(denser.at_mass) == pytest.approx(8e-6, rel=1e-14)
    pulses = bent_line.pulse_for(scaled.at_mass, TAU_S, scaled)
    assert pulses == pytest.approx(np.full(2, 1.7e-3), rel=1e-14)


@pytest.mark.law
def test_the_slopes_scale_as_the_one_line_does() -> None:
    line = injector.mass_flow(SLOPES.above, 3e5, 683.8, 4.2e5, 742.0)
    assert float(bent_line.at_state(SLOPES, 3e5, 683.8, 4.2e5, 742.0).above) == pytest.approx(float(line), rel=1e-15)


@pytest.mark.law
def test_without_pressure_nothing_comes_and_no_pulse_would_do() -> None:
    held_back = bent_line.at_state(SLOPES, 3e5, 700.0, np.array([-1e5, 0.0, 3e5]), 745.0)
    assert bent_line.mass_for(5e-3, TAU_S, held_back)[:2].tolist() == [0.0, 0.0]
    pulses = bent_line.pulse_for(3e-6, TAU_S, held_back)
    assert np.isnan(pulses[:2]).all()
    assert math.isfinite(pulses[2])


@pytest.mark.law
def test_arrays_are_their_elements() -> None:
    mass = np.array([[1e-6, 4e-6], [5e-6, 30e-6]])
    each = [[float(bent_line.pulse_for(one, TAU_S, SLOPES)) for one in row] for row in mass]
    assert bent_line.pulse_for(mass, TAU_S, SLOPES).tolist() == each
