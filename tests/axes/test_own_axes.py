"""Breakpoints of the target's own on a manifold-pressure axis."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.explain.cell import worked_cell
from basemap.model.marks import Mark
from basemap.report.grid_file import grid_bytes
from basemap.report.json_file import as_json
from tests.builders.pulse_width import DEAD_MS, adapted, computed, refused

OWN = "\n[target.tables.fuel]\n"
ROWS = "load,1000,3000\n40,2.885,4.885\n80,5.885,8.885\n"


@pytest.mark.check_value
def test_hand_worked_cells(tmp_path: Path) -> None:
    result = adapted(tmp_path, rows=ROWS, append=OWN + "rpm_points = [1000, 1500, 4000]\nload_points = [20, 50, 80]\n")
    # By hand, in ms of fuel per kPa: 2/40 = 0.05 and 4/40 = 0.1 below, 5/80 = 0.0625 and 8/80 = 0.1 above.
    # 50 kPa is a quarter of the way up: 0.053125 and 0.1; 1500 rpm a quarter of the way across: 0.06484375.
    np.testing.assert_allclose(result.table.new[1, 1], DEAD_MS + 50 * 0.06484375, rtol=1e-12)
    np.testing.assert_allclose(result.table.new[2, 0], 5.885, rtol=1e-12)
    # 20 kPa and 4000 rpm lie outside: 0.1 is held.
    np.testing.assert_allclose(result.table.new[0, 2], DEAD_MS + 20 * 0.1, rtol=1e-12)
    np.testing.assert_array_equal(
        result.table.marks[Mark.OUTSIDE], [[True, True, True], [False, False, True], [False, False, True]]
    )
    assert Mark.NOT_VISITED not in result.table.marks
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    # The untouched table is read as the ECU reads it: the raw cells, 2.885 + 3 · 1/4 = 3.635 and 5.885: 4.1975.
    np.testing.assert_allclose(result.table.old[1, 1], 4.1975, rtol=1e-12)
    np.testing.assert_allclose(result.table.old[0], [2.885, 3.385, 4.885], rtol=1e-12)
    assert grid_bytes(result).decode() == (
        "load,1000,1500,4000\n20,1.885,2.135,2.885\n50,3.541,4.127,5.885\n80,5.885,6.635,8.885\n"
    )
    assert np.isfinite(result.band.adapted).all()


def test_a_worked_cell_starts_at_the_air_between_the_donors_cells(tmp_path: Path) -> None:
    result = computed(tmp_path, rows=ROWS, append=OWN + "load_points = [50, 80]\n")
    steps = worked_cell(result, 0, 0)
    assert [step.symbol for step in steps][:4] == ["m_air", "V_t / V_d", "T_d / T_t", "m_air,t"]
    assert steps[0].value == pytest.approx(steps[3].value, rel=1e-12)
    assert steps[0].value == pytest.approx(result.table.target.air_kg[0, 0] * 1e6, rel=1e-12)


@pytest.mark.check_value
def test_a_worked_cell_on_a_donors_point_has_the_donors_chain(tmp_path: Path) -> None:
    """By hand: the cell at 3000 rpm and 80 kPa is 8.885 ms, of which 8 ms pass fuel."""
    result = computed(tmp_path, rows=ROWS, append=OWN + "load_points = [50, 80]\n")
    steps = {step.symbol: step for step in reversed(worked_cell(result, 1, 1))}  # the donor's come first
    assert steps["cell"].value == pytest.approx(8.885, rel=1e-12)
    assert steps["cell"].name == "the donor's cell, at 3000 rpm, 80 kPa of its own axes"
    assert steps["m_fuel"].value == pytest.approx(8.0 * steps["ṁ"].value, rel=1e-9)
    assert steps["m_air"].value == pytest.approx(result.table.target.air_kg[1, 1] * 1e6, rel=1e-12)


@pytest.mark.parametrize(
    ("rows", "written"),
    [
        ("rpm\\kPa,1000,3000\n40,2,3\n80,4,5\n", "rpm\\bar absolute,1000,3000\n0.4,"),
        ("kPa abs by rpm,1000,3000\n40,2,3\n80,4,5\n", "bar absolute by rpm,1000,3000\n0.4,"),
        ("load,1000,3000\n40 kPa,2,3\n80 kPa,4,5\n", "load,1000,3000\n0.4 bar,"),
        ("load 1000 3000\n40 2 3\n80 4 5\n", "load 1000 3000\n0.4 "),
        ("kPa 1000 3000\n40 2 3\n80 4 5\n", "bar 1000 3000\n0.4 "),
        ("# ms over rpm and kPa\n\nload,1000,3000\n40,2,3\n80,4,5\n", "# ms over rpm and kPa\n\nload,1000,3000\n0.4,"),
        (
            "# ms over rpm and kPa\nload,1000,3000\n40,2,3\n80,4,5\n",
            "# ms over rpm and bar absolute\nload,1000,3000\n0.4,",
        ),
    ],
)
def test_a_unit_that_the_file_names_is_that_of_the_target(tmp_path: Path, rows: str, written: str) -> None:
    result = adapted(tmp_path, rows=rows, append=OWN + 'load_unit = "bar absolute"\n')
    assert grid_bytes(result).decode().startswith(written)


@pytest.mark.law
def test_the_donors_own_points_change_nothing(tmp_path: Path) -> None:
    plain = adapted(tmp_path, rows=ROWS)
    points = OWN + "rpm_points = [1000, 3000]\nload_points = [40, 80]\n"
    same = adapted(tmp_path, rows=ROWS, append=points)
    np.testing.assert_array_equal(same.table.new, plain.table.new)
    assert as_json(same)["tables"]["fuel"]["old"] == as_json(plain)["tables"]["fuel"]["old"]
    falling = adapted(tmp_path, rows=ROWS, append=points.replace("[40, 80]", "[80, 40]"))
    np.testing.assert_array_equal(falling.table.new, plain.table.new)


@pytest.mark.law
def test_points_added_leave_the_others_alone(tmp_path: Path) -> None:
    plain = adapted(tmp_path, rows=ROWS)
    more = adapted(tmp_path, rows=ROWS, append=OWN + "rpm_points = [1000, 2000, 3000]\nload_points = [40, 60, 80]\n")
    np.testing.assert_allclose(more.table.new[::2, ::2], plain.table.new, rtol=1e-14)
    np.testing.assert_allclose(more.band.adapted[::2, ::2], plain.band.adapted, rtol=1e-9)


def test_a_donor_cell_without_air_spoils_only_what_is_read_from_it(tmp_path: Path) -> None:
    rows = "load,1000,3000\n40,0.5,4.885\n80,5.885,8.885\n"  # 0.5 ms is shorter than the dead time
    result = computed(tmp_path, rows=rows, append=OWN + "rpm_points = [1000, 2000, 3000]\nload_points = [40, 60, 80]\n")
    np.testing.assert_array_equal(
        np.isnan(result.table.new), [[True, True, False], [True, True, False], [False, False, False]]
    )


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            "rpm_points = 3000",
            "rpm_points: must be a list of two numbers or more, in the unit of the axis, without quotes",
        ),
        (
            "rpm_points = [0, 3000]",
            "rpm_points: an engine speed of 0 is not possible: expected rev/min above 0 and below 30000",
        ),
        (
            'load_points = [40, "80 kPa"]',
            'load_points: "80 kPa" is not a number: write numbers in the unit of the axis, without quotes',
        ),
        ("load_points = [40, 80, 60]", "load_points: must rise from point to point"),
        (
            "load_points = [0, 80]",
            "load_points: a load of 0 kPa is not possible: manifold pressure is above zero; is load_unit right?",
        ),
        (
            "load_points = [40, 90]",
            "lambda: missing: the row at 90 kPa lies above the donor's top row, 80 kPa, and an intended mixture is "
            "never carried beyond its own table: give the lambda that the target should run, a number or a file",
        ),
    ],
)
def test_refusals(tmp_path: Path, lines: str, message: str) -> None:
    assert refused(tmp_path, rows=ROWS, append=f"{OWN}{lines}\n") == f"job.toml: target.tables.fuel.{message}"
