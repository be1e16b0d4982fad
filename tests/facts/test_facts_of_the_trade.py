"""Facts of the trade that the program has to agree with.

Common practice, no source, unless a standard is named beside the test.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap import check, load_job
from basemap.adaptation.pipeline import compute
from basemap.errors import InputError
from basemap.model.finding import Severity, Verdict
from basemap.model.job import Job
from tests.independent.plain_numbers import Cells, DeadPoints
from tests.independent.strategies import to_job
from tests.independent.worked import installation_a, problem, pulse_cells, ve_cells

pytestmark = pytest.mark.check_value

JOB = """
title = "Invented: for the facts of the trade"
[conditions]
{conditions}
[donor.engine]
displacement = "1800 cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
[donor.injectors]
static_flow = "440 cc/min"
rated_pressure = "3 bar"
[donor.injectors.dead_time]
battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]
time = ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"]
[donor.fuel]
blend = "E5"
rail_pressure = "3 bar"
regulator = "manifold"
[donor.tables.fuel]
file = "table.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = 0.9
[target]
same_as_donor = ["fuel"]
[target.engine]
displacement = "2000 cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
[target.injectors]
static_flow = "220 cc/min"
rated_pressure = "3 bar"
[target.injectors.dead_time]
battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]
time = ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"]
"""
TABLE = "kPa,800,2000,4000,6000\n30,45,50,55,50\n60,60,66,74,70\n100,72,80,88,82\n"


def loaded(folder: Path, conditions: str = "") -> Job:
    """The invented job, read from its files."""
    (folder / "table.csv").write_text(TABLE, encoding="utf-8")
    job = folder / "facts.toml"
    job.write_text(JOB.format(conditions=conditions), encoding="utf-8")
    return load_job(job)


# --- key on: manifold pressure is the barometer ----------------------------------------------------------------------


def test_at_500_m_the_barometer_reads_about_95_kpa(tmp_path: Path) -> None:
    """ISO 2533 at 500 m, geopotential: 95 460.8 Pa."""
    barometer = loaded(tmp_path, 'altitude = "500 m"').target.hardware.conditions.barometer_pa
    assert barometer == pytest.approx(95_460.8353365, rel=1e-9)
    assert barometer == pytest.approx(95_000.0, abs=1_000.0)


def test_key_on_95_kpa_is_plausible_at_500_m(tmp_path: Path) -> None:
    """Common practice, no source: engine standing, the MAP sensor reads the station's pressure."""
    found = loaded(tmp_path, 'barometer = "95 kPa"\naltitude = "500 m"')
    assert found.target.hardware.conditions.barometer_pa == pytest.approx(95_000.0)


def test_key_on_101_kpa_is_not_plausible_at_500_m(tmp_path: Path) -> None:
    """Common practice, no source: a weather report's pressure is reduced to sea level; a sensor's is not."""
    with pytest.raises(InputError) as caught:
        loaded(tmp_path, 'barometer = "101.325 kPa"\naltitude = "500 m"')
    assert str(caught.value) == (
        f'{tmp_path / "facts.toml"}: conditions.barometer: "101.325 kPa" contradicts altitude "500 m", where the '
        "barometer reads about 95.5 kPa: it looks like a figure reduced to sea level; give the station pressure, or "
        "leave one of the two out"
    )


def test_key_on_an_atmospheric_engine_stands_at_the_highest_pressure_it_will_see(tmp_path: Path) -> None:
    """Common practice, no source."""
    target = loaded(tmp_path, 'altitude = "500 m"').target.hardware
    assert target.peak_pressure_pa == target.conditions.barometer_pa


def test_key_on_either_regulator_gives_the_rail_pressure(tmp_path: Path) -> None:
    """Common practice, no source: with the manifold at the barometer a fixed rail is a referenced one."""
    found = []
    for fixed in (False, True):
        side = replace(installation_a(), fixed_regulator=fixed, barometer=95_000.0)
        cells = ve_cells(0.8)
        cells.load = [30_000.0, 95_000.0]
        found.append(compute(to_job(problem(side, side, cells))).table.target)
    assert found[0].pressure_across_pa[1, 0] == pytest.approx(300_000.0, rel=1e-12)
    assert found[1].pressure_across_pa[1, 0] == pytest.approx(300_000.0, rel=1e-12)
    assert found[1].pressure_across_pa[0, 0] == pytest.approx(365_000.0, rel=1e-12)


# --- the wrong file --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [ve_cells(0.5), pulse_cells(5.0)], ids=["VE", "pulse width"])
def test_a_file_for_a_smaller_engine_with_twice_the_injectors_does_not_fire(cells: Cells) -> None:
    """Common practice, no source: an engine misfires beyond λ of about 1.3; this file gives 2.2.

    The donor is 10 % smaller than the target and its own injectors passed twice as much: 1/0.9 · 2 = 2.22.
    """
    target = installation_a()
    donor = replace(target, displacement=0.9 * target.displacement, static=replace(target.static))
    donor.static.value *= 2.0
    ratio = compute(to_job(problem(donor, target, cells))).table.lambda_ratio["old_table_old_settings"]
    assert np.all(ratio > 1.3)
    assert ratio == pytest.approx(np.full((2, 2), 2.0 / 0.9), rel=1e-9)


def test_such_a_file_is_never_said_to_suit_as_it_is(tmp_path: Path) -> None:
    """Common practice, no source: lean at load as it stands; carried over, the same file can serve."""
    result = check(loaded(tmp_path))
    assert result.verdict is Verdict.ADAPT
    found = {finding.rule: finding for finding in result.findings}
    assert found["loaded-as-it-is"].severity is Severity.CAUTION
    assert found["lean-at-load"].value == pytest.approx(2.0 / 0.9, rel=1e-9)
    assert result.table.lambda_ratio["new_table_new_settings"] == pytest.approx(np.ones((3, 4)), rel=1e-9)


# --- the battery -----------------------------------------------------------------------------------------------------

SLOW = DeadPoints([8.0, 10.0, 12.0, 14.0, 16.0], [[2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3]])


def test_the_voltage_sweep_covers_cranking_key_on_charging_and_a_faulty_regulator(tmp_path: Path) -> None:
    """Common practice, no source: 8-9 V cranking, 11.7-12.7 V key on, about 14 V charging, 15 V and more a fault."""
    swept = compute(loaded(tmp_path)).sweep.battery_v
    for low, high in ((8.0, 9.0), (11.7, 12.7), (13.5, 14.5), (15.0, 16.0)):
        assert np.any((swept >= low) & (swept <= high)), (low, high)
    assert swept.min() <= 8.0
    assert swept.max() >= 16.0


def test_a_job_that_does_not_say_is_worked_at_a_charging_voltage(tmp_path: Path) -> None:
    """Common practice, no source: a running engine charges at about 14 V."""
    job = loaded(tmp_path)
    for volts in (job.target.hardware.conditions.battery_v, job.donor.table.battery_v, job.target.table.battery_v):
        assert 13.2 <= volts <= 14.8


@pytest.mark.parametrize(("volts", "way"), [(8.5, "leaner"), (12.2, "leaner"), (15.5, "richer")])
def test_a_dead_time_left_at_its_charging_value_is_lean_at_low_voltage(volts: float, way: str) -> None:
    """Common practice, no source: slower injectors at low voltage deliver less unless the ECU lengthens the pulse."""
    side = replace(installation_a(), dead=SLOW, told_dead=DeadPoints([8.0, 16.0], [[0.85e-3, 0.85e-3]]))
    given = problem(side, replace(side), ve_cells(0.5))
    given.old.battery = given.new.battery = 14.0
    given.new.battery = volts
    ratio = compute(to_job(given)).table.lambda_ratio["old_table_old_settings"]
    assert np.all(ratio > 1.02 if way == "leaner" else ratio < 0.99)


def test_the_sweep_shows_no_error_where_the_dead_time_was_told(tmp_path: Path) -> None:
    """Common practice, no source: that is what a battery correction is for."""
    sweep = compute(loaded(tmp_path)).sweep
    assert sweep.leanest == pytest.approx(np.ones_like(sweep.leanest), rel=1e-9)
    assert sweep.richest == pytest.approx(np.ones_like(sweep.richest), rel=1e-9)


def test_the_sweep_is_lean_while_cranking_where_the_dead_time_cannot_be_told() -> None:
    """Common practice, no source."""
    side = replace(installation_a(), dead=SLOW)
    given = problem(side, replace(side, told_dead=DeadPoints([8.0, 16.0], [[0.85e-3, 0.85e-3]])), ve_cells(0.5))
    given.old.battery = given.new.battery = 14.0
    sweep = compute(to_job(given)).sweep
    low = sweep.battery_v <= 9.0
    assert np.all(sweep.leanest[low] > 1.2)
    assert np.all(np.diff(sweep.leanest) <= 0.0)
    high = sweep.battery_v > 15.0
    assert np.all(sweep.richest[high] < 1.0)
