"""What the target's ECU stores."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from basemap.model.finding import Severity, Verdict
from basemap.model.job import Job
from basemap.model.table import Storage
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import AT_LOAD, CRUISE, found, make_computed, make_job, severities, with_table

STOP, CAUTION, NOTE = [Severity.STOP], [Severity.CAUTION], [Severity.NOTE]


def stored_with(cell: tuple[int, int], value: float, storage: Storage) -> Job:
    """A map with one cell of its own, stored as the target stores."""
    job = make_job(storage=storage)
    values = np.array(job.donor.table.values)
    values[cell] = value
    return replace(job, donor=replace(job.donor, table=replace(job.donor.table, values=values)))


@pytest.mark.law
@each(
    ("cell", "value", "storage", "expected"),
    [
        (AT_LOAD, 0.95, Storage(maximum=95.0), []),
        (AT_LOAD, 0.952, Storage(maximum=95.0), STOP),
        (CRUISE, 0.952, Storage(maximum=95.0), CAUTION),
        (AT_LOAD, 0.80, Storage(minimum=80.0), []),
        (AT_LOAD, 0.798, Storage(minimum=80.0), STOP),
        (CRUISE, 0.798, Storage(minimum=80.0), CAUTION),
    ],
)
def test_a_cell_that_the_table_cannot_hold(
    cell: tuple[int, int], value: float, storage: Storage, expected: list[Severity]
) -> None:
    assert severities(make_computed(stored_with(cell, value, storage)), "stored-table") == expected


@pytest.mark.law
@each(("value", "expected"), [(0.9504, []), (0.9506, STOP)])
def test_held_by_less_than_rounding_does_anyway_is_not_held(value: float, expected: list[Severity]) -> None:
    storage = Storage(decimals=1, maximum=95.0)
    assert severities(make_computed(stored_with(AT_LOAD, value, storage)), "stored-table") == expected


@pytest.mark.pin
def test_what_is_said_of_a_held_cell() -> None:
    (finding,) = found(make_computed(stored_with(AT_LOAD, 1.0, Storage(maximum=80.0))), "stored-table")[:1]
    assert finding.message == (
        "The target's table cannot hold the new cell at 3000 rpm and 100 kPa: it needs 100.000 %, the maximum is 80; "
        "as stored it gives 25.0 % lean (25 cells held, 5 of them at load). All cells fit if displacement is entered "
        "as 2498 cc instead of 1998 cc: the cells are then multiplied by 0.79984 and λ stays the same. State "
        'target.settings.displacement = "2498 cc" and adapt again.'
    )


@pytest.mark.law
def test_lean_by_being_held_stops_the_mixture_rule_too() -> None:
    computed = make_computed(stored_with(AT_LOAD, 1.0, Storage(maximum=85.0)))
    assert severities(computed, "lean-at-load") == STOP


@pytest.mark.check_value
@each(
    # Stored without decimals 20.3 % becomes 20: λ moves by 1.50 % (0.3/20, the last digit below); 20.32 %: 1.60 %.
    # 1.5 %: common practice, no source.
    ("value", "expected"),
    [(0.203, []), (0.2032, NOTE)],
)
def test_rounding(value: float, expected: list[Severity]) -> None:
    computed = make_computed(stored_with(CRUISE, value, Storage(decimals=0)))
    assert severities(computed, "stored-table") == expected


@pytest.mark.pin
def test_what_is_said_of_rounding() -> None:
    (finding,) = found(make_computed(stored_with(CRUISE, 0.2032, Storage(decimals=0))), "stored-table")
    assert finding.message == (
        "Rounding moves λ by 1.60 % at 3000 rpm and 40 kPa: 20.32 is stored as 20 % (note above 1.5 %; 1 cell)."
    )


@pytest.mark.law
@each(("cell", "expected"), [(AT_LOAD, STOP), ((0, 0), STOP), (CRUISE, CAUTION)])
def test_rounded_to_no_fuel(cell: tuple[int, int], expected: list[Severity]) -> None:
    # (0, 0) is one of the cells between which the engine idles.
    kept = np.array(make_computed().table.stored_lambda_ratio)
    kept[cell] = np.inf
    computed = with_table(make_computed(), stored_lambda_ratio=kept)
    assert severities(computed, "stored-table") == expected


@pytest.mark.law
def test_cells_out_of_reach_may_be_held() -> None:
    computed = make_computed(stored_with(AT_LOAD, 0.97, Storage(maximum=95.0)))
    reachable = np.array(computed.table.reachable)
    reachable[AT_LOAD] = False
    computed = with_table(computed, reachable=reachable)
    assert severities(computed, "stored-table") == []
    assert judge(computed).verdict is Verdict.SUITS


@pytest.mark.law
@each(
    ("ratio", "point", "expected"),
    [
        (1.0149, (7, 4), []),
        (1.0151, (7, 4), NOTE),
        (0.984, (7, 4), NOTE),
        (1.051, (7, 4), CAUTION),
        (1.051, (1, 4), NOTE),  # far below load
        (np.inf, (7, 4), CAUTION),
        (1.2, (8, 4), []),  # a cell: the rules on cells speak of it
    ],
)
def test_between_the_breakpoints(ratio: float, point: tuple[int, int], expected: list[Severity]) -> None:
    computed = make_computed()
    ratios = np.ones_like(computed.table.between.lambda_ratio)
    ratios[point] = ratio
    computed = with_table(computed, between=replace(computed.table.between, lambda_ratio=ratios))
    assert severities(computed, "between-breakpoints") == expected


@pytest.mark.law
def test_what_the_cells_themselves_are_off_by_is_not_said_again() -> None:
    computed = make_computed()
    kept = np.full_like(computed.table.stored_lambda_ratio, 1.04)
    ratios = np.full_like(computed.table.between.lambda_ratio, 1.04)
    between = replace(computed.table.between, lambda_ratio=ratios)
    assert severities(with_table(computed, between=between, stored_lambda_ratio=kept), "between-breakpoints") == []


@pytest.mark.pin
def test_what_is_said_of_a_point_between() -> None:
    computed = make_computed()
    ratios = np.ones_like(computed.table.between.lambda_ratio)
    ratios[7, 5] = 1.0612
    computed = with_table(computed, between=replace(computed.table.between, lambda_ratio=ratios))
    (finding,) = found(computed, "between-breakpoints")
    assert finding.message == (
        "Between the breakpoints λ is 6.2 % lean at 3750 rpm and 90 kPa, half way between cells: the ECU interpolates "
        "the stored cells in a straight line (caution above 5 % lean at load; 1 point)."
    )
