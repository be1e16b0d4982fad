"""Numbers in words are always rounded towards the danger."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.rounding import rounded_down, rounded_up, signed_percent
from tests.builders.cases import each

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
@each("value", [1.1004, 1.1000001, math.nextafter(1.10, 2.0)])
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


@pytest.mark.law
@given(st.floats(1e-3, 1e3))
def test_a_ratio_is_never_printed_nearer_to_one(ratio: float) -> None:
    """But for the 1e-9 to which the whole chain closes; nor a whole tenth of a per cent further away."""
    printed, off = float(signed_percent(ratio).removesuffix(" %")), 100 * (ratio - 1)
    assert abs(off) - 1.1e-7 <= abs(printed) < abs(off) + 0.1
    assert printed * off >= 0.0
