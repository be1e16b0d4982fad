"""The target of one job file with the donor of another, against a job that says the same in one file."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.errors import InputError
from basemap.jobfile.load import load_job
from basemap.jobfile.other_donor import load_pair, load_target
from basemap.model.result import Result

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
CONDITIONS = '[conditions]\nbarometer = "101.325 kPa"\ncharge_temperature = "40 degC"\nbattery = "13.8 V"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two folders: the donor's files in one, the target's in the other."""
    for name in ("donors", "mine"):
        (tmp_path / name).mkdir()
    for name in ("ferry_van.toml", "ferry_van_fuel.csv", "ferry_van_lambda.csv"):
        shutil.copy(SAMPLES / name, tmp_path / "donors")
    for name in ("hill_climb.toml", "hill_climb_fuel.tsv", "hill_climb_lambda.tsv", "ferry_van_lambda.csv"):
        shutil.copy(SAMPLES / name, tmp_path / "mine")
    donor = tmp_path / "donors" / "ferry_van.toml"
    text = donor.read_text(encoding="utf-8")
    start, end = text.index("# The tables that get it running"), text.index("[target.engine]")
    donor.write_text(text[:start] + text[end:], encoding="utf-8")
    return tmp_path


def donor_text(folder: Path) -> str:
    """The van up to its target, without conditions of its own."""
    text = (folder / "donors" / "ferry_van.toml").read_text(encoding="utf-8")
    return text[text.index("[donor]") : text.index("[target.engine]")]


def same(one: Result, other: Result) -> None:
    np.testing.assert_allclose(one.table.new, other.table.new, rtol=1e-12)
    np.testing.assert_allclose(one.band.adapted, other.band.adapted, rtol=1e-12)
    assert [(found.rule, found.severity, found.message) for found in one.findings] == [
        (found.rule, found.severity, found.message) for found in other.findings
    ]
    assert (one.verdict, one.settings) == (other.verdict, other.settings)


def test_parts_that_the_target_has_from_its_own_donor_stay_those_parts(folder: Path) -> None:
    """The hill climb car copies its own donor's fuel, E10, and not that of the van, E5."""
    by_hand = folder / "donors" / "by_hand.toml"
    text = (folder / "mine" / "hill_climb.toml").read_text(encoding="utf-8")
    target = text[text.index("[target.engine]") :].replace(
        "[target.fuel]",
        '[target.fuel]\nblend = "E10"\noctane = 98\nregulator = "manifold"\ntemperature = "104 degF"',
    )
    own = '[target.conditions]\nbarometer = "28.9 inHg absolute"\ncharge_temperature = "104 degF"\nbattery = "13.6 V"\n'
    van = CONDITIONS.replace("[conditions]", "[donor.conditions]")
    by_hand.write_text(donor_text(folder) + van + own + target, encoding="utf-8")
    paired = load_pair(load_target(folder / "mine" / "hill_climb.toml"), folder / "donors" / "ferry_van.toml")
    assert (paired.donor.hardware.fuel.name, paired.target.hardware.fuel.name) == ("E5", "E10")
    assert paired.same_as_donor == frozenset()
    same(adapt(paired), adapt(load_job(by_hand)))


def test_every_side_keeps_its_own_conditions(folder: Path) -> None:
    paired = load_pair(load_target(folder / "mine" / "hill_climb.toml"), folder / "donors" / "ferry_van.toml")
    assert paired.donor.hardware.conditions.barometer_pa == pytest.approx(101_325)
    assert paired.target.hardware.conditions.barometer_pa == pytest.approx(28.9 * 3386.388640341)
    assert (paired.donor.hardware.conditions.battery_v, paired.target.hardware.conditions.battery_v) == (13.8, 13.6)


@pytest.mark.parametrize(("own", "barometer_pa"), [('altitude = "0 m"', 101_325.0), ("", 89_874.57)])
def test_conditions_of_a_side_come_before_those_of_its_file(folder: Path, own: str, barometer_pa: float) -> None:
    """An altitude of a side takes the place of a barometer of the file. 89 874.57 Pa at 1000 m: ISO 2533, table."""
    donor = folder / "donors" / "ferry_van.toml"
    text = donor.read_text(encoding="utf-8").replace('barometer = "101.325 kPa"', 'altitude = "1000 m"')
    donor.write_text(text.replace("[donor.engine]", f"[donor.conditions]\n{own}\n\n[donor.engine]"), encoding="utf-8")
    paired = load_pair(load_target(folder / "mine" / "hill_climb.toml"), donor)
    assert paired.donor.hardware.conditions.barometer_pa == pytest.approx(barometer_pa, rel=1e-6)
    assert paired.donor.hardware.conditions.charge_temperature_k == pytest.approx(313.15)


def test_a_path_is_relative_to_the_file_in_which_it_stands(folder: Path) -> None:
    job = folder / "mine" / "hill_climb.toml"
    (folder / "mine" / "wanted.csv").write_text("kPa,600,7000\n20,0.91,0.91\n100,0.83,0.83\n", encoding="utf-8")
    text = job.read_text(encoding="utf-8")
    text = text[: text.index("[donor]")] + text[text.index("[target.engine]") :]
    text = text.replace("[target.fuel]", '[target.fuel]\nblend = "E10"\nregulator = "manifold"')
    job.write_text(text + '\n[target.tables.fuel]\nlambda = "wanted.csv"\nload_unit = "kPa"\n', encoding="utf-8")
    paired = load_pair(load_target(job), folder / "donors" / "ferry_van.toml")
    assert paired.donor.table.intended_lambda[-1, 0] == pytest.approx(0.88)
    assert paired.target.table.intended_lambda[-1, 0] == pytest.approx(0.83)


def test_the_jobs_own_donor_is_taken_as_it_stands(folder: Path) -> None:
    job = folder / "mine" / "hill_climb.toml"
    paired = load_pair(load_target(job), folder / "mine" / ".." / "mine" / "hill_climb.toml")
    assert paired.same_as_donor == {"fuel"}
    same(adapt(paired), adapt(load_job(job)))


def test_a_further_table_that_this_donor_does_not_have_is_left_out(folder: Path) -> None:
    job = folder / "mine" / "hill_climb.toml"
    text = job.read_text(encoding="utf-8").replace(
        "[target]\n",
        '[donor.tables.warm_up]\nfile = "warm.csv"\nquantity = "percent"\naxis = "coolant temperature"\n'
        'axis_unit = "degC"\n\n[target.tables.warm_up]\ndecimals = 2\n\n[target]\n',
    )
    job.write_text(text, encoding="utf-8")
    (folder / "mine" / "warm.csv").write_text("degC,%\n0,150\n80,100\n", encoding="utf-8")
    assert len(load_job(job).further_tables) == 1
    assert load_pair(load_target(job), folder / "donors" / "ferry_van.toml").further_tables == ()


DONOR_PROBLEMS = {
    "no donor": (
        ("[donor", "[target"),
        "donors/ferry_van.toml: donor: missing: expected a job file with a [donor] section",
    ),
    "a key": (
        ('displacement = "1998 cc"', 'displacment = "1998 cc"'),
        'donors/ferry_van.toml: donor.engine.displacment: unknown key: did you mean "displacement"?',
    ),
    "standard input": (
        ('file = "ferry_van_fuel.csv"', 'file = "-"'),
        'donors/ferry_van.toml: donor.tables.fuel.file: is "-", standard input, which only one of the ranked donors '
        "could read: save the table as a file",
    ),
    "its own conditions": (
        ('barometer = "101.325 kPa"', 'barometer = "101.325 kPa"\naltitude = "2000 m"'),
        'donors/ferry_van.toml: conditions.barometer: "101.325 kPa" contradicts altitude "2000 m", where the '
        "barometer reads about 79.5 kPa: it looks like a figure reduced to sea level; give the station pressure, or "
        "leave one of the two out",
    ),
    "two-stroke": (
        ('cycle = "four-stroke"', 'cycle = "two-stroke"'),
        "mine/hill_climb.toml: target.engine.cycle: a two-stroke donor's table cannot be carried over to a "
        "four-stroke engine: this program does not change between two-stroke and four-stroke",
    ),
}


@pytest.mark.parametrize("change", sorted(DONOR_PROBLEMS))
def test_a_problem_names_the_file_in_which_it_stands(
    folder: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    monkeypatch.chdir(folder)
    (old, new), message = DONOR_PROBLEMS[change]
    donor = Path("donors/ferry_van.toml")
    text = donor.read_text(encoding="utf-8")
    if change == "two-stroke":
        text = text[: text.index("[target.engine]")]
    if change == "no donor":
        text = CONDITIONS
    donor.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        load_pair(load_target(Path("mine/hill_climb.toml")), donor)
    assert str(raised.value) == message


TARGET_PROBLEMS = {
    "[donor]\n": "target: missing: give the engine that the donors are ranked for",
    '[target]\nsame_as_donor = ["fuel"]\n': (
        "target.same_as_donor: is used in a job without [donor]: name the target's own parts"
    ),
    '[target.tables.fuel]\nlambda = "-"\n': (
        'target.tables.fuel.lambda: is "-", standard input, which only one of the ranked donors could read: save the '
        "table as a file"
    ),
    '[target.tables.fuel]\nlambda = { file = "-" }\n': (
        'target.tables.fuel.lambda.file: is "-", standard input, which only one of the ranked donors could read: save '
        "the table as a file"
    ),
    "[target.engine]\ncylinders = 4.5\n": (
        "target.engine.cylinders: must be a whole number from 1 to 24, without quotes"
    ),
}


@pytest.mark.parametrize("text", sorted(TARGET_PROBLEMS))
def test_a_target_that_cannot_be_ranked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.chdir(tmp_path)
    Path("van.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        load_target(Path("van.toml"))
    assert str(raised.value) == f"van.toml: {TARGET_PROBLEMS[text]}"


LOADS_INHG = "load_points = [8, 14, 20, 26, 29]\n"
"""27 to 98 kPa; as kPa they would end at a third of the barometer."""


def in_inhg(folder: Path, own: str) -> Path:
    """A job of its own in inHg, its target with loads of its own; the other donors are in kPa."""
    text = (folder / "donors" / "ferry_van.toml").read_text(encoding="utf-8")
    grid = (folder / "donors" / "ferry_van_fuel.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in grid[2:]]
    inhg = [grid[0], grid[1].replace("kPa", "inHg")]
    inhg += [",".join([f"{float(row[0]) / 3.386388640341:.4f}", *row[1:]]) for row in rows]
    (folder / "mine" / "inhg.csv").write_text("\n".join(inhg) + "\n", encoding="utf-8")
    text = text.replace('"ferry_van_fuel.csv"', '"inhg.csv"').replace(
        'load_unit = "kPa"', 'load_unit = "inHg absolute"'
    )
    text = text.replace('lambda = "ferry_van_lambda.csv"', "lambda = 0.9")
    job = folder / "mine" / "inhg.toml"
    job.write_text(f"{text}\n[target.tables.fuel]\n{own}", encoding="utf-8")
    return job


@pytest.mark.law
def test_loads_of_the_targets_own_are_in_the_unit_of_its_own_file(folder: Path) -> None:
    """Whose donor is looked at does not change what a number means: they were read as kPa."""
    job = in_inhg(folder, LOADS_INHG)
    paired = load_pair(load_target(job), folder / "donors" / "ferry_van.toml")
    wanted = 3_386.388640341 * np.array([8.0, 14.0, 20.0, 26.0, 29.0])
    np.testing.assert_allclose(paired.target.table.load_pa, wanted, rtol=1e-9)
    np.testing.assert_allclose(load_job(job).target.table.load_pa, wanted, rtol=1e-9)
    stated = in_inhg(folder, LOADS_INHG + 'load_unit = "inHg absolute"\n')
    same(adapt(paired), adapt(load_pair(load_target(stated), folder / "donors" / "ferry_van.toml")))


@pytest.mark.law
def test_a_lambda_file_of_the_targets_own_is_in_the_unit_of_its_own_file(folder: Path) -> None:
    (folder / "mine" / "wanted.csv").write_text("load,600,7000\n5,0.95,0.95\n31,0.80,0.80\n", encoding="utf-8")
    job = in_inhg(folder, 'lambda = "wanted.csv"\n')
    paired = load_pair(load_target(job), folder / "donors" / "ferry_van.toml")
    # 100 kPa is 29.53 inHg: 0.95 − 0.15 · (29.53 − 5)/26.
    assert paired.target.table.intended_lambda[-1, 0] == pytest.approx(0.8085, abs=1e-4)


def test_loads_of_its_own_need_a_unit_where_no_donor_says_one(folder: Path) -> None:
    job = in_inhg(folder, LOADS_INHG)
    text = job.read_text(encoding="utf-8")
    job.write_text(text[text.index("[target.engine]") :], encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_target(job)
    assert str(caught.value) == (
        f"{job}: target.tables.fuel.load_unit: missing: give the unit of the loads in load_points, because this file "
        "has no donor to take it from"
    )


def test_loads_over_another_kind_of_axis_are_refused(folder: Path) -> None:
    for name in ("reed_bank_buggy.toml", "reed_bank_fuel.csv", "reed_bank_lambda.csv"):
        shutil.copy(SAMPLES / name, folder / "donors")
    job = in_inhg(folder, LOADS_INHG)
    with pytest.raises(InputError) as caught:
        load_pair(load_target(job), folder / "donors" / "reed_bank_buggy.toml")
    assert str(caught.value) == (
        f"{job}: target.tables.fuel.load_points: are loads over manifold pressure in the job's own file, but this "
        "donor's table is over throttle"
    )


@pytest.mark.law
def test_points_of_a_further_table_in_another_unit_are_left_out(folder: Path) -> None:
    def crank(unit: str) -> str:
        keys = f'quantity = "pulse width"\necu_applies = []\naxis = "coolant temperature"\naxis_unit = "{unit}"\n'
        return f'[donor.tables.crank]\nfile = "crank.csv"\n{keys}battery = "9 V"\n\n[target.engine]'

    mine = in_inhg(folder, "")
    for place, unit, rows in (("donors", "degC", "-10,30\n60,10\n"), ("mine", "degF", "14,30\n140,10\n")):
        (folder / place / "crank.csv").write_text(f"{unit},ms\n{rows}", encoding="utf-8")
        job = mine if place == "mine" else folder / "donors" / "ferry_van.toml"
        text = job.read_text(encoding="utf-8").replace("[target.engine]", crank(unit), 1)
        job.write_text(text, encoding="utf-8")
    text = mine.read_text(encoding="utf-8").replace("[target.tables.fuel]\n", "[target.tables.crank]\n")
    mine.write_text(text + "axis_points = [20, 80, 130]\n", encoding="utf-8")
    (own,) = load_job(mine).further_tables
    assert own.axes[0].values.tolist() == [20.0, 80.0, 130.0]
    (table,) = load_pair(load_target(mine), folder / "donors" / "ferry_van.toml").further_tables
    assert table.axes[0].values.tolist() == [-10.0, 60.0]


@pytest.mark.parametrize(("label", "unit"), [("degC", "degF"), ("Coolant [°F]", "degC"), ("ECT (deg C)", "K")])
def test_a_temperature_axis_is_in_the_unit_that_its_file_names(folder: Path, label: str, unit: str) -> None:
    """Read as degF, -20 to 80 degC is -29 to 27 degC: the card would predict the pulse of a far warmer start."""
    (folder / "donors" / "crank.csv").write_text(f"{label},ms\n-10,30\n60,10\n", encoding="utf-8")
    keys = f'quantity = "pulse width"\necu_applies = []\naxis = "coolant temperature"\naxis_unit = "{unit}"\n'
    job = folder / "donors" / "ferry_van.toml"
    text = job.read_text(encoding="utf-8")
    crank = f'[donor.tables.further]\nfile = "crank.csv"\n{keys}battery = "9 V"\n\n[target.engine]'
    job.write_text(text.replace("[target.engine]", crank, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_job(job)
    assert str(caught.value) == (
        f'{job}: donor.tables.further.axis_unit: "{unit}" contradicts crank.csv, which says "{label}"'
    )
