"""The worked job: what it writes, and what it leaves alone."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from basemap.cli.demo import FILES, WRITTEN, contents
from tests.cli.program import ROOT, SAMPLES, Ended, run


def test_demo_writes_a_job_and_runs_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ended = run("demo")
    assert (ended.status, ended.stderr) == (0, "")
    folder = tmp_path / "basemap-demo"
    assert sorted(path.name for path in folder.iterdir()) == sorted([*FILES, "ferry_van-adapted"])
    assert sorted(path.name for path in (folder / "ferry_van-adapted").iterdir()) == sorted(WRITTEN)
    assert "WHAT TO LOOK AT NEXT" in ended.stdout
    assert max(len(line) for line in ended.stdout.splitlines()) <= 80


def test_demo_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "ferry_van.toml").write_text("mine")
    ended = run("demo", tmp_path)
    assert (ended.stdout, ended.status) == ("", 2)
    assert [path.name for path in tmp_path.iterdir()] == ["ferry_van.toml"]
    assert (tmp_path / "ferry_van.toml").read_text() == "mine"


@pytest.mark.parametrize("name", WRITTEN)
def test_demo_looks_first_at_all_that_it_will_write(tmp_path: Path, name: str) -> None:
    mine = tmp_path / "ferry_van-adapted" / name
    mine.parent.mkdir()
    mine.write_text("mine")
    assert run("demo", tmp_path) == Ended(
        "",
        f"basemap: {mine}: already exists; nothing was written; use --force to replace it, or name another place\n",
        2,
    )
    assert [path.name for path in tmp_path.iterdir()] == ["ferry_van-adapted"]
    assert mine.read_text() == "mine"


def test_demo_says_what_it_wrote_where_its_result_cannot_be_written(tmp_path: Path) -> None:
    in_the_way = tmp_path / "ferry_van-adapted"
    in_the_way.write_text("mine")
    assert run("demo", tmp_path) == Ended(
        "",
        f"basemap: {in_the_way}: is a file, but a folder is needed there; name another place; but the worked job was "
        f"written: {tmp_path / 'ferry_van.toml'}\n",
        2,
    )
    assert {path.name for path in tmp_path.iterdir()} == {*FILES, "ferry_van-adapted"}
    assert in_the_way.read_text() == "mine"


@pytest.mark.parametrize("command", [("demo", ""), ("adapt", "ferry_van.toml", "--out", "")])
def test_an_empty_name_is_not_the_current_folder(jobs: Path, command: tuple[str, ...]) -> None:
    before = sorted(jobs.iterdir())
    assert run(*command) == Ended(
        "",
        "basemap: the folder name is empty: name a folder, or . for the current one\n",
        2,
    )
    assert sorted(jobs.iterdir()) == before


def test_the_demo_is_the_worked_example_to_the_byte() -> None:
    assert contents() == {name: (SAMPLES / name).read_bytes() for name in FILES}


def test_an_installed_package_has_the_demo() -> None:
    """Every kind of file of the demo is named in the package data, or a wheel would not hold it."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    assert {f"**/*{Path(name).suffix}" for name in FILES} <= set(data["basemap"])
