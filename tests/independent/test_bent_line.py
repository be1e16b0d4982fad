"""An injector whose flow line bends: a cell worked by hand, and laws that hold for any numbers."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as given_by
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from basemap.adaptation.hardware import delivery
from basemap.adaptation.pipeline import compute
from basemap.explain.cell import worked_cell
from basemap.model.table_result import TableResult
from tests.independent.laws import run
from tests.independent.plain_numbers import Problem, Rating, Side
from tests.independent.strategies import seeded_bent_line_problems, seeded_problems, to_job
from tests.independent.worked import CC_PER_MIN, N_HEPTANE, installation_a, problem, ve_cells

SEED = 90_000
FULL, PART = (1, 0), (0, 0)  # 100 and 30 kPa, the lower speed


def with_bend(side: Side, *, low_cc_min: float = 336.0, high_cc_min: float = 280.0, bend_mg: float = 9.0) -> Side:
    """The same installation with two slopes, rated like its static flow."""
    return replace(
        side,
        low=Rating(low_cc_min * CC_PER_MIN, False, 300_000.0, N_HEPTANE),
        slope=Rating(high_cc_min * CC_PER_MIN, False, 300_000.0, N_HEPTANE),
        at_mass=bend_mg * 1e-6,
    )


def told_both(side: Side) -> Side:
    """The same installation with an ECU that was told both slopes."""
    return replace(side, told_bent_line=True)


def table_of(donor: Side, target: Side) -> TableResult:
    return run(problem(donor, target, ve_cells(0.6)))


@pytest.mark.check_value
def test_a_cell_below_the_bend_and_one_above_it_worked_by_hand() -> None:
    """Installation A, 60 % VE, on itself but for the bend: 336 cc/min up to 9 mg, 280 cc/min above.

    By hand: √(745/683.81407) = 1.04378036, so S_hi = 280/60 · 0.68381407 · 1.04378036 = 3.33084124 g/s,
    S_lo = 1.2 · S_hi = 3.99700949 g/s and m_b = 9 · 1.04378036 = 9.39402323 mg.
    30 kPa: air 100.021575 mg, fuel 6.85079280 mg, below: 6.85079280/3.99700949 = 1.71397962 ms.
    100 kPa: fuel 22.8359760 mg, above: 9.39402323/3.99700949 + 13.4419528/3.33084124 = 6.38586588 ms.
    The ECU reckons with S_hi: a cell is 60 % · time · S_hi / fuel, 50 % and 55.8863054 %.
    """
    found = table_of(installation_a(), with_bend(installation_a()))
    assert found.target.pulse_s[PART] == pytest.approx(2.5639796167916e-3, rel=1e-12)
    assert found.target.pulse_s[FULL] == pytest.approx(7.2358658819241e-3, rel=1e-12)
    assert found.new[PART] == pytest.approx(50.0, rel=1e-12)
    assert found.new[FULL] == pytest.approx(55.886305350682590, rel=1e-12)


@pytest.mark.check_value
def test_settings_of_both_slopes_worked_by_hand() -> None:
    """Told 270 where the donor's straight line is 280: the same 270/280 is on the target's three entries.

    Both rails stand at the rated 3 bar, so flows are as rated: 270, 270 · 1.2 = 324 and 9 mg · 270/280 = 8.67857143 mg.
    """
    donor = replace(installation_a(), told_flow=270 * CC_PER_MIN)
    found = compute(to_job(problem(donor, told_both(with_bend(installation_a())), ve_cells(0.6))))
    entered = {setting.name: setting.enter for setting in found.settings}
    assert entered["static_flow"] == pytest.approx(270.0, rel=1e-12)
    assert entered["flow_below_bend"] == pytest.approx(324.0, rel=1e-12)
    assert entered["mass_at_bend"] == pytest.approx(8.678571428571429, rel=1e-12)
    assert_allclose(found.table.new, 60.0, rtol=1e-12)


@pytest.mark.check_value
@pytest.mark.parametrize("row", [0, 1])
def test_the_figures_of_a_worked_cell_give_each_other(row: int) -> None:
    """The printed figures of a cell below and of one above the bend give the printed pulse and cell."""
    donor = told_both(with_bend(installation_a(), low_cc_min=300.0, bend_mg=8.0))
    computed = compute(to_job(problem(donor, told_both(with_bend(installation_a())), ve_cells(0.6))))
    stages: dict[str, dict[str, float]] = {}
    for step in worked_cell(computed, row, 0):
        stages.setdefault(step.stage.name, {})[step.symbol] = step.value
    ecu, hardware, needed, back = (
        stages[name] for name in ("DONOR_ECU", "DONOR_HARDWARE", "TARGET_HARDWARE", "TARGET_ECU")
    )
    by_flow = ecu["cell"] / 100.0 * ecu["G"]
    bent = ecu["r_set"] * min(by_flow, ecu["t_b,set"]) + max(by_flow - ecu["t_b,set"], 0.0)
    assert bent + ecu["τ_set"] == pytest.approx(ecu["t"], rel=1e-12)
    low, high, at_bend = hardware["S_lo"], hardware["ṁ"], hardware["m_b"]
    time = ecu["t"] - hardware["τ"]
    delivered = (low * time, at_bend + high * (time - at_bend / low))[row]
    assert delivered == pytest.approx(hardware["m_fuel"], rel=1e-12)
    low, high, at_bend, fuel = needed["S_lo"], needed["ṁ"], needed["m_b"], needed["m_fuel,t"]
    pulse = needed["τ"] + (fuel / low, at_bend / low + (fuel - at_bend) / high)[row]
    assert pulse == pytest.approx(needed["t"], rel=1e-12)
    time, knee = needed["t"] - back["τ_set"], back["r_set"] * back["t_b,set"]
    cell = (min(time, knee) / back["r_set"] + max(time - knee, 0.0)) / back["G"]
    assert 100.0 * cell == pytest.approx(back["cell"], rel=1e-12)


@pytest.mark.law
@pytest.mark.parametrize("told", [False, True])
def test_equal_slopes_are_one_slope(told: bool) -> None:
    for drawn in seeded_problems(15, SEED):
        bent = copy.deepcopy(drawn)
        for side in (bent.donor, bent.target):
            side.slope = side.slope or copy.deepcopy(side.static)
            side.low, side.at_mass = copy.deepcopy(side.slope), 5e-6
            side.told_bent_line = told and drawn.old.is_ve
        assert_same(run(bent), run(drawn))


@pytest.mark.law
def test_a_bend_at_nothing_leaves_the_high_slope() -> None:
    for drawn in seeded_bent_line_problems(15, SEED + 1):
        straight = copy.deepcopy(drawn)
        for side in (drawn.donor, drawn.target):
            side.at_mass = 1e-30
        for side in (straight.donor, straight.target):
            side.low, side.told_bent_line = None, False
        assert_same(run(drawn), run(straight))


@pytest.mark.law
def test_a_bend_beyond_every_mass_leaves_the_slope_below() -> None:
    """Except at full duty, where the static flow counts, and for the ECU, which was told the slope above the bend."""
    for drawn in seeded_problems(15, SEED + 2):
        bent, straight = copy.deepcopy(drawn), copy.deepcopy(drawn)
        for problem_, is_bent in ((bent, True), (straight, False)):
            side = problem_.target
            side.slope = side.slope or copy.deepcopy(side.static)
            low = copy.deepcopy(side.slope)
            low.value *= 1.2
            if is_bent:
                side.low, side.at_mass = low, 1.0
            else:
                side.slope = low
        # Pulses depend on the hardware alone, not on any setting.
        expected, found = run(straight), run(bent)
        both = np.isfinite(expected.pulse_s) & np.isfinite(found.pulse_s)
        assert_allclose(found.pulse_s[both], expected.pulse_s[both], rtol=1e-12)


def assert_same(found: TableResult, expected: TableResult) -> None:
    assert_allclose(found.new, expected.new, rtol=1e-12)
    assert_allclose(found.pulse_s, expected.pulse_s, rtol=1e-12)
    for case, ratio in expected.lambda_ratio.items():
        assert_allclose(found.lambda_ratio[case], ratio, rtol=1e-9, err_msg=case)  # a near-empty pulse amplifies


@pytest.mark.law
@pytest.mark.parametrize("told", [False, True])
def test_a_donor_on_itself_stays_as_it_is(told: bool) -> None:
    side = with_bend(installation_a())
    side = told_both(side) if told else side
    assert_allclose(table_of(side, side).new, 60.0, rtol=1e-12)


@pytest.mark.law
def test_where_both_ecus_know_both_slopes_a_ve_table_stays() -> None:
    donor = told_both(with_bend(installation_a()))
    target = told_both(with_bend(installation_a(), low_cc_min=500.0, high_cc_min=610.0, bend_mg=14.0))
    found = table_of(donor, replace(target, rail_pressure=350_000.0, displacement=2.3e-3, stoichiometric=9.8))
    assert_allclose(found.new, 60.0, rtol=1e-12)


@pytest.mark.law
def test_an_ecu_that_corrects_for_the_rail_pressure_keeps_the_bend_right_on_a_fixed_rail() -> None:
    """Slopes and bend scale alike with pressure, so settings right at rail pressure are right at every load."""
    side = replace(told_both(with_bend(installation_a())), fixed_regulator=True, corrects_rail_pressure=True)
    assert_allclose(table_of(side, side).new, 60.0, rtol=1e-12)
    assert_allclose(table_of(told_both(with_bend(installation_a())), side).new, 60.0, rtol=1e-12)


@pytest.mark.law
def test_new_with_new_closes() -> None:
    for drawn in seeded_bent_line_problems(30, SEED + 3):
        found = run(drawn)
        there = np.isfinite(found.new) & (found.duty < 1.0) & (found.target.air_kg > 0.0)
        assert_allclose(found.lambda_ratio["new_table_new_settings"][there], 1.0, rtol=1e-9)


@pytest.mark.law
@given_by(fuel_mg=st.floats(0.0, 60.0), low=st.floats(0.5, 2.0), bend_mg=st.floats(0.1, 40.0))
def test_the_pulse_for_a_mass_delivers_it(fuel_mg: float, low: float, bend_mg: float) -> None:
    target = with_bend(installation_a(), low_cc_min=280.0 * low, bend_mg=bend_mg)
    job = to_job(problem(installation_a(), target, ve_cells(0.6, rpm=(100.0, 200.0))))
    at = delivery(job.target.hardware, job.target.table.pressure_pa, job.target.table.rpm, 13.8)
    fuel = np.array([[fuel_mg * 1e-6]])
    assert_allclose(at.fuel_kg(at.pulse_s(fuel)), np.broadcast_to(fuel, (2, 2)), rtol=1e-9, atol=1e-18)
    pulses = np.linspace(1e-3, 20e-3, 50)[:, np.newaxis, np.newaxis]
    assert np.all(np.diff(at.line_fuel_kg(pulses), axis=0) > 0.0)


@pytest.mark.law
def test_open_throughout_it_passes_its_static_flow() -> None:
    target = replace(with_bend(installation_a()), static=Rating(290 * CC_PER_MIN, False, 300_000.0, N_HEPTANE))
    given: Problem = problem(installation_a(), target, ve_cells(0.9, rpm=(3_000.0, 18_000.0)))
    found = run(given)
    assert found.duty[1, 1] > 1.0 > found.duty[1, 0]
    passed = found.target.static_flow_kg_s[1, 0] * found.target.window_s.reshape(-1)[-1]
    needed = found.target.fuel_kg[1, 1]
    assert found.lambda_ratio["new_table_new_settings"][1, 1] == pytest.approx(needed / passed, rel=1e-9)


@pytest.mark.law
def test_the_donors_settings_left_in_hold_no_bend_of_the_target() -> None:
    """The donor has one slope; an ECU with the donor's settings does not know of the target's second."""
    target = with_bend(installation_a())
    found = table_of(installation_a(), told_both(target)).lambda_ratio["old_table_old_settings"]
    untold = table_of(installation_a(), target).lambda_ratio["old_table_new_settings"]
    assert_allclose(found, untold, rtol=1e-12)
    assert found[PART] == pytest.approx(280.0 / 336.0, rel=1e-12)  # below the bend 20 % more comes than it believes
