"""Is the donor's map what it says, and how far does it reach?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from basemap.model.installation import Cycle, Induction
from basemap.model.job import Job
from basemap.model.result import Computed, NotJudged, Scope, Severity, Verdict
from basemap.rules.judge import judge
from tests.rules.factory import (
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
    with_pulse,
    with_table,
    with_target,
)

STOP, CAUTION, NOTE = [Severity.STOP], [Severity.CAUTION], [Severity.NOTE]
BOOST_KPA = np.array([20.0, 60.0, 100.0, 150.0, 200.0])
VE = "implied-ve-wide-open"


def implying(value: float, cells: Any = (4, slice(None)), job: Job | None = None) -> Computed:
    """A donor whose cells imply a volumetric efficiency."""
    computed = make_computed(job)
    implied = np.array(computed.table.implied_ve)
    implied[cells] = value
    return with_table(computed, implied_ve=implied)


@pytest.mark.check_value
@pytest.mark.parametrize(
    # 0.60, 0.70, 1.05 and 1.20: common practice, no source; a good four-stroke breathes 80 to 105 % (Heywood 2.10,
    # from memory).
    ("value", "expected"),
    [
        (0.5999, STOP),
        (0.60, CAUTION),
        (0.6999, CAUTION),
        (0.70, []),
        (0.95, []),
        (1.05, []),
        (1.0501, CAUTION),
        (1.20, CAUTION),
        (1.2001, STOP),
    ],
)
def test_implied_volumetric_efficiency(value: float, expected: list[Severity]) -> None:
    assert severities(implying(value), VE) == expected


@pytest.mark.law
def test_the_median_runs_from_30_to_90_percent_of_the_rev_limit() -> None:
    # Of 6000 rpm that is 1800 to 5400: the columns 3000 and 4500.
    assert severities(implying(1.1, (4, [0, 1, 4])), VE) == []
    assert severities(implying(1.1, (4, [2, 3])), VE) == CAUTION


@pytest.mark.law
def test_the_highest_visited_row_counts() -> None:
    # The donor's barometer ends its data at 101.3 kPa: the rows above were never visited.
    job = make_job(BOOST_KPA)
    assert severities(implying(1.5, (4, slice(None)), job), VE) == []
    assert severities(implying(1.5, (2, slice(None)), job), VE)[0] is Severity.STOP


@pytest.mark.law
def test_not_for_two_strokes() -> None:
    job = with_both(make_job(), "engine", cycle=Cycle.TWO_STROKE)
    assert severities(implying(0.3, (4, slice(None)), job), VE) == []


@pytest.mark.law
def test_a_donor_that_never_visited_its_table_is_not_judged() -> None:
    computed = make_computed(with_donor(make_job(), "engine", peak_pressure_pa=10e3))
    keys = ("donor.engine.peak_pressure", "donor.engine.rev_limit")
    assert missing(computed, VE) == [NotJudged(VE, keys)]
    assert severities(computed, VE) == CAUTION


@pytest.mark.law
def test_air_that_is_not_known_is_not_judged() -> None:
    computed = implying(np.nan)
    assert missing(computed, VE) == [NotJudged(VE, ("donor.tables.fuel",))]
    assert severities(computed, VE) == CAUTION


@pytest.mark.check_value
@pytest.mark.parametrize(
    # 0.5 and 1.3: common practice, no source.
    ("value", "expected"),
    [(0.4999, NOTE), (0.5, []), (1.3, []), (1.3001, NOTE)],
)
def test_single_odd_cells(value: float, expected: list[Severity]) -> None:
    assert severities(implying(value, (4, 0)), VE) == expected


@pytest.mark.pin
def test_what_is_said_of_the_volumetric_efficiency() -> None:
    stop, note = found(implying(1.3004), VE)
    assert stop.message == (
        "At 100 kPa the donor's cells imply a volumetric efficiency of 130.1 % (median over the middle of its speeds; "
        "stop above 120 %, ordinary is 70 to 105 %)."
    )
    assert stop.cells == ((4, 2), (4, 3))
    assert note.message == (
        "Single cells are odd: 130.1 % at 800 rpm and 100 kPa wide open (note outside 50 to 130 %; 5 cells)."
    )


@pytest.mark.check_value
@pytest.mark.parametrize(
    # 5 %: follows from no standard; common practice, no source. The donor's data ends at its top row, 100 kPa.
    ("peak_kpa", "expected"),
    [(101.3, []), (105.0, []), (105.1, STOP), (200.0, STOP)],
)
def test_load_beyond_the_donor(peak_kpa: float, expected: list[Severity]) -> None:
    job = with_target(make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=peak_kpa * 1e3)
    assert severities(make_computed(job), "load-beyond-donor") == expected


@pytest.mark.law
@pytest.mark.parametrize(
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
@pytest.mark.parametrize(
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
            f"Load no higher than {cut_kpa:g} kPa: the answer holds only while the ECU enforces this "
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
@pytest.mark.parametrize(
    # 10 %: common practice, no source. The donor's rev limit is 6000 rpm.
    ("limit_rpm", "expected"),
    [(6000.0, []), (6001.0, CAUTION), (6600.0, CAUTION), (6601.0, STOP)],
)
def test_speed_beyond_the_donor(limit_rpm: float, expected: list[Severity]) -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=limit_rpm)
    assert severities(make_computed(job), "speed-beyond-donor") == expected


@pytest.mark.law
@pytest.mark.parametrize(("donor_limit", "end"), [(None, 6000.0), (7000.0, 6000.0), (5000.0, 5000.0)])
def test_the_donors_speeds_end_at_its_rev_limit_or_its_last_column(donor_limit: float | None, end: float) -> None:
    job = with_donor(with_target(make_job(), "engine", rev_limit_rpm=9000.0), "engine", rev_limit_rpm=donor_limit)
    (finding,) = found(make_computed(job), "speed-beyond-donor")
    assert (finding.scope, finding.limit_rpm, finding.limit) == (Scope.LIMIT, end, end)


@pytest.mark.law
@pytest.mark.parametrize(
    ("cut_rpm", "verdict"), [(None, Verdict.REFUSE), (6001.0, Verdict.REFUSE), (6000.0, Verdict.ADAPT)]
)
def test_a_rev_cut_at_or_below_the_end_meets_it(cut_rpm: float | None, verdict: Verdict) -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=9000.0, rev_cut_rpm=cut_rpm)
    judged = judge(make_computed(job))
    assert judged.verdict is verdict
    assert judged.limits[:1] == (
        ()
        if cut_rpm is None
        else (
            f"Speed no higher than {cut_rpm:g} rpm: the answer holds only while the ECU enforces this "
            f"target.engine.rev_cut{' (speed-beyond-donor)' if verdict is Verdict.ADAPT else ''}",
        )
    )


@pytest.mark.law
def test_without_a_rev_limit_the_rev_cut_is_judged() -> None:
    job = with_target(make_job(), "engine", rev_limit_rpm=None, rev_cut_rpm=6300.0)
    assert severities(make_computed(job), "speed-beyond-donor") == CAUTION


@pytest.mark.law
def test_without_either_it_is_not_judged_and_a_caution() -> None:
    computed = make_computed(with_target(make_job(), "engine", rev_limit_rpm=None))
    assert missing(computed, "speed-beyond-donor") == [NotJudged("speed-beyond-donor", ("target.engine.rev_limit",))]
    (finding,) = found(computed, "speed-beyond-donor")
    assert (finding.severity, finding.message, finding.remedy) == (
        Severity.CAUTION,
        "Speed beyond the donor: not judged, for want of target.engine.rev_limit. Whether it revs beyond the donor's "
        "data is not known.",
        "State target.engine.rev_limit and run again; until then take it that the rule would trip.",
    )


@pytest.mark.check_value
@pytest.mark.parametrize(
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
        "The donor's pulse fills 125.0 % of its cycle at 3000 rpm and 100 kPa (stop from 100 %; 1 cell): its injectors "
        "were open throughout, so the cell says nothing of the air."
    )
    assert finding.remedy == (
        '1. Use a map that was tuned below 95 % duty there. 2. Or state target.engine.rev_cut = "1500 rpm" or lower, '
        'or state target.engine.load_cut = "80.0 kPa" or lower, and have the ECU enforce it.'
    )


@pytest.mark.law
def test_a_donor_whose_injectors_are_not_known_is_not_judged() -> None:
    computed = make_computed(replace(make_job(), donor_flow_known=False))
    keys = ("donor.injectors.static_flow",)
    assert missing(computed, "donor-saturated") == [NotJudged("donor-saturated", keys)]
    assert severities(computed, "donor-saturated") == CAUTION
