"""A folder of sample jobs to work in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.program import SAMPLES


@pytest.fixture
def jobs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the sample jobs, which is also the working folder."""
    folder = tmp_path / "jobs"
    folder.mkdir()
    for file in SAMPLES.glob("*.*"):
        if file.is_file():
            shutil.copy(file, folder)
    monkeypatch.chdir(folder)
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder, by relative path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
