"""Two installations worked through by hand, every digit to 1e-9.

The numbers were calculated outside this project from the inputs in `worked.py` (R = 287.05287 J/(kg K), n-heptane at
20 °C from CoolProp 8.0.0). They catch errors of arithmetic, unit and wiring; an equation that is wrong in both would
pass, which is what the laws are for. Rows: 30 and 100 kPa; columns: 3000 and 6000 rev/min unless said otherwise.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from basemap.adaptation.pipeline import compute
from basemap.model.result import Computed
from tests.independent.plain_numbers import DeadPoints, Problem, Rating, Side
from tests.independent.strategies import to_job
from tests.independent.worked import CC_PER_MIN, installation_a, installation_b, problem, pulse_cells, ve_cells

pytestmark = pytest.mark.check_value
FULL = (1, 0)  # 100 kPa, the lower speed
PART = (0, 0)  # 30 kPa


def exactly(value: float) -> object:
    return pytest.approx(value, rel=1e-9, abs=0.0)


def run(given: Problem) -> Computed:
    return compute(to_job(given))


def on_itself(
    side: Side, ve: float = 0.85, lambda_: float = 1.0, rpm: tuple[float, float] = (3000.0, 6000.0)
) -> Computed:
    return run(problem(side, side, ve_cells(ve, lambda_=lambda_, rpm=rpm)))


def test_chain_a_donor_on_itself() -> None:
    found = on_itself(installation_a())
    side = found.table.target
    assert found.job.target.hardware.engine.cylinder_volume_m3 == exactly(4.995e-4)
    assert side.air_kg[FULL] == exactly(4.723241034375279e-4)
    assert side.fuel_kg[FULL] == exactly(3.235096598887177e-5)
    assert found.job.target.hardware.injectors.line.mass_flow == exactly(3.1911323266666665e-3)
    assert side.line_flow_kg_s[1, 0] == exactly(3.330841243446533e-3)
    assert side.line_flow_kg_s[1, 0] / 745.0 / CC_PER_MIN == exactly(268.2556706131436)
    assert side.pulse_s[FULL] - side.dead_time_s[1, 0] == exactly(9.712551161819152e-3)
    assert side.pulse_s[FULL] == exactly(10.562551161819152e-3)
    assert found.table.duty[1, 0] == exactly(0.2640637790)
    assert found.table.duty[1, 1] == exactly(0.5281275581)


def test_chain_b_reached_from_donor_a() -> None:
    found = run(problem(installation_a(), installation_b(), ve_cells(0.85)))
    side = found.table.target
    assert found.table.new[FULL] == exactly(85.0)  # truthful settings on both sides: the table stays
    assert found.job.target.hardware.engine.cylinder_volume_m3 == exactly(5.9825e-4)
    assert side.air_kg[FULL] == exactly(5.657014912542563e-4)
    assert side.fuel_kg[FULL] == exactly(5.774942896078498e-5)
    assert found.job.target.hardware.injectors.line.mass_flow == exactly(7.407985758333333e-3)
    assert side.line_flow_kg_s[1, 0] / 7.407985758333333e-3 == exactly(1.0801234497346435 * 1.0723795418293556)
    assert side.line_flow_kg_s[1, 0] == exactly(8.580686869243341e-3)
    assert side.line_flow_kg_s[1, 0] / 786.384732 / CC_PER_MIN == exactly(654.6938047044897)
    assert side.pulse_s[FULL] - side.dead_time_s[1, 0] == exactly(6.730163894895447e-3)
    assert side.pulse_s[FULL] == exactly(7.580163894895447e-3)
    assert found.table.duty[1, 0] == exactly(0.1895040974)
    assert found.table.duty[1, 1] == exactly(0.3790081947)


def test_pulse_table_of_a_untouched_on_b() -> None:
    """(V_t/V_d)(ṁ_d/ṁ_t)(L_d/L_t): far too rich."""
    found = run(problem(installation_a(), installation_b(), pulse_cells(10.562551161819152)))
    assert found.table.lambda_ratio["old_table_old_settings"][FULL] == exactly(0.692934717436)
    assert found.table.new[FULL] == exactly(7.580163894895447)


def test_pulse_table_of_a_untouched_on_b_with_a_longer_dead_time() -> None:
    slower = replace(installation_b(), dead=DeadPoints([8.0, 16.0], [[1.05e-3, 1.05e-3]]))
    found = run(problem(installation_a(), slower, pulse_cells(10.562551161819152)))
    assert found.table.lambda_ratio["old_table_old_settings"][FULL] == exactly(0.707503568749)
    assert found.table.new[FULL] == exactly(7.780163894895447)


def test_settings_to_enter_for_b() -> None:
    found = run(problem(installation_a(), installation_b(), ve_cells(0.85)))
    settings = {setting.name: setting for setting in found.settings}
    assert (settings["displacement"].unit, settings["displacement"].old) == ("cc", exactly(1998.0))
    assert settings["displacement"].enter == exactly(1998 * 1.197697697698)
    assert (settings["static_flow"].unit, settings["static_flow"].old) == ("cc/min", exactly(280.0))
    assert settings["static_flow"].enter == exactly(721.316973)
    assert settings["static_flow"].enter == exactly(280 * 2.576132046559)
    assert settings["stoichiometric"].old == exactly(14.6)
    assert settings["stoichiometric"].enter == exactly(9.795793680)


def test_the_old_flow_entry_is_the_rating_at_the_donors_rail_pressure() -> None:
    """B as the donor: 650 cc/min at 3 bar, 3.5 bar in the rail."""
    found = run(problem(installation_b(), installation_a(), ve_cells(0.85)))
    settings = {setting.name: setting for setting in found.settings}
    assert settings["static_flow"].old == exactly(650 * 1.0801234497346435)
    assert settings["static_flow"].enter == exactly(650 * 1.0801234497346435 / 2.576132046559)


def test_stoichiometric_ratio_told_as_14_7_keeps_its_basis() -> None:
    donor = replace(installation_a(), told_stoichiometric=14.7)
    found = run(problem(donor, installation_b(), ve_cells(0.85)))
    settings = {setting.name: setting for setting in found.settings}
    assert settings["stoichiometric"].enter == pytest.approx(9.862888, rel=5e-8)  # printed to seven digits
    assert found.table.new[FULL] == exactly(85.0)


def test_two_stroke_duty_is_above_one() -> None:
    side = replace(installation_a(), revolutions=1)
    assert on_itself(side).table.duty[1, 1] == exactly(1.056255116)


def test_two_openings_per_cycle() -> None:
    found = on_itself(replace(installation_a(), openings=2.0))
    side = found.table.target
    assert side.pulse_s[FULL] - side.dead_time_s[1, 0] == exactly(4.856275581e-3)
    assert side.pulse_s[FULL] == exactly(5.706275581e-3)
    assert found.table.duty[1, 1] == exactly(0.570627558)


def test_part_load_with_a_manifold_referenced_and_with_a_fixed_regulator() -> None:
    manifold = on_itself(installation_a(), ve=0.60).table.target
    assert manifold.pulse_s[PART] - 0.85e-3 == exactly(2.056775540e-3)
    # The same cell, carried to a fixed rail that the ECU does not correct for.
    fixed = replace(installation_a(), fixed_regulator=True)
    found = run(problem(installation_a(), fixed, ve_cells(0.60))).table
    assert (found.target.pressure_across_pa[0, 0] / 300_000.0) ** 0.5 == exactly(1.112542134)
    assert found.target.pulse_s[PART] - 0.85e-3 == exactly(1.848716985e-3)
    assert found.new[PART] == exactly(60.0 / 1.1125421340192)


def test_richer_mixture_and_higher_speed() -> None:
    found = on_itself(installation_a(), lambda_=0.88, rpm=(6000.0, 7000.0))
    assert found.table.pulse_s[FULL] == exactly(11.886989957e-3)
    assert found.table.duty[1, 0] == exactly(0.594349498)
    assert found.table.duty[1, 1] == exactly(0.693407747)


@pytest.mark.parametrize(
    ("battery", "milliseconds"),
    [(13.8, 0.885), (11.0, 1.475), (9.1, 2.1325), (6.5, 3.2375), (20.0, 0.25), (23.0, 0.0)],
)
def test_dead_time_between_and_beyond_its_points(battery: float, milliseconds: float) -> None:
    """8, 10, 12, 14, 16 V: 2.60, 1.75, 1.20, 0.85, 0.65 ms; at 23 V the end segment would be -0.05 ms."""
    dead = DeadPoints([8.0, 10.0, 12.0, 14.0, 16.0], [[2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3]])
    side = replace(installation_a(), dead=dead)
    found = run(problem(side, side, replace(ve_cells(0.85), battery=battery)))
    assert found.table.target.dead_time_s[1, 0] == pytest.approx(milliseconds * 1e-3, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize(
    ("density", "stoichiometric", "ratio"),
    [(747.434396, 14.302672745, 1.019124519456), (749.868792, 14.007275994, 1.038926123309)],
)
def test_petrol_table_untouched_on_e5_and_e10(density: float, stoichiometric: float, ratio: float) -> None:
    blended = replace(installation_a(), density=density, stoichiometric=stoichiometric)
    found = run(problem(installation_a(), blended, pulse_cells(10.562551161819152)))
    assert found.table.lambda_ratio["old_table_old_settings"][FULL] == exactly(ratio)


def test_flow_of_a_fixed_rail_at_part_and_full_load() -> None:
    flow = on_itself(replace(installation_a(), fixed_regulator=True)).table.target.line_flow_kg_s
    assert flow[0, 0] / flow[1, 0] == exactly(1.110093378677)


def test_flow_ratio_of_two_fuels_at_two_pressures() -> None:
    """ṁ(745 kg/m³, 3.5 bar)/ṁ(683.8140719 kg/m³, 3 bar): fluids 1.3.1, flow_meter_discharge, incompressible orifice."""
    rating = Rating(280 * CC_PER_MIN, False, 300_000.0, 683.8140719)
    rated = replace(installation_a(), static=rating, density=683.8140719)
    petrol = replace(installation_a(), static=rating, rail_pressure=350_000.0)
    found = run(problem(rated, petrol, ve_cells(0.85))).table
    assert found.target.line_flow_kg_s[1, 0] / found.donor.line_flow_kg_s[1, 0] == pytest.approx(
        1.12741163985191, rel=1e-12, abs=0.0
    )
