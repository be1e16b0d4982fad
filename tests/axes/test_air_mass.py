"""Air-mass axes: the axis scales with the swept volume, unless the job gives the target's points."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.model.marks import Mark
from basemap.report.grid_file import grid_bytes
from basemap.report.json_file import as_json
from tests.builders.pulse_width import DEAD_MS, LOAD, adapted, computed, job, refused, target_of

MG = (LOAD, 'load = "air mass"\nload_unit = "mg"')
ROWS = "load,1000,3000\n100,2.885,2.885\n400,5.885,5.885\n"
BIGGER, SMALLER = target_of("2400 cc"), target_of("1600 cc")
OWN = "\n[target.tables.fuel]\nload_points = [100, 400]\n"


@pytest.mark.check_value
def test_the_axis_scales(tmp_path: Path) -> None:
    # By hand: cylinders of 600 cc for 500 cc hold 1.2 times the air at the same density.
    result = adapted(tmp_path, MG, BIGGER, rows=ROWS)
    np.testing.assert_allclose(result.job.target.shown.load, [120.0, 480.0], rtol=1e-12)
    np.testing.assert_allclose(result.table.new[:, 0], [DEAD_MS + 2.4, DEAD_MS + 6.0], rtol=1e-12)
    # The untouched table keeps its axis: at 120 mg the ECU reads 2 + 3 · 20/300 = 2.2 ms, at 480 mg its edge, 5 ms.
    np.testing.assert_allclose(result.table.old[:, 0], [DEAD_MS + 2.2, DEAD_MS + 5.0], rtol=1e-12)
    np.testing.assert_allclose(
        result.table.lambda_ratio["old_table_old_settings"][:, 0], [2.4 / 2.2, 6.0 / 5.0], rtol=1e-12
    )
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    assert grid_bytes(result).decode() == "load,1000,3000\n120,3.285,3.285\n480,6.885,6.885\n"


def test_the_old_table_keeps_its_grid_in_json(tmp_path: Path) -> None:
    table = as_json(adapted(tmp_path, MG, BIGGER, rows=ROWS))["tables"]["fuel"]
    assert (table["old_rpm"], table["old_load"], table["old_load_unit"]) == ([1000.0, 3000.0], [100.0, 400.0], "mg")
    assert table["old"] == [pytest.approx([2.885, 2.885]), pytest.approx([5.885, 5.885])]
    assert table["old_on_new_axes"] == [pytest.approx([3.085, 3.085]), pytest.approx([5.885, 5.885])]
    assert (table["load"], table["load_unit"]) == (pytest.approx([120.0, 480.0]), "mg")
    assert table["change_percent"][1][0] == pytest.approx(100 * (6.885 / 5.885 - 1))
    same = as_json(adapted(tmp_path, MG, rows=ROWS))["tables"]["fuel"]
    assert "old_on_new_axes" not in same


@pytest.mark.check_value
def test_with_points_of_its_own_the_donor_is_read_at_the_similar_ones(tmp_path: Path) -> None:
    # By hand: 400 mg in 600 cc are as dense as 333.3 mg in 500 cc. There the donor gives 0.02 − 0.0075 · 7/9 ms per mg:
    # 0.0141667 · 400 = 5.6667 ms. 100 mg are as dense as 83.3 mg, below the donor's first row: 0.02 · 100 = 2 ms.
    result = computed(tmp_path, MG, BIGGER, rows=ROWS, append=OWN)
    np.testing.assert_allclose(result.table.new[:, 1], [DEAD_MS + 2.0, DEAD_MS + 17.0 / 3.0], rtol=1e-12)
    np.testing.assert_array_equal(result.table.marks[Mark.OUTSIDE], [[True, True], [False, False]])
    np.testing.assert_allclose(result.table.old[:, 0], [2.885, 5.885], rtol=1e-12)


def test_a_smaller_target_reaches_beyond_the_donor_and_must_say_its_mixture(tmp_path: Path) -> None:
    assert refused(tmp_path, MG, SMALLER, rows=ROWS, append=OWN) == (
        "job.toml: target.tables.fuel.lambda: missing: the row at 400 mg lies above the donor's top row, 400 mg, "
        "which is 320 mg in the target's cylinders, and an intended mixture is never carried beyond its own table: "
        "give the lambda that the target should run, a number or a file"
    )
    result = adapted(tmp_path, MG, SMALLER, rows=ROWS, append=OWN + "lambda = 1.0\n")
    # By hand: beyond 320 mg the donor's last ratio is held, 0.0125 ms per mg · 400 mg = 5 ms.
    np.testing.assert_allclose(result.table.new[1], DEAD_MS + 5.0, rtol=1e-12)
    np.testing.assert_array_equal(result.table.marks[Mark.OUTSIDE], [[False, False], [True, True]])
    found = next(found for found in result.findings if found.rule == "outside-donor-data")
    assert found.message == (
        "2 cells in reach lie outside the donor's data, such as 3000 rpm and 400 mg (wide open and idle): beyond the "
        "donor's axes its edge cells are held."
    )


@pytest.mark.law
def test_a_lambda_table_goes_with_the_axis(tmp_path: Path) -> None:
    (tmp_path / "l.csv").write_text("load,1000,3000\n100,1.0,1.0\n400,0.9,0.9\n", encoding="utf-8")
    table = ("lambda = 1.0", 'lambda = "l.csv"')
    scaled = computed(tmp_path, MG, BIGGER, table, rows=ROWS)
    np.testing.assert_allclose(scaled.job.target.table.intended_lambda[:, 0], [1.0, 0.9], rtol=1e-12)
    own = computed(tmp_path, MG, BIGGER, table, rows=ROWS, append=OWN.replace("100", "120"))
    # 400 mg are as dense as 333.3 mg of the donor's: 1 − 0.1 · 7/9.
    np.testing.assert_allclose(own.job.target.table.intended_lambda[:, 0], [1.0, 1.0 - 0.7 / 9.0], rtol=1e-12)


@pytest.mark.law
def test_the_whole_engine_over_a_revolution_is_the_same(tmp_path: Path) -> None:
    # 100 mg in each of four cylinders every two revolutions: 0.2 g/rev.
    rows = ROWS.replace("\n100,", "\n0.2,").replace("\n400,", "\n0.8,")
    unit = (LOAD, 'load = "air mass"\nload_unit = "g/rev"')
    six = (
        '[target.engine]\ndisplacement = "2000 cc"\ncylinders = 4',
        '[target.engine]\ndisplacement = "3600 cc"\ncylinders = 6',
    )
    whole = computed(tmp_path, unit, six, rows=rows)
    np.testing.assert_allclose(whole.job.target.shown.load, [0.2 * 1.8, 0.8 * 1.8], rtol=1e-12)
    each = computed(tmp_path, MG, six, rows=ROWS)
    np.testing.assert_allclose(whole.table.new, each.table.new, rtol=1e-12)
    # An ECU that looks up the whole engine's air finds other cells in the untouched table: 0.36 of 0.2 to 0.8 g/rev.
    np.testing.assert_allclose(whole.table.old[0], DEAD_MS + 2.0 + 3.0 * 0.16 / 0.6, rtol=1e-12)


@pytest.mark.law
def test_the_charge_temperature_does_not_matter_at_equal_density(tmp_path: Path) -> None:
    hot = computed(tmp_path, MG, BIGGER, rows=ROWS, append='\n[target.conditions]\ncharge_temperature = "70 degC"\n')
    np.testing.assert_allclose(hot.table.new, computed(tmp_path, MG, BIGGER, rows=ROWS).table.new, rtol=1e-12)


def test_what_an_air_mass_axis_must_say(tmp_path: Path) -> None:
    assert refused(tmp_path, (LOAD, 'load = "air mass"'), rows=ROWS) == (
        'job.toml: donor.tables.fuel.load_unit: missing: give the unit of the load axis: "mg" or "g" per cylinder and '
        'cycle, or "g/rev" for the whole engine'
    )
    assert refused(tmp_path, (LOAD, 'load = "air mass"\nload_unit = "kPa"'), rows=ROWS) == (
        'job.toml: donor.tables.fuel.load_unit: "kPa" is not a unit of air mass: write one of "mg", "g", "g/rev"'
    )
    assert refused(tmp_path, MG, ("ecu_applies = []", 'ecu_applies = ["pressure"]'), rows=ROWS) == (
        'job.toml: donor.tables.fuel.ecu_applies: "pressure" cannot be used with an air-mass axis, which does not '
        'give the manifold pressure: say what the ECU still applies to a cell, such as ["lambda", "dead time"]'
    )
    assert refused(tmp_path, (LOAD, 'load = "air mass"\nload_unit = "g"'), rows=ROWS) == (
        "t.csv: the highest load is 400 g, that is about 7.191e+04 kPa absolute: expected 20 to 600 kPa; is "
        "load_unit right?"
    )


def test_its_places(tmp_path: Path) -> None:
    rows = "load,1000,3000\n" + "".join(f"{mg},{mg / 100},{mg / 100}\n" for mg in (100, 200, 300, 400, 500, 600))
    made = job(tmp_path, MG, rows=rows)
    from basemap.adaptation.pipeline import compute
    from basemap.rules.case import Case

    case = Case(compute(made))
    # 500 cc at 101.3 kPa and 40 degC hold 564 mg; with a VE of at most 1.2 that is 676 mg: every row can be reached.
    assert case.reachable.all()
    np.testing.assert_array_equal(case.at_load.any(axis=1), [False, False, False, True, True, True])
    # Two thirds of 564 mg are 376 mg; 85 % of it, which can be wide open, are 479 mg.
    np.testing.assert_array_equal(case.wide_open.any(axis=1), [False, False, False, False, True, True])
