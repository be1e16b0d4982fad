"""What the commands that run a job have in common: reading it, and writing what comes of it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from basemap.errors import InputError
from basemap.exit_status import ExitStatus
from basemap.model.job import Job
from basemap.model.result import Result, Verdict
from basemap.report import json_file
from basemap.report.atomic import Writer, data, text, write_together


def load(path: Path) -> Job:
    """Read a job; a table whose file is ``-`` comes from standard input."""
    from basemap.job.load import load_job

    return load_job(path, stdin=sys.stdin.buffer)


@dataclass(frozen=True)
class Place:
    """Where the files of a run go."""

    job: Path
    folder: Path | None
    force: bool

    def path(self, name: str) -> Path:
        """A file in the folder; by default one named after the job, beside it."""
        folder = self.job.with_name(f"{self.job.stem}-adapted") if self.folder is None else self.folder
        return folder / name


def write_all(result: Result, place: Place) -> list[Path]:
    """Write the workbook, the JSON and, unless a stop stands, the new table; return what was written."""
    from basemap.report.grid_file import grid_bytes, grid_name
    from basemap.report.workbook import write_workbook

    def workbook(path: Path) -> None:
        write_workbook(result, path)

    stem = place.job.stem
    files: dict[Path, Writer] = {
        place.path(f"{stem}.xlsx"): workbook,
        place.path(f"{stem}.json"): text(json_file.to_text(json_file.as_json(result))),
    }
    grid = place.path(grid_name(result))
    stale = []
    if result.verdict is Verdict.REFUSE:
        # A table from an earlier run must not be found beside a result that says it must not be loaded.
        stale.append(grid)
    else:
        files[grid] = data(grid_bytes(result))
    _spare_the_inputs(result.job, place.job, [*files, *stale])
    write_together(files, force=place.force, stale=stale)
    return list(files)


def status_of(result: Result) -> ExitStatus:
    """Exit status of `adapt`."""
    return ExitStatus.DO_NOT_USE if result.verdict is Verdict.REFUSE else ExitStatus.OK


def _spare_the_inputs(job: Job, path: Path, outputs: list[Path]) -> None:
    """Refuse to replace what the result was worked out from, even with ``--force``."""
    inputs = {path.resolve(), *((path.parent / source.file).resolve() for source in job.sources)}
    for output in outputs:
        if output.resolve() in inputs:
            raise InputError("is an input of this job and is never replaced; name another folder with --out",
                             file=str(output))  # fmt: skip
