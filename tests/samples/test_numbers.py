"""The samples against the invented engines that they were made from, and against ratios worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.model.installation import FloatArray
from tests.builders.results import adapted
from tests.samples import invented
from tests.samples.make_samples import REFUSED_FILES, SAMPLES, TEXT_FILES, WORKBOOK, launch_cells
from tests.samples.refused import FOLDER

PETROL_15, ETHANOL_15 = 745.0, 793.68792
L_PETROL, L_ETHANOL = 14.598360523, 9.001751083  # balances of CH1.87 and C2H6O, worked outside the package


def surface(breathing: invented.Breathing, rpm: FloatArray, kpa: FloatArray) -> FloatArray:
    """Volumetric efficiency of an invented engine, shape (loads, speeds)."""
    return np.array([[breathing.ve(speed, load) for speed in rpm] for load in kpa])


@pytest.mark.parametrize("name", TEXT_FILES)
def test_text_grids_are_as_made(name: str) -> None:
    assert (SAMPLES / name).read_text(encoding="utf-8") == TEXT_FILES[name]


def test_what_is_refused_is_as_made() -> None:
    folder = SAMPLES / FOLDER
    assert {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()} == REFUSED_FILES


def test_the_workbook_is_as_made() -> None:
    from openpyxl import load_workbook

    sheet = load_workbook(SAMPLES / WORKBOOK)["Fuel"]
    width = sheet.max_column
    wanted = [(row + [None] * width)[:width] for row in launch_cells()]
    assert [[cell.value for cell in row] for row in sheet.iter_rows()] == wanted


@pytest.mark.law
def test_a_pulse_width_table_decodes_to_the_engine_that_it_was_made_from() -> None:
    result = adapted(SAMPLES / "orchard_pickup.toml")
    made = surface(invented.ORCHARD_PICKUP, result.job.rpm, result.job.donor.table.load_pa / 1e3)
    # The cells hold 0.001 ms; the shortest has 1.8 ms beyond its dead time, so half a step is 2.8e-4 of it.
    np.testing.assert_allclose(result.table.implied_ve, made, rtol=3e-4)


@pytest.mark.law
def test_the_wrong_engine_would_have_to_take_in_nearly_twice_its_volume() -> None:
    result = adapted(SAMPLES / "wrong_engine.toml")
    made = surface(invented.BIG_SIX, result.job.rpm, result.job.donor.table.load_pa / 1e3)
    # Claimed against true: smaller cylinders, larger injectors. The fuel is E5 at 40 °C here and 725 kg/m³, 14.5 there:
    # 1.5 % in the ratio and 0.03 % in the square root of the density.
    claimed = made * (3500 / 6) / (1595 / 4) * 280 / 190
    np.testing.assert_allclose(result.table.implied_ve, claimed, rtol=0.02)
    assert 1.85 < float(result.table.implied_ve[-1].max()) < 1.95


@pytest.mark.law
def test_the_vans_cells_follow_the_pressure_across_its_new_injectors() -> None:
    result = adapted(SAMPLES / "ferry_van.toml")
    load_kpa = result.job.donor.table.load_pa[:, np.newaxis] / 1e3
    wanted = np.sqrt(350.0 / (350.0 + 101.325 - load_kpa))
    np.testing.assert_allclose(
        result.table.new / result.table.old, np.broadcast_to(wanted, result.table.new.shape), rtol=1e-12
    )


@pytest.mark.law
def test_the_launchs_cells_carry_the_fuel_that_the_controller_cannot_be_told() -> None:
    result = adapted(SAMPLES / "harbour_launch.toml")

    def ratio(ethanol: float) -> float:
        density = ethanol * ETHANOL_15 + (1 - ethanol) * PETROL_15
        share = ethanol * ETHANOL_15 / density
        return share * L_ETHANOL + (1 - share) * L_PETROL

    wanted = ratio(0.05) / ratio(0.10)
    assert wanted == pytest.approx(1.0211, abs=5e-5)
    np.testing.assert_allclose(result.table.new / result.table.old, wanted, rtol=1e-9)


@pytest.mark.law
def test_the_spare_engine_runs_leaner_by_its_displacement() -> None:
    result = adapted(SAMPLES / "rebored_spare.toml")
    np.testing.assert_allclose(result.table.lambda_ratio["old_table_old_settings"], 2028 / 1998, rtol=1e-12)


@pytest.mark.law
def test_the_hill_climb_car_needs_no_dead_time_it_cannot_be_told() -> None:
    result = adapted(SAMPLES / "hill_climb.toml")
    # At 13.6 V the old dead time is 1.076 ms and the new one 0.964 ms; every pulse is right all the same.
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-12)
    told = result.table.target.told_dead_time_s - result.table.target.dead_time_s
    np.testing.assert_allclose(told, 0.112e-3, rtol=1e-9)
    assert (result.table.new < result.table.old).all()
