"""A table of time to add to short pulses, and its exact inverse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.physics import added_time
from tests.builders.cases import each

PULSES_S = np.array([0.2e-3, 0.4e-3, 0.8e-3, 1.6e-3])
ADDED_S = np.array([0.12e-3, 0.05e-3, -0.03e-3, 0.0])


# By hand: half way from 0.4 to 0.8 ms the table adds (0.05 − 0.03)/2 = 0.01 ms; beyond its ends it is held.
@pytest.mark.law
def test_added_time_by_hand() -> None:
    pulses = np.array([0.1e-3, 0.2e-3, 0.6e-3, 5e-3])
    long = added_time.lengthened(pulses, PULSES_S, ADDED_S)
    assert long == pytest.approx(np.array([0.22e-3, 0.32e-3, 0.61e-3, 5e-3]), rel=1e-14)


@pytest.mark.law
@given(st.floats(0.0, 20e-3))
def test_added_and_taken_off_again(pulse: float) -> None:
    long = added_time.lengthened(pulse, PULSES_S, ADDED_S)
    assert float(added_time.before_lengthening(long, PULSES_S, ADDED_S)) == pytest.approx(pulse, rel=1e-12, abs=1e-17)
    short = added_time.before_lengthening(pulse, PULSES_S, ADDED_S)
    assert float(added_time.lengthened(short, PULSES_S, ADDED_S)) == pytest.approx(pulse, rel=1e-12, abs=1e-17)


@pytest.mark.law
def test_a_table_of_one_point_adds_it_everywhere() -> None:
    one, added = np.array([1e-3]), np.array([0.1e-3])
    added_time.check_added_time(one, added)
    assert added_time.lengthened(np.array([0.0, 2e-3]), one, added) == pytest.approx(np.array([0.1e-3, 2.1e-3]))


@pytest.mark.law
def test_a_good_table_of_added_time_passes() -> None:
    added_time.check_added_time(PULSES_S, ADDED_S)


@pytest.mark.law
@each(
    ("pulses_ms", "added_ms", "message"),
    [
        (
            [0.4, 0.8, 1.2],
            [0.5, 0.1, 0.0],
            "between 0.4 and 0.8 ms the pulse with the added time goes from 0.9 to 0.9 ms, but a longer pulse must "
            "come out longer; correct the added times",
        ),
        (
            [0.4, 0.8],
            [0.9, 0.1],
            "between 0.4 and 0.8 ms the pulse with the added time goes from 1.3 to 0.9 ms, but a longer pulse must "
            "come out longer; correct the added times",
        ),
        ([0.8, 0.4], [0.0, 0.1], "the pulses of the table must rise, but after 0.8 ms comes 0.4 ms; sort them"),
        ([0.4, 0.8], [0.1], "2 pulses and 1 added times do not make a table; give one time for every pulse"),
        ([], [], "0 pulses and 0 added times do not make a table; give one time for every pulse"),
        (
            [0.4, 0.8],
            [0.1, math.nan],
            "the table of added time has an empty or infinite cell; give a time for every pulse",
        ),
    ],
)
def test_tables_of_added_time_that_are_refused(pulses_ms: list[float], added_ms: list[float], message: str) -> None:
    with pytest.raises(InputError) as caught:
        added_time.check_added_time(1e-3 * np.array(pulses_ms), 1e-3 * np.array(added_ms))
    assert str(caught.value) == message
