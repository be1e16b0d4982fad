"""The lambda table that belongs to the new fuel table, by hand: its shape, its scale, and what it is to forget it.

Where the ECU divides by the lambda that it commands, λ actual over λ intended with the lambda table left as it was is
the old lambda over the new one, whatever the injectors.
"""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from openpyxl import load_workbook
from rich.console import Console

from basemap.adaptation.pipeline import adapt
from basemap.cli.run import Destination, write_all
from basemap.model.finding import Severity
from basemap.model.job import Job
from basemap.report.json_file import as_json
from basemap.report.lambda_table import to_load as to_load_in_words
from basemap.report.terminal import result as terminal
from basemap.workbook.write import write_workbook
from tests.builders.computed import found
from tests.builders.round_numbers import job_with

NUMBER = "lambda = 1.0"
OWN = "\n[target.tables.fuel]\nlambda = {}\n"
AFR = '{{ file = "{}.csv", quantity = "air/fuel ratio", basis = {} }}'
OLD_AFR = "kPa,1000,5000\n30,14.7,14.7\n100,14.7,14.7\n"
NEW_AFR = "kPa,1000,5000\n30,14.7,14.7\n100,12.8,12.8\n"
FURTHER = """
[donor.tables.afr]
file = "old.csv"
quantity = "air/fuel ratio"
basis = 14.7
load = "manifold pressure"
load_unit = "kPa"
"""


def to_load(job: Job) -> list[str]:
    return [table.name for table in job.further_tables if table.commanded is not None]


def written(job: Job, folder: Path) -> dict[str, str]:
    (folder / "out").mkdir()
    stops = [stop.rule for stop in adapt(job).stops]  # the dead times of these round numbers, for one
    files = write_all(adapt(job, stops), Destination(folder / "job.toml", folder / "out", force=True))
    return {file.name: file.read_text(encoding="utf-8") for file in files if file.suffix == ".csv"}


@pytest.mark.check_value
def test_a_further_table_that_is_the_donors_target_becomes_the_targets(tmp_path: Path) -> None:
    """By hand: 14.7 left where 12.8 is meant is 14.7/12.8 - 1 = 14.84 % lean."""
    job = job_with(
        tmp_path,
        FURTHER + OWN.format(AFR.format("new", 14.7)),
        (NUMBER, 'lambda = { table = "afr" }'),
        old=OLD_AFR,
        new=NEW_AFR,
    )
    result = adapt(job)
    assert to_load(job) == ["afr"]
    np.testing.assert_allclose(result.further_tables[0].new, [[14.7, 14.7], [12.8, 12.8]], rtol=1e-12)
    assert result.table.lambda_table_left is not None
    np.testing.assert_allclose(result.table.lambda_table_left[-1], 14.7 / 12.8, rtol=1e-9)
    np.testing.assert_allclose(result.table.lambda_table_left[0], 1.0, rtol=1e-9)
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    (caution,) = found(result, "lambda-table")
    assert caution.severity is Severity.CAUTION
    assert caution.message.startswith("The table afr belongs to the new fuel table: with the donor's lambda left in ")
    assert "14.9 % lean at 1000 rpm and 100 kPa" in caution.message
    assert written(job, tmp_path)["afr.new.csv"] == NEW_AFR


@pytest.mark.law
def test_one_that_holds_the_same_without_being_named_does_too(tmp_path: Path) -> None:
    """AFR 14.7 everywhere is the donor's lambda of 1."""
    job = job_with(tmp_path, FURTHER + OWN.format(AFR.format("new", 14.7)), old=OLD_AFR, new=NEW_AFR)
    assert to_load(job) == ["afr"]
    other = job_with(tmp_path, FURTHER + OWN.format("0.9"), old=OLD_AFR.replace("14.7", "13.0"))
    assert to_load(other) == []  # one number for another: a setting
    np.testing.assert_array_equal(adapt(other).further_tables[0].new, 13.0)


@pytest.mark.law
def test_a_file_of_its_own_leaves_in_its_own_shape(tmp_path: Path) -> None:
    new = "kPa;1000;5000\n100;0,85;0,86\n30;1,00;1,00\n"
    job = job_with(tmp_path, OWN.format('{ file = "new.csv" }'), new=new)
    assert to_load(job) == ["lambda"]
    assert written(job, tmp_path)["lambda.new.csv"] == new
    content = as_json(adapt(job))["tables"]
    assert content["lambda"]["new"] == [[1.0, 1.0], [0.85, 0.86]]
    assert content["lambda"]["old"] == [[1.0, 1.0], [1.0, 1.0]]
    assert content["lambda"]["intended_lambda_of"] == "fuel"
    left = np.array(content["fuel"]["lambda_table_left"])
    np.testing.assert_allclose(left[-1], [1 / 0.85, 1 / 0.855, 1 / 0.86], rtol=1e-9)
    json.dumps(content)


@pytest.mark.check_value
def test_the_scale_is_that_of_the_donors_own_table(tmp_path: Path) -> None:
    """By hand: lambda 0.85 is 0.85 · 14.7 = 12.495 in the ECU's air/fuel table."""
    job = job_with(
        tmp_path,
        OWN.format('{ file = "new.csv" }'),
        (NUMBER, f"lambda = {AFR.format('old', 14.7)}"),
        old=OLD_AFR,
        new="kPa,1000,5000\n30,1.00,1.00\n100,0.85,0.85\n",
    )
    text = written(job, tmp_path)["lambda.new.csv"]
    assert text == "Intended air/fuel ratio: 14.7 at lambda 1\nkPa,1000,5000\n30,14.70,14.70\n100,12.50,12.50\n"


@pytest.mark.check_value
def test_a_scale_that_means_the_fuel_in_use_changes_with_the_fuel(tmp_path: Path) -> None:
    """By hand: 14.7 left in such a table on a fuel of 9.8 commands lambda 1.5; what is meant is 9.8."""
    job = job_with(
        tmp_path, "", (NUMBER, f"lambda = {AFR.format('old', chr(34) + 'fuel in use' + chr(34))}"), old=OLD_AFR
    )
    result = adapt(job)
    assert to_load(job) == ["lambda"]
    np.testing.assert_allclose(result.further_tables[0].new, 9.8, rtol=1e-12)
    assert result.table.lambda_table_left is not None
    np.testing.assert_allclose(result.table.lambda_table_left, 1.5, rtol=1e-9)


def test_it_stands_among_what_belongs_together(tmp_path: Path) -> None:
    job = job_with(tmp_path, OWN.format('{ file = "new.csv" }'), new="kPa,1000,5000\n30,1.0,1.0\n100,0.8,0.9\n")
    result = adapt(job)
    said = "lambda: load lambda.new.csv. Left as it was, the mixture is at worst 25.0 % lean at 1000 rpm, 100 kPa."
    assert to_load_in_words(result) == [said]
    console = Console(width=120, file=io.StringIO(), force_terminal=False)
    console.print(terminal.adapted(result, [], "", console, terminal.Asked(all=True)))
    shown = console.file.getvalue()  # type: ignore[attr-defined]
    assert f"lambda table {said}"[:90] in shown
    assert "lambda table left as it was" in shown
    stream = io.BytesIO()
    write_workbook(result, stream)
    sheet = load_workbook(stream).worksheets[0]
    assert f"▲ Lambda table {said}" in [cell.value for row in sheet.iter_rows() for cell in row]


@pytest.mark.law
def test_one_number_for_another_is_a_setting(tmp_path: Path) -> None:
    job = job_with(tmp_path, OWN.format("0.9"))
    result = adapt(job)
    assert to_load(job) == []
    (row,) = [one for one in result.settings if one.name == "intended_lambda"]
    assert (row.old, row.enter) == (1.0, 0.9)
    assert result.table.lambda_table_left is not None
    np.testing.assert_allclose(result.table.lambda_table_left, 1 / 0.9, rtol=1e-9)


@pytest.mark.law
@pytest.mark.parametrize(
    ("tables", "pairs"),
    [
        ("", ()),
        (OWN.format("1.0"), ()),
        # The ECU does not apply lambda: the mixture is in the cells.
        (
            OWN.format("0.9"),
            (('load = "manifold pressure"', 'load = "manifold pressure"\necu_applies = ["pressure", "dead time"]'),),
        ),
    ],
)
def test_where_nothing_has_to_be_loaded_nothing_is(
    tables: str, pairs: tuple[tuple[str, str], ...], tmp_path: Path
) -> None:
    result = adapt(job_with(tmp_path, tables, *pairs))
    assert result.further_tables == ()
    assert result.table.lambda_table_left is None
    assert "intended_lambda" not in [row.name for row in result.settings]
    assert found(result, "lambda-table") == []


@pytest.mark.law
def test_the_stored_mixture_counts_what_the_lambda_table_rounds(tmp_path: Path) -> None:
    """By hand: 12.495 in a table of one decimal is 12.5 (half away from zero); λ is 12.5/12.495 of what is meant."""
    job = job_with(
        tmp_path,
        FURTHER + OWN.format("0.85") + "\n[target.tables.afr]\ndecimals = 1\n",
        (NUMBER, 'lambda = { table = "afr" }'),
        old=OLD_AFR,
    )
    result = adapt(job)
    exact = result.table.stored / result.table.new * 0.85 * 14.7 / 12.5
    np.testing.assert_allclose(1.0 / result.table.stored_lambda_ratio, exact, rtol=1e-9)


@pytest.mark.law
def test_a_name_that_is_taken_is_left_alone(tmp_path: Path) -> None:
    mine = FURTHER.replace("donor.tables.afr", "donor.tables.lambda")
    tables = mine + OWN.format('{ file = "new.csv" }')
    new = "kPa,1000,5000\n30,1.0,1.0\n100,0.9,0.9\n"
    job = job_with(tmp_path, tables, old=OLD_AFR.replace("14.7", "13.5"), new=new)
    assert to_load(job) == ["intended lambda"]


@pytest.mark.law
def test_on_an_air_mass_axis_the_table_moves_with_the_axis(tmp_path: Path) -> None:
    """The points of a bigger cylinder hold more air: the donor's lambda stands at those, not at its own."""
    fuel = "mg,1000,3000,5000\n100,3,3,3\n300,6,6,6\n500,9,9,9\n"
    job = job_with(
        tmp_path,
        "",
        (NUMBER, 'lambda = { file = "old.csv" }'),
        ('quantity = "volumetric efficiency"', 'quantity = "pulse width"\necu_applies = ["lambda", "dead time"]'),
        ('load = "manifold pressure"\nload_unit = "kPa"', 'load = "air mass"\nload_unit = "mg"'),
        ve=fuel,
        old="mg,1000,5000\n100,1.00,1.00\n300,0.95,0.95\n500,0.80,0.80\n",
    )
    found_table = adapt(job).further_tables[0]
    # By hand: 600 cc for 500 cc.
    np.testing.assert_allclose(found_table.axes[0].values, [120.0, 360.0, 600.0], rtol=1e-12)
    np.testing.assert_allclose(found_table.new, [[1.0] * 3, [0.95] * 3, [0.8] * 3], rtol=1e-12)
