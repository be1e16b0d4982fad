"""Fuel pressure and battery voltage."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.model.finding import NotJudged, Scope, Severity, Verdict
from basemap.model.injectors import DeadTime
from basemap.model.installation import Regulator, Told
from basemap.model.job import Job
from basemap.model.table import Inside
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_donor,
    with_donor_side,
    with_target,
    with_target_side,
)
from tests.builders.round_numbers import CRANK, CRANK_CSV, job_with

STOP, CAUTION = [Severity.STOP], [Severity.CAUTION]
BOOST_KPA = np.array([20.0, 60.0, 100.0, 150.0, 200.0])
P0 = 101_325.0


def fixed_rail(peak_kpa: float, rail_pa: float = 4e5) -> Job:
    """A boosted pair; the target's rail is fixed, the donor's follows the manifold."""
    job = boosted(make_job(BOOST_KPA), peak_kpa)
    return with_target(with_both(job, "fuel", rail_pressure_pa=rail_pa), "fuel", regulator=Regulator.FIXED)


@pytest.mark.law
@each(
    # Δp at 200 kPa: 400 + 101.325 − 200 = 301.325 kPa. 5 % of it are 15.066 kPa.
    ("peak_kpa", "expected"),
    [(215.06, []), (215.07, STOP)],
)
def test_pressure_lost_above_the_top_row(peak_kpa: float, expected: list[Severity]) -> None:
    computed = make_computed(fixed_rail(peak_kpa))
    assert [each for each in severities(computed, "fixed-rail-under-boost") if each is Severity.STOP] == expected


@pytest.mark.law
def test_it_is_a_limit_at_the_top_row_that_a_load_cut_meets() -> None:
    job = fixed_rail(230.0)
    first, *_ = found(make_computed(job), "fixed-rail-under-boost")
    assert (first.severity, first.scope, first.limit_load_pa) == (Severity.STOP, Scope.LIMIT, 200e3)
    assert first.message == (
        "Above the table's top row, 200 kPa, the pressure across the injectors falls by a further 10.0 % up to 230 "
        "kPa, and nothing corrects for it (stop above 5 %)."
    )
    met = with_target(job, "engine", load_cut_pa=200e3)
    assert Severity.STOP not in severities(make_computed(met), "fixed-rail-under-boost")
    above = with_target(job, "engine", load_cut_pa=201e3)
    assert Severity.STOP in severities(make_computed(above), "fixed-rail-under-boost")


@pytest.mark.law
def test_an_ecu_that_corrects_the_rail_pressure_loses_nothing() -> None:
    told = Told(corrects_rail_pressure=True)
    job = with_target_side(with_donor_side(fixed_rail(230.0), told=told), told=told)
    assert severities(make_computed(job), "fixed-rail-under-boost") == []


@pytest.mark.law
def test_a_rail_that_follows_the_manifold_loses_nothing() -> None:
    job = with_target(fixed_rail(230.0), "fuel", regulator=Regulator.MANIFOLD)
    assert severities(make_computed(job), "fixed-rail-under-boost") == []


@pytest.mark.law
@each(
    # Against the barometer, Δp at the top row of 200 kPa is down by 98.675 kPa: 5 % of a rail of 1973.5 kPa.
    ("rail_pa", "expected"),
    [(1.9736e6, []), (1.9734e6, CAUTION)],
)
def test_pressure_lost_within_the_untouched_table(rail_pa: float, expected: list[Severity]) -> None:
    assert severities(make_computed(fixed_rail(200.0, rail_pa)), "fixed-rail-under-boost") == expected


@pytest.mark.law
def test_a_donor_with_the_same_loss_has_it_in_its_table() -> None:
    job = with_donor(fixed_rail(200.0), "fuel", regulator=Regulator.FIXED)
    assert severities(make_computed(job), "fixed-rail-under-boost") == []


@pytest.mark.law
def test_a_donor_whose_rail_is_not_known_is_taken_to_lose_nothing() -> None:
    job = with_donor_side(with_donor(fixed_rail(200.0), "fuel", regulator=Regulator.FIXED), fuel_known=False)
    assert severities(make_computed(job), "fixed-rail-under-boost") == CAUTION


@pytest.mark.law
def test_an_atmospheric_engine_on_a_fixed_rail_loses_nothing_above_the_barometer() -> None:
    job = with_target(make_job(), "fuel", regulator=Regulator.FIXED)
    assert severities(make_computed(job), "fixed-rail-under-boost") == []


@pytest.mark.law
@each(
    # Δp at the peak of 200 kPa is 0 at a rail of 98.675 kPa.
    ("rail_pa", "stops"),
    [(98_676.0, False), (98_675.0, True), (50_000.0, True)],
)
def test_no_pressure_at_all(rail_pa: float, stops: bool) -> None:
    findings = found(make_computed(fixed_rail(200.0, rail_pa)), "fixed-rail-under-boost")
    assert [(each.severity, each.scope) for each in findings if each.severity is Severity.STOP] == (
        [(Severity.STOP, Scope.FILE)] if stops else []
    )


@pytest.mark.pin
def test_what_is_said_where_there_is_no_pressure() -> None:
    (finding,) = found(make_computed(fixed_rail(200.0, 50_000.0)), "fixed-rail-under-boost")
    assert finding.message == (
        "At 200 kPa no pressure drives the fuel through the injectors: -48.7 kPa across them, with a fixed regulator."
    )
    assert finding.cells == tuple((4, column) for column in range(5))


@pytest.mark.law
def test_a_load_cut_keeps_the_pressure() -> None:
    job = with_target(fixed_rail(200.0, 60_000.0), "engine", load_cut_pa=150e3)
    assert Severity.STOP not in severities(make_computed(job), "fixed-rail-under-boost")


def at_battery(volts: float, first: float = 8.0) -> Job:
    """Table and data of the target's voltage."""
    dead = DeadTime(np.array([first, 14.0, 16.0]), np.array([[2.0e-3, 0.8e-3, 0.6e-3]]))
    job = with_target(make_job(), "injectors", dead_time=dead)
    return replace(job, target=replace(job.target, table=replace(job.target.table, battery_v=volts)))


@pytest.mark.check_value
@each(
    # More than 1 V below the data: common practice, no source.
    ("volts", "expected"),
    [(8.0, []), (7.99, CAUTION), (7.0, CAUTION), (6.99, STOP), (16.0, []), (16.01, CAUTION)],
)
def test_battery_outside_the_data(volts: float, expected: list[Severity]) -> None:
    assert severities(make_computed(at_battery(volts)), "battery-outside-dead-time-data") == expected


@pytest.mark.check_value
@each(("first", "expected"), [(8.5, []), (8.6, CAUTION), (12.0, CAUTION)])
def test_data_that_does_not_reach_a_cranking_battery(first: float, expected: list[Severity]) -> None:
    # 8.5 V while cranking: common practice, no source.
    assert severities(make_computed(at_battery(13.8, first)), "battery-outside-dead-time-data") == expected


@pytest.mark.pin
def test_what_is_said_of_the_battery() -> None:
    (finding,) = found(make_computed(at_battery(6.5)), "battery-outside-dead-time-data")
    assert finding.message == (
        "The target's table is for 6.5 V and its dead-time data begins at 8 V: delivery is not known (stop more than "
        "1 V below the data)."
    )
    assert (finding.value, finding.limit, finding.table) == (6.5, 8.0, None)


@pytest.mark.law
@pytest.mark.parametrize(
    ("volts", "inside", "severity"),
    [("8.0 V", True, None), ("7.0 V", True, "caution"), ("6.9 V", True, "stop"), ("6.9 V", False, None)],
)
def test_a_cranking_table_needs_the_donors_data_too(
    tmp_path: Path, volts: str, inside: bool, severity: str | None
) -> None:
    """The dead time is taken out of its cells at the donor's voltage; both sides' data begins at 8 V."""
    tables = CRANK.replace("8.5 V", volts).replace(
        "ecu_applies = []", f"ecu_applies = {[] if inside else ['dead time']}"
    )
    own = '[target.tables.crank]\nbattery = "8.5 V"\n'
    result = adapt(job_with(tmp_path, tables + own, crank=CRANK_CSV))
    said = [one for one in result.findings if one.rule == "battery-outside-dead-time-data"]
    assert [one.severity for one in said] == ([severity] if severity else [])
    for one in said:
        what = "delivery is not known" if severity == "stop" else "the dead time is extrapolated"
        assert one.message == (
            f"The donor's table crank is for {float(volts[:-2]):g} V and its dead-time data begins at 8 V: {what} "
            "(stop more than 1 V below the data)."
        )


@pytest.mark.law
@each(("inside", "expected"), [(False, []), (True, STOP)])
def test_the_donors_data_matters_where_its_dead_time_is_inside_the_cells(
    inside: bool, expected: list[Severity]
) -> None:
    job = make_job()
    table = replace(job.donor.table, inside=Inside(dead_time=inside), battery_v=6.0)
    computed = make_computed(replace(job, donor=replace(job.donor, table=table)))
    assert severities(computed, "battery-outside-dead-time-data") == expected


@pytest.mark.law
def test_the_donors_data_matters_where_its_ecu_was_told_otherwise() -> None:
    job = with_donor_side(
        make_job(), told=Told(dead_time=DeadTime(np.array([6.0, 16.0]), np.array([[3.0e-3, 0.6e-3]])))
    )
    computed = make_computed(replace(job, donor=replace(job.donor, table=replace(job.donor.table, battery_v=6.0))))
    assert severities(computed, "battery-outside-dead-time-data") == STOP
    assert judge(computed).verdict is Verdict.REFUSE


@pytest.mark.check_value
@each(
    # 0.7 and 1.5 of the rated 3 bar: common practice, no source.
    ("rail_bar", "expected"),
    [(2.09, CAUTION), (2.1, []), (3.0, []), (4.5, []), (4.51, CAUTION)],
)
def test_rail_pressure(rail_bar: float, expected: list[Severity]) -> None:
    job = with_target(make_job(), "fuel", rail_pressure_pa=rail_bar * 1e5)
    assert severities(make_computed(job), "rail-pressure") == expected
    donor = with_donor(make_job(), "fuel", rail_pressure_pa=rail_bar * 1e5)
    assert severities(make_computed(donor), "rail-pressure") == expected


@pytest.mark.pin
def test_what_is_said_of_the_rail_pressure() -> None:
    (finding,) = found(make_computed(with_target(make_job(), "fuel", rail_pressure_pa=5e5)), "rail-pressure")
    assert finding.message == (
        "The target's rail pressure of 5 bar is 1.67 times the 3 bar at which its injectors were rated (caution above "
        "1.5)."
    )


@pytest.mark.law
def test_one_rail_with_the_same_injectors_is_said_once_and_a_stand_in_never() -> None:
    job = with_both(make_job(), "fuel", rail_pressure_pa=5e5)
    assert severities(make_computed(job), "rail-pressure") == CAUTION * 2
    shared = replace(job, same_as_donor=frozenset({"injectors", "fuel"}))
    assert severities(make_computed(shared), "rail-pressure") == CAUTION
    assert (
        severities(make_computed(replace(job, donor=replace(job.donor, fuel_known=False))), "rail-pressure") == CAUTION
    )


@pytest.mark.check_value
@each(
    # What the maker states is the limit; at it is still allowed. 72.5 psi are 499 870 Pa, 5 bar within a last bit.
    ("rail_pa", "highest_pa", "expected"),
    [(4e5, 4e5, []), (4e5 * (1 + 1e-12), 4e5, []), (4.01e5, 4e5, STOP), (4.4e5, 5e5, []), (2.5e5, 2.4e5, STOP)],
)
def test_highest_rail_pressure(rail_pa: float, highest_pa: float, expected: list[Severity]) -> None:
    job = with_target(
        with_both(make_job(), "fuel", rail_pressure_pa=rail_pa), "injectors", highest_pressure_pa=highest_pa
    )
    assert severities(make_computed(job), "rail-pressure") == expected


@pytest.mark.pin
def test_what_is_said_of_a_rail_above_the_highest() -> None:
    job = with_target(with_target(make_job(), "fuel", rail_pressure_pa=4.4e5), "injectors", highest_pressure_pa=4e5)
    (finding,) = found(make_computed(job), "rail-pressure")
    assert finding.message == (
        "The target's rail pressure of 4.4 bar is above the 4 bar that the maker of its injectors allows: they may "
        "not open, and the cylinder then gets no fuel."
    )
    assert (finding.value, finding.limit) == pytest.approx((4.4, 4.0))
    assert finding.scope is Scope.FILE
    assert judge(make_computed(job)).verdict is Verdict.REFUSE


@pytest.mark.law
@each(("rail_bar", "judged"), [(2.5, True), (3.0, True), (3.01, False)])
def test_a_highest_pressure_that_is_not_stated(rail_bar: float, judged: bool) -> None:
    """At the pressure of its rating, 3 bar, an injector may be used; above that nobody knows: it is not judged."""
    job = with_target(
        with_both(make_job(), "fuel", rail_pressure_pa=rail_bar * 1e5), "injectors", highest_pressure_pa=None
    )
    computed = make_computed(job)
    keys = ("target.injectors.highest_pressure",)
    assert missing(computed, "rail-pressure") == ([] if judged else [NotJudged("rail-pressure", keys)])
    assert severities(computed, "rail-pressure") == []
