"""Slips of the pen at load: each planted in a sound table; sound tables, their steps and their edges pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from basemap.model.finding import Finding, Severity
from basemap.model.installation import Cycle, FloatArray
from basemap.rules.slips import departures
from tests.builders.cases import each
from tests.builders.computed import found, make_computed, with_both
from tests.rules.test_health import LOADS_KPA, SPEEDS, scaled, smooth, with_values

SLIP = "slip-at-load"
TOP = LOADS_KPA.size - 1
AT_LOAD_ROWS = slice(10, 13)
"""90, 95 and 100 kPa."""


def slips(values: FloatArray) -> list[Finding]:
    return found(make_computed(with_values(values)), SLIP)


@pytest.mark.law
@each("cell", [(TOP, 0), (TOP, 1), (TOP, 7), (TOP, 13), (11, 5), (10, 0), (10, 13)])
@each("factor", [0.1, 0.5, 0.7, 1.4, 2.0, 10.0])
def test_a_slip_is_a_stop_anywhere_at_load(cell: tuple[int, int], factor: float) -> None:
    (finding,) = slips(scaled(*cell, factor))
    assert (finding.severity, finding.cells) == (Severity.STOP, (cell,))
    # 12 % of the factor at most: the corner of the table has only one side to be judged from.
    assert finding.value == pytest.approx(100.0 * abs(factor - 1.0), rel=0.12)


@pytest.mark.law
@each(("factor", "count"), [(0.80, 0), (0.70, 1), (1.20, 0), (1.32, 1)])
def test_it_begins_at_a_quarter(factor: float, count: int) -> None:
    # 25 %: common practice, no source. A cam that switches moves the volumetric efficiency by 5 to 18 %.
    assert len(slips(scaled(TOP, 7, factor))) == count


@pytest.mark.law
def test_below_load_it_is_no_stop() -> None:
    assert slips(scaled(4, 7, 0.1)) == []


@pytest.mark.law
def test_lean_slips_come_first() -> None:
    values = scaled(TOP, 3, 10.0)
    values[TOP, 10] *= 0.6
    (finding,) = slips(values)
    assert finding.cells == ((TOP, 10), (TOP, 3))
    assert finding.message.endswith("(stop beyond 25 %; 1 cell too lean, 1 cell too rich).")


@pytest.mark.law
@each("count", [2, 3, 5])
def test_several_beside_each_other_are_what_no_engine_breathes(count: int) -> None:
    """Three cells in a row have neighbours that are as wrong: no fit tells which, but no engine breathes 9 %."""
    findings = slips(scaled(TOP, slice(4, 4 + count), 0.1))
    assert {finding.severity for finding in findings} == {Severity.STOP}
    assert {cell for finding in findings for cell in finding.cells} == {(TOP, at) for at in range(4, 4 + count)}


@pytest.mark.law
@each("column", [2, 7, 11])
def test_a_column_that_is_low_at_every_load_is_a_stop(column: int) -> None:
    """The cells above and below it agree with it, and a cam that switches comes once: nothing else asks for it."""
    (finding,) = slips(scaled(slice(None), column, 0.7))
    assert {at for _, at in finding.cells} == {column}
    assert finding.message.endswith("(stop beyond 25 %; 3 cells too lean).")


@pytest.mark.law
def test_a_two_strokes_delivery_ratio_has_a_limit_too() -> None:
    """No median is taken of a two-stroke: a table that holds 900 % was taken in silence."""
    job = with_both(with_values(10.0 * smooth()), "engine", cycle=Cycle.TWO_STROKE)
    (finding,) = found(make_computed(job), SLIP)
    assert len(finding.cells) == SPEEDS.size * 3
    assert "no engine breathes 9" in finding.message


@pytest.mark.law
@each("factor", [0.7, 1.4])
@each(
    ("rows", "columns"),
    [
        (slice(None), slice(9, 14)),  # a cam that switches at one speed
        (slice(9, 13), slice(9, 14)),  # one that switches at a speed and a load
        (slice(11, 13), slice(None)),  # the onset of boost
        (slice(11, 13), slice(6, 14)),  # boost that comes at a speed
        (AT_LOAD_ROWS, slice(12, 14)),  # the last two columns
        (TOP, slice(7, 14)),
    ],
)
def test_a_step_is_no_slip(rows: slice | int, columns: slice | int, factor: float) -> None:
    """Far larger ones than engines have: cells on their own side of it agree."""
    assert slips(scaled(rows, columns, factor)) == []


@pytest.mark.law
def test_a_pulse_of_which_the_air_is_not_known_is_judged_as_it_stands() -> None:
    values = scaled(TOP, 7, 0.5)
    computed = make_computed(with_values(values))
    unknown = replace(computed, table=replace(computed.table, implied_ve=np.full(values.shape, np.nan)))
    (finding,) = found(unknown, SLIP)
    assert finding.cells == ((TOP, 7),)


@pytest.mark.law
def test_what_no_cell_says_departs_from_nothing() -> None:
    nothing = np.full((3, 4), np.nan)
    assert (departures(nothing, np.arange(1.0, 5.0), np.arange(1.0, 4.0))[0] == 0.0).all()


@pytest.mark.law
@each("shape", [(1, 1), (1, 5), (2, 2), (5, 1), (2, 5)])
def test_small_tables_pass_without_a_warning(shape: tuple[int, int]) -> None:
    rows, columns = (np.linspace(1.0, 5.0, count) for count in shape)
    assert (departures(np.zeros(shape), columns, rows)[0] == 0.0).all()


@pytest.mark.pin
def test_what_is_said_of_a_decimal_slip() -> None:
    (finding,) = slips(scaled(TOP, 7, 0.1))
    assert finding.message == (
        "At 3000 rpm and 100 kPa the donor's file holds 8.39 %, 90.1 % below what the cells around it suggest, about "
        "83.9 (stop beyond 25 %; 1 cell too lean)."
    )
