"""Further tables over air mass, throttle opening and pressure ratio: the cells stay what they are, the axis scales.

From the donor's 500 cc a cylinder to the target's 600 cc the similar point of an air-mass axis has 1.2 times the air.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.errors import InputError, NotSupportedYet
from basemap.model.marks import Mark
from basemap.report.further_cell_in_words import as_text
from basemap.report.grid_file import further_table_bytes
from basemap.report.json_file import as_json
from basemap.report.terminal.further_tables import what_became_of_it
from tests.builders.round_numbers import first, job_with

CSV = "mg,1000,3000,5000\n100,1.00,1.00,0.98\n300,0.98,0.95,0.92\n500,0.90,0.88,0.86\n"
PERCENT = "mg,1000,3000,5000\n100,108.25,104.5,100\n300,104,102,100\n500,100,100,99.75\n"
OPENINGS = "%,1000,3000,5000\n5,1.00,1.00,0.98\n30,0.98,0.95,0.92\n60,0.90,0.88,0.86\n"
RATIOS = "MAP/BARO,1000,3000\n0.3,1.00,1.00\n1,0.90,0.88\n"
AIR, THROTTLE = "air mass", "throttle"


def table(quantity: str, load: str, unit: str, more: str = "") -> str:
    return f"""
[donor.tables.goal]
file = "goal.csv"
quantity = "{quantity}"
load = "{load}"
load_unit = "{unit}"
{more}
"""


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("quantity", "cells"), [("lambda", CSV), ("percent", PERCENT), ("percent", PERCENT.replace("mg", "", 1))]
)
def test_over_air_mass_the_axis_scales_and_the_cells_stay_to_the_bit(quantity: str, cells: str, tmp_path: Path) -> None:
    found = first(job_with(tmp_path, table(quantity, AIR, "mg"), goal=cells))
    np.testing.assert_allclose(found.axes[0].values, [120.0, 360.0, 600.0], rtol=1e-12)  # By hand: 1.2 times.
    held = np.array([[float(cell) for cell in line.split(",")[1:]] for line in cells.splitlines()[1:]])
    assert (found.stored == held).all()
    assert found.marks == {}
    lines = further_table_bytes(found).decode().splitlines()
    assert [line.split(",")[0] for line in lines[1:]] == ["120", "360", "600"]
    assert what_became_of_it(found) == (
        "Unchanged: it means the same on any engine. The air-mass axis is scaled with the swept volume: every cell "
        "stays at the same filling of the cylinder."
    )


@pytest.mark.check_value
def test_per_revolution_of_the_whole_engine_the_swept_volume_of_the_engine_counts(tmp_path: Path) -> None:
    grams = "g,1000,3000\n0.2,1.00,1.00\n0.5,0.90,0.88\n"
    six = ('displacement = "2400 cc"\ncylinders = 4', 'displacement = "2400 cc"\ncylinders = 6')
    found = first(job_with(tmp_path, table("lambda", AIR, "g/rev"), six, goal=grams))
    np.testing.assert_allclose(found.axes[0].values, [0.24, 0.6], rtol=1e-12)  # By hand: 2400/2000.
    cylinder = first(job_with(tmp_path, table("lambda", AIR, "mg"), six, goal=CSV))
    np.testing.assert_allclose(cylinder.axes[0].values, [80.0, 240.0, 400.0], rtol=1e-12)  # By hand: 400/500.


@pytest.mark.check_value
def test_points_of_the_targets_own_are_read_where_the_cylinder_is_as_full(tmp_path: Path) -> None:
    own = "\n[target.tables.goal]\nload_points = [120, 240, 480, 600]\n"
    found = first(job_with(tmp_path, table("lambda", AIR, "mg") + own, goal=CSV))
    # By hand: 240 mg are the donor's 200, half way from 100 to 300; 480 are its 400.
    np.testing.assert_allclose(found.new[:, 0], [1.0, 0.99, 0.94, 0.90], rtol=1e-12)
    above = "\n[target.tables.goal]\nload_points = [120, 700]\n"
    with pytest.raises(InputError, match="700 mg lies above the donor's top row, 500"):
        job_with(tmp_path, table("lambda", AIR, "mg") + above, goal=CSV)
    percent = first(job_with(tmp_path, table("percent", AIR, "mg") + above, goal=PERCENT))
    assert percent.marks[Mark.OUTSIDE].tolist() == [[False] * 3, [True] * 3]


@pytest.mark.check_value
@pytest.mark.parametrize(("basis", "factor"), [('"fuel in use"', 9.8 / 14.7), ("14.7", 1.0)])
def test_an_air_fuel_ratio_follows_the_fuel_on_one_basis_only(basis: str, factor: float, tmp_path: Path) -> None:
    ratios = "mg,1000,3000\n100,14.7,14.7\n500,12.8,12.6\n"
    found = first(job_with(tmp_path, table("air/fuel ratio", AIR, "mg", f"basis = {basis}"), goal=ratios))
    np.testing.assert_allclose(found.new, factor * np.array([[14.7, 14.7], [12.8, 12.6]]), rtol=1e-12)
    np.testing.assert_allclose(found.axes[0].values, [120.0, 600.0], rtol=1e-12)


@pytest.mark.check_value
@pytest.mark.parametrize(("load", "unit", "cells"), [(THROTTLE, "%", OPENINGS), ("pressure ratio", "ratio", RATIOS)])
def test_over_throttle_and_pressure_ratio_nothing_moves(load: str, unit: str, cells: str, tmp_path: Path) -> None:
    found = first(job_with(tmp_path, table("lambda", load, unit), goal=cells))
    assert further_table_bytes(found).decode() == cells
    said = {
        THROTTLE: "Unchanged. It keeps the same openings; if the throttles differ, these are not the same loads.",
        "pressure ratio": "Unchanged: it means the same on any engine.",
    }
    assert what_became_of_it(found) == said[load]


@pytest.mark.parametrize(
    ("load", "unit", "why"),
    [
        (AIR, "mg", "this axis does not give the manifold pressure, which the pulse depends on"),
        (THROTTLE, "%", "this axis does not give the manifold pressure, which the pulse depends on"),
        ("pressure ratio", "ratio", "write its loads as absolute pressures"),
    ],
)
def test_pulses_there_are_refused_with_the_reason(load: str, unit: str, why: str, tmp_path: Path) -> None:
    with pytest.raises(NotSupportedYet) as caught:
        job_with(tmp_path, table("pulse width", load, unit, "ecu_applies = []"), goal=CSV.replace("mg", "", 1))
    assert str(caught.value) == (
        "job.toml: donor.tables.goal.load: not supported yet: a further table of pulses with two axes is over "
        f'"manifold pressure" and rpm; {why}'
    )


def test_every_output_has_both_axes(tmp_path: Path) -> None:
    result = adapt(job_with(tmp_path, table("lambda", AIR, "mg"), goal=CSV))
    entry = as_json(result)["tables"]["goal"]
    assert (entry["load"], entry["load_unit"]) == (pytest.approx([120.0, 360.0, 600.0]), "mg")
    assert entry["donor_load"] == [100.0, 300.0, 500.0]
    assert entry["new"] == entry["donor_cells"] == [[1.0, 1.0, 0.98], [0.98, 0.95, 0.92], [0.90, 0.88, 0.86]]
    (found,) = result.further_tables
    said = [str(part) for part in as_text(result, found, (1, 0), nearest=False, everything=False).renderables]
    assert "The donor's cell is at 300 mg." in said


AIR_FUEL = [
    ('load = "manifold pressure"\nload_unit = "kPa"\nlambda = 1.0',
     'load = "air mass"\nload_unit = "mg"\necu_applies = ["lambda", "dead time"]\nlambda = { table = "goal" }'),
]  # fmt: skip
VE_OF_AIR = "mg,1000,3000,5000\n100,60,65,60\n300,70,75,70\n500,80,85,80\n"
COOLER = '\n[target.conditions]\ncharge_temperature = "20 degC"\nbarometer = "90 kPa"\n'


@pytest.mark.check_value
def test_the_donors_intended_mixture_over_air_becomes_the_targets(tmp_path: Path) -> None:
    own = "\n[target.tables.fuel]\nlambda = 0.85\n"
    result = adapt(job_with(tmp_path, table("lambda", AIR, "mg") + own, *AIR_FUEL, goal=CSV, ve=VE_OF_AIR))
    (goal,) = result.further_tables
    assert (goal.stored == 0.85).all()
    assert result.job.donor.table.intended_lambda[2].tolist() == [0.90, 0.88, 0.86]


@pytest.mark.check_value
def test_it_is_found_without_being_named(tmp_path: Path) -> None:
    own = "\n[target.tables.fuel]\nlambda = 0.85\n"
    by_file = [(AIR_FUEL[0][0], AIR_FUEL[0][1].replace('{ table = "goal" }', '"wanted.csv"'))]
    tables = table("lambda", AIR, "mg") + own
    (goal,) = adapt(job_with(tmp_path, tables, *by_file, goal=CSV, wanted=CSV, ve=VE_OF_AIR)).further_tables
    assert (goal.stored == 0.85).all()


@pytest.mark.check_value
@pytest.mark.parametrize("named", ['{ table = "goal" }', '"wanted.csv"'])
def test_colder_air_moves_no_mixture_of_similar_points(named: str, tmp_path: Path) -> None:
    own = "\n[target.tables.fuel]\nload_points = [120, 240, 360, 600]\n"
    axes = [(AIR_FUEL[0][0], AIR_FUEL[0][1].replace('{ table = "goal" }', named))]
    tables = table("lambda", AIR, "mg") + own + COOLER
    result = adapt(job_with(tmp_path, tables, *axes, goal=CSV, wanted=CSV, ve=VE_OF_AIR))
    # By hand: 240 mg of the target are the donor's 200, half way between 1.00 and 0.98 at 1000 rpm.
    np.testing.assert_allclose(result.job.target.table.intended_lambda[:, 0], [1.0, 0.99, 0.98, 0.90], rtol=1e-12)
    (goal,) = result.further_tables
    np.testing.assert_allclose(goal.stored[:, 0], [1.0, 0.98, 0.90], rtol=1e-12)
    assert goal.table.commanded is not None or (goal.stored == goal.table.values).all()


@pytest.mark.check_value
def test_a_lambda_table_to_load_is_read_at_similar_points_in_colder_air(tmp_path: Path) -> None:
    own = "\n[target.tables.fuel]\nload_points = [120, 240, 360, 600]\n"
    axes = [(AIR_FUEL[0][0], AIR_FUEL[0][1].replace('{ table = "goal" }', '"wanted.csv"'))]
    result = adapt(job_with(tmp_path, own + COOLER, *axes, wanted=CSV, ve=VE_OF_AIR))
    (to_load,) = result.further_tables
    np.testing.assert_allclose(to_load.new[:, 0], [1.0, 0.99, 0.98, 0.90], rtol=1e-12)  # As above.


def test_a_mixture_over_another_axis_than_the_fuel_table_is_refused_as_its_lambda(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, table("lambda", THROTTLE, "%"), *AIR_FUEL, goal=OPENINGS, ve=VE_OF_AIR)
    assert str(caught.value) == (
        'job.toml: donor.tables.fuel.lambda.table: "goal" is over throttle, and the fuel table over air mass: give the '
        "lambda as a number, or as a file with the axes of the fuel table"
    )
