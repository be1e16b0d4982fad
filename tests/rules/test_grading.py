"""A number against its limits: central value, band, both sides of every border."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.model.finding import Severity
from basemap.rules.grading import Limits, grade
from tests.builders.cases import each

LEAN = Limits(caution=1.05, stop=1.10)
RICH = Limits(caution=0.85, stop=0.65, above=False)


@pytest.mark.law
@each(
    ("value", "expected"),
    [
        (1.05, None),
        (1.0500001, Severity.CAUTION),
        (1.10, Severity.CAUTION),
        (1.1000001, Severity.STOP),
        (np.inf, Severity.STOP),
        (np.nan, None),
    ],
)
def test_above(value: float, expected: Severity | None) -> None:
    found = grade(value, LEAN)
    assert (found and found.severity) == expected


@pytest.mark.law
@each(
    ("value", "expected"),
    [(0.85, None), (0.8499999, Severity.CAUTION), (0.65, Severity.CAUTION), (0.6499999, Severity.STOP), (np.nan, None)],
)
def test_below(value: float, expected: Severity | None) -> None:
    found = grade(value, RICH)
    assert (found and found.severity) == expected


@pytest.mark.law
def test_a_stop_that_begins_at_its_limit() -> None:
    limits = Limits(caution=0.85, stop=1.0, stops_at=True)
    below, at = grade(np.nextafter(1.0, 0.0), limits), grade(1.0, limits)
    assert below is not None
    assert at is not None
    assert (below.severity, at.severity) == (Severity.CAUTION, Severity.STOP)


@pytest.mark.law
def test_the_worst_of_many_with_its_place() -> None:
    found = grade(np.array([[1.0, 1.06], [1.09, np.nan]]), LEAN)
    assert found is not None
    assert (found.severity, found.value, found.limit, found.cell) == (Severity.CAUTION, 1.09, 1.05, (1, 0))
    assert (found.count, found.shown) == (2, True)
    assert found.past.tolist() == [[False, True], [True, False]]


@pytest.mark.law
def test_a_stop_needs_the_central_value_beyond_its_limit() -> None:
    # 1.06 · e^0.04 = 1.10326: only the adverse end is beyond the stop, and it outweighs the caution of the central
    # value.
    found = grade(1.06, LEAN, 0.04)
    assert found is not None
    assert (found.severity, found.limit, found.shown) == (Severity.CAUTION, 1.10, False)
    assert found.value == 1.06
    assert found.adverse == pytest.approx(1.1032594206, rel=1e-9)


@pytest.mark.law
def test_within_the_stop_with_its_whole_band_only_the_caution_is_left() -> None:
    found = grade(1.06, LEAN, 0.03)  # 1.0923
    assert found is not None
    assert (found.severity, found.limit, found.shown) == (Severity.CAUTION, 1.05, True)


@pytest.mark.law
def test_a_central_value_beyond_the_stop_needs_no_band() -> None:
    found = grade(1.2, LEAN, 0.5)
    assert found is not None
    assert (found.severity, found.value, found.shown) == (Severity.STOP, 1.2, True)


@pytest.mark.law
def test_the_band_of_a_lower_limit_points_down() -> None:
    shown, not_shown = grade(0.70, RICH, 0.05), grade(0.70, RICH, 0.08)  # 0.666 and 0.646
    assert shown is not None
    assert not_shown is not None
    assert (shown.shown, shown.limit) == (True, 0.85)
    assert (not_shown.shown, not_shown.limit) == (False, 0.65)
    assert not_shown.severity is Severity.CAUTION


@pytest.mark.law
def test_a_band_that_is_not_known_somewhere_is_none_there() -> None:
    found = grade(np.array([1.08, 1.07]), LEAN, np.array([np.nan, 0.05]))
    assert found is not None
    assert (found.cell, found.shown) == ((1,), False)


@pytest.mark.law
def test_limits_that_are_not_there_are_not_passed() -> None:
    assert grade(5.0, Limits()) is None
