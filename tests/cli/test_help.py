"""Help of every command."""

from __future__ import annotations

import pytest

from basemap import __version__
from basemap.cli.app import COMMANDS
from tests.cli.program import Ended, run


def test_the_commands() -> None:
    assert sorted(COMMANDS) == [
        "adapt",
        "card",
        "check",
        "compare",
        "dead-time",
        "demo",
        "explain",
        "fuel",
        "injector",
        "learn",
        "new",
        "rank",
        "schema",
        "sensors",
    ]


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_help_of_a_command_has_an_example_and_fits(command: str) -> None:
    ended = run(command, "--help")
    assert (ended.status, ended.stderr) == (0, "")
    lines = ended.stdout.splitlines()
    examples = [at for at, line in enumerate(lines) if line in ("  Example:", "  Examples:")]
    assert lines[examples[0] + 1].startswith(f"    basemap {command}")
    assert max(len(line) for line in lines) <= 80
    assert run(command, "-h") == ended


def test_help_lists_every_command_with_its_whole_sentence() -> None:
    ended = run("--help")
    listed = {line.split()[0]: line for line in ended.stdout.partition("Commands:\n")[2].splitlines()}
    assert sorted(listed) == sorted(COMMANDS)
    assert [line for line in listed.values() if not line.endswith(".") or line.endswith("...")] == []


@pytest.mark.parametrize(
    ("command", "usage"),
    [
        ("check", "[OPTIONS] JOB.toml"),
        ("explain", "[OPTIONS] JOB.toml RPM LOAD"),
        ("rank", "[OPTIONS] JOB.toml DONOR..."),
        ("demo", "[OPTIONS] [DIR]"),
    ],
)
def test_only_what_may_be_left_out_stands_in_brackets(command: str, usage: str) -> None:
    assert run(command, "--help").stdout.splitlines()[0] == f"Usage: basemap {command} {usage}"
    assert run(command, "--colour").stderr.splitlines()[0] == f"Usage: basemap {command} {usage}"


def test_every_help_ends_in_the_same_word() -> None:
    for arguments in ((), ("check",)):
        assert "Show this message and exit." in run(*arguments, "--help").stdout


def test_version() -> None:
    assert run("--version") == Ended(f"basemap {__version__}\n", "", 0)
