"""``basemap learn`` as a user runs it, on the invented van's first drive."""

from __future__ import annotations

import json
import shutil
import tomllib
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from basemap.cli.demo import FIRST_DRIVE, TAUGHT, contents
from basemap.jobfile.load import load_job
from tests.cli.conftest import leave_out_workbook_and_page
from tests.cli.program import SAMPLES, Ended, run

JOB = "ferry_van.toml"
HELD = ("charging-voltage-high", "lean-at-load")


@pytest.fixture
def van(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the van and its first drive, which is the current one."""
    monkeypatch.chdir(with_van(tmp_path))
    return tmp_path


def with_van(folder: Path) -> Path:
    for path in SAMPLES.glob("ferry_van*"):
        shutil.copy(path, folder)
    (folder / FIRST_DRIVE).write_bytes(contents((FIRST_DRIVE,))[FIRST_DRIVE])
    return folder


def learnt(*more: str) -> Ended:
    return run("learn", JOB, FIRST_DRIVE, *more)


def accepted() -> list[str]:
    return [word for name in HELD for word in ("--accept", name)]


@dataclass(frozen=True)
class Taught:
    """A drive that was learnt from, once for all tests that look at it."""

    folder: Path
    ended: Ended

    @property
    def results(self) -> Path:
        return self.folder / "ferry_van-learnt"

    def again_in(self, folder: Path) -> None:
        """Put all of it into another folder."""
        shutil.copytree(self.folder, folder, dirs_exist_ok=True)


def taught(folder: Path, *more: str, plain: bool = False) -> Taught:
    """Learn in a folder; `plain` leaves workbook and page empty."""
    with chdir(with_van(folder)), pytest.MonkeyPatch.context() as patch:
        if plain:
            leave_out_workbook_and_page(patch)
        return Taught(folder, learnt(*more))


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Taught:
    """What was crossed holds the table back."""
    return taught(tmp_path_factory.mktemp("held"), "--json")


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Taught:
    """It was accepted."""
    return taught(tmp_path_factory.mktemp("taken"), *accepted(), plain=True)


@pytest.mark.usefixtures("plain_files_only")
def test_what_was_crossed_comes_first_and_no_table_is_written(van: Path) -> None:
    ended = learnt()
    assert ended.status == 3
    lines = ended.stdout.splitlines()
    assert lines[1].startswith("STOP     Charging voltage high from 3:12.5, for ")
    assert "Charging voltage climbing" in ended.stdout
    assert "--accept charging-voltage-high --accept lean-at-load" in " ".join(ended.stdout.split())
    assert {path.name for path in (van / "ferry_van-learnt").iterdir()} == {
        "ferry_van.learnt.html",
        "ferry_van.learnt.json",
        "ferry_van.learnt.xlsx",
    }
    assert (van / "ferry_van.learnt.toml").exists()


def test_accepted_it_writes_the_table_in_the_donors_shape(taken: Taught) -> None:
    assert taken.ended.status == 0
    table = (taken.results / "fuel.new.csv").read_text(encoding="utf-8")
    donor = (taken.folder / "ferry_van_fuel.csv").read_text(encoding="utf-8")
    assert table.splitlines()[1] == donor.splitlines()[1]
    assert len(table.splitlines()) == len(donor.splitlines())


@pytest.mark.usefixtures("plain_files_only")
def test_the_table_that_is_written_is_the_learnt_one(van: Path) -> None:
    job = van / JOB
    text = job.read_text(encoding="utf-8")
    assert text.count("\n[options]\n") == 1
    job.write_text(text.replace("\n[options]\n", '\n[options]\nricher_at_load = "1 %"\n'), encoding="utf-8")
    ended = learnt("--json", *accepted())
    assert ended.stderr == ""
    content = json.loads(ended.stdout)
    written = (van / "ferry_van-learnt" / "fuel.new.csv").read_text(encoding="utf-8").splitlines()[2:]
    cells = [[float(cell) for cell in row.split(",")[1:]] for row in written]
    assert cells == [pytest.approx(row) for row in content["tables"]["fuel"]["new"]]


def test_the_workbook_shows_what_the_json_says(held: Taught) -> None:
    from openpyxl import load_workbook

    fuel = json.loads(held.ended.stdout)["tables"]["fuel"]
    book = load_workbook(held.results / "ferry_van.learnt.xlsx")
    assert book.sheetnames == ["First drive", "Tables", "Band", "Along the drive"]
    sheet = book["Tables"]
    assert "NOT TO BE LOADED" in str(sheet.cell(3, 1).value)
    # The highest load stands on top.
    shown = [[sheet.cell(5 + down, 2 + column).value for column in range(16)] for down in range(16)]
    assert shown == [pytest.approx(row) for row in reversed(fuel["new"])]
    change = np.array([[sheet.cell(24 + down, 2 + column).value for column in range(16)] for down in range(16)])
    beyond = np.abs(change) - np.abs(np.array(fuel["change_percent"][::-1]))
    assert beyond.min() > -1e-6
    assert beyond.max() < 0.1
    for left, name in ((2, "standard_before"), (20, "standard_after")):
        band = [[book["Band"].cell(5 + down, left + column).value for column in range(16)] for down in range(16)]
        more = np.array(band) - 200.0 * np.array(fuel[name][::-1])
        assert more.min() > -1e-9  # rounded up: never shown narrower than it is
        assert more.max() < 0.1
    first = book["First drive"]
    assert "Charging voltage high" in str(first.cell(3, 1).value)
    # A list that would not end on the first page begins the second.
    assert [first.cell(found.id + 1, 1).value for found in first.row_breaks.brk] == ["what was uncertain"]
    fitted = first.sheet_properties.pageSetUpPr
    assert fitted is None or not fitted.fitToPage  # programs ignore the break on a sheet that is fitted to pages


def test_the_json_has_what_other_programs_need(held: Taught) -> None:
    content = json.loads(held.ended.stdout)
    assert content["schema"] == "basemap-learn/1"
    assert {"events", "card", "faults", "used", "delay", "tables", "next_points", "controller", "inputs"} <= set(
        content
    )
    assert set(content["events"][0]) == {"kind", "at_s", "for_s", "value", "limit", "unit", "stop", "says"}
    assert set(content["card"][0]) == {"line", "predicted", "seen", "within", "at_s"}
    assert set(content["faults"][0]) == {"name", "weight", "says"}
    assert {"seconds", "chunks", "left_out"} <= set(content["used"])
    fuel = content["tables"]["fuel"]
    wanted = (
        "before",
        "new",
        "change_percent",
        "mean_before",
        "mean_after",
        "standard_before",
        "standard_after",
        "visited",
    )
    assert all(len(fuel[name]) == len(fuel["load"]) for name in wanted)
    assert set(content["next_points"][0]) == {"rpm", "load", "narrows"}
    assert content["controller"]["formula_factor"] == pytest.approx(1.012, abs=0.01)  # what the invented van has
    assert content == json.loads((held.results / "ferry_van.learnt.json").read_text(encoding="utf-8"))


@pytest.mark.law
@pytest.mark.usefixtures("plain_files_only")
def test_the_learnt_job_says_the_same_again(van: Path, held: Taught) -> None:
    held.again_in(van)
    before = json.loads(held.ended.stdout)["tables"]["fuel"]
    again = run("learn", "ferry_van.learnt.toml", "--json")
    after = json.loads(again.stdout)["tables"]["fuel"]
    for name in ("new", "mean_before", "standard_after", "support"):
        for one, other in zip(before[name], after[name], strict=True):
            assert one == pytest.approx(other, rel=1e-9, abs=1e-12)
    # What the drive crossed still holds the table back.
    assert again.status == 3


def test_the_next_drive_goes_on_from_the_table_that_was_written(van: Path, taken: Taught) -> None:
    taken.again_in(van)
    written = json.loads((van / "ferry_van-learnt" / "ferry_van.learnt.json").read_text(encoding="utf-8"))
    job = load_job(van / "ferry_van.learnt.toml")
    assert job.loaded is not None
    assert job.loaded.tolist() == written["tables"]["fuel"]["new"]
    assert [drive.file for drive in job.drives] == [FIRST_DRIVE]
    again = run("learn", "ferry_van.learnt.toml", FIRST_DRIVE)
    assert again == Ended(
        "",
        f"basemap: {FIRST_DRIVE}: has been used before ({FIRST_DRIVE}): leave it out, because the same drive would "
        "count as two\n",
        2,
    )


@pytest.mark.usefixtures("plain_files_only")
def test_the_probes_proof_is_kept(van: Path) -> None:
    learnt("--probe-proved", "0.80, 1.00")
    assert tomllib.loads((van / "ferry_van.learnt.toml").read_text(encoding="utf-8"))["learnt"]["probe_proved"] == [
        0.8,
        1.0,
    ]
    assert load_job(van / "ferry_van.learnt.toml").probe_proved


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((JOB,), "LOG: name one or more logs of drives: basemap learn JOB.toml LOG"),
        ((JOB, "none.csv"), "none.csv: no such file: expected a log of a drive"),
        ((JOB, FIRST_DRIVE, "--probe-proved", "1.0"),
         "--probe-proved: expected two values of lambda where the probe reads correctly, at least 0.1 apart, such as "
         "0.80 and 1.00"),
        ((JOB, FIRST_DRIVE, "--columns", "none.toml"), "none.toml: no such file: expected columns as in [log.columns]"),
        ((JOB, FIRST_DRIVE, "--accept", "everything"),
         '--accept "everything": no reason of that name holds the table back (the reasons are: charging-voltage-high, '
         "lean-at-load)"),
        (("reed_bank_buggy.toml", FIRST_DRIVE),
         "donor.tables.fuel.load: the load axis is throttle: learn compares a log over manifold pressure or pressure "
         "ratio, and cannot say which cells of this table a drive went through; its log still has to be read by hand"),
    ],
)  # fmt: skip
def test_refusals_write_nothing(van: Path, arguments: tuple[str, ...], message: str) -> None:
    for path in SAMPLES.glob("reed_bank*"):
        shutil.copy(path, van)
    before = sorted(van.rglob("*"))
    assert run("learn", *arguments) == Ended("", f"basemap: {message}\n", 2)
    assert sorted(van.rglob("*")) == before


@pytest.mark.usefixtures("plain_files_only")
def test_nothing_is_overwritten(van: Path, taken: Taught) -> None:
    """If it may be, the table of the run before is not left beside a result that holds it back."""
    taken.again_in(van)
    ended = learnt()
    assert ended.status == 2
    assert "ferry_van.learnt" in ended.stderr
    assert (van / "ferry_van-learnt" / "fuel.new.csv").exists()
    assert learnt("--force").status == 3
    assert not (van / "ferry_van-learnt" / "fuel.new.csv").exists()


def test_another_table_that_was_loaded(van: Path) -> None:
    rows = [line.split(",") for line in (van / "ferry_van_fuel.csv").read_text(encoding="utf-8").splitlines()]
    rows[2:] = [[row[0], *(f"{0.7 * float(cell):.1f}" for cell in row[1:])] for row in rows[2:]]
    (van / "other.csv").write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    ended = learnt("--loaded", "other.csv")
    assert ended.status == 2
    assert "off what this table and these settings command" in ended.stderr
    assert learnt("--loaded", "ferry_van_crank.csv").status == 2


@pytest.mark.usefixtures("plain_files_only")
def test_columns_of_the_users_own(van: Path) -> None:
    text = (van / FIRST_DRIVE).read_text(encoding="utf-8").replace("lambda,", "x,", 1)
    (van / "own.csv").write_text(text, encoding="utf-8")
    (van / "columns.toml").write_text('lambda = { column = "x" }\n', encoding="utf-8")
    assert run("learn", JOB, "own.csv", "--columns", "columns.toml").status == 3


@pytest.mark.usefixtures("plain_files_only")
def test_adapt_of_the_learnt_job_writes_the_table_that_learn_wrote(van: Path, taken: Taught) -> None:
    taken.again_in(van)
    held = run("adapt", "ferry_van.learnt.toml")
    assert held.status == 3
    assert "charging-voltage-high, crossed in the last drive" in " ".join(held.stdout.split())
    folder = van / "ferry_van.learnt-adapted"
    assert not (folder / "fuel.new.csv").exists()
    ended = run("adapt", "ferry_van.learnt.toml", "--accept", "held-after-drives", "--force")
    assert ended.status == 0
    assert "after 41 s of steady driving (1 log)" in " ".join(ended.stdout.split())
    assert (folder / "fuel.new.csv").read_bytes() == (van / "ferry_van-learnt" / "fuel.new.csv").read_bytes()


@pytest.mark.usefixtures("plain_files_only")
def test_a_table_of_the_users_own_is_kept_in_the_learnt_job(van: Path) -> None:
    run("adapt", JOB)
    rows = (van / "ferry_van-adapted" / "fuel.new.csv").read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in rows]
    own = [[row[0], *(f"{1.004 * float(cell):.1f}" for cell in row[1:])] for row in cells[2:]]
    (van / "own.csv").write_text("\n".join([*rows[:2], *(",".join(row) for row in own)]) + "\n", encoding="utf-8")
    learnt("--loaded", "own.csv", *accepted())
    job = load_job(van / "ferry_van.learnt.toml")
    assert job.begun_with is not None
    assert job.begun_with.tolist() == [[float(cell) for cell in row[1:]] for row in own]
    run("adapt", "ferry_van.learnt.toml", "--accept", "held-after-drives")
    one, other = (van / folder / "fuel.new.csv" for folder in ("ferry_van.learnt-adapted", "ferry_van-learnt"))
    assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[log]\ncolumn = 1", "log.column: unknown key: expected columns, probe_proved"),
        ("[log.columns]\nrmp = { column = 'x' }", "log.columns.rmp: is not a channel; did you mean rpm?"),
        ("[log]\nprobe_proved = [1.0, 1.05]",
         "log.probe_proved: expected two values of lambda where the probe reads correctly, at least 0.1 apart, such "
         "as 0.80 and 1.00"),
        ("[learnt]\nloaded = [[1.0]]",
         "learnt.loaded: expected 16 rows of 16 numbers, a table as the controller holds it"),
        ("[learnt]\nlogs = [{ file = 'x', sha256 = 'y', chunks = [[1.0]] }]",
         'learnt.logs[0]: must be as "basemap learn" wrote it: do not change it by hand'),
        ("[learnt]\nbegun_with = [[-1.0]]",
         "learnt.begun_with: expected 16 rows of 16 numbers, a table as the controller holds it"),
        ("[[learnt.logs]]\nfile = 'x'\nsha256 = 'y'\n"
         "chunks = [[1.0, 1.6, 2e3, 0.0, 300.0, 14.0, 5e-3, 0.0, 1e-3, 0.0]]",
         'learnt.logs[0].chunks: must be as "basemap learn" wrote it: do not change it by hand'),
        ("[learnt]\ncrossed = 3", 'learnt.crossed: must be as "basemap learn" wrote it: do not change it by hand'),
    ],
)  # fmt: skip
def test_sections_that_cannot_be_used(van: Path, text: str, message: str) -> None:
    job = van / JOB
    job.write_text(job.read_text(encoding="utf-8") + "\n" + text + "\n", encoding="utf-8")
    assert run("check", JOB) == Ended("", f"basemap: {JOB}: {message}\n", 2)


@pytest.mark.usefixtures("plain_files_only")
def test_the_demos_second_act(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ended = run("demo", "--first-drive", "act")
    assert ended.status == 0
    assert "Charging voltage high" in ended.stdout
    assert all((tmp_path / "act" / name).exists() for name in TAUGHT)
    assert run("demo", "--first-drive", "act").status == 2
