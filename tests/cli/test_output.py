"""Colour, width, pipes and code pages."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.program import PLAIN, ROOT, SAMPLES, Ended, run

pytestmark = pytest.mark.usefixtures("each_sample_once")


@pytest.fixture
def beside_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    """The samples themselves in the working folder, for commands that write nothing."""
    monkeypatch.chdir(SAMPLES)


FOUR = ["ferry_van.toml", "orchard_pickup.toml", "wrong_engine.toml", "harbour_launch.toml"]


def fits_into_a_pipe(ended: Ended) -> None:
    assert ended.stderr == ""
    lines = ended.stdout.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert [line for line in lines if line != line.rstrip() or "\x1b" in line] == []


@pytest.mark.usefixtures("beside_samples")
@pytest.mark.parametrize("command", ["check", "dead-time"])
@pytest.mark.parametrize("job", FOUR)
def test_eighty_columns_and_plain_characters_into_a_pipe(command: str, job: str) -> None:
    fits_into_a_pipe(run(command, job))


@pytest.mark.usefixtures("plain_files_only")
@pytest.mark.parametrize("job", FOUR)
def test_so_does_what_adapt_says(jobs: Path, job: str) -> None:
    fits_into_a_pipe(run("adapt", job))


@pytest.mark.usefixtures("plain_files_only")
def test_colour_where_it_is_wanted_and_not_where_no_color_is_set(jobs: Path) -> None:
    wanted = {"COLUMNS": "80", "TERM": "xterm-256color", "FORCE_COLOR": "1", "COLORTERM": "truecolor"}
    assert "\x1b[" in run("check", "ferry_van.toml", environment=wanted).stdout
    unwanted = run("adapt", "ferry_van.toml", environment={**wanted, "NO_COLOR": "1"}).stdout
    assert "\x1b[48" not in unwanted
    assert "\x1b[38" not in unwanted


@pytest.mark.usefixtures("beside_samples")
@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_an_old_code_page_gets_words_for_letters_that_it_lacks(encoding: str) -> None:
    ended = run("check", "ferry_van.toml", "--all", encoding=encoding)
    assert ended.status == 4
    assert "If loaded as it is, lambda is" in ended.stdout


@pytest.mark.usefixtures("beside_samples")
def test_json_is_whole_in_an_old_code_page() -> None:
    import json

    ended = run("check", "ferry_van.toml", "--json", encoding="ascii")
    assert json.loads(ended.stdout)["schema"] == "basemap/2"


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX pipe whose reader has gone")
def test_a_reader_that_has_gone_away_is_no_error() -> None:
    """From the start of the process to its end; `tests/hostile/test_lost_nothing.py` has other commands."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "basemap", "fuel", "E85"],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, **PLAIN},
        check=False,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_hostile_file_name_is_shown_and_not_acted_upon(jobs: Path) -> None:
    ended = run("check", "van\x1b[2J.toml")
    assert (
        ended.stderr
        == "basemap: van\N{REPLACEMENT CHARACTER}[2J.toml: no such file: expected a job file such as van.toml\n"
    )


@pytest.mark.usefixtures("beside_samples")
@pytest.mark.parametrize("columns", ["0", "1", "\N{SUPERSCRIPT TWO}", "9999", "9999999999"])
def test_any_width_that_the_environment_names(columns: str) -> None:
    ended = run("explain", "ferry_van.toml", 3000, 60, environment={**PLAIN, "COLUMNS": columns, "LINES": columns})
    assert (ended.status, ended.stderr) == (0, "")
    assert max(len(line) for line in ended.stdout.splitlines()) <= 500
    assert "3000" in ended.stdout
