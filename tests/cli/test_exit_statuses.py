"""One test for every exit status, and for the way a bad end is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.exit_status import ExitStatus
from tests.cli.conftest import contents
from tests.cli.program import ROOT, Ended, run, run_process


def test_scripts_rely_on_the_numbers() -> None:
    assert {status.name: status.value for status in ExitStatus} == {
        "OK": 0, "BAD_INPUT": 2, "DO_NOT_USE": 3, "ADAPT_FIRST": 4,
    }  # fmt: skip


def test_ok(jobs: Path) -> None:
    assert run("check", "rebored_spare.toml").status == ExitStatus.OK


def test_adapt_first(jobs: Path) -> None:
    assert run("check", "ferry_van.toml").status == ExitStatus.ADAPT_FIRST


@pytest.mark.usefixtures("plain_files_only")
def test_do_not_use(jobs: Path) -> None:
    assert run("check", "wrong_engine.toml").status == ExitStatus.DO_NOT_USE
    assert run("adapt", "wrong_engine.toml").status == 3


def test_bad_input(jobs: Path) -> None:
    before = contents(jobs)
    assert run("adapt", "nothing.toml") == Ended(
        "", "basemap: nothing.toml: no such file: expected a job file such as van.toml\n", ExitStatus.BAD_INPUT
    )
    assert contents(jobs) == before


def test_interrupted(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("basemap.jobfile.load.load_job", stop)
    assert run("check", "ferry_van.toml") == Ended("", "basemap: stopped; no half-written file was left behind\n", 130)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("chek", "van.toml"), "Error: No such command 'chek'. Did you mean 'check', 'schema'?"),
        (("check",), "Error: Missing argument 'JOB.toml'."),
        (("check", "van.toml", "--colour"), "Error: No such option: --colour"),
        (("adapt", "van.toml", "--out"), "Error: Option '--out' requires an argument."),
        (("injector",), "Error: Missing option '--flow'."),
    ],
)
def test_a_usage_error_is_bad_input_too(arguments: tuple[str, ...], message: str) -> None:
    ended = run(*arguments)
    assert (ended.stdout, ended.status) == ("", 2)
    assert ended.stderr.splitlines()[-1] == message


def test_no_command_shows_the_help() -> None:
    ended = run()
    assert ended.status == 2
    assert "basemap demo" in ended.stdout + ended.stderr


def test_a_bug_is_not_dressed_up_as_bad_input(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("basemap.jobfile.load.load_job", fail)
    with pytest.raises(ZeroDivisionError, match="a bug"):
        run("check", "ferry_van.toml")


def test_the_process_ends_with_the_status() -> None:
    job = ROOT / "sample_tables" / "wrong_engine.toml"
    ended = run_process("check", "--quiet", job)
    assert (ended.status, ended.stderr) == (3, "")
    lines = ended.stdout.splitlines()
    assert lines[0] == "DO NOT USE. There is a stop. Load nothing from this donor."
    assert lines[1].startswith("STOP  implied-ve-wide-open: ")
    assert lines[-1] == "  Ignition is NOT adapted: no load until somebody qualified has set it."


def test_the_installed_program_tells_bad_input_without_a_traceback() -> None:
    ended = run_process("check", "nothing.toml", module=False)
    assert ended == Ended("", "basemap: nothing.toml: no such file: expected a job file such as van.toml\n", 2)
