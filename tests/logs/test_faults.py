"""What a drive looks like, against what is truly wrong with the simulated car."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import numpy as np
import pytest
from scipy import stats

import basemap
from basemap.belief.faults import EXPECTED, NEAR, SLIGHT, better
from basemap.belief.hypotheses import Hypothesis, hypotheses
from basemap.belief.of_drives import belief_after, prior_of
from basemap.belief.posterior import Observed
from basemap.belief.update import about
from basemap.belief.world import Forward
from basemap.logs.learn import learn
from basemap.model.installation import FloatArray
from basemap.model.learnt import Learnt
from basemap.model.result import Result
from tests.builders.once import once
from tests.logs.drives import as_read
from tests.simulator.car import KPA, RPM, Car, draw_car
from tests.simulator.drive import simulate, true_lambda
from tests.simulator.faults import with_fault
from tests.simulator.files import write_job

logpdf: Any = stats.multivariate_normal.logpdf
SPEED, PRESSURE = (one.ravel() for one in np.meshgrid(RPM, KPA * 1e3))
DRIVEN = (KPA >= 30.0)[:, np.newaxis] & (RPM >= 850.0)


@once
def car(fault: str, seed: int, likeness: str) -> Car:
    return with_fault(draw_car(seed, likeness=likeness), fault, seed)


@once
def result(seed: int, likeness: str, extra: str = "") -> Result:
    """The base map, whatever is wrong with the car: its job knows of no fault."""
    return basemap.adapt(basemap.load_job(write_job(draw_car(seed, likeness=likeness), Path(mkdtemp()), extra=extra)))


@once
def learnt(
    fault: str, seed: int, likeness: str = "same engine", *, gauge: bool = False, accept: tuple[str, ...] = (),
    extra: str = "",
) -> Learnt:  # fmt: skip
    log = as_read(simulate(car(fault, seed, likeness), 400.0, seed, warm=True), fuel_pressure=gauge)
    return learn(result(seed, likeness, extra), [log], proved=True, accept=accept)


def errors(of: Car, table: FloatArray) -> FloatArray:
    """ln of true λ over the intended one, in every cell."""
    there = true_lambda(of, table / 100.0, SPEED, PRESSURE).reshape(of.table.shape)
    return np.asarray(np.log(there / of.intended))


def named(found: Learnt) -> set[str]:
    """Faults that are said to be likelier than none, and no less likely than the first."""
    others = [fault for fault in found.faults if fault.name != EXPECTED]
    return {fault.name for fault in others if fault.weight >= max(SLIGHT, others[0].weight - NEAR)}


# Source: scipy's density of the normal distribution.
@pytest.mark.check_value
def test_a_fault_foretells_better_by_the_ratio_of_two_densities() -> None:
    random = np.random.default_rng(3)
    root = random.normal(size=(5, 5))
    covariance = root @ root.T + np.eye(5)
    seen = random.normal(size=5)
    effects = random.normal(size=(3, 5))
    effects[1, 2] = np.nan
    found = better(Observed.of(seen, covariance), Hypothesis("some", effects, np.arange(3.0)))
    none = logpdf(seen, np.zeros(5), covariance)
    assert found[[0, 2]] == pytest.approx([logpdf(seen, effects[i], covariance) - none for i in (0, 2)], rel=1e-10)
    assert found[1] == -np.inf  # with a fault of this size no fuel would have flowed where the engine ran


# Source of what is wrong: the simulator. What engines share that much leaves little else to explain a fault.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("fault", "name"),
    [
        ("dead time over voltage", "dead time over voltage"),
        ("breathing over speed", "breathing over speed"),
        ("pressure sensor", "pressure sensor"),
        ("leak", "exhaust leak"),
        ("pump", "fuel supply"),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_between_like_engines_the_fault_is_named(fault: str, name: str, seed: int) -> None:
    assert name in named(learnt(fault, seed))


@pytest.mark.check_value
@pytest.mark.parametrize("likeness", ["same engine", "same head and cams", "another engine"])
def test_a_fuel_supply_that_gives_in_is_a_stop_and_no_matter_of_the_table(likeness: str) -> None:
    found = learnt("pump", 1, likeness)
    assert "fuel-supply" in [hold.name for hold in found.holds]
    assert found.stopped
    says = next(hold.says for hold in found.holds if hold.name == "fuel-supply")
    assert "STOP" in says
    assert "map around it" in says


def test_adapt_of_what_was_learnt_holds_it_back_as_well() -> None:
    found, job = learnt("pump", 1), result(1, "same engine").job
    again = basemap.adapt(replace(job, drives=found.logs, probe_proved=True))
    assert again.table.taught is not None
    assert "fuel-supply" in [hold.name for hold in again.table.taught.holds]
    assert "held-after-drives" in [stop.rule for stop in again.stops]


def test_where_the_fuel_pressure_is_logged_the_log_itself_says_whether_it_holds() -> None:
    falls = learnt("pump", 1, gauge=True)
    assert "fuel pressure low" in [event.kind for event in falls.events]
    names = [hold.name for hold in falls.holds]
    assert "fuel-pressure-low" in names
    assert "fuel-supply" not in names
    assert falls.stopped


@pytest.mark.parametrize("fault", ["none", "dead time", "flow", "pressure sensor", "leak"])
def test_a_sound_fuel_supply_stops_nobody(fault: str) -> None:
    assert "fuel-supply" not in [hold.name for hold in learnt(fault, 2).holds]


# Source of the truth: the simulator. The probe reads too lean by what leaks in; the cells get too rich by that.
@pytest.mark.check_value
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_where_a_leak_is_suspected_the_band_holds_the_truth(seed: int) -> None:
    found = learnt("leak", seed)
    assert found.table is not None
    after = errors(car("leak", seed, "same engine"), found.table.new)
    inside = np.abs(after - found.table.mean_after) < 2.0 * found.table.standard_after
    assert inside[DRIVEN & found.table.visited].mean() > 0.85
    assert not (after[DRIVEN & found.table.visited] > 0.05).any()


# Source of the truth: the simulator, whose cars breathe over speed in a shape of their own.
@pytest.mark.check_value
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_where_breathing_over_speed_is_suspected_the_band_holds_the_truth_where_nobody_drove(seed: int) -> None:
    found = learnt("breathing over speed", seed)
    assert found.table is not None
    after = errors(car("breathing over speed", seed, "same engine"), found.table.new)
    inside = np.abs(after - found.table.mean_after) < 2.0 * found.table.standard_after
    assert inside[DRIVEN & ~found.table.visited].mean() > 0.85


# Source of what is wrong: the car is driven 600 to 700 m higher than its job says, and nothing is wrong with it.
@pytest.mark.check_value
@pytest.mark.parametrize("likeness", ["same engine", "same head and cams"])
def test_another_height_is_no_fault_of_the_pressure_sensor(likeness: str) -> None:
    sea = draw_car(4, likeness=likeness)
    high = replace(
        sea, target=replace(sea.target, barometer_pa=93e3), target_true=replace(sea.target_true, barometer_pa=93e3)
    )
    found = learn(result(4, likeness), [as_read(simulate(high, 300.0, 4, warm=True))], proved=True)
    says = next(fault.says for fault in found.faults if fault.name == "barometer")
    assert "barometer" in named(found)
    assert says.startswith("clearly: the air pressure of the drive was not the job's barometer: another height")


@pytest.mark.law
@pytest.mark.parametrize(("fault", "name"), [("pressure sensor", "pressure sensor"), ("dead time", "dead time")])
def test_a_small_fault_of_either_sign_does_the_opposite(fault: str, name: str) -> None:
    """Whatever is believed of it: residuals are about the job as it is stated, and so are the effects on them."""
    job = result(1, "same engine").job
    found = belief_after(prior_of(job, Forward.of(job)), learnt(fault, 1).logs)
    linear = about(found.prior, found.observations, found.amounts)
    tried = next(one for one in hypotheses(found, found.observations, linear) if one.name == name)
    smallest = np.argsort(np.abs(tried.sizes))[:2]
    assert tried.sizes[smallest].sum() == pytest.approx(0.0)
    one, other = tried.effects[smallest]
    # A short pulse is not linear in its dead time, nor is ln λ in the pressure: a tenth is left.
    assert np.linalg.norm(one + other) < 0.2 * np.linalg.norm(one)


@pytest.mark.law
@pytest.mark.parametrize(("stated", "kpa"), [("", 0.75), ('\n[target.sensors.map]\nerror = "3 kPa"\n', 1.5)])
def test_a_sensor_has_one_uncertainty_before_and_after_the_drive(stated: str, kpa: float) -> None:
    found = learnt("none", 2, extra=stated)
    row = next(entry for entry in found.inputs if entry.name == "pressure reading")
    assert row.standard_before == pytest.approx(kpa)
    assert row.standard_after < 0.4  # the key-on reading against the barometer is good for 0.3 kPa
    assert not [entry for entry in found.inputs if entry.name == "pressure reading of the target"]


# By hand: a key-on reading good for 1.04 kPa (0.3 and the weather's 1.0) against a sensor of 0.75 leaves at most
# 0.75·1.04/√(0.75² + 1.04²) = 0.61 kPa; with a barometer that was read 0.75·0.3/√(0.75² + 0.3²) = 0.28.
@pytest.mark.check_value
def test_weather_is_no_fault_of_a_pressure_sensor(tmp_path: Path) -> None:
    of = car("none", 2, "same engine")
    job = write_job(of, tmp_path)
    by_altitude = job.read_text(encoding="utf-8").replace('barometer = "100.0 kPa"', 'altitude = "111 m"')
    assert "altitude" in by_altitude
    log = as_read(simulate(of, 200.0, 2, warm=True))

    def after(text: str) -> float:
        job.write_text(text, encoding="utf-8")
        found = learn(basemap.adapt(basemap.load_job(job)), [log])
        return next(entry for entry in found.inputs if entry.name == "pressure reading").standard_after

    read, altitude = after(job.read_text(encoding="utf-8")), after(by_altitude)
    assert read < 0.28
    assert 1.2 * read < altitude < 0.61
