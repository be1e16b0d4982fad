"""Words that several rules use."""

from __future__ import annotations

import math

import pytest

from basemap.rounding import lean, off
from basemap.rules.wording import cut_advice


@pytest.mark.law
def test_no_fuel_is_no_number() -> None:
    assert (lean(math.inf), off(math.inf)) == ("no fuel at all", "no fuel at all")


@pytest.mark.law
def test_the_advised_cut_meets_its_limit_when_typed() -> None:
    assert cut_advice(99_990.0, 6_499.7) == (
        'state target.engine.rev_cut = "6499 rpm" or lower, or state target.engine.load_cut = "99.9 kPa" or lower, '
        "and have the ECU enforce it."
    )
    assert cut_advice(None, None) == "no cut helps: the whole table is affected."
