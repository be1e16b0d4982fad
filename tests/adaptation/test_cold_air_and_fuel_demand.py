"""The mixture over the charge temperature, and what full load takes of fuel: by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt, compute
from basemap.errors import InputError
from basemap.model.finding import Severity
from basemap.model.installation import Regulator
from basemap.model.job import Job
from basemap.model.result import Result
from tests.builders.cases import each
from tests.builders.computed import boosted, make_job, with_donor_side, with_target, with_target_side
from tests.builders.with_settings import built

LITRES_PER_HOUR = 37.863
"""0.84 · 101325 Pa · 499.5 cc/(287.05287 · 313.15 K) of air over 14.0 · 0.88, four cylinders, 50 cycles a second, of
730 kg/m³: 1.05175e-5 m³/s, worked by hand."""


def uncorrected(job: Job) -> Job:
    told = replace(job.donor.told, corrects_charge_temperature=False)
    return with_target_side(with_donor_side(job, told=told), told=told)


def cold_to_hot(job: Job, cold_k: float, hot_k: float) -> Job:
    return with_target(job, "conditions", charge_range_k=(cold_k, hot_k))


@pytest.mark.check_value
def test_a_table_that_is_not_corrected_is_lean_in_cold_air() -> None:
    """Made at 40 °C: at 0 °C 313.15/273.15, 14.6 % lean, at 60 °C 313.15/333.15, 6.0 % rich; by the ideal gas law."""
    sweep = compute(cold_to_hot(uncorrected(make_job()), 273.15, 333.15)).temperature_sweep
    assert sweep.charge_k == pytest.approx([273.15, 313.15, 333.15])
    for ratio in (sweep.leanest, sweep.richest, sweep.places["wide open"][2]):
        assert ratio == pytest.approx([1.146440, 1.0, 0.939961], rel=1e-5)


@pytest.mark.law
def test_one_that_is_corrected_is_as_intended_at_every_charge() -> None:
    sweep = compute(make_job()).temperature_sweep
    assert sweep.charge_k - 313.15 == pytest.approx([-25.0, 0.0, 25.0])
    assert sweep.leanest == pytest.approx(1.0, rel=1e-12)
    assert sweep.richest == pytest.approx(1.0, rel=1e-12)


def cautions(job: Job, rule: str) -> list[tuple[Severity, str]]:
    return [(one.severity, one.message) for one in adapt(job).findings if one.rule == rule]


@pytest.mark.check_value
def test_cold_air_is_said_where_it_makes_load_lean() -> None:
    """5 % lean at 298.24 K: 313.15/1.05."""
    job = uncorrected(make_job())
    assert cautions(cold_to_hot(job, 298.3, 330.0), "cold-air") == []
    ((severity, message),) = cautions(cold_to_hot(job, 298.2, 330.0), "cold-air")
    assert severity is Severity.CAUTION
    assert message == (
        "At a charge temperature of 25.05 °C λ is 1.051 times the intended at load, at 800 rpm and 100 kPa (caution "
        "above 1.05): the ECU does not correct for cold air."
    )
    assert cautions(cold_to_hot(make_job(), 250.0, 330.0), "cold-air") == []


def test_a_range_beside_the_stated_charge_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, '\n[target.conditions]\ncharge_temperature_range = "-30 degC to -10 degC"\n')
    assert str(caught.value).startswith(
        'job.toml: target.conditions.charge_temperature_range: "-30 degC to -10 degC" does not include the charge'
    )


@pytest.mark.check_value
def test_fuel_at_full_load() -> None:
    """At 5500 rpm the efficiency is read as 0.84667 between 0.86 and 0.84: 34.98 l/h by the same hand."""
    found = compute(make_job()).fuel_demand
    assert found.rev_limit.rpm == 6000.0
    assert found.rev_limit.litres_per_hour == pytest.approx(LITRES_PER_HOUR, rel=1e-4)
    assert found.rated is not None
    assert found.rated.litres_per_hour == pytest.approx(LITRES_PER_HOUR * (0.846667 / 0.84) * (5500 / 6000), rel=1e-4)
    assert found.most == found.rev_limit
    assert found.pressure_pa == 3e5


@pytest.mark.law
def test_a_cut_takes_less_and_boost_asks_for_more_pressure() -> None:
    cut = compute(with_target(make_job(), "engine", rev_cut_rpm=4500.0)).fuel_demand
    assert cut.rev_limit.litres_per_hour == pytest.approx(LITRES_PER_HOUR * 0.86 / 0.84 * 0.75, rel=1e-4)
    kpa = np.array([20.0, 60.0, 100.0, 150.0, 200.0])
    boost = compute(boosted(make_job(kpa), 200.0)).fuel_demand
    assert boost.pressure_pa == pytest.approx(3e5 + 200e3 - 101_325.0)
    assert boost.rev_limit.litres_per_hour == pytest.approx(LITRES_PER_HOUR * 200.0 / 101.325, rel=1e-4)
    fixed = with_target(boosted(make_job(kpa), 200.0), "fuel", regulator=Regulator.FIXED)
    assert compute(fixed).fuel_demand.pressure_pa == 3e5


def with_pump(litres_per_hour: float, bar: float) -> Result:
    return adapt(with_target(make_job(), "fuel", pump_flow_m3_s=litres_per_hour / 3.6e6, pump_pressure_pa=bar * 1e5))


@pytest.mark.check_value
@each(
    ("litres", "bar", "expected"),
    [
        (37.8, 3.0, [Severity.STOP]),
        (37.9, 3.0, [Severity.CAUTION]),
        (43.5, 3.0, [Severity.CAUTION]),  # 37.863 · 1.15 is 43.54
        (43.6, 3.0, []),
        (43.6, 4.0, []),
        (50.0, 2.5, [Severity.CAUTION]),  # 50 · 2.5/3 is 41.7
        (52.3, 2.5, []),
        (37.8, 2.5, [Severity.STOP]),
    ],
)
def test_a_pump_that_does_not_give_it(litres: float, bar: float, expected: list[Severity]) -> None:
    result = with_pump(litres, bar)
    assert [one.severity for one in result.findings if one.rule == "fuel-pump"] == expected
    assert "fuel-pump" not in [one.rule for one in result.not_judged]


@pytest.mark.pin
def test_what_is_said_of_such_a_pump() -> None:
    (stop,) = (one for one in with_pump(37.8, 2.5).findings if one.rule == "fuel-pump")
    assert stop.message == (
        "Full load takes 37.9 l/h at 6000 rpm, at 3 bar; the pump gives 37.8 l/h at 2.5 bar, which is some 31.5 l/h at "
        "that pressure (stop where it is less)."
    )


@pytest.mark.parametrize("text", ["120 l/h", "120 l/h @ 30 bar", "120 kg/h @ 3 bar"])
def test_what_is_no_pump(text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, f'\n[target.fuel]\npump = "{text}"\n')
    assert str(caught.value).startswith(f'job.toml: target.fuel.pump: "{text.partition(" @ 3 bar")[0]}')


@pytest.mark.check_value
@each(("ratio", "octane", "short"), [(11.0, 94.0, 5.0), (11.0, 95.0, None), (10.9, 90.0, None), (12.0, 90.0, 13.0)])
def test_more_compression_on_less_octane(ratio: float, octane: float, short: float | None) -> None:
    """From 10.0 on RON 95: 4 for each 1 of compression and what the fuel has less."""
    job = with_target(with_target(make_job(), "engine", compression_ratio=ratio), "fuel", octane=octane)
    found = [one for one in adapt(job).findings if one.rule == "compression-on-less-octane"]
    assert [one.value for one in found] == ([] if short is None else [pytest.approx(short)])
    said = " ".join(one.message for one in adapt(job).findings if one.rule == "ignition")
    assert ("compression" in said) == (short is None and ratio >= 10.5)
