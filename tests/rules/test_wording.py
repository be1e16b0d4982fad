"""Numbers in findings are never rounded to the safe side."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.rules.wording import cut_advice, lean, off, rounded_down, rounded_up

NUMBERS = st.floats(-1e6, 1e6)


@pytest.mark.law
@given(NUMBERS, st.integers(0, 4))
def test_rounded_up_is_never_lower_and_never_a_step_off(value: float, decimals: int) -> None:
    printed = float(rounded_up(value, decimals))
    assert value <= printed < value + 10.0**-decimals * (1 + 1e-6) + 1e-9


@pytest.mark.law
@given(NUMBERS, st.integers(0, 4))
def test_rounded_down_is_never_higher_and_never_a_step_off(value: float, decimals: int) -> None:
    printed = float(rounded_down(value, decimals))
    assert value - 10.0**-decimals * (1 + 1e-6) - 1e-9 < printed <= value


@pytest.mark.law
@pytest.mark.parametrize("value", [1.1004, 1.1000001, math.nextafter(1.10, 2.0)])
def test_what_passes_a_limit_reads_as_passing_it(value: float) -> None:
    assert float(rounded_up(value, 3)) > 1.10


@pytest.mark.law
def test_what_has_few_digits_keeps_them() -> None:
    assert rounded_up(1.123, 3) == "1.123"
    assert rounded_up(0.1 + 0.2, 1) == "0.4"  # 0.30000000000000004: up, not to the safe side
    assert rounded_down(-0.0, 1) == "0.0"


@pytest.mark.law
def test_no_number_is_a_word() -> None:
    assert (rounded_up(math.inf, 1), rounded_up(math.nan, 1)) == ("infinite", "unknown")
    assert (lean(math.inf), off(math.inf)) == ("no fuel at all", "no fuel at all")


@pytest.mark.law
def test_the_advised_cut_meets_its_limit_when_typed() -> None:
    assert cut_advice(99_990.0, 6_499.7) == (
        'state target.engine.rev_cut = "6499 rpm" or lower, or state target.engine.load_cut = "99.9 kPa" or lower, '
        "and have the ECU enforce it."
    )
    assert cut_advice(None, None) == "no cut helps: all of it is affected."
