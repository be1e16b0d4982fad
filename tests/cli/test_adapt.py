"""What `adapt` writes, and what it never does."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from basemap.cli.run import Destination, write_all
from basemap.errors import OutputExists
from tests.builders.results import adapted
from tests.cli.conftest import RunIn, contents, run_in
from tests.cli.program import SAMPLES, Ended, run

STOP = "implied-ve-wide-open"
GRIDS = ("fuel.new.csv", "crank.new.csv", "prime.new.csv", "warm_up.new.csv")
WRITTEN = ("ferry_van.xlsx", "ferry_van.html", "ferry_van.json", *GRIDS)
EXISTS = "already exists; nothing was written; use --force to replace it, or name another place"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> RunIn:
    return run_in(tmp_path_factory.mktemp("beside") / "jobs", "adapt", "ferry_van.toml")


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> RunIn:
    folder = tmp_path_factory.mktemp("elsewhere") / "jobs"
    return run_in(folder, "adapt", "ferry_van.toml", "--quiet", "--out", "for/the tuner", plain=True)


@pytest.fixture(scope="module")
def accepted(tmp_path_factory: pytest.TempPathFactory) -> RunIn:
    return run_in(tmp_path_factory.mktemp("accepted") / "jobs", "adapt", "wrong_engine.toml", "--accept", STOP)


def test_files_go_beside_the_job(beside: RunIn) -> None:
    ended = beside.ended
    assert (ended.status, ended.stderr) == (0, "")
    assert names(beside.folder / "ferry_van-adapted") == sorted(WRITTEN)
    told = " ".join(ended.stdout.split())
    folder = f"{Path('ferry_van-adapted', '_')}".rstrip("_")
    assert f"WRITTEN into {folder} ferry_van.xlsx, .html, .json, the files to load NEXT" in told
    assert all(f" {name} " in told for name in GRIDS)


def test_out_names_another_folder_and_makes_it(elsewhere: RunIn) -> None:
    assert elsewhere.ended.status == 0
    assert names(elsewhere.folder / "for" / "the tuner") == sorted(WRITTEN)
    assert not (elsewhere.folder / "ferry_van-adapted").exists()


def test_a_command_to_copy_is_in_quotes_where_a_shell_would_take_it_apart(jobs: Path) -> None:
    spaced = (jobs / "ferry_van.toml").rename("the ferry van.toml")
    assert run("check", spaced).stdout.endswith('NEXT  basemap adapt "the ferry van.toml"\n')


@pytest.mark.usefixtures("plain_files_only")
def test_json_on_standard_output_is_the_file(jobs: Path) -> None:
    ended = run("adapt", "ferry_van.toml", "--json")
    assert ended.status == 0
    assert ended.stdout == (jobs / "ferry_van-adapted" / "ferry_van.json").read_text(encoding="utf-8")
    assert json.loads(ended.stdout)["verdict"] == "adapt first"


def test_quiet_prints_the_verdict_the_ignition_and_the_files(elsewhere: RunIn) -> None:
    lines = elsewhere.ended.stdout.splitlines()
    assert lines[0] == "ADAPT FIRST. Do not load this map as it is: 29.7 to 36.6 % rich, hardly runs."
    assert lines[1].startswith("  Light load until measured: it may be ")
    assert lines[-8] == "  Ignition is NOT adapted: no load until somebody qualified has set it."
    assert lines[-7:] == [str(Path("for/the tuner", name)) for name in WRITTEN]


def test_nothing_is_overwritten(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever file stands there; it is seen before the page and the workbook are made."""

    def too_early(*_: object) -> str:
        raise AssertionError("made although it must not be written")

    for long_work in ("basemap.workbook.write_workbook", "basemap.report.page.write.page_html"):
        monkeypatch.setattr(long_work, too_early)
    result = adapted(SAMPLES / "ferry_van.toml")
    place = Destination(jobs / "ferry_van.toml", Path("x"), force=False)
    (jobs / "x").mkdir()
    for name in WRITTEN:
        standing = Path("x", name)
        standing.write_text("mine")
        before = contents(jobs)
        with pytest.raises(OutputExists) as refused:
            write_all(result, place)
        assert str(refused.value) == f"{standing}: {EXISTS}"
        assert contents(jobs) == before
        standing.unlink()
    (jobs / "x" / "fuel.new.csv").write_text("mine")
    ended = run("adapt", "ferry_van.toml", "--out", "x")
    assert ended == Ended("", f"basemap: {Path('x', 'fuel.new.csv')}: {EXISTS}\n", 2)


@pytest.mark.usefixtures("plain_files_only")
def test_force_replaces(jobs: Path) -> None:
    (jobs / "x").mkdir()
    for name in WRITTEN:
        (jobs / "x" / name).write_text("mine")
    assert run("adapt", "ferry_van.toml", "--out", "x", "--force").status == 0
    assert names(jobs / "x") == sorted(WRITTEN)
    assert [name for name, content in contents(jobs / "x").items() if content == b"mine"] == []


def test_a_stop_withholds_the_table(jobs: Path) -> None:
    ended = run("adapt", "wrong_engine.toml", "--tables")
    assert ended.status == 3
    assert names(jobs / "wrong_engine-adapted") == ["wrong_engine.html", "wrong_engine.json", "wrong_engine.xlsx"]
    assert "No table to load was written, because there is a stop." in ended.stdout
    assert f"\nSTOP  {STOP}: At 100 kPa the donor's cells imply " in ended.stdout
    assert "NEW TABLE: FUEL, PULSE WIDTH - DO NOT LOAD" in ended.stdout


def test_accepting_the_stop_by_name_writes_the_table_and_is_recorded(accepted: RunIn) -> None:
    ended = accepted.ended
    assert ended.status == 0
    folder = accepted.folder / "wrong_engine-adapted"
    assert names(folder) == ["fuel.new.csv", "wrong_engine.html", "wrong_engine.json", "wrong_engine.xlsx"]
    written = json.loads((folder / "wrong_engine.json").read_text(encoding="utf-8"))
    assert written["accepted"] == [STOP]
    assert f"Accepted by you, against advice: {STOP}" in ended.stdout


@pytest.mark.usefixtures("plain_files_only")
def test_quiet_does_not_hide_what_stands_against_the_map(jobs: Path) -> None:
    refused = run("adapt", "wrong_engine.toml", "--quiet", "--out", "x")
    assert refused.stdout.startswith("DO NOT USE. There is a stop. Load nothing from this donor.\n")
    assert f"\nSTOP  {STOP}: " in refused.stdout
    taken = run("adapt", "wrong_engine.toml", "--quiet", "--accept", STOP, "--out", "y")
    assert taken.stdout.startswith("USABLE UNCHANGED, IDLE ONLY UNTIL MEASURED. ")
    assert f"\nAccepted by you, against advice: {STOP}: At 100 kPa " in taken.stdout


def test_accepting_what_is_no_rule_is_refused(jobs: Path) -> None:
    assert run("adapt", "wrong_engine.toml", "--accept", "implied-ve-wide-opn") == Ended(
        "",
        'basemap: --accept: there is no rule "implied-ve-wide-opn" to accept; the nearest is "implied-ve-wide-open"\n',
        2,
    )


@pytest.mark.usefixtures("plain_files_only")
def test_a_table_of_an_earlier_run_is_not_left_beside_a_stop(jobs: Path, accepted: RunIn) -> None:
    folder = jobs / "wrong_engine-adapted"
    shutil.copytree(accepted.folder / "wrong_engine-adapted", folder)
    assert "fuel.new.csv" in names(folder)
    assert run("adapt", "wrong_engine.toml", "--force").status == 3
    assert names(folder) == ["wrong_engine.html", "wrong_engine.json", "wrong_engine.xlsx"]


def test_a_table_of_an_earlier_run_alone_stands_in_the_way_of_a_stop(jobs: Path) -> None:
    folder = jobs / "wrong_engine-adapted"
    folder.mkdir()
    (folder / "fuel.new.csv").write_text("old")
    ended = run("adapt", "wrong_engine.toml")
    assert ended == Ended("", f"basemap: {Path('wrong_engine-adapted', 'fuel.new.csv')}: {EXISTS}\n", 2)
    assert names(folder) == ["fuel.new.csv"]


def test_an_input_is_never_replaced_even_by_force(jobs: Path) -> None:
    text = (jobs / "ferry_van.toml").read_text(encoding="utf-8").replace("ferry_van_fuel.csv", "fuel.new.csv")
    (jobs / "ferry_van.toml").write_text(text, encoding="utf-8")
    (jobs / "ferry_van_fuel.csv").rename(jobs / "fuel.new.csv")
    before = contents(jobs)
    assert run("adapt", "ferry_van.toml", "--out", ".", "--force") == Ended(
        "",
        "basemap: fuel.new.csv: is an input of this job, which is never replaced: name another folder with --out\n",
        2,
    )
    assert contents(jobs) == before


def test_a_place_that_cannot_be_written_leaves_nothing_behind(jobs: Path) -> None:
    (jobs / "file").write_text("no folder")
    before = contents(jobs)
    ended = run("adapt", "ferry_van.toml", "--out", "file/x")
    assert ended == Ended("", "basemap: file: is a file, but a folder is needed there; name another place\n", 2)
    assert contents(jobs) == before


@pytest.mark.usefixtures("plain_files_only")
def test_the_donors_table_may_come_from_standard_input(jobs: Path, beside: RunIn) -> None:
    table = (jobs / "ferry_van_fuel.csv").read_bytes()
    text = (jobs / "ferry_van.toml").read_text(encoding="utf-8").replace('file = "ferry_van_fuel.csv"', 'file = "-"')
    (jobs / "piped.toml").write_text(text, encoding="utf-8")
    assert run("adapt", "piped.toml", stdin=table).status == 0
    filed = beside.folder / "ferry_van-adapted" / "fuel.new.csv"
    assert (jobs / "piped-adapted" / "fuel.new.csv").read_bytes() == filed.read_bytes()
