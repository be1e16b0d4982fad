"""A folder of sample jobs to work in."""

from __future__ import annotations

import shutil
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.program import SAMPLES, Ended, run


@pytest.fixture
def jobs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the sample jobs, which is also the working folder."""
    folder = copied_to(tmp_path / "jobs")
    monkeypatch.chdir(folder)
    return folder


def copied_to(folder: Path) -> Path:
    """A new folder with the sample jobs."""
    folder.mkdir()
    for file in SAMPLES.glob("*.*"):
        if file.is_file():
            shutil.copy(file, folder)
    return folder


@dataclass(frozen=True)
class RunIn:
    """A run that several tests look at, and the folder of sample jobs that it was run in; none changes it."""

    folder: Path
    ended: Ended


def run_in(folder: Path, *arguments: object) -> RunIn:
    """Run the program in a new folder with the sample jobs."""
    with chdir(copied_to(folder)):
        return RunIn(folder, run(*arguments))


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder, by relative path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
