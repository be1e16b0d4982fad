"""A folder of sample jobs to work in."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import pytest

from basemap.adaptation import pipeline
from basemap.belief.monte_carlo import Drawing
from basemap.cli import run as cli_run
from basemap.model.job import Job
from basemap.model.result import Result
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


@pytest.fixture
def plain_files_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """For a test that looks at neither workbook nor page, which take most of a run: both files are empty."""
    leave_out_workbook_and_page(monkeypatch)


def leave_out_workbook_and_page(patch: pytest.MonkeyPatch) -> None:
    """Let workbook and page of `adapt` and `learn` be empty files; other tests write all of them."""
    for workbook in ("basemap.workbook.write_workbook", "basemap.cli.learning.write_learnt"):
        patch.setattr(workbook, lambda *_: None)
    for page in ("basemap.report.page.write.page_html", "basemap.cli.learning.learnt_html"):
        patch.setattr(page, lambda *_: "")


@pytest.fixture(scope="module")
def each_sample_once() -> Iterator[None]:
    """Commands that only show something read and adapt a sample once for all tests of a module."""
    read, carry_over = cli_run.load, pipeline.adapt
    jobs: dict[tuple[Path, Path], Job] = {}
    results: dict[tuple[int, tuple[str, ...]], Result] = {}

    def load(path: Path) -> Job:
        place = path, path.resolve()
        if place[1].parent != SAMPLES:
            return read(path)
        if place not in jobs:
            jobs[place] = read(path)
        return jobs[place]

    def adapt(job: Job, accept: Sequence[str] = (), drawing: Drawing | None = None) -> Result:
        if drawing is not None or not any(job is one for one in jobs.values()):
            return carry_over(job, accept, drawing)
        asked = id(job), tuple(accept)
        if asked not in results:
            results[asked] = carry_over(job, accept)
        return results[asked]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cli_run, "load", load)
        patch.setattr(pipeline, "adapt", adapt)
        yield


@dataclass(frozen=True)
class RunIn:
    """A run that several tests look at, and the folder of sample jobs that it was run in; none changes it."""

    folder: Path
    ended: Ended


def run_in(folder: Path, *arguments: object, plain: bool = False) -> RunIn:
    """Run the program in a new folder with the sample jobs; `plain` leaves workbook and page empty."""
    with chdir(copied_to(folder)), pytest.MonkeyPatch.context() as patch:
        if plain:
            leave_out_workbook_and_page(patch)
        return RunIn(folder, run(*arguments))


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder, by relative path."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
