"""How far does the donor's map reach, and is its full load the target's?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from basemap.model.finding import NotJudged, Scope, Severity, Verdict
from basemap.model.installation import Induction
from basemap.model.job import Assumption, Job
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    AT_LOAD,
    CRUISE,
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_donor,
    with_donor_side,
    with_pulse,
    with_target,
)

STOP, CAUTION, NOTE = [Severity.STOP], [Severity.CAUTION], [Severity.NOTE]
OUTSIDE = "outside-donor-data"
BOOSTED = "boosted-donor-atmospheric-target"
BOOST_KPA = np.array([20.0, 60.0, 100.0, 150.0, 200.0])


@pytest.mark.check_value
@each(
    # 5 %: follows from no standard; common practice, no source. The donor's data ends at its top row, 100 kPa.
    ("peak_kpa", "expected"),
    [(101.3, []), (105.0, []), (105.1, STOP), (200.0, STOP)],
)
def test_load_beyond_the_donor(peak_kpa: float, expected: list[Severity]) -> None:
    job = with_target(make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=peak_kpa * 1e3)
    assert severities(make_computed(job), "load-beyond-donor") == expected


@pytest.mark.law
@each(
    ("donor", "end_pa"),
    [
        ({"induction": Induction.BOOSTED, "peak_pressure_pa": 250e3}, 200e3),
        ({"induction": Induction.BOOSTED, "peak_pressure_pa": 180e3}, 180e3),
        ({"induction": Induction.ATMOSPHERIC}, 101_325.0),
        ({"induction": Induction.ATMOSPHERIC, "peak_pressure_pa": 95e3}, 95e3),
    ],
)
def test_the_donors_data_ends_at_the_lowest_of_three(donor: dict[str, object], end_pa: float) -> None:
    job = with_donor(boosted(make_job(BOOST_KPA), 300.0), "engine", **{"peak_pressure_pa": None, **donor})
    (finding,) = found(make_computed(job), "load-beyond-donor")
    assert (finding.severity, finding.scope, finding.limit_load_pa) == (Severity.STOP, Scope.LIMIT, end_pa)


@pytest.mark.law
@each(
    ("cut_kpa", "verdict"),
    [(None, Verdict.REFUSE), (100.1, Verdict.REFUSE), (100.0, Verdict.ADAPT), (90.0, Verdict.ADAPT)],
)
def test_a_load_cut_at_or_below_the_end_meets_it(cut_kpa: float | None, verdict: Verdict) -> None:
    cut = None if cut_kpa is None else cut_kpa * 1e3
    job = with_target(
        make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3, load_cut_pa=cut
    )  # fmt: skip
    judged = judge(make_computed(job))
    assert judged.verdict is verdict
    if verdict is Verdict.ADAPT:
        assert judged.limits == (
            f"Load no higher than {cut_kpa:g} kPa: the result is valid only while the ECU enforces this "
            "target.engine.load_cut (load-beyond-donor)",
        )


@pytest.mark.pin
def test_what_is_said_of_a_load_beyond() -> None:
    job = with_target(make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3)
    (finding,) = found(make_computed(job), "load-beyond-donor")
    assert finding.message == (
        "The target reaches 200 kPa, 100.0 % above the end of the donor's data at 100 kPa (stop above 5 %): nothing is "
        "known there."
    )
    assert finding.remedy == (
        '1. Use a donor that was tuned up to 200 kPa. 2. Or state target.engine.load_cut = "100.0 kPa" or lower, and '
        "have the ECU enforce it."
    )
    met = with_target(job, "engine", load_cut_pa=100e3)
    (finding,) = found(make_computed(met), "load-beyond-donor")
    assert finding.severity is Severity.CAUTION
    assert finding.message.endswith(" nothing is known there. Met: the job states a load cut of 100 kPa.")


@pytest.mark.check_value
@each(
    # 10 %: common practice, no source. The donor's rev limit is 6000 rpm.
    ("limit_rpm", "expected"),
    [(6000.0, []), (6001.0, CAUTION), (6600.0, CAUTION), (6601.0, STOP)],
)
def test_speed_beyond_the_donor(limit_rpm: float, expected: list[Severity]) -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=limit_rpm)
    assert severities(make_computed(job), "speed-beyond-donor") == expected


@pytest.mark.law
@each(("donor_limit", "end"), [(None, 6000.0), (7000.0, 6000.0), (5000.0, 5000.0)])
def test_the_donors_speeds_end_at_its_rev_limit_or_its_last_column(donor_limit: float | None, end: float) -> None:
    job = with_donor(with_target(make_job(), "engine", rev_limit_rpm=9000.0), "engine", rev_limit_rpm=donor_limit)
    (finding,) = found(make_computed(job), "speed-beyond-donor")
    assert (finding.scope, finding.limit_rpm, finding.limit) == (Scope.LIMIT, end, end)


@pytest.mark.law
@each(("cut_rpm", "verdict"), [(None, Verdict.REFUSE), (6001.0, Verdict.REFUSE), (6000.0, Verdict.ADAPT)])
def test_a_rev_cut_at_or_below_the_end_meets_it(cut_rpm: float | None, verdict: Verdict) -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=9000.0, rev_cut_rpm=cut_rpm)
    judged = judge(make_computed(job))
    assert judged.verdict is verdict
    assert judged.limits[:1] == (
        ()
        if cut_rpm is None
        else (
            f"Speed no higher than {cut_rpm:g} rpm: the result is valid only while the ECU enforces this "
            f"target.engine.rev_cut{' (speed-beyond-donor)' if verdict is Verdict.ADAPT else ''}",
        )
    )


@pytest.mark.law
def test_without_a_rev_limit_the_rev_cut_is_judged() -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=None, rev_cut_rpm=6300.0)
    assert severities(make_computed(job), "speed-beyond-donor") == CAUTION


@pytest.mark.law
def test_without_either_it_is_not_judged() -> None:
    computed = make_computed(with_target(make_job(), "engine", rev_limit_rpm=None))
    assert missing(computed, "speed-beyond-donor") == [NotJudged("speed-beyond-donor", ("target.engine.rev_limit",))]
    assert severities(computed, "speed-beyond-donor") == []


@pytest.mark.check_value
@each(
    # 95 and 100 %; the time of a cycle at 3000 rpm is 40 ms.
    ("duty", "at_load", "at_cruise"),
    [(0.95, [], []), (0.9501, CAUTION, CAUTION), (0.9999, CAUTION, CAUTION), (1.0, STOP, CAUTION)],
)
def test_donor_saturated(duty: float, at_load: list[Severity], at_cruise: list[Severity]) -> None:
    for cell, expected in ((AT_LOAD, at_load), (CRUISE, at_cruise)):
        computed = with_pulse(make_computed(), duty * 0.04, cell, donor=True)
        assert severities(computed, "donor-saturated") == expected


@pytest.mark.law
def test_a_saturated_donor_is_known_below_the_first_such_row_and_column() -> None:
    computed = with_pulse(make_computed(), 0.05, AT_LOAD, donor=True)
    (finding,) = found(computed, "donor-saturated")
    assert (finding.scope, finding.limit_load_pa, finding.limit_rpm) == (Scope.LIMIT, 80e3, 1500.0)
    assert finding.message == (
        "The donor's pulse fills 125.0 % of its cycle at 3000 rpm and 100 kPa (stop from 100 %; 1 cell): its "
        "injectors were always open, so the cell says nothing about the air."
    )
    assert finding.remedy == (
        '1. Use a map that was tuned below 95 % duty there. 2. Or state target.engine.rev_cut = "1500 rpm" or lower, '
        'or state target.engine.load_cut = "80.0 kPa" or lower, and have the ECU enforce it.'
    )


@pytest.mark.law
def test_a_donor_whose_injectors_are_not_known_is_not_judged() -> None:
    computed = make_computed(with_donor_side(make_job(), flow_known=False))
    keys = ("donor.injectors.static_flow",)
    assert missing(computed, "donor-saturated") == [NotJudged("donor-saturated", keys)]
    assert severities(computed, "donor-saturated") == []


@pytest.mark.law
@each(
    # The donor turns 5000 rpm or reaches so many kPa; the rows are 20 to 100 kPa, the columns 800 to 6000 rpm.
    ("donor", "expected"),
    [
        ({}, []),
        ({"rev_limit_rpm": 5000.0}, CAUTION),
        ({"peak_pressure_pa": 79e3}, CAUTION),
        ({"rev_limit_rpm": 700.0}, CAUTION),
    ],
)
def test_cells_outside_the_donors_data(donor: dict[str, float], expected: list[Severity]) -> None:
    computed = make_computed(with_donor(make_job(), "engine", **donor))
    assert severities(computed, OUTSIDE) == expected


@pytest.mark.law
@each(("barometer_pa", "visited"), [(99e3, True), (95.3e3, True), (95.2e3, False)])
def test_the_row_just_above_the_barometer_was_read_by_the_donor(barometer_pa: float, visited: bool) -> None:
    """Its ECU read between 80 and 100 kPa whenever it was wide open, which is within 5 %: 100/1.05 = 95.24 kPa."""
    computed = make_computed(with_both(make_job(), "conditions", barometer_pa=barometer_pa))
    assert computed.table.visited[-1].all() == visited
    assert severities(computed, OUTSIDE) == ([] if visited else [Severity.NOTE])


@pytest.mark.law
def test_cells_outside_the_donors_data_away_from_idle_and_wide_open_are_a_note() -> None:
    # The target is cut at 80 kPa: the row of 100 kPa is out of reach, that of 80 kPa is neither.
    job = with_target(with_donor(make_job(), "engine", peak_pressure_pa=76e3), "engine", load_cut_pa=80e3)
    (finding,) = found(make_computed(job), OUTSIDE)
    assert (finding.severity, finding.cells) == (Severity.NOTE, tuple((3, column) for column in range(5)))
    assert finding.message == (
        "5 cells in reach lie outside the donor's data, such as 6000 rpm and 80 kPa: nobody has tuned these cells."
    )


@pytest.mark.pin
def test_what_is_said_of_cells_outside_the_donors_data_wide_open() -> None:
    (finding,) = found(make_computed(with_donor(make_job(), "engine", rev_limit_rpm=5000.0)), OUTSIDE)
    assert finding.message == (
        "5 cells in reach lie outside the donor's data, such as 6000 rpm and 100 kPa (wide open): nobody has tuned "
        "these cells."
    )
    assert finding.remedy == "Tune these cells on the target, from the rich side, before you rely on them."


@pytest.mark.law
@each(
    ("idle", "words"),
    [
        ((800.0, 20e3), None),
        ((799.0, 20e3), "Idle (799 rpm and 20 kPa) lies below the first column, 800 rpm"),
        ((800.0, 19e3), "Idle (800 rpm and 19 kPa) lies below the first row, 20 kPa"),
        ((700.0, 15e3), "Idle (700 rpm and 15 kPa) lies below the first column, 800 rpm and the first row, 20 kPa"),
    ],
)
def test_an_idle_beside_the_table(idle: tuple[float, float], words: str | None) -> None:
    computed = make_computed(with_target(make_job(), "engine", idle_rpm=idle[0], idle_pressure_pa=idle[1]))
    findings = found(computed, OUTSIDE)
    assert [(finding.severity, finding.message) for finding in findings] == (
        [] if words is None else [(Severity.CAUTION, f"{words}: there the ECU holds the edge cell.")]
    )


def from_boost(lambda_: float, load_kpa: np.ndarray = BOOST_KPA, at_row: int = 2) -> Job:
    """A boosted donor's map on an atmospheric engine, with an intended λ in one row, 0.88 elsewhere."""
    job = with_donor(make_job(load_kpa), "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3)
    intended = np.full(job.target.table.intended_lambda.shape, 0.88)
    intended[at_row] = lambda_
    return replace(job, target=replace(job.target, table=replace(job.target.table, intended_lambda=intended)))


@pytest.mark.check_value
@each(
    # 0.95: common practice, no source.
    ("lambda_", "expected"),
    [(0.88, CAUTION), (0.95, CAUTION), (0.9501, STOP)],
)
def test_a_boosted_donor_on_an_atmospheric_target(lambda_: float, expected: list[Severity]) -> None:
    assert severities(make_computed(from_boost(lambda_)), BOOSTED) == expected


@pytest.mark.law
@each(
    # Full load is 90 to 105 kPa.
    ("load_kpa", "expected"),
    [(89.9, CAUTION), (90.0, STOP), (105.0, STOP), (105.1, CAUTION)],
)
def test_where_full_load_is(load_kpa: float, expected: list[Severity]) -> None:
    # A row of 101.3 kPa beside it is always within.
    loads = np.array([20.0, *sorted([load_kpa, 101.3]), 200.0])
    job = from_boost(0.97, loads, at_row=int(np.searchsorted(loads, load_kpa)))
    assert severities(make_computed(job), BOOSTED) == expected


@pytest.mark.law
def test_full_load_between_two_rows_is_read_between_them() -> None:
    # At 101.325 kPa between 80 kPa (1.0) and 120 kPa (0.88): 1.0 − 0.12·21.325/40 = 0.936.
    loads = np.array([20.0, 80.0, 120.0])
    assert severities(make_computed(from_boost(1.0, loads, at_row=1)), BOOSTED) == CAUTION
    # Between 1.05 and 0.88 it is 1.05 − 0.17·21.325/40 = 0.9594.
    (finding,) = found(make_computed(from_boost(1.05, loads, at_row=1)), BOOSTED)
    assert finding.severity is Severity.STOP
    assert finding.value == pytest.approx(0.95937, abs=1e-5)
    assert " is 0.960 at 800 rpm and 101.3 kPa, between rows (stop above 0.95 " in finding.message


@pytest.mark.law
@each("side", ["donor", "target"])
def test_two_engines_alike_in_induction_are_not_meant(side: str) -> None:
    job = from_boost(1.0)
    change = with_donor if side == "donor" else with_target
    induction = Induction.ATMOSPHERIC if side == "donor" else Induction.BOOSTED
    assert severities(make_computed(change(job, "engine", induction=induction)), BOOSTED) == []


@pytest.mark.pin
def test_what_is_said_of_a_boosted_donor() -> None:
    (finding,) = found(make_computed(from_boost(1.0)), BOOSTED)
    assert finding.message == (
        "The donor is boosted and the target is not: the donor's part load is the target's full load, and the "
        "intended λ is 1.000 at 800 rpm and 100 kPa (stop above 0.95 from 90 to 105 kPa)."
    )
    (finding,) = found(make_computed(from_boost(0.88)), BOOSTED)
    assert finding.message == (
        "The donor is boosted and the target is not: the donor's part load is the target's full load. The intended λ "
        "there is rich enough; ignition there is not adapted."
    )


@pytest.mark.law
@each(("rev_limit_rpm", "expected"), [(6000.0, STOP), (4500.0, [])])
def test_a_cell_that_the_donor_never_saw_says_nothing_of_its_injectors(
    rev_limit_rpm: float, expected: list[Severity]
) -> None:
    """6000 rpm and 100 kPa, 20 ms a cycle."""
    job = with_donor(make_job(), "engine", rev_limit_rpm=rev_limit_rpm)
    assert severities(with_pulse(make_computed(job), 0.025, (4, 4), donor=True), "donor-saturated") == expected


STOOD_IN = Assumption("donor.tables.fuel.lambda", "0.95", "0.10", "between cruise and full load", "the air", True)


@pytest.mark.law
@each(
    ("changes", "judged"),
    [
        ({}, True),
        ({"assumed": (STOOD_IN,)}, False),
        ({"assumed": (STOOD_IN,), "declared": frozenset({"target.tables.fuel.lambda"})}, True),
        ({"assumed": (replace(STOOD_IN, key="target.tables.fuel.lambda"),)}, False),
    ],
)
def test_a_mixture_that_only_stands_in_for_an_unknown_one_is_not_rich_enough(
    changes: dict[str, Any], judged: bool
) -> None:
    computed = make_computed(replace(from_boost(0.95), **changes))
    expected = [] if judged else [NotJudged(BOOSTED, ("target.tables.fuel.lambda",))]
    assert missing(computed, BOOSTED) == expected
    assert severities(computed, BOOSTED) == CAUTION


@pytest.mark.law
def test_a_stand_in_that_is_too_lean_is_a_stop_all_the_same() -> None:
    assert severities(make_computed(replace(from_boost(0.96), assumed=(STOOD_IN,))), BOOSTED) == STOP


@pytest.mark.law
@each(("top_kpa", "scope"), [(30.0, Scope.FILE), (75.0, Scope.LIMIT)])
def test_a_table_that_no_engine_ends_at_was_read_in_another_unit(top_kpa: float, scope: Scope) -> None:
    """30 inHg absolute are 101.6 kPa: read as kPa, the way out is the unit, and no cut at a third of the barometer."""
    loads = np.array([0.2, 0.4, 0.6, 0.8, 1.0]) * top_kpa
    (finding,) = found(make_computed(make_job(loads)), "load-beyond-donor")
    assert (finding.severity, finding.scope) == (Severity.STOP, scope)
    asks = "Check the unit of the load axis, which the job reads as" in finding.remedy
    assert asks is (scope is Scope.FILE)
    assert ("load_cut" in finding.remedy) is (scope is Scope.LIMIT)
    assert (finding.limit_load_pa is None) is (scope is Scope.FILE)
