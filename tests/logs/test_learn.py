"""What is learnt of simulated drives, held against their truth; and the laws that need none."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import numpy as np
import pytest

import basemap
from basemap.belief.at_points import commanded, log_lambda
from basemap.belief.world import Forward, nominal
from basemap.errors import InputError
from basemap.logs.learn import learn
from basemap.logs.log import Log, read_log
from basemap.model.drive import Chunks, DriveLog, DrivePoints
from basemap.model.finding import Finding, Severity, Verdict
from basemap.model.installation import FloatArray
from basemap.model.learnt import Learnt
from basemap.model.result import Result
from tests.builders.once import once
from tests.logs.drives import as_read, car
from tests.simulator.car import KPA, RPM, Breathing, Car, Sensors, donor_efficiency, draw_car
from tests.simulator.drive import Drive, simulate, true_lambda
from tests.simulator.files import SHAPES, Shape, write_job, write_log

SPEED, PRESSURE = (one.ravel() for one in np.meshgrid(RPM, KPA * 1e3))


@once
def folder() -> Path:
    return Path(mkdtemp())


@once
def drive(fault: str = "none", seed: int = 0, seconds: float = 300.0) -> Drive:
    return simulate(car(fault, seed), seconds, seed, warm=True)


@once
def result(seed: int = 0) -> Result:
    """The base map, whatever is wrong with the car: its job knows of no fault."""
    return basemap.adapt(basemap.load_job(write_job(draw_car(seed), folder(), f"car_{seed}")))


def from_file(of: Drive, shape: Shape) -> Log:
    path = write_log(of, folder() / "log.csv", shape)
    return read_log(path, {}, barometer_pa=1e5)


def errors(of: Car, table: FloatArray) -> FloatArray:
    """ln of true λ over the intended one, in every cell."""
    there = true_lambda(of, table / 100.0, SPEED, PRESSURE).reshape(of.table.shape)
    return np.asarray(np.log(there / of.intended))


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


@once
def learnt(fault: str = "none", seed: int = 0, *, proved: bool = True) -> Learnt:
    return learn(result(seed), [as_read(drive(fault, seed))], proved=proved)


def exactly_as_told() -> Car:
    """A car that is what its job says, to the last digit, with sensors that are right."""
    plain = draw_car(3)
    exact = replace(
        plain, donor_true=plain.donor, target_true=plain.target, breathing=Breathing(), formula_factor=1.0,
        sensors=Sensors(noise=0.002),
    )  # fmt: skip
    efficiency = donor_efficiency(RPM, KPA[:, np.newaxis] * 1e3)
    return replace(exact, table=np.round(100 * efficiency, 1) / 100)


# Source: the simulator, which shares nothing with the program. They agree to the donor's cells, stored to 0.1 of
# some 60 %, and to what both make of the air between them.
@pytest.mark.check_value
def test_the_mixture_of_a_pulse_is_the_simulators() -> None:
    exact = exactly_as_told()
    job = basemap.load_job(write_job(exact, folder(), "exact"))
    points = DrivePoints(
        np.array([900.0, 1600.0, 2500.0, 4500.0]), np.array([35e3, 50e3, 70e3, 95e3]),
        np.array([300.0, 313.15, 320.0, 305.0]), np.array([12.6, 13.8, 14.4, 14.0]),
        np.array([2.4e-3, 3.4e-3, 5.0e-3, 8.0e-3]),
    )  # fmt: skip
    found = np.exp(log_lambda(Forward.of(job), points, nominal(job))[0])
    fitted = exact.target
    air = donor_efficiency(points.rpm, points.pressure_pa) * points.pressure_pa * fitted.displacement_m3 / 4.0
    air = air / (287.05287 * points.charge_k)
    fuel = fitted.flow_kg_s(fitted.across_pa(points.pressure_pa)) * (points.pulse_s - fitted.dead_at(points.battery_v))
    assert found == pytest.approx(air / (fitted.stoichiometric * fuel), rel=1.5e-3)


@pytest.mark.law
def test_at_a_cell_it_is_the_same_model_as_that_of_the_table() -> None:
    of = result()
    job = of.job
    forward = Forward.of(job)
    conditions = job.target.hardware.conditions
    size = SPEED.size
    points = DrivePoints(
        SPEED, PRESSURE, np.full(size, conditions.charge_temperature_k), np.full(size, conditions.battery_v),
        np.zeros(size),
    )  # fmt: skip
    cells = of.table.stored * job.target.shown.per_unit
    points = replace(points, pulse_s=commanded(job, cells, forward.settings.new, points))
    found = np.exp(log_lambda(forward, points, nominal(job))[0]).reshape(cells.shape) / job.target.table.intended_lambda
    assert found == pytest.approx(of.table.stored_lambda_ratio, rel=1e-12)


def test_a_car_that_is_what_it_says_keeps_its_table() -> None:
    exact = exactly_as_told()
    of = basemap.adapt(basemap.load_job(write_job(exact, folder(), "exact")))
    found = learn(of, [as_read(simulate(exact, 300.0, 5, warm=True))], proved=True)
    assert found.table is not None
    assert np.abs(found.table.change_percent[found.table.visited]).max() < 1.5
    assert found.faults[0].name == "within what was expected"
    assert found.holds == ()


# Source of what is true: the simulator. The probe is 1 % off in scale, as sound ones are; that remains.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("fault", "seed", "visited", "others"),
    [
        ("none", 1, 0.02, 0.05),
        ("dead time", 1, 0.02, 0.08),
        ("flow", 3, 0.02, 0.08),
        ("pressure sensor", 0, 0.02, 0.08),
    ],
)
def test_the_corrected_table_gives_what_was_intended(fault: str, seed: int, visited: float, others: float) -> None:
    table = learnt(fault, seed).table
    assert table is not None
    driven = (KPA >= 30.0)[:, np.newaxis] & (RPM >= 850.0)
    before, after = errors(car(fault, seed), table.before), errors(car(fault, seed), table.new)
    assert rms(after[driven & table.visited]) < visited
    assert rms(after[driven & ~table.visited]) < others
    assert rms(after[driven]) < rms(before[driven])
    assert not (after[driven & table.visited] > 0.05).any()
    inside = np.abs(after - table.mean_after) < 2.0 * table.standard_after
    assert inside[driven].mean() > 0.85


@pytest.mark.law
def test_until_the_probe_is_proved_no_cell_gets_less_fuel() -> None:
    table = learnt("flow", 3, proved=False).table
    assert table is not None
    assert (table.new >= table.before).all()
    proved = learnt("flow", 3).table
    assert proved is not None
    assert (proved.new < proved.before).any()


@pytest.mark.law
def test_fuel_is_taken_out_in_proportion_to_support() -> None:
    table = learnt("flow", 3).table
    assert table is not None
    rich = table.mean_before < 0
    assert table.mean_after[rich] == pytest.approx((table.mean_before * (1.0 - table.support))[rich], abs=1e-12)
    lean = table.mean_before > 0
    assert table.mean_after[lean] == pytest.approx(0.0, abs=1e-12)
    assert ((table.support >= 0) & (table.support <= 1)).all()


@pytest.mark.law
def test_cells_that_the_job_wants_richer_at_load_stay_so() -> None:
    """The table that was loaded is the richer one, and what is learnt is taken out about the richer mixture."""
    of = car("none", 1)
    job = replace(result(1).job, richer_at_load=0.10)
    richer = basemap.adapt(job)
    assert richer.table.richer is not None
    log = as_read(simulate(of, 300.0, 1, table=richer.table.to_load / 100.0, warm=True))
    table = learn(richer, [log], proved=True).table
    assert table is not None
    assert np.array_equal(table.before, richer.table.to_load)
    at_load = (KPA >= 80.0)[:, np.newaxis] & table.visited
    # 10 % more fuel is λ/1.1: the truth is the simulator's, the probe 1 % off in scale as sound ones are.
    assert np.median(errors(of, table.new)[at_load]) == pytest.approx(-np.log(1.1), abs=0.02)
    assert np.median(table.mean_after[at_load]) == pytest.approx(-np.log(1.1), abs=0.01)


@pytest.mark.law
def test_the_band_only_shrinks() -> None:
    table = learnt().table
    assert table is not None
    assert (table.standard_after <= table.standard_before * (1 + 1e-9)).all()


@pytest.mark.law
def test_three_logs_in_a_row_give_what_one_long_one_gives() -> None:
    whole = learnt("dead time", 1)
    one = whole.logs[0]
    rows = one.chunks.rows()
    parts = [
        DriveLog(f"part {number}", hashlib.sha256(bytes([number])).hexdigest(), Chunks.of_rows(some),
                 one.key_on_pa if number == 0 else None)
        for number, some in enumerate(np.array_split(rows, 3))
    ]  # fmt: skip
    again = learn(result(1), [], earlier=parts, proved=True)
    assert whole.table is not None
    assert again.table is not None
    for name in ("mean_before", "mean_after", "standard_after", "support"):
        assert getattr(again.table, name) == pytest.approx(getattr(whole.table, name), rel=1e-9, abs=1e-12)
    assert [entry.off for entry in again.inputs] == pytest.approx([entry.off for entry in whole.inputs], rel=1e-9)


def test_the_controllers_formula_comes_out() -> None:
    formula = learnt("none", 1).controller
    assert formula is not None
    # Source: the simulated controller. Its pulses are logged to a microsecond.
    assert formula.factor == pytest.approx(car("none", 1).formula_factor, abs=0.003)
    assert formula.dead_time_ms == pytest.approx(
        1e3 * float(car("none", 1).target.dead_at(formula.battery_v)), abs=0.02
    )


def test_a_crossed_limit_holds_the_table_back_until_it_is_accepted() -> None:
    truth = drive()
    cranking = (truth.rpm > 100) & (truth.rpm < 400) & (truth.time_s < 5.0)
    log = as_read(replace(truth, battery_v=np.where(cranking, 7.2, truth.battery_v)))
    found = learn(result(), [log], proved=True)
    assert [hold.name for hold in found.holds] == ["cranking-voltage-low", "leaner-at-load"][: len(found.holds)]
    assert found.stopped
    names = [hold.name for hold in found.holds]
    assert not learn(result(), [log], proved=True, accept=names).stopped
    with pytest.raises(InputError) as caught:
        learn(result(), [log], proved=True, accept=["coolant-hot"])
    assert str(caught.value) == (
        f'--accept "coolant-hot": no reason of that name holds the table back (the reasons are: {", ".join(names)})'
    )


def test_a_stop_of_the_map_holds_back_what_is_learnt_of_it() -> None:
    of = result()
    stop = Finding(
        rule="some-rule", severity=Severity.STOP, message="the map is of another engine", remedy="", source=""
    )
    stopped = replace(of, findings=(*of.findings, stop), verdict=Verdict.REFUSE)
    found = learn(stopped, [as_read(drive())], proved=True)
    assert "some-rule" in [hold.name for hold in found.holds]
    assert found.stopped


def test_a_probe_at_its_lean_end_is_a_stop_and_no_refusal() -> None:
    truth = drive()
    found = learn(result(), [as_read(replace(truth, lambda_read=np.where(truth.time_s > 60, 1.36, truth.lambda_read)))])
    assert found.stopped
    assert "STOP" in found.nothing
    assert found.events[0].kind == "probe at its lean end"
    assert found.table is None


def refusal(log: Log) -> str:
    with pytest.raises(InputError) as caught:
        learn(result(), [log])
    return str(caught.value).replace(log.file, "LOG")


def test_logs_that_nothing_can_be_learnt_from() -> None:
    log = as_read(drive())
    still = replace(log, lambda_read=np.full(log.rpm.shape, 1.0))
    assert refusal(still) == ("LOG: lambda stays at 1.000 throughout: the probe is cold, or another signal was logged")
    rich = replace(log, lambda_read=np.where(log.time_s > 100.0, 0.68, np.minimum(log.lambda_read, 1.3)))
    assert refusal(rich).startswith("LOG: lambda reads the rich end of its range, 0.68, for ")
    cold = replace(log, coolant_k=np.minimum(log.coolant_k, 330.0))
    assert refusal(cold) == (
        "LOG: the coolant never gets above 57 degC: expected 70 or more; log until the engine is warm"
    )
    short = log.time_s < 50.0
    begin: dict[str, Any] = {name: value[short] for name, value in vars(log).items() if isinstance(value, np.ndarray)}
    assert refusal(replace(log, **begin)) == (
        "LOG: the engine runs for 45 s: expected at least 60 s; log a longer drive"
    )
    double = replace(log, rpm=2.0 * log.rpm)
    assert refusal(double) == (
        f"LOG: the engine speed reaches {2.0 * np.nanmax(log.rpm):.0f} rpm, and the target's rev limit is "
        f"{result().job.target.hardware.engine.rev_limit_rpm:g} rpm: the logger may count it double, or the log is of "
        "another engine; correct it and log again"
    )
    rough = replace(log, manifold_pa=log.manifold_pa * (1.0 + 0.2 * (np.arange(log.rpm.size) // 10 % 2)))
    assert "of steady running, warm and with a probe reading: expected at least 15 s" in refusal(rough)


def test_a_pulse_of_another_job_is_refused() -> None:
    log = as_read(drive())
    assert log.pulse_s is not None
    assert refusal(replace(log, pulse_s=log.pulse_s * 1.4)).endswith(
        "off what this table and these settings command, warm and steady: the log belongs to another job, or another "
        "table was loaded (name it with --loaded)"
    )


def test_a_pulse_without_its_dead_time_is_named_and_then_used() -> None:
    log = as_read(drive())
    assert log.pulse_s is not None
    told = car().target.dead_at(log.battery_v)
    bare = replace(log, pulse_s=np.where(log.pulse_s > 0, np.maximum(log.pulse_s - told, 0.0), 0.0))
    assert refusal(bare) == (
        "LOG: the logged pulse is shorter by the dead time throughout: say so in [log.columns], pulse = { …, "
        "dead_time_included = false }"
    )
    found = learn(result(), [replace(bare, pulse_includes_dead_time=False)], proved=True)
    whole = learnt()
    assert found.table is not None
    assert whole.table is not None
    assert found.table.mean_before == pytest.approx(whole.table.mean_before, abs=0.004)


def test_the_same_log_twice_is_refused() -> None:
    log = as_read(drive())
    with pytest.raises(InputError) as caught:
        learn(result(), [log, log])
    assert "the same drive would count as two" in str(caught.value)


@pytest.mark.parametrize("shape", ["no pulse", "slow", "fast"])
def test_other_shapes_teach_the_same(shape: str) -> None:
    found, whole = learn(result(), [from_file(drive(), SHAPES[shape])], proved=True), learnt()
    assert found.table is not None
    assert whole.table is not None
    both = found.table.visited & whole.table.visited
    assert found.table.mean_before[both] == pytest.approx(whole.table.mean_before[both], abs=0.02)


def test_a_closed_loop_that_hides_is_refused_and_one_that_is_logged_is_used() -> None:
    closed = replace(car(), closed_loop=True)
    truth = simulate(closed, 300.0, 0, warm=True)
    hidden = replace(from_file(truth, SHAPES["no pulse"]), trim=None)
    assert "as closed loop holds it" in refusal(hidden)
    found, whole = learn(result(), [as_read(truth)], proved=True), learnt()
    assert found.table is not None
    assert whole.table is not None
    both = found.table.visited & whole.table.visited
    assert found.table.mean_before[both] == pytest.approx(whole.table.mean_before[both], abs=0.03)


def test_the_next_points_are_where_least_is_known() -> None:
    found = learnt()
    assert 1 <= len(found.next_points) <= 3
    assert found.table is not None
    best = found.next_points[0]
    row, column = int(np.argmin(np.abs(KPA - best.load))), int(np.argmin(np.abs(RPM - best.rpm)))
    assert found.table.standard_after[row, column] > np.median(found.table.standard_after)
    assert found.next_points[0].narrows >= found.next_points[-1].narrows
