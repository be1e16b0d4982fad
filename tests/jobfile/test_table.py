"""The donor's table: units, axes, files; and how the target stores its own."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.jobfile.load import build_job
from basemap.model.job import Job
from basemap.model.table import TableQuantity
from tests.builders.files import FILE, VALID, refusal, with_lines
from tests.jobs import edited


def table_of(folder: Path, rows: str, *pairs: tuple[str, str], name: str = "ve.csv") -> Job:
    """A job beside a table of its own."""
    (folder / name).write_text(rows, encoding="utf-8")
    text = (VALID / "ve_job.toml").read_text(encoding="utf-8")
    return build_job(tomllib.loads(edited(text, *pairs)), folder, FILE)


def refused(folder: Path, rows: str, *pairs: tuple[str, str]) -> str:
    with pytest.raises(InputError) as caught:
        table_of(folder, rows, *pairs)
    return str(caught.value)


def grid_of(rows: int, columns: int) -> str:
    """A table of so many cells."""
    speeds = ",".join(str(500 + 80 * column) for column in range(columns))
    return f"load,{speeds}\n" + "".join(f"{20 + row},{','.join(['50'] * columns)}\n" for row in range(rows))


UNIT = 'load_unit = "kPa"'
PULSE = ('"volumetric efficiency"', '"pulse width"\necu_applies = []')


@pytest.mark.parametrize(
    ("cell", "unit", "fraction"),
    [("0.9", "ratio", 0.9), ("1.9", "ratio", 1.9), ("3.1", "%", 0.031), ("90.5", "%", 0.905)],
)
def test_the_unit_of_ve_where_it_can_only_be_one(tmp_path: Path, cell: str, unit: str, fraction: float) -> None:
    job = table_of(tmp_path, f"load,1000,2000\n50,0.5,0.6\n100,0.7,{cell}\n")
    assert job.target.shown.unit == unit
    assert job.donor.table.values[1, 1] == pytest.approx(fraction)


def test_a_unit_that_is_said_settles_it(tmp_path: Path) -> None:
    rows = "load,1000,2000\n50,1.5,1.6\n100,1.7,2.5\n"
    for unit, size in (("%", 0.01), ("ratio", 1.0)):
        job = table_of(tmp_path, rows, (UNIT, f'{UNIT}\nunit = "{unit}"'))
        assert job.donor.table.values[1, 1] == pytest.approx(2.5 * size)


@pytest.mark.parametrize(("unit", "size"), [("ms", 1e-3), ("us", 1e-6), ("µs", 1e-6), ("s", 1.0)])
def test_the_unit_of_a_pulse_width(tmp_path: Path, unit: str, size: float) -> None:
    rows = "load,1000,2000\n50,2,3\n100,4,5.5\n"
    job = table_of(tmp_path, rows, PULSE, (UNIT, f'{UNIT}\nunit = "{unit}"'))
    assert job.donor.table.values[1, 1] == pytest.approx(5.5 * size)
    assert job.target.shown.per_unit == size


def test_a_pulse_width_is_in_ms_unless_too_long_for_it(tmp_path: Path) -> None:
    assert table_of(tmp_path, "load,1000,2000\n50,2,3\n100,4,60\n", PULSE).donor.table.values[1, 1] == pytest.approx(
        0.06
    )


def test_a_unit_in_the_file_counts(tmp_path: Path) -> None:
    job = table_of(tmp_path, "Pulse width (us)\nload,1000,2000\n50,20,30\n100,40,55\n", PULSE)
    assert job.donor.table.values[1, 1] == pytest.approx(55e-6)


def test_a_unit_that_contradicts_the_file_is_refused(tmp_path: Path) -> None:
    rows = "Pulse width (ms)\nload,1000,2000\n50,2,3\n100,4,5.5\n"
    assert refused(tmp_path, rows, PULSE, (UNIT, f'{UNIT}\nunit = "us"')) == (
        'job.toml: donor.tables.fuel.unit: "us" contradicts ve.csv, which says "ms"'
    )
    assert refused(tmp_path, rows) == (
        've.csv: says that its cells are in "ms", which is not a unit of volumetric efficiency: correct the key '
        "quantity, or give the key unit"
    )


@pytest.mark.parametrize(
    ("header", "says", "where"),
    [
        ("U/min\\kPa", "kPa", "A1 (row 1, column 1)"),
        ("rpm\\KPA", "KPA", "A1 (row 1, column 1)"),
        ("kPa/rpm", "kPa", "A1 (row 1, column 1)"),
        ("VE [%] over rpm and MAP [mbar abs]\nload", "mbar absolute", "A1 (row 1, column 1)"),
        ("# fuel table in % by rpm and psi\nload", "psi", "A1 (row 1, column 1)"),
        ("g/rev", "g/rev", "A1 (row 1, column 1)"),
        ("inHg gauge", "inHg gauge", "A1 (row 1, column 1)"),
    ],
)
def test_a_load_unit_that_contradicts_the_file_is_refused(tmp_path: Path, header: str, says: str, where: str) -> None:
    rows = f"{header},1000,2000\n15,50,60\n29,70,80\n"
    assert refused(tmp_path, rows, (UNIT, 'load_unit = "inHg absolute"')) == (
        f've.csv: {where}: says that the load axis is in "{says}", which contradicts load_unit, which is "inHg '
        'absolute": correct the wrong one'
    )


def test_a_unit_behind_every_load_counts_too(tmp_path: Path) -> None:
    rows = "load,1000,2000\n15 psi,50,60\n29 psi,70,80\n"
    assert refused(tmp_path, rows, (UNIT, 'load_unit = "inHg absolute"')) == (
        've.csv: A2 (row 2, column 1): says that the load axis is in "psi", which contradicts load_unit, which is '
        '"inHg absolute": correct the wrong one'
    )


@pytest.mark.parametrize(
    ("load", "says"), [('"pressure ratio"', 'pressure ratio in "ratio"'), ('"throttle"', 'throttle in "%"')]
)
def test_a_pressure_in_the_corner_of_another_axis_is_refused(tmp_path: Path, load: str, says: str) -> None:
    rows = "rpm\\kPa,1000,2000\n0.5,50,60\n1.0,70,80\n"
    assert refused(tmp_path, rows, (f'"manifold pressure"\n{UNIT}', load)) == (
        've.csv: A1 (row 1, column 1): says that the load axis is in "kPa", which contradicts the job, which says '
        f"{says}: correct the wrong one"
    )


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("rpm\\hPa", "mbar absolute"),
        ("rpm\\kPa", "kPa gauge"),
        ("rpm\\inHg abs", "inHg absolute"),
        ("rpm\\%", "kPa"),
        ("g", "kPa"),
        ("%", "kPa"),
        ("kPa or psi", "bar absolute"),
        ("psi of the old turbo\nload", "kPa"),
        ("bar and psi\nload", "kPa"),
        ("kPa (barometer)\n\nload", "bar absolute"),
        ("psia", "kPa"),
    ],
)
def test_what_the_file_does_not_say_unmistakably_contradicts_nothing(tmp_path: Path, header: str, unit: str) -> None:
    low, high = {"mbar absolute": (500, 990), "kPa gauge": (-50, 0), "bar absolute": (0.5, 1)}.get(unit, (15, 29))
    rows = f"{header},1000,2000\n{low},50,60\n{high},70,80\n"
    assert table_of(tmp_path, rows, (UNIT, f'load_unit = "{unit}"')).target.shown.load_unit == unit


def test_the_corner_of_a_lambda_table_counts_as_well(tmp_path: Path) -> None:
    (tmp_path / "lambda.csv").write_text("rpm\\psi,1000,2000\n50,1,1\n100,1,1\n", encoding="utf-8")
    rows = "load,1000,2000\n50,50,60\n100,70,80\n"
    assert refused(tmp_path, rows, ("lambda = 1.0", 'lambda = "lambda.csv"')) == (
        'lambda.csv: A1 (row 1, column 1): says that the load axis is in "psi", which contradicts load_unit, which is '
        '"kPa": correct the wrong one'
    )


@pytest.mark.law
@pytest.mark.parametrize(
    ("unit", "loads"),
    [
        ("kPa", "50 100"),
        ("bar absolute", "0.5 1.0"),
        ("kPa gauge", "-50 0"),
        ("kPa vacuum", "0 50"),
        ("mbar vacuum", "0 500"),
    ],
)
def test_every_load_unit_leads_to_the_same_axis(tmp_path: Path, unit: str, loads: str) -> None:
    low, high = loads.split()
    job = table_of(
        tmp_path,
        f"load,1000,2000\n{low},50,60\n{high},70,80\n",
        (UNIT, f'load_unit = "{unit}"'),
        ('"101.325 kPa"', '"100 kPa"'),
    )
    np.testing.assert_allclose(job.donor.table.load_pa, [50e3, 100e3], rtol=1e-12)
    rows = np.array([[0.5, 0.6], [0.7, 0.8]])
    np.testing.assert_allclose(job.donor.table.values, rows[::-1] if "vacuum" in unit else rows, rtol=1e-12)
    assert job.target.shown.load_unit == unit


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "load,0,2000\n50,50,60\n100,70,80\n",
            "ve.csv: an engine speed of 0 is not possible: expected rev/min above 0 and below 30000; are speed and "
            "load swapped (key rows)?",
        ),
        (
            "load,1000,2000\n0,50,60\n100,70,80\n",
            "ve.csv: a load of 0 kPa is not possible: manifold pressure is above zero; is load_unit right?",
        ),
        (
            "load,1000,2000\n50,50,60\n601,70,80\n",
            "ve.csv: the highest load is 601 kPa, 601 kPa absolute: expected 20 to 600 kPa; is load_unit right?",
        ),
        (
            "load,1000,2000\n50,50,60\n100,70,-80\n",
            "ve.csv: 100 kPa, 2000 rpm: holds -80: a fuel table has no negative cells",
        ),
        (
            "load,1000,2000\n50,50,60\n100,70,1001\n",
            "ve.csv: 100 kPa, 2000 rpm: holds 1001 %: expected a volumetric efficiency of at most 1000 %; are the keys "
            "quantity and unit right?",
        ),
        (
            "load,1000,2000\n50,50,60\n100,1e300,80\n",
            "ve.csv: 100 kPa, 1000 rpm: holds 1e+300 %: expected a volumetric efficiency of at most 1000 %; are the "
            "keys quantity and unit right?",
        ),
        (
            grid_of(81, 80),
            "ve.csv: has 81 × 80 cells: expected at most 6400, more than any controller's table has; leave out some "
            "rows and columns",
        ),
    ],
)
def test_what_no_table_can_be(tmp_path: Path, rows: str, message: str) -> None:
    assert refused(tmp_path, rows) == message


def test_a_pulse_that_no_injector_gives(tmp_path: Path) -> None:
    unit = (UNIT, f'{UNIT}\nunit = "ms"')
    assert refused(tmp_path, "load,1000,2000\n50,2,3\n100,4,1e20\n", PULSE, unit) == (
        "ve.csv: 100 kPa, 2000 rpm: holds 1e+20 ms: expected a pulse width of at most 10000 ms; are the keys quantity "
        "and unit right?"
    )


def test_the_largest_table_is_read(tmp_path: Path) -> None:
    assert table_of(tmp_path, grid_of(80, 80)).donor.table.values.shape == (80, 80)


def test_more_points_of_the_targets_own_than_a_table_may_have(tmp_path: Path) -> None:
    rpm, load = list(range(500, 8500, 100)), [20 + n for n in range(81)]
    (tmp_path / "ve.csv").write_text("load,1000,2000\n50,50,60\n100,70,80\n", encoding="utf-8")
    text = (VALID / "ve_job.toml").read_text(encoding="utf-8")

    def own(*lines: str) -> str:
        with pytest.raises(InputError) as caught:
            build_job(tomllib.loads("\n".join([text, "[target.tables.fuel]", *lines])), tmp_path, FILE)
        return str(caught.value)

    assert own(f"rpm_points = {rpm}", f"load_points = {load}") == (
        f"{FILE}: target.tables.fuel.load_points: the table would have 81 × 80 cells: expected at most 6400, more than "
        "any controller's table has"
    )
    assert own(f"rpm_points = {list(range(1, 502))}") == (
        f"{FILE}: target.tables.fuel.rpm_points: has 501 points: expected at most 500, more than any controller's axis "
        "has"
    )


def test_what_the_reader_remarks_travels_in_the_notes(tmp_path: Path) -> None:
    (tmp_path / "latin.csv").write_bytes("für innen\nload,1000,2000\n50,50,60\n100,70,80\n".encode("latin-1"))
    job = table_of(tmp_path, "", ('"ve.csv"', '"latin.csv"'))
    assert job.notes == {
        "donor.tables.fuel.file (1)": "latin.csv: the file is not UTF-8: its text was read as Windows-1252"
    }


def test_a_pulse_says_at_which_pressure_it_stands() -> None:
    pulse = (
        ('"ve.csv"', '"pulse_short.csv"'),
        ('"volumetric efficiency"', '"pulse width"\necu_applies = ["pressure"]'),
    )
    left_out = with_lines(*pulse)
    assert left_out.donor.table.reference_pressure_pa == 100e3
    assert any(entry.key == "donor.tables.fuel.reference_pressure" for entry in left_out.assumed)
    said = with_lines(*pulse, ("lambda = 1.0", 'lambda = 1.0\nreference_pressure = "0 kPa gauge"'))
    assert said.donor.table.reference_pressure_pa == pytest.approx(101.325e3)
    assert said.target.table.reference_pressure_pa == pytest.approx(101.325e3)
    assert not any(entry.key == "donor.tables.fuel.reference_pressure" for entry in said.assumed)


def test_the_targets_own_table() -> None:
    job = with_lines(
        append='\n[target.tables.fuel]\nquantity = "volumetric efficiency"\necu_applies = []\nlambda = 0.9\n'
        'battery = "13 V"\ndecimals = 2\nminimum = 5\nmaximum = 199.5\n'
    )
    table = job.target.table
    assert (table.inside.pressure, table.inside.intended_lambda, table.inside.dead_time) == (True, True, True)
    np.testing.assert_array_equal(table.intended_lambda, np.full((4, 4), 0.9))
    assert table.battery_v == 13.0
    assert (job.storage.decimals, job.storage.minimum, job.storage.maximum) == (2, 5.0, 199.5)
    assert job.donor.table.inside != table.inside


def test_another_quantity_is_another_ecu() -> None:
    job = with_lines(
        append="\n[donor.settings]\ncorrects_rail_pressure = true\nformula_factor = 1.04\n[target.tables.fuel]\n"
        'quantity = "pulse width"\necu_applies = ["pressure"]\nreference_pressure = "0.95 bar absolute"\n'
    )
    assert (job.target.shown.unit, job.target.shown.per_unit, job.target.shown.decimals) == ("ms", 1e-3, 3)
    assert (job.donor.shown.unit, job.donor.shown.per_unit) == ("%", 0.01)
    table, told = job.target.table, job.target.told
    assert (table.quantity, table.reference_pressure_pa) == (TableQuantity.PULSE_WIDTH, 95_000.0)
    assert (table.inside.pressure, table.inside.intended_lambda, table.inside.dead_time) == (False, True, True)
    behaviour = told.corrects_rail_pressure, told.corrects_charge_temperature, told.formula_factor
    assert behaviour == (False, False, 1.0)


def test_another_quantity_has_its_own_defaults_listed(tmp_path: Path) -> None:
    pulses = table_of(
        tmp_path,
        "load,1000,2000\n50,2,3\n100,4,5.5\n",
        PULSE,
        ("[target.engine]", '[target.tables.fuel]\nquantity = "volumetric efficiency"\n\n[target.engine]'),
    )
    table = pulses.target.table
    assert (table.inside.pressure, table.inside.intended_lambda, table.inside.dead_time) == (False, False, False)
    assert pulses.target.told.corrects_charge_temperature
    listed = {one.key for one in pulses.assumed}
    assert {"target.tables.fuel.ecu_applies", "target.settings.formula_factor"} <= listed
    milliseconds = with_lines(append='\n[target.tables.fuel]\nquantity = "pulse width"\necu_applies = ["pressure"]\n')
    assert milliseconds.target.table.reference_pressure_pa == 100_000.0
    assert "target.tables.fuel.reference_pressure" in {one.key for one in milliseconds.assumed}


def test_left_out_it_is_as_the_donors() -> None:
    job = with_lines(append='\n[target.conditions]\nbattery = "12.9 V"\n')
    assert job.target.table.inside == job.donor.table.inside
    np.testing.assert_array_equal(job.target.table.intended_lambda, job.donor.table.intended_lambda)
    assert (job.donor.table.battery_v, job.target.table.battery_v) == (13.8, 12.9)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("decimals = 1.0", "decimals: must be a whole number from 0 to 9, without quotes"),
        ('maximum = "250 %"', "maximum: must be a number in the unit of the table's cells, without quotes"),
        ("maximum = inf", "maximum: must be a finite number; leave the key out if there is no limit"),
        ("basis = 14.7", "basis: a ratio is only for a table in air/fuel ratio, and this table holds something else"),
        (
            'ecu_applies = "unknown"',
            'ecu_applies: must not be "unknown" here: leave the key out if it is the same as the donor\'s',
        ),
        (
            "step = 0.0",
            "step: must be above zero: the amount by which two neighbouring stored numbers differ, in the table's unit",
        ),
        ("decimals = 1\nstep = 0.5", "step: is given together with decimals: give only one of the two"),
        (
            "minimum = 20.1\nmaximum = 20.4\nstep = 0.5",
            "maximum: no two numbers 0.5 % apart fit between 20.1 and 20.4: is it in the unit of the cells?",
        ),
        ('file = "x.csv"', 'file: unknown key here: "file" belongs in [donor.tables.fuel]'),
    ],
)
def test_refusals_of_the_targets_table(lines: str, message: str) -> None:
    assert refusal(append=f"\n[target.tables.fuel]\n{lines}\n") == f"job.toml: target.tables.fuel.{message}"
