"""Whole jobs that load, and the numbers in them worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.jobfile.load import load_job
from basemap.model.installation import Cycle, DonorState, Induction, Regulator
from basemap.model.table import Inside, TableQuantity
from basemap.physics.fuel import blend
from tests.builders.cases import each
from tests.builders.files import VALID, assumed, valid

NAMES = sorted(path.stem for path in VALID.glob("*.toml"))
PSI = 6894.757293168
INHG = 3386.38864034


def test_the_folder_is_not_empty() -> None:
    assert len(NAMES) >= 9


@each("name", NAMES)
def test_it_loads(name: str) -> None:
    job = load_job(VALID / f"{name}.toml")
    assert job.stem == name
    assert job.donor.table.values.shape == (job.donor.table.load_pa.size, job.rpm.size)
    assert np.isnan(job.target.table.values).all()
    assert job.layout is not None
    assumed(job)  # none twice


def test_a_plain_job() -> None:
    job = valid("ve_job")
    donor, table = job.donor.hardware, job.donor.table
    assert donor.engine.displacement_m3 == pytest.approx(1.998e-3)
    assert (donor.engine.cylinders, donor.engine.cycle) == (4, Cycle.FOUR_STROKE)
    assert donor.injectors.static.value == pytest.approx(280e-6 / 60)
    assert not donor.injectors.static.is_mass
    assert donor.injectors.static.pressure_pa == pytest.approx(3e5)
    assert donor.injectors.static.fluid_density == pytest.approx(683.81407)  # n-heptane, 20 °C: CoolProp
    assert donor.fuel.rail_pressure_pa == pytest.approx(3e5)
    assert donor.fuel.name == "E5"
    assert donor.fuel.ethanol == pytest.approx(0.05)
    np.testing.assert_allclose(table.values[0], [0.42, 0.48, 0.50, 0.46], rtol=1e-12)
    np.testing.assert_allclose(table.load_pa, [30e3, 60e3, 80e3, 100e3], rtol=1e-12)
    np.testing.assert_array_equal(table.rpm, [1000, 3000, 5000, 6500])
    np.testing.assert_array_equal(table.intended_lambda, np.ones((4, 4)))
    assert table.inside == Inside(pressure=False, intended_lambda=False, dead_time=False)
    assert table.battery_v == 13.8
    assert (
        job.target.shown.unit,
        job.target.shown.per_unit,
        job.target.shown.load_unit,
        job.target.shown.decimals,
    ) == ("%", 0.01, "kPa", 0)
    assert job.donor_state is DonorState.TUNED
    assert job.donor.flow_known
    assert job.donor.fuel_known
    assert job.donor.dead_time_known
    assert job.target.told.flow is job.donor.told.flow is None


def test_a_boosted_job_in_psi() -> None:
    job = valid("boosted_in_psi")
    p0 = 95460.8353365  # ISO 2533 at 500 m
    donor, target, table = job.donor.hardware, job.target.hardware, job.donor.table
    assert donor.conditions.barometer_pa == pytest.approx(p0, rel=1e-9)
    assert target.conditions.barometer_pa == pytest.approx(101325.03, rel=1e-6)  # 29.92126 inHg is conventional
    assert target.conditions.charge_temperature_k == pytest.approx(293.15)
    assert (donor.conditions.battery_v, target.conditions.battery_v) == (13.8, 13.5)
    assert donor.engine.induction is Induction.BOOSTED
    assert donor.engine.peak_pressure_pa == pytest.approx(p0 + 12 * PSI)
    # The target's copy of the same words refers to the target's own barometer.
    assert target.engine.peak_pressure_pa == pytest.approx(target.conditions.barometer_pa + 12 * PSI)
    assert target.engine.load_cut_pa == pytest.approx(target.conditions.barometer_pa + 8 * PSI)
    assert target.engine.idle_pressure_pa == pytest.approx(target.conditions.barometer_pa - 10 * PSI)
    assert (target.engine.idle_rpm, target.engine.cranking_rpm, target.engine.rev_cut_rpm) == (950, 180, 6500)
    assert target.engine.coldest_start_k == pytest.approx(268.15)
    assert target.engine.displacement_m3 == pytest.approx(121.9 * 0.0254**3)
    assert target.engine.rev_limit_rpm == 6800
    assert donor.engine.rated_power_w == pytest.approx(190 * 745.69987, rel=1e-7)
    np.testing.assert_allclose(table.load_pa, p0 + PSI * np.array([-10, -4, 0, 12]), rtol=1e-9)
    np.testing.assert_array_equal(job.target.shown.load, [-10, -4, 0, 12])
    assert (table.battery_v, job.target.table.battery_v) == (13.6, 13.9)


def test_its_injectors_are_rated_twice_and_known_over_pressure() -> None:
    injectors = valid("boosted_in_psi").donor.hardware.injectors
    mass = 42 * 0.45359237 / 3600
    assert injectors.static.is_mass
    assert injectors.static.mass_flow == pytest.approx(mass)
    assert injectors.static.fluid_density == pytest.approx(mass / (440e-6 / 60))
    assert injectors.slope is not None
    assert injectors.slope.mass_flow == pytest.approx(41 * 0.45359237 / 3600)
    assert injectors.slope.fluid_density == injectors.static.fluid_density
    assert injectors.per_cylinder == 2.0  # 8 for 4 cylinders
    assert injectors.openings_per_cycle == 2.0
    assert injectors.shortest_pulse_s == pytest.approx(0.9e-3)
    dead = injectors.dead_time
    np.testing.assert_allclose(dead.battery_v, [10, 12, 14])
    assert dead.pressure_pa is not None
    np.testing.assert_allclose(dead.pressure_pa, [3e5, 4e5])
    np.testing.assert_allclose(dead.time_s, [[1.95e-3, 1.38e-3, 1.00e-3], [2.10e-3, 1.50e-3, 1.10e-3]])


def test_its_lambda_is_an_air_fuel_table_on_other_axes() -> None:
    wanted = valid("boosted_in_psi").donor.table.intended_lambda
    # 14.7, 12.495 and 11.76 … 11.025 on a basis of 14.7 are 1, 0.85 and 0.80 … 0.75 at −10, 0 and 12 psi, from 1000 to
    # 6500 rpm. The fuel table also has −4 psi (six tenths of the way), 3000 and 5000 rpm (4/11 and 8/11).
    np.testing.assert_allclose(wanted[:, 0], [1.0, 0.91, 0.85, 0.80], rtol=1e-12)
    np.testing.assert_allclose(wanted[3], [0.80, 0.80 - 0.05 * 4 / 11, 0.80 - 0.05 * 8 / 11, 0.75], rtol=1e-12)


def test_its_target_says_what_its_own_ecu_does() -> None:
    job = valid("boosted_in_psi")
    assert job.target.table.inside == Inside(intended_lambda=True)
    np.testing.assert_array_equal(job.target.table.intended_lambda, np.full((4, 4), 0.85))
    assert (job.storage.decimals, job.storage.minimum, job.storage.maximum) == (1, 0.0, 200.0)


def test_its_target_copies_the_donors_fuel_but_for_the_blend() -> None:
    job = valid("boosted_in_psi")
    assert dict(job.donor.hardware.fuel.parts) == pytest.approx({"petrol": 0.9, "ethanol": 0.1})
    assert dict(job.target.hardware.fuel.parts) == pytest.approx({"petrol": 0.15, "ethanol": 0.85})
    for fuel in (job.donor.hardware.fuel, job.target.hardware.fuel):
        assert fuel.rail_pressure_pa == pytest.approx(43.5 * PSI)
        assert fuel.regulator is Regulator.FIXED
        assert fuel.octane == 98
        assert fuel.temperature_k == pytest.approx(313.15)
    assert job.donor.hardware.fuel.density == pytest.approx(blend({"petrol": 0.9, "ethanol": 0.1}, 313.15).density)


def test_a_pulse_width_table_over_vacuum() -> None:
    job = valid("pulse_width_vacuum")
    table = job.donor.table
    assert table.quantity is TableQuantity.PULSE_WIDTH
    assert table.inside == Inside(pressure=True, intended_lambda=True, dead_time=True)
    # The file begins at no vacuum: lowest absolute pressure first means most vacuum first.
    np.testing.assert_allclose(table.load_pa, 100e3 - INHG * np.array([20, 8, 0]), rtol=1e-9)
    np.testing.assert_array_equal(job.target.shown.load, [20, 8, 0])
    np.testing.assert_allclose(table.values[:, 0], [3.0e-3, 9.0e-3, 13.1e-3], rtol=1e-12)
    np.testing.assert_allclose(table.intended_lambda[0], 1.0)
    np.testing.assert_allclose(table.intended_lambda[1, 0], 1.0 - 0.1 * 12 / 20)
    np.testing.assert_allclose(table.intended_lambda[2], [0.9, 0.88, 0.87, 0.86])
    assert (job.target.shown.unit, job.target.shown.per_unit, job.target.shown.decimals) == ("ms", 1e-3, 1)
    assert not job.donor.told.corrects_charge_temperature
    assert job.donor.told.formula_factor == job.target.told.formula_factor == 1.02


def test_a_target_that_is_the_donor() -> None:
    job = valid("pulse_width_vacuum")
    assert job.same_as_donor == {"engine", "injectors", "fuel", "settings", "conditions"}
    assert job.target.hardware.engine.displacement_m3 == job.donor.hardware.engine.displacement_m3
    assert job.target.hardware.fuel == job.donor.hardware.fuel
    assert job.target.hardware.conditions == job.donor.hardware.conditions
    assert job.target.hardware.conditions.charge_temperature_k == pytest.approx(308.15)


def test_a_two_stroke_with_one_injector_for_two_cylinders() -> None:
    job = valid("two_stroke")
    assert job.donor.hardware.engine.cycle is job.target.hardware.engine.cycle is Cycle.TWO_STROKE
    assert job.target.hardware.injectors.per_cylinder == 0.5
    assert job.target.hardware.fuel.density == pytest.approx(740.0)
    assert job.target.hardware.fuel.stoichiometric == 14.5
    np.testing.assert_allclose(job.donor.table.intended_lambda[3], [0.9, 0.88, 0.88, 0.88], rtol=1e-12)
