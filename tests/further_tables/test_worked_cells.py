"""Cells of every kind of further table, worked out by hand in the comments. The numbers are those of `jobs.BASE`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.model.further_table import FurtherQuantity
from basemap.model.marks import Mark
from basemap.report.grid_file import further_table_bytes
from tests.builders.round_numbers import CRANK, CRANK_CSV, TARGET_RAIL, first, job_with

# The source of every expected number is the pocket calculator: the arithmetic stands beside it.
pytestmark = pytest.mark.check_value


def test_a_cranking_pulse_at_8_5_volts(tmp_path: Path) -> None:
    crank = first(job_with(tmp_path, CRANK, crank=CRANK_CSV))
    # 2.8 + 0.9 · (18.4 − 2.4) = 17.2; 2.8 + 0.9 · 6.6 = 8.74; 2.8 + 0.9 · 4.0 = 6.4
    np.testing.assert_allclose(crank.new, [17.2, 8.74, 6.4], rtol=1e-12)
    np.testing.assert_allclose(crank.pulse_s, [17.2e-3, 8.74e-3, 6.4e-3], rtol=1e-12)
    np.testing.assert_allclose(crank.dead_time_s, 2.8e-3, rtol=1e-12)
    assert crank.battery_v == 8.5
    # As the file has it: two decimals.
    assert further_table_bytes(crank) == b"degC,ms\n-20,17.20\n20,8.74\n80,6.40\n"


def test_without_its_dead_time_a_cranking_pulse_would_lose_almost_half_its_fuel(tmp_path: Path) -> None:
    crank = first(job_with(tmp_path, CRANK, crank=CRANK_CSV))
    # At 20 degC 5.94 ms of the 8.74 deliver. A table of 5.94 ms, its dead time dropped, would deliver for 3.14 ms.
    delivering = crank.new[1] - 2.8
    assert delivering == pytest.approx(5.94, rel=1e-12)
    lost = 1.0 - (delivering - 2.8) / delivering
    assert lost == pytest.approx(2.8 / 5.94, rel=1e-12)
    assert 0.47 < lost < 0.475
    # Scaled as a whole, dead time and all, it would be 0.9 · 9.0 = 8.1 ms: 0.64 ms, 10.8 % of its fuel, short.
    assert (crank.new[1] - 0.9 * 9.0) / delivering == pytest.approx(0.64 / 5.94, rel=1e-12)


def test_a_dead_time_that_the_ecu_adds_is_not_in_the_cells(tmp_path: Path) -> None:
    applies = ("ecu_applies = []", 'ecu_applies = ["dead time"]')
    crank = first(job_with(tmp_path, CRANK, applies, crank=CRANK_CSV))
    # The whole donor cell delivers: 0.9 · 18.4, 9.0, 6.4. The ECU's own 2.8 ms are in the pulse.
    np.testing.assert_allclose(crank.new, [16.56, 8.1, 5.76], rtol=1e-12)
    np.testing.assert_allclose(crank.pulse_s * 1e3, [19.36, 10.9, 8.56], rtol=1e-12)


def test_a_dead_time_that_the_target_adds_but_the_donor_did_not(tmp_path: Path) -> None:
    own = CRANK + '[target.tables.crank]\necu_applies = ["dead time"]\n'
    crank = first(job_with(tmp_path, own, crank=CRANK_CSV))
    # 0.9 · 16.0, 6.6 and 4.0
    np.testing.assert_allclose(crank.new, [14.4, 5.94, 3.6], rtol=1e-12)


def test_a_wrong_dead_time_of_the_donor_is_taken_out(tmp_path: Path) -> None:
    told = '[donor.settings.dead_time]\nbattery = ["8 V", "14 V"]\ntime = ["2.0 ms", "2.0 ms"]\n'
    applies = ("ecu_applies = []", 'ecu_applies = ["dead time"]')
    crank = first(job_with(tmp_path, CRANK + told, applies, crank=CRANK_CSV))
    # The donor was told 2.0 ms and needs 2.4: of a cell of 9.0 only 8.6 delivered; 0.9 · 8.6 = 7.74
    np.testing.assert_allclose(crank.new, [0.9 * 18.0, 7.74, 0.9 * 6.0], rtol=1e-12)


def test_a_target_with_bent_lines(tmp_path: Path) -> None:
    slopes = '[target.injectors.bent_line]\nbelow = "600 g/min"\nabove = "480 g/min"\nat_mass = "50 mg"\n'
    crank = first(job_with(tmp_path, CRANK + slopes, crank=CRANK_CSV))
    # The fuel is 8 mg/ms · 14.4, 5.94 and 3.6 ms: 115.2, 47.52 and 28.8 mg. At 10 mg/ms up to 50 mg and 8 mg/ms above:
    # 5 + 65.2/8 = 13.15, 4.752 and 2.88 ms; with 2.8 ms of dead time 15.95, 7.552 and 5.68.
    np.testing.assert_allclose(crank.new, [15.95, 7.552, 5.68], rtol=1e-12)


def test_the_targets_own_battery(tmp_path: Path) -> None:
    own = CRANK + '[target.tables.crank]\nbattery = "10 V"\n'
    crank = first(job_with(tmp_path, own, crank=CRANK_CSV))
    # Decoded at 8.5 V, encoded at 10 V, where the target's dead time is 2.2 ms.
    np.testing.assert_allclose(crank.new, [16.6, 8.14, 5.8], rtol=1e-12)


def test_at_the_barometer_of_either_side(tmp_path: Path) -> None:
    high = '\n[target.conditions]\nbarometer = "80 kPa"\n'
    crank = first(job_with(tmp_path, CRANK + high, crank=CRANK_CSV))
    # 0.8 of the air: 2.8 + 0.9 · 0.8 · 6.6 = 7.552
    assert crank.new[1] == pytest.approx(7.552, rel=1e-12)


def test_at_the_barometer_a_fixed_rail_has_its_full_pressure(tmp_path: Path) -> None:
    fixed = ('rail_pressure = "3.0 bar"\nregulator = "manifold"', 'rail_pressure = "3.0 bar"\nregulator = "fixed"')
    crank = first(job_with(tmp_path, CRANK, fixed, crank=CRANK_CSV))
    np.testing.assert_allclose(crank.new, [17.2, 8.74, 6.4], rtol=1e-12)


def test_pressure_that_the_ecu_applies_at_the_barometer(tmp_path: Path) -> None:
    applies = ("ecu_applies = []", 'ecu_applies = ["pressure"]\nreference_pressure = "50 kPa"')
    high = '\n[target.conditions]\nbarometer = "80 kPa"\n'
    crank = first(job_with(tmp_path, CRANK + high, applies, crank=CRANK_CSV))
    # Donor: 9.0 · 100/50 = 18 ms, 15.6 of them deliver. Target: 0.8 · 0.9 · 15.6 + 2.8 = 14.032 ms; / (80/50) = 8.77
    assert crank.new[1] == pytest.approx(8.77, rel=1e-12)
    assert crank.pulse_s[1] == pytest.approx(14.032e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("donor", "target", "fuel_share"),
    [
        # All injectors of both open twice a cycle while they crank: it cancels.
        ("openings_per_cycle = 2", "", 0.9),
        # The donor's opened twice, the target's once: each opening of the target gives what two gave.
        ("openings_per_cycle = 2", "openings_per_cycle = 1", 1.8),
        # A weak battery leaves the target's pump at a quarter of the pressure: half the flow.
        ("", 'rail_pressure = "0.75 bar"', 1.8),
        # The donor's rail stood at 0.75 bar, half its flow; the target's stands where its [target.fuel] says.
        ('rail_pressure = "0.75 bar"', "", 0.45),
    ],
)
def test_openings_and_rail_while_it_cranks(tmp_path: Path, donor: str, target: str, fuel_share: float) -> None:
    tables = f"{CRANK}{donor}\n[target.tables.crank]\n{target}\n"
    crank = first(job_with(tmp_path, tables, crank=CRANK_CSV))
    np.testing.assert_allclose(crank.new, 2.8 + fuel_share * np.array([16.0, 6.6, 4.0]), rtol=1e-12)


def test_openings_twice_a_cycle_of_the_target_only(tmp_path: Path) -> None:
    wired = ('static_flow = "480 g/min"', 'static_flow = "480 g/min"\nopenings_per_cycle = 2')
    crank = first(job_with(tmp_path, CRANK, wired, crank=CRANK_CSV))
    np.testing.assert_allclose(crank.new, 2.8 + 0.45 * np.array([16.0, 6.6, 4.0]), rtol=1e-12)


RATE = """
[donor.tables.pump]
file = "pump.csv"
quantity = "pulse width"
ecu_applies = ["dead time"]
axis = "throttle rate"
axis_unit = "%/s"
"""


def test_an_acceleration_pulse_over_a_rate(tmp_path: Path) -> None:
    warm = '\n[target.conditions]\ncharge_temperature = "20 degC"\n'
    pump = first(job_with(tmp_path, RATE + warm, pump="%/s;100;400;900\nms;0,00;1,20;2,50\n"))
    # Not over coolant: colder air is denser, 313.15/293.15. No pulse stays no pulse.
    np.testing.assert_allclose(pump.new, np.array([0.0, 1.2, 2.5]) * 0.9 * 313.15 / 293.15, rtol=1e-12)
    # 1.0 and 1.2 ms at 14 V: 1.04 and 1.25 at 13.8 V, the battery of the conditions.
    assert pump.pulse_s[1] == pytest.approx(1.2e-3 * 0.9 * 313.15 / 293.15 + 1.25e-3, rel=1e-12)
    # 1.1536… and 2.4035…, with the file's decimal comma.
    assert further_table_bytes(pump) == b"%/s;100;400;900\nms;0,00;1,15;2,40\n"


def test_over_coolant_the_charge_has_the_same_temperature(tmp_path: Path) -> None:
    warm = '\n[target.conditions]\ncharge_temperature = "20 degC"\n'
    crank = first(job_with(tmp_path, CRANK + warm, crank=CRANK_CSV))
    np.testing.assert_allclose(crank.new, [17.2, 8.74, 6.4], rtol=1e-12)


AFTER = """
[donor.tables.after]
file = "after.csv"
quantity = "pulse width"
ecu_applies = []
load = "manifold pressure"
load_unit = "kPa"
battery = "10 V"
"""


def test_pulses_over_speed_and_pressure(tmp_path: Path) -> None:
    after = first(job_with(tmp_path, AFTER, after="kPa,1000,2000\n100,9.8,8.8\n25,3.8,2.8\n"))
    # Lowest load first. Dead times at 10 V: 1.8 and 2.2 ms. 2.2 + 0.9 · 2.0, 1.0; 2.2 + 0.9 · 8.0, 7.0
    np.testing.assert_allclose(after.new, [[4.0, 3.1], [9.4, 8.5]], rtol=1e-12)
    assert further_table_bytes(after) == b"kPa,1000,2000\n100,9.4,8.5\n25,4.0,3.1\n"
    assert [axis.name for axis in after.axes] == ["manifold pressure", "rpm"]


def test_pulses_over_pressure_where_only_the_targets_rail_is_fixed(tmp_path: Path) -> None:
    fixed = (TARGET_RAIL, TARGET_RAIL.replace("manifold", "fixed"))
    after = first(job_with(tmp_path, AFTER, fixed, after="kPa,1000,2000\n100,9.8,8.8\n25,3.8,2.8\n"))
    # At 25 kPa 3 + 1 − 0.25 = 3.75 bar press on the fuel: 0.9 · √(3/3.75) = 0.804984… of what the donor delivered.
    share = 0.9 * 0.894427191
    np.testing.assert_allclose(after.new, [[2.2 + 2.0 * share, 2.2 + share], [9.4, 8.5]], rtol=1e-9)


def test_pulses_over_gauge_pressure_on_a_fixed_rail(tmp_path: Path) -> None:
    fixed = ('regulator = "manifold"', 'regulator = "fixed"')
    unit = ('load_unit = "kPa"\nbattery', 'load_unit = "bar gauge"\nbattery')
    # The rail is fixed on both sides: the same pressure across both injectors, whatever the load, and the share stays.
    after = first(job_with(tmp_path, AFTER, fixed, unit, after="bar,1000,2000\n-0.75,3.8,2.8\n0,9.8,8.8\n"))
    np.testing.assert_allclose(after.new, [[4.0, 3.1], [9.4, 8.5]], rtol=1e-12)
    assert after.table.load_pa is not None
    np.testing.assert_allclose(after.table.load_pa, [25e3, 100e3], rtol=1e-12)


def test_percentages_stay_to_the_bit(tmp_path: Path) -> None:
    table = '[donor.tables.warm_up]\nfile = "w.csv"\nquantity = "percent"\naxis = "ECT"\naxis_unit = "degF"\n'
    content = "# mine\ndegF , %\n-4   , 162.10\n32   , 139.7\n176  , 100\n"
    warm = first(job_with(tmp_path, table, w=content))
    assert warm.new.tolist() == [162.10, 139.7, 100.0]
    assert further_table_bytes(warm).decode() == content
    # −4 °F is −20 °C and 32 °F is 0 °C; 176 °F is 80 °C.
    assert warm.marks[Mark.CALIBRATE].tolist() == [True, True, False]


def test_lambda_stays(tmp_path: Path) -> None:
    table = '[donor.tables.goal]\nfile = "g.csv"\nquantity = "lambda"\nload = "manifold pressure"\nload_unit = "kPa"\n'
    content = "kPa,1000,5000\n30,1.00,1.00\n100,0.88,0.86\n"
    goal = first(job_with(tmp_path, table, g=content))
    assert goal.new.tolist() == [[1.0, 1.0], [0.88, 0.86]]
    assert further_table_bytes(goal).decode() == content


RATIO = """
[donor.tables.ratio]
file = "r.csv"
quantity = "air/fuel ratio"
basis = BASIS
load = "manifold pressure"
load_unit = "kPa"
"""
RATIO_CSV = "kPa,1000,5000\n30,14.70,14.70\n100,13.23,12.25\n"


def test_an_air_fuel_ratio_that_means_the_fuel_in_use(tmp_path: Path) -> None:
    ratio = first(job_with(tmp_path, RATIO.replace("BASIS", '"fuel in use"'), r=RATIO_CSV))
    # λ 1, 0.9 and 0.8333 on E85-like fuel of L = 9.8
    np.testing.assert_allclose(ratio.new, [[9.8, 9.8], [8.82, 12.25 * 9.8 / 14.7]], rtol=1e-12)
    assert further_table_bytes(ratio) == b"kPa,1000,5000\n30,9.80,9.80\n100,8.82,8.17\n"


def test_an_air_fuel_ratio_that_means_petrol_whatever_the_fuel(tmp_path: Path) -> None:
    ratio = first(job_with(tmp_path, RATIO.replace("BASIS", "14.7"), r=RATIO_CSV))
    assert ratio.new.tolist() == [[14.7, 14.7], [13.23, 12.25]]
    assert further_table_bytes(ratio).decode() == RATIO_CSV


@pytest.mark.parametrize("basis", ["14.7", '"fuel in use"'])
def test_the_main_tables_mixture_may_be_a_further_table(tmp_path: Path, basis: str) -> None:
    tables = RATIO.replace("BASIS", basis)
    job = job_with(tmp_path, tables, ("lambda = 1.0", 'lambda = { table = "ratio" }'), r=RATIO_CSV)
    wanted = job.donor.table.intended_lambda
    # At 100 kPa 0.9 at 1000 and 12.25/14.7 at 5000 rpm, halfway between at 3000; at 60 kPa 3/7 of the way there.
    np.testing.assert_allclose(wanted[2], [0.9, (0.9 + 12.25 / 14.7) / 2, 12.25 / 14.7], rtol=1e-12)
    np.testing.assert_allclose(wanted[:, 0], [1.0, 1.0 - 0.1 * 3 / 7, 0.9], rtol=1e-12)
    np.testing.assert_array_equal(job.target.table.intended_lambda, wanted)


def test_the_targets_mixture_may_be_a_further_table_too(tmp_path: Path) -> None:
    tables = RATIO.replace("BASIS", '"fuel in use"') + '[target.tables.fuel]\nlambda = { table = "ratio" }\n'
    job = job_with(tmp_path, tables, r=RATIO_CSV)
    np.testing.assert_allclose(job.donor.table.intended_lambda, 1.0)
    np.testing.assert_allclose(job.target.table.intended_lambda[:, 0], [1.0, 1.0 - 0.1 * 3 / 7, 0.9], rtol=1e-12)
    assert job.further_tables[0].quantity is FurtherQuantity.AIR_FUEL_RATIO


def test_a_cell_that_delivered_nothing_has_no_air_to_carry_over(tmp_path: Path) -> None:
    crank = first(job_with(tmp_path, CRANK, crank="degC,ms\n-20,18.4\n20,2.0\n80,0.0\n"))
    # 2.0 ms is shorter than the donor's 2.4. A cell of 0 is no pulse on any engine.
    assert np.isnan(crank.new).tolist() == [False, True, False]
    assert crank.new[2] == 0.0
    assert crank.marks[Mark.DONOR_NO_FUEL].tolist() == [False, True, True]
    assert further_table_bytes(crank) == b"degC,ms\n-20,17.2\n20,\n80,0.0\n"


def test_a_cell_that_would_have_to_be_negative_is_left_empty(tmp_path: Path) -> None:
    told = '[target.settings.dead_time]\nbattery = ["8 V", "14 V"]\ntime = ["5.0 ms", "5.0 ms"]\n'
    applies = ("ecu_applies = []", 'ecu_applies = ["dead time"]')
    crank = first(job_with(tmp_path, CRANK + told, applies, crank="degC,ms\n20,1.0\n80,4.0\n"))
    # The pulses needed are 0.9 + 2.8 = 3.7 and 3.6 + 2.8 = 6.4 ms, of which the ECU adds 5 whatever the cell.
    assert np.isnan(crank.new[0])
    assert crank.new[1] == pytest.approx(1.4, rel=1e-12)
    assert crank.marks[Mark.NO_PULSE].tolist() == [True, False]
