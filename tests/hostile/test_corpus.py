"""Hostile files: each is refused with its whole message or read correctly, within bounds of memory and time."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import leave_out_workbook_and_page
from tests.cli.program import run
from tests.hostile.corpus import FILES, HEAVY, build
from tests.hostile.outcome import MOST_MIB, MOST_SECONDS, outcome

if sys.platform == "win32":
    pytest.skip("pipes, links and limits of a process are POSIX", allow_module_level=True)

EXPECTED: dict[str, dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("expected.toml").read_text(encoding="utf-8")
)
LIGHT = [name for name in FILES if name not in HEAVY]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("hostile")
    build(place)
    return place


@pytest.fixture(scope="module")
def measured(folder: Path) -> dict[str, dict[str, Any]]:
    if sys.platform != "linux":
        pytest.skip("how much memory a process may take is asked of Linux")
    done = subprocess.run(
        [sys.executable, "-m", "tests.hostile.outcome", *HEAVY],
        capture_output=True,
        text=True,
        cwd=folder,
        check=True,
        timeout=600,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONUTF8": "1"},
    )
    return {found["name"]: found for found in map(json.loads, done.stdout.splitlines())}


def test_the_corpus_and_the_table_agree() -> None:
    assert set(EXPECTED) == set(FILES)
    assert len(FILES) >= 120


def test_each_is_refused_with_its_whole_message_or_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    assert {name: outcome(name) for name in LIGHT} == {name: EXPECTED[name] for name in LIGHT}


def test_what_is_heavy_takes_little_memory_and_time(measured: dict[str, dict[str, Any]]) -> None:
    assert {name: found["outcome"] for name, found in measured.items()} == {name: EXPECTED[name] for name in HEAVY}
    assert [name for name, found in measured.items() if not found["mib"] < MOST_MIB] == []
    assert [name for name, found in measured.items() if not found["seconds"] < MOST_SECONDS] == []


def test_nothing_was_written_outside_the_folder(folder: Path) -> None:
    assert not (folder.parent.parent / "climbed.txt").exists()
    assert not Path("/tmp/basemap-climbed.txt").exists()


@pytest.mark.parametrize(
    "name", ["key_over_two_lines.toml", "key_with_escape.toml", "key_of_bidi.toml", "further_table_bidi.toml"]
)
def test_a_message_is_one_line_that_no_terminal_obeys(folder: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.chdir(folder)
    ended = run("check", name)
    assert ended.status == 2
    assert ended.stdout == ""
    plain = "".join(
        "\N{REPLACEMENT CHARACTER}" if sign in "\n\x1b\u202e" else sign for sign in EXPECTED[name]["message"]
    )
    assert ended.stderr == f"basemap: {plain}\n"


@pytest.mark.parametrize("options", [(), ("--json",), ("--quiet",)], ids=["text", "json", "quiet"])
def test_a_title_and_notes_reach_no_terminal_raw(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...]
) -> None:
    hostile = "\\u001b[2J\\u009b31m\\u202Etxet\\u061C"
    job = (folder / "orchard_pickup.toml").read_text(encoding="utf-8")
    (folder / "shown.toml").write_text(
        f'notes = "{hostile}"\n' + job.replace('title = "', f'title = "{hostile}', 1), encoding="utf-8"
    )
    leave_out_workbook_and_page(monkeypatch)
    monkeypatch.chdir(folder)
    for command in (("check",), ("adapt", "--out", str(tmp_path / "out"))):
        ended = run(command[0], "shown.toml", *command[1:], *options)
        assert ended.stderr == ""
        assert [sign for sign in ended.stdout if sign in "\x1b\x9b\u202e\u061c"] == []
    if "--json" in options:
        assert json.loads(ended.stdout)["schema"] == "basemap/2"
        assert "\\u001b[2J\\u009b31m\\u202etxet\\u061c" in ended.stdout
