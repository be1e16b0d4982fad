"""Far too much flow is questioned, with what would explain it by its factor."""

from __future__ import annotations

from dataclasses import replace

import pytest

from basemap.model.finding import Severity
from basemap.model.injectors import FlowRating
from basemap.model.job import Job
from tests.builders.cases import each
from tests.builders.computed import HEPTANE, found, make_computed, make_job, with_both, with_donor, with_target

RULE = "too-much-flow"


def flow(cc_min: float) -> FlowRating:
    return FlowRating(cc_min * 1e-6 / 60.0, False, 3e5, HEPTANE)


def both_with(cc_min: float, job: Job | None = None) -> Job:
    return with_both(make_job() if job is None else job, "injectors", static=flow(cc_min))


@pytest.mark.check_value
@each(
    # By hand at 6000 rpm and 100 kPa: 0.84 · 1e5 · 499.5e-6/(287.05287 · 313.15) = 466.8 mg of air, over 14.0 · 0.88
    # 37.89 mg; 400 cc/min of n-heptane, 683.81, at 730 kg/m³ is 4.710 g/s: 8.045 ms, and 0.84 ms of dead time, of 20 ms
    # is 44.4 %. Below 30 %: 8.045 · 400/(6 − 0.84) = 623.6 cc/min. 30 %: common practice, no source.
    ("cc_min", "count"),
    [(400, 0), (620, 0), (627, 1), (1600, 1)],
)
def test_a_duty_below_thirty_per_cent_is_questioned(cc_min: float, count: int) -> None:
    findings = found(make_computed(both_with(cc_min)), RULE)
    assert [finding.severity for finding in findings] == [Severity.CAUTION] * count


@pytest.mark.law
def test_flows_of_the_whole_engine_on_both_sides() -> None:
    """ "Enter 1600" where 400 is meant: nothing in the cells shows it, for it cancels."""
    (finding,) = found(make_computed(both_with(1600)), RULE)
    assert finding.message == (
        "At full load and the highest speed the injectors are open for too little of the time: 14.2 % on the donor "
        "and 14.2 % on the target (caution below 30 %; 60 to 85 % is usual). Possible reasons: 1. "
        "donor.injectors.static_flow is the flow of all 4 injectors together: then the duty is 57 %. 2. The "
        "injectors were chosen for boost or for alcohol: then look at the shortest pulse."
    )


@pytest.mark.law
def test_the_displacement_of_one_cylinder_is_named_where_no_power_speaks_against_it() -> None:
    job = with_both(both_with(400), "engine", displacement_m3=499.5e-6, rated_power_w=None, rated_speed_rpm=None)
    (finding,) = found(make_computed(job), RULE)
    assert "donor.engine.displacement is one cylinder's, not the engine's: then the duty is 57 %." in finding.message


@pytest.mark.law
def test_pounds_an_hour_for_cubic_centimetres() -> None:
    # 400 lb/h are 10.5 times as much as 400 cc/min.
    (finding,) = found(make_computed(both_with(10.5 * 400)), RULE)
    assert "is in cc/min but was written as lb/h" in finding.message


@pytest.mark.law
def test_one_side_alone_is_named_alone() -> None:
    (finding,) = found(make_computed(with_target(make_job(), "injectors", static=flow(1600))), RULE)
    assert "too little of the time: 14.2 % on the target (caution" in finding.message
    (finding,) = found(make_computed(with_donor(make_job(), "injectors", static=flow(1600))), RULE)
    assert "too little of the time: 14.2 % on the donor (caution" in finding.message


@pytest.mark.law
def test_a_target_below_a_cut_is_not_judged() -> None:
    """Its injectors are never asked for full load, however well they fit it."""
    job = with_target(both_with(620), "engine", load_cut_pa=60e3)
    assert found(make_computed(job), RULE) == []


@pytest.mark.law
def test_an_injector_that_feeds_several_cylinders_is_one() -> None:
    job = with_both(both_with(4 * 400), "injectors", per_cylinder=0.25)
    assert found(make_computed(job), RULE) == []


@pytest.mark.law
def test_a_duty_that_is_not_known_is_not_judged() -> None:
    job = make_job()
    unknown = replace(
        job, donor=replace(job.donor, table=replace(job.donor.table, values=job.donor.table.values * float("nan")))
    )
    assert found(make_computed(unknown), RULE) == []
