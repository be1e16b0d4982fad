"""The closed-form throttle transfer held against a simulation of both engines with absolute areas."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from basemap.physics import throttle
from tests.builders.cases import each
from tests.reference.throttle_simulator import GAS_CONSTANT, FloatArray, Simulated, efficiency_over_load

OPENINGS = np.array([0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
RPM = np.arange(800.0, 6801.0, 500.0)

# At 6800 rev/min and wide open this throttle leaves the donor 0.98501 of the barometer: the edge of what is claimed.
DONOR = Simulated(litres=1.998, cylinders=4, bores=1, bore_mm=51.3)

TARGETS = {
    "bigger, same throttle": Simulated(2.393, 4, 1, 51.3),
    "1.4 times, same throttle": Simulated(1.4 * 1.998, 4, 1, 51.3),
    "half, same throttle": Simulated(0.999, 4, 1, 51.3),
    "bigger, two bores, six cylinders": Simulated(2.8, 6, 2, 48.0),
    "three cylinders, small throttle": Simulated(1.4, 3, 1, 45.0),
    "bigger, hot, on a mountain": Simulated(2.393, 4, 1, 48.0, temperature_k=320.0, barometer_pa=80e3),
}


@dataclass(frozen=True)
class Compared:
    """Donor air carried over, beside the target's own simulation; errors as fractions, shape (openings, speeds)."""

    error: FloatArray
    plain_error: FloatArray
    donor_wide_open: FloatArray

    @property
    def claimed(self) -> FloatArray:
        """The errors at the speeds for which the accuracy is claimed."""
        return self.error[:, self.donor_wide_open >= 0.985]


def carried(donor: Simulated, target: Simulated, air: FloatArray, wide_open: FloatArray) -> FloatArray:
    """The donor's air per cylinder carried to the target by the code under test."""
    ratio = throttle.target_ratio(
        air / wide_open,
        target.litres / donor.litres,
        donor.bore_area_m2 / target.bore_area_m2,
        donor.temperature_k / target.temperature_k,
    )
    return throttle.target_air(
        ratio,
        wide_open,
        (target.litres / target.cylinders) / (donor.litres / donor.cylinders),
        donor.temperature_k / target.temperature_k,
        target.barometer_pa / donor.barometer_pa,
    )


def compare(donor: Simulated, target: Simulated) -> Compared:
    donor_air, donor_ratio = donor.tables(OPENINGS, RPM)
    target_air, _ = target.tables(OPENINGS, RPM)
    volumes = (target.litres / target.cylinders) / (donor.litres / donor.cylinders)
    density = donor.temperature_k / target.temperature_k * target.barometer_pa / donor.barometer_pa
    return Compared(
        error=carried(donor, target, donor_air, donor_air[-1]) / target_air - 1.0,
        plain_error=donor_air * volumes * density / target_air - 1.0,
        donor_wide_open=donor_ratio[-1],
    )


# scipy's brentq on the balance of the manifold, 1e-14. Seen: largest error of the six 0.26 … 1.44 %; it is richer than
# true where the target asks more of its throttle than the donor did (+1.44 % at 1.4 times), leaner where it asks less
# (−1.12 % at half). Plain scaling is 9 … 50 % off in the same table.
@pytest.mark.check_value
@each("name", TARGETS)
def test_every_cell_is_within_one_and_a_half_per_cent(name: str) -> None:
    compared = compare(DONOR, TARGETS[name])
    assert compared.claimed.shape == compared.error.shape
    assert np.max(np.abs(compared.claimed)) <= 0.015
    assert np.max(np.abs(compared.plain_error)) > 0.05
    assert np.max(np.abs(compared.plain_error)) > 15.0 * np.max(np.abs(compared.claimed))


@pytest.mark.check_value
def test_plain_scaling_is_forty_per_cent_off() -> None:
    plain = compare(DONOR, TARGETS["1.4 times, same throttle"]).plain_error
    assert np.max(plain) == pytest.approx(0.40, abs=1e-6)


# The claim ends at 1.4 times the donor's flow per bore area: at 1.7 times the error is 2.84 %, at twice 4.52 %, rich,
# all of it at large openings and high speed, where the donor's wide-open manifold is not quite the barometer's.
@pytest.mark.check_value
@each(("share", "seen"), [(1.7, 0.0284), (2.0, 0.0452)])
def test_beyond_one_and_four_tenths_it_is_worse(share: float, seen: float) -> None:
    claimed = compare(DONOR, replace(DONOR, litres=share * DONOR.litres)).claimed
    assert np.max(np.abs(claimed)) == pytest.approx(seen, abs=5e-5)
    assert np.max(-claimed) < 1e-9


# The whole error above is the wide-open manifold taken for the barometer's. With the ratio of the wide-open row as the
# simulation has it, the closed form agrees to 1e-9 at any size.
@pytest.mark.check_value
@each("target", [*TARGETS.values(), replace(DONOR, litres=4.0)])
def test_with_the_wide_open_ratio_known_it_is_exact(target: Simulated) -> None:
    donor_air, donor_ratio = DONOR.tables(OPENINGS, RPM)
    target_air, _ = target.tables(OPENINGS, RPM)
    at_the_barometer = donor_air[-1] / donor_ratio[-1]
    assert carried(DONOR, target, donor_air, at_the_barometer) == pytest.approx(target_air, rel=1e-9)


# Efficiency that falls with load by the burned gas left in the cylinder (compression 10): donor and target stand at
# different pressures, so "the same efficiency" is no longer true. Seen over 51.3, 55 and 60 mm: −1.63 … +1.55 % at 1.4
# times, −1.21 … +1.29 % at half. The limit here is loose.
@pytest.mark.check_value
@each("share", [0.5, 1.4])
@each("bore_mm", [51.3, 55.0, 60.0])
def test_an_efficiency_that_depends_on_load_costs_two_per_cent(share: float, bore_mm: float) -> None:
    donor = replace(DONOR, bore_mm=bore_mm, efficiency=efficiency_over_load)
    error = compare(donor, replace(donor, litres=share * donor.litres)).claimed
    assert np.max(np.abs(error)) < 0.025


# A donor with a throttle too small for it, 42 mm: its wide-open manifold falls to 0.967 of the barometer. Seen where it
# is below 0.985: +3.17 % at 1.4 times, −2.46 % at half; the other speeds keep the 1.5 %. The limit here is loose.
@pytest.mark.check_value
@each("share", [0.5, 1.4])
def test_a_small_throttle_costs_four_per_cent(share: float) -> None:
    donor = replace(DONOR, bore_mm=42.0)
    compared = compare(donor, replace(donor, litres=share * donor.litres))
    assert np.min(compared.donor_wide_open) == pytest.approx(0.967, abs=5e-4)
    assert np.max(np.abs(compared.claimed)) <= 0.015
    assert 0.015 < np.max(np.abs(compared.error)) < 0.04


# A throttle far too big leaves nothing but the cylinders: the air scales with their volume. Wide open the simulated
# manifolds are at 0.99997 or more, which is the tolerance.
@pytest.mark.check_value
def test_wide_open_the_air_goes_with_the_cylinder() -> None:
    donor, target = Simulated(1.6, 4, 1, 250.0), Simulated(2.4, 4, 1, 250.0)
    wide_open, rpm = np.array([1.0]), np.array([1000.0, 3000.0, 6000.0])
    donor_air, _ = donor.tables(wide_open, rpm)
    target_air, _ = target.tables(wide_open, rpm)
    moved = carried(donor, target, donor_air, donor_air[-1])
    assert moved == pytest.approx(1.5 * donor_air, rel=1e-12)
    assert moved == pytest.approx(target_air, rel=5e-5)


# Sonic in both: air per second is the blade's affair alone. The simulation and the closed form agree on A_t/A_d to the
# wide-open error (2e-4 with this throttle at these speeds); the law itself is exact.
@pytest.mark.check_value
def test_choked_the_air_per_second_goes_with_the_bores() -> None:
    donor, target = Simulated(1.6, 4, 1, 60.0), Simulated(2.4, 6, 2, 50.0)
    openings, rpm = np.array([0.05, 1.0]), np.array([3000.0, 4000.0])
    donor_air, donor_ratio = donor.tables(openings, rpm)
    target_air, target_ratio = target.tables(openings, rpm)
    assert max(np.max(donor_ratio[0]), np.max(target_ratio[0])) < throttle.CRITICAL_RATIO
    moved = carried(donor, target, donor_air, donor_air[-1])
    areas = target.bore_area_m2 / donor.bore_area_m2
    assert moved[0] * target.cylinders == pytest.approx(areas * donor_air[0] * donor.cylinders, rel=1e-12)
    assert target_air[0] * target.cylinders == pytest.approx(areas * donor_air[0] * donor.cylinders, rel=1e-9)


# The same blade and manifold from the absolute areas; the balance is found in closed form instead of by iteration.
@pytest.mark.check_value
@each("opening", [0.05, 0.2, 0.5, 1.0])
@each("rpm", [1000.0, 6000.0])
def test_the_manifold_pressure_without_iteration(opening: float, rpm: float) -> None:
    drawn = DONOR.efficiency(rpm, 1.0) * DONOR.litres / 1000.0 * rpm / 120.0
    ratio = throttle.pressure_ratio(drawn, DONOR.effective_area_m2(opening), DONOR.temperature_k)
    # The simulation has R = 287.05, 1e-5 below the standard's.
    assert float(ratio) == pytest.approx(DONOR.manifold_pa(opening, rpm) / DONOR.barometer_pa, rel=2e-5)


@pytest.mark.check_value
@each("ratio", [0.1, 0.5, 0.53, 0.7, 0.9, 0.99, 0.9999])
def test_the_flow_function_is_the_nozzle_s(ratio: float) -> None:
    per_area = DONOR.blade_kg_s(0.3, ratio * DONOR.barometer_pa) / DONOR.effective_area_m2(0.3)
    nozzle = per_area * np.sqrt(GAS_CONSTANT * DONOR.temperature_k) / DONOR.barometer_pa
    assert float(throttle.flow_function(ratio)) == pytest.approx(nozzle, rel=1e-10)


# A fixed rail of 250 kPa: the donor's fuel, hence its air, is decoded at the full rail pressure although the manifold's
# vacuum adds to it. Seen: the ratio is 0.02 … 1.82 % high, all of it the wide-open manifold taken for the barometer's;
# with that taken out the root is exact.
@pytest.mark.check_value
def test_a_fixed_rail_hides_the_true_ratio() -> None:
    rail_pa = 250e3
    air, ratio = DONOR.tables(OPENINGS, RPM)
    across = rail_pa + DONOR.barometer_pa - ratio * DONOR.barometer_pa
    decoded = air / np.sqrt(across / rail_pa)
    at_the_barometer = air[-1] / ratio[-1]
    exact = throttle.fixed_rail_ratio(decoded / at_the_barometer, DONOR.barometer_pa / rail_pa)
    assert exact == pytest.approx(ratio, rel=1e-9)
    usual = throttle.fixed_rail_ratio(decoded / decoded[-1], DONOR.barometer_pa / rail_pa)
    assert usual == pytest.approx(ratio, rel=0.02)


# The same through to the target's air: −1.42 … +1.14 % from half to 1.4 times. Taking the apparent ratio for the true
# one, at the cells with the deepest vacuum, is 15.3 % lean.
@pytest.mark.check_value
@each("share", [0.5, 1.0, 1.4])
def test_a_fixed_rail_through_to_the_air(share: float) -> None:
    rail_pa, target = 250e3, replace(DONOR, litres=share * DONOR.litres)
    air, ratio = DONOR.tables(OPENINGS, RPM)
    true, _ = target.tables(OPENINGS, RPM)
    decoded = air / np.sqrt((rail_pa + DONOR.barometer_pa - ratio * DONOR.barometer_pa) / rail_pa)
    wide_open, apparent = decoded[-1], decoded / decoded[-1]
    found = throttle.fixed_rail_ratio(apparent, DONOR.barometer_pa / rail_pa)
    error = carried(DONOR, target, found * wide_open, wide_open) / true - 1.0
    untreated = carried(DONOR, target, decoded, wide_open) / true - 1.0
    assert np.max(np.abs(error)) <= 0.015
    assert np.min(untreated) == pytest.approx(-0.153, abs=5e-4)


def breathing(engine: Simulated, times: float) -> Simulated:
    """The same engine with so many times its volumetric efficiency."""
    return replace(engine, efficiency=lambda rpm, ratio: times * engine.efficiency(rpm, ratio))


# The simulated manifold settles anew (brentq, 1e-14) where the efficiency is another: agreement 1e-10 of the air, and
# 1e-6 of the slope by differences of the simulation.
@pytest.mark.check_value
@each("times", [0.75, 0.9, 1.1, 1.3])
@each("name", ["bigger, same throttle", "bigger, hot, on a mountain"])
def test_air_behind_the_blade_follows_another_efficiency(name: str, times: float) -> None:
    air, ratio = TARGETS[name].tables(OPENINGS, RPM)
    other, _ = breathing(TARGETS[name], times).tables(OPENINGS, RPM)
    np.testing.assert_allclose(throttle.air_over(ratio, times), other / air, rtol=1e-9)


@pytest.mark.check_value
def test_its_slope_is_the_stiffness_of_the_manifold() -> None:
    engine, step = TARGETS["bigger, same throttle"], 1e-4
    _, ratio = engine.tables(OPENINGS, RPM)
    more, less = (breathing(engine, np.exp(by)).tables(OPENINGS, RPM)[0] for by in (step, -step))
    slope = np.log(more / less) / (2.0 * step)
    smooth = np.abs(ratio - throttle.CRITICAL_RATIO) > 1e-3
    assert slope.min() == pytest.approx(0.0, abs=1e-6)
    assert slope.max() > 0.95
    np.testing.assert_allclose(throttle.stiffness(ratio)[smooth], slope[smooth], atol=1e-5)
