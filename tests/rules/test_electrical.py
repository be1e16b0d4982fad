"""Dead times that no injector has, and a battery that is overcharged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.model.finding import Severity, Verdict
from basemap.model.injectors import DeadTime
from basemap.model.installation import Told
from basemap.model.job import Job
from tests.builders.cases import each
from tests.builders.computed import (
    found,
    make_computed,
    make_job,
    severities,
    with_both,
    with_donor,
    with_donor_side,
    with_target,
    with_target_side,
)
from tests.builders.round_numbers import CRANK, CRANK_CSV, job_with

STOP, CAUTION = [Severity.STOP], [Severity.CAUTION]
DEAD_TIME, OVERVOLTAGE = "dead-time-implausible", "overvoltage"


def dead_time(volts: list[float], *rows_ms: list[float]) -> DeadTime:
    pressures = None if len(rows_ms) == 1 else np.linspace(3e5, 4e5, len(rows_ms))
    return DeadTime(np.array(volts), np.array(rows_ms) * 1e-3, pressures)


def with_dead_time(side: str, data: DeadTime) -> Job:
    return (with_donor if side == "donor" else with_target)(make_job(), "injectors", dead_time=data)


@pytest.mark.law
@each(
    ("volts", "rows_ms", "expected"),
    [
        ([8, 12, 16], [[2.0, 0.1, 0.1]], []),
        ([8, 12, 16], [[2.0, 0.0999, 0.05]], STOP),
        ([14], [[0.05]], STOP),  # one point: the nearest to 12 V
        ([14, 16], [[0.05, 0.04]], STOP),
        ([8, 10], [[0.3, 0.09]], STOP),  # the end nearest to 12 V, not what a straight line would go on to
        ([8, 10], [[0.5, 0.2]], []),
        ([8, 16], [[0.18, 0.0]], STOP),  # straight between the points: 0.09 ms at 12 V
        ([8, 12, 16], [[9.0, 5.0, 3.0]], []),
        ([8, 12, 16], [[9.0, 5.01, 3.0]], STOP),
        ([14], [[850.0]], STOP),
        ([12], [[0.05], [0.9]], STOP),  # one of two pressures is enough
    ],
)
@each("side", ["donor", "target"])
def test_a_dead_time_that_no_injector_has(
    side: str, volts: list[float], rows_ms: list[list[float]], expected: list[Severity]
) -> None:
    assert severities(make_computed(with_dead_time(side, dead_time(volts, *rows_ms))), DEAD_TIME) == expected


@pytest.mark.law
@each(
    ("time_ms", "slip"),
    [(850.0, "microseconds typed as milliseconds"), (0.00085, "milliseconds typed as microseconds"), (0.05, None)],
)
def test_the_likeliest_reason_is_named(time_ms: float, slip: str | None) -> None:
    (stop,) = found(make_computed(with_dead_time("target", dead_time([14], [time_ms]))), DEAD_TIME)
    said = f" The unit is the likeliest mistake: {slip}."
    assert stop.message.endswith(said if slip else "no injector of this kind has that.")


@pytest.mark.law
@each("side", ["donor", "target"])
def test_what_an_ecu_was_told_counts_too(side: str) -> None:
    with_side = {"donor": with_donor_side, "target": with_target_side}[side]
    (stop,) = found(make_computed(with_side(make_job(), told=Told(dead_time=dead_time([14], [0.05])))), DEAD_TIME)
    assert stop.message == (
        f"The {side}'s ECU was told a dead time of 0.050 ms at 14 V (stop below 0.1 ms): no injector of this kind has "
        "that."
    )


@pytest.mark.law
def test_the_same_data_on_both_sides_is_said_once() -> None:
    job = with_both(make_job(), "injectors", dead_time=dead_time([14], [0.05]))
    assert severities(make_computed(job), DEAD_TIME) == STOP


@pytest.mark.law
def test_a_stand_in_for_a_donor_dead_time_that_cancels_is_not_judged() -> None:
    job = with_donor_side(with_dead_time("donor", dead_time([14], [0.0])), dead_time_known=False)
    assert severities(make_computed(job), DEAD_TIME) == []


@pytest.mark.law
def test_it_refuses_the_map() -> None:
    assert adapt(with_dead_time("target", dead_time([14], [0.05]))).verdict is Verdict.REFUSE


def with_battery(donor_v: float, target_v: float) -> Job:
    job = make_job()
    return replace(
        job,
        donor=replace(job.donor, table=replace(job.donor.table, battery_v=donor_v)),
        target=replace(job.target, table=replace(job.target.table, battery_v=target_v)),
    )


@pytest.mark.law
@each(
    ("donor_v", "target_v", "expected"),
    [
        (15.5, 15.5, []),
        (15.51, 15.51, CAUTION),
        (16.0, 16.0, CAUTION),
        (16.01, 16.01, STOP),
        (13.8, 16.01, STOP),
        (16.01, 13.8, STOP),
        (15.6, 17.0, [Severity.STOP, Severity.CAUTION]),
    ],
)
def test_a_battery_that_is_overcharged(donor_v: float, target_v: float, expected: list[Severity]) -> None:
    assert severities(make_computed(with_battery(donor_v, target_v)), OVERVOLTAGE) == expected


@pytest.mark.law
def test_what_it_says_of_it() -> None:
    (stop,) = found(make_computed(with_battery(13.8, 17.25)), OVERVOLTAGE)
    assert stop.message == (
        "The battery voltage of the target is stated as 17.3 V (stop above 16 V): a charging system that reaches this "
        "is faulty."
    )


@pytest.mark.law
def test_a_further_table_at_such_a_battery(tmp_path: Path) -> None:
    own = '[target.tables.crank]\nbattery = "15.8 V"\n'
    (caution,) = found(make_computed(job_with(tmp_path, CRANK + own, crank=CRANK_CSV)), OVERVOLTAGE)
    assert (caution.severity, caution.table) == (Severity.CAUTION, "crank")
    assert caution.message.startswith("The battery voltage of the target's table crank is stated as 15.8 V (")
