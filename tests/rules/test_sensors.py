"""Rules on sensor scales, both sides of every threshold. All sensors are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from basemap.model.finding import Finding, Scope, Severity, Verdict
from basemap.model.job import Job
from basemap.model.sensor import SensorKind, SensorScale, ShownIn
from basemap.rules.judge import judge
from basemap.rules.sensors import SENSOR_RULES
from tests.builders.cases import each
from tests.builders.computed import (
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    with_donor_side,
    with_target,
    with_target_side,
)

LAMBDA, KPA, CELSIUS = ShownIn("λ", 1.0), ShownIn("kPa", 1e3), ShownIn("degC", 1.0, 273.15)


def scale(kind: SensorKind, volts: list[float], values: list[float], shown: ShownIn) -> SensorScale:
    si = shown.zero + shown.size * np.array(values)
    return SensorScale(kind, np.array(volts), si, shown)


def wideband(low: float, high: float, volts: tuple[float, float] = (0.0, 5.0)) -> SensorScale:
    return scale(SensorKind.LAMBDA, list(volts), [low, high], LAMBDA)


def pressure(low: float, high: float, volts: tuple[float, float] = (0.0, 5.0)) -> SensorScale:
    return scale(SensorKind.PRESSURE, list(volts), [low, high], KPA)


def celsius(*values: float) -> SensorScale:
    return scale(SensorKind.TEMPERATURE, list(np.linspace(0.5, 4.5, len(values))), list(values), CELSIUS)


def job_with(
    name: str, held: SensorScale | None, fitted: SensorScale | None, job: Job | None = None, **changes: Any
) -> Job:
    changed = with_donor_side(replace(job or make_job(), **changes), sensors={} if held is None else {name: held})
    return with_target_side(changed, sensors={} if fitted is None else {name: fitted})


def finding(job: Job, rule: str) -> Finding:
    (one,) = found(make_computed(job), rule)
    return one


# The wideband


@pytest.mark.law
def test_the_same_scale_is_nothing() -> None:
    judged = judge(make_computed(job_with("wideband", wideband(0.5, 1.5), wideband(0.5, 1.5))))
    assert [one for one in judged.findings if one.rule in SENSOR_RULES] == []
    assert judged.verdict is Verdict.SUITS


@pytest.mark.law
@each(("off", "severities"), [(0.0299, []), (0.03, []), (0.0301, [Severity.CAUTION])])
def test_a_wideband_as_loaded(off: float, severities: list[Severity]) -> None:
    computed = make_computed(job_with("wideband", wideband(0.5 + off, 1.5 + off), wideband(0.5, 1.5)))
    assert [one.severity for one in found(computed, "wideband-scale")] == severities
    assert judge(computed).verdict is (Verdict.ADAPT if severities else Verdict.SUITS)


def test_what_is_said_of_a_wideband_as_loaded() -> None:
    # Read 0.1 too high everywhere: closed loop brings λ to 0.7/0.8 = 0.875 … 1.2/1.3 = 0.923 of the intended.
    one = finding(job_with("wideband", wideband(0.6, 1.6), wideband(0.5, 1.5)), "wideband-scale")
    assert one.message == (
        "If loaded as it is, wideband reads 0.8 λ at 1 V, where the fitted sensor means 0.7 λ: 0.100 λ off (limit 0.03 "
        "from λ 0.7 to 1.2); in closed loop λ would be from 0.875 to 0.924 times the intended."
    )
    assert one.value == pytest.approx(0.1)
    assert one.table is None


def bent(left: float) -> tuple[SensorScale, SensorScale]:
    """A map with two points for a sensor that bends, so that `left` λ are off in the middle once it is entered."""
    fitted = scale(SensorKind.LAMBDA, [0.0, 2.5, 5.0], [0.5, 1.0 - left, 1.5], LAMBDA)
    return wideband(0.5, 1.5), fitted


@pytest.mark.law
@each(("left", "severities"), [(0.0299, []), (0.0301, [Severity.STOP, Severity.CAUTION])])
def test_a_wideband_after_entering(left: float, severities: list[Severity]) -> None:
    computed = make_computed(job_with("wideband", *bent(left)))
    assert [one.severity for one in found(computed, "wideband-scale")] == severities
    assert (judge(computed).verdict is Verdict.REFUSE) is bool(severities)


@pytest.mark.law
def test_a_scale_that_cannot_be_entered_is_a_stop_and_can_be_accepted() -> None:
    job = job_with("wideband", wideband(0.6, 1.6), wideband(0.5, 1.5), cannot_be_told=frozenset({"sensors"}))
    one = finding(job, "wideband-scale")
    assert one.severity is Severity.STOP
    assert one.message.startswith("The scale stays as it is (cannot_be_told names it), and wideband reads ")
    assert judge(make_computed(job), ["wideband-scale"]).verdict is Verdict.ADAPT


def test_what_is_said_of_a_wideband_after_entering() -> None:
    stop, _ = found(make_computed(job_with("wideband", *bent(0.05))), "wideband-scale")
    assert stop.message == (
        "With the table entered on the map's own 2 voltages, wideband reads 1 λ at 2.5 V, where the fitted sensor "
        "means 0.95 λ: 0.050 λ off (limit 0.03 from λ 0.7 to 1.2); in closed loop λ would be from 0.950 to 0.978 times "
        "the intended."
    )


@pytest.mark.law
@each(("ends", "said"), [((0.7, 1.2), 0), ((0.71, 1.2), 1), ((0.7, 1.19), 1)])
def test_a_wideband_whose_points_do_not_reach(ends: tuple[float, float], said: int) -> None:
    same = wideband(*ends)
    assert len(found(make_computed(job_with("wideband", same, same)), "wideband-scale")) == said


def test_what_is_said_of_points_that_do_not_reach() -> None:
    same = wideband(0.8, 1.1)
    assert finding(job_with("wideband", same, same), "wideband-scale").message == (
        "The points of target.sensors.wideband reach from λ 0.8 to 1.1: from there to λ 0.7 and 1.2 the scale is not "
        "judged."
    )


@pytest.mark.law
def test_outside_the_judged_range_a_wideband_may_err() -> None:
    held = scale(SensorKind.LAMBDA, [0.0, 3.5, 5.0], [0.5, 1.2, 1.8], LAMBDA)
    fitted = scale(SensorKind.LAMBDA, [0.0, 3.5, 5.0], [0.5, 1.2, 1.5], LAMBDA)
    assert found(make_computed(job_with("wideband", held, fitted)), "wideband-scale") == []


# Manifold pressure: the job's rows go from 20 to 100 kPa, its barometer is 101.325 kPa


@pytest.mark.law
@each(("factor", "count"), [(1 / 1.0299, 0), (1 / 1.0301, 1), (1 / 0.9701, 0), (1 / 0.9699, 1)])
def test_a_manifold_pressure_as_loaded(factor: float, count: int) -> None:
    # λ actual over intended is the true pressure over the one read.
    computed = make_computed(job_with("map", pressure(0.0, 110.0 * factor), pressure(0.0, 110.0)))
    assert [one.severity for one in found(computed, "map-scale")] == [Severity.CAUTION] * count
    assert judge(computed).verdict is (Verdict.ADAPT if count else Verdict.SUITS)


def test_what_is_said_of_a_manifold_pressure_as_loaded() -> None:
    one = finding(job_with("map", pressure(0.0, 55.0), pressure(0.0, 110.0)), "map-scale")
    assert one.message.endswith(
        ": this alone gives 100.0 % lean (limit 3 %); λ is from 2.000 to 2.000 times the intended."
    )
    assert one.remedy == (
        "1. Enter the table that `basemap sensors` prints, and read it back. 2. Compare the reading with the "
        "barometer, engine off, and with a second known pressure."
    )


@pytest.mark.law
def test_a_manifold_pressure_that_reads_nothing_is_without_limit_lean() -> None:
    one = finding(job_with("map", pressure(-50.0, 110.0), pressure(0.0, 110.0)), "map-scale")
    assert one.value == float("inf")
    assert "this alone gives no fuel at all" in one.message


@pytest.mark.law
def test_a_manifold_pressure_that_bends_between_the_points_is_a_stop() -> None:
    fitted = scale(SensorKind.PRESSURE, [0.0, 2.5, 5.0], [0.0, 50.0, 110.0], KPA)
    computed = make_computed(job_with("map", pressure(0.0, 110.0), fitted))
    assert [one.severity for one in found(computed, "map-scale")] == [Severity.STOP, Severity.CAUTION]


@pytest.mark.law
@each(("top", "count"), [(101.33, 0), (101.325, 0), (101.32, 1)])
def test_the_range_of_an_atmospheric_engine(top: float, count: int) -> None:
    same = pressure(10.0, top)
    computed = make_computed(job_with("map", same, same))
    assert [one.severity for one in found(computed, "map-range")] == [Severity.CAUTION] * count


def test_what_is_said_of_the_range_of_an_atmospheric_engine() -> None:
    same = pressure(10.0, 90.0)
    assert finding(job_with("map", same, same), "map-range").message == (
        "map reads up to 90 kPa and the barometer is 101.3 kPa: the ECU cannot see full load."
    )


@pytest.mark.law
@each(("top", "count"), [(220.01, 0), (219.99, 1)])
def test_the_range_of_a_boosted_engine(top: float, count: int) -> None:
    same = pressure(10.0, top)
    job = job_with("map", same, same, boosted(make_job(np.array([20.0, 60.0, 100.0, 200.0])), 200.0))
    findings = found(make_computed(job), "map-range")
    assert [(one.severity, one.scope) for one in findings] == [(Severity.STOP, Scope.LIMIT)] * count


def test_what_is_said_of_the_range_of_a_boosted_engine() -> None:
    same = pressure(10.0, 200.0)
    job = job_with("map", same, same, boosted(make_job(np.array([20.0, 60.0, 100.0, 200.0])), 200.0))
    one = finding(job, "map-range")
    assert one.message == (
        "map reads up to 200 kPa, and a peak of 200 kPa needs 220 kPa (10 % more): above 181.8 kPa the boost may go "
        "beyond what the ECU can see."
    )
    assert one.remedy == (
        "1. Fit a sensor that reads to 220 kPa, and enter its scale. 2. Or state "
        'target.engine.load_cut = "181.8 kPa" or lower, and have the ECU enforce it.'
    )
    assert one.limit_load_pa == pytest.approx(200e3 / 1.1)


@pytest.mark.law
@each(("cut_kpa", "severity"), [(181.8, Severity.CAUTION), (181.9, Severity.STOP)])
def test_a_load_cut_meets_the_range(cut_kpa: float, severity: Severity) -> None:
    same = pressure(10.0, 200.0)
    job = job_with("map", same, same, boosted(make_job(np.array([20.0, 60.0, 100.0, 200.0])), 200.0))
    assert finding(with_target(job, "engine", load_cut_pa=cut_kpa * 1e3), "map-range").severity is severity


@pytest.mark.law
def test_the_range_is_what_the_entered_table_can_hold() -> None:
    # The sensor reads to 250 kPa, but the map's last voltage is 4 V, where it means 202 kPa.
    held, fitted = pressure(10.0, 105.0, (0.0, 4.0)), pressure(10.0, 250.0)
    job = job_with("map", held, fitted, boosted(make_job(np.array([20.0, 60.0, 100.0, 190.0])), 190.0))
    assert finding(job, "map-range").value == pytest.approx(202.0)


# Temperatures


@pytest.mark.law
@each(("off", "count"), [(4.99, 0), (5.0, 0), (5.01, 1), (-5.01, 1)])
def test_a_temperature_as_loaded(off: float, count: int) -> None:
    held, fitted = celsius(120.0 + off, 30.0 + off, -30.0 + off), celsius(120.0, 30.0, -30.0)
    computed = make_computed(job_with("ect", held, fitted))
    assert [one.severity for one in found(computed, "temperature-sensor")] == [Severity.CAUTION] * count
    assert judge(computed).verdict is Verdict.SUITS


@pytest.mark.law
def test_a_temperature_may_err_outside_the_judged_range() -> None:
    held, fitted = celsius(160.0, 100.0, -10.0, -60.0), celsius(140.0, 100.0, -10.0, -40.0)
    assert found(make_computed(job_with("ect", held, fitted)), "temperature-sensor") == []


@pytest.mark.law
def test_only_the_charge_temperature_says_what_the_mixture_does() -> None:
    held, fitted = celsius(140.0, 50.0, -10.0), celsius(120.0, 30.0, -30.0)
    charge, coolant = (finding(job_with(name, held, fitted), "temperature-sensor").message for name in ("iat", "ect"))
    # Read 20 K too warm: (T + 20)/T from −10 to 100 °C is 1.076 … 1.0536, rounded outwards.
    assert charge.endswith("through this alone λ is from 1.053 to 1.077 times the intended.")
    assert coolant.endswith("20.0 K off (limit 5 K from -10 to 100 degC).")


# Not judged


@pytest.mark.law
@each(("name", "rule"), [("map", "map-scale"), ("wideband", "wideband-scale")])
def test_one_side_only_is_not_judged(name: str, rule: str) -> None:
    one_side = pressure(10.0, 110.0) if name == "map" else wideband(0.5, 1.5)
    computed = make_computed(job_with(name, one_side, None))
    assert [entry.missing for entry in missing(computed, rule)] == [(f"target.sensors.{name}",)]
    assert found(computed, rule) == []
    computed = make_computed(job_with(name, None, one_side))
    assert [entry.missing for entry in missing(computed, rule)] == [(f"donor.sensors.{name}",)]


@pytest.mark.law
def test_one_side_of_a_temperature_is_not_judged() -> None:
    computed = make_computed(job_with("ect", celsius(120.0, 30.0, -30.0), None))
    assert [entry.missing for entry in missing(computed, "temperature-sensor")] == [("target.sensors.ect",)]
    assert found(computed, "temperature-sensor") == []


@pytest.mark.law
def test_without_sensors_nothing_is_said() -> None:
    judged = judge(make_computed())
    said = {one.rule for one in judged.findings} | {one.rule for one in judged.not_judged}
    assert said & set(SENSOR_RULES) == set()
