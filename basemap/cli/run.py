"""Reading a job and writing its results: shared by the commands that run a job."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from basemap.errors import InputError
from basemap.exit_status import ExitStatus
from basemap.model.finding import Verdict
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.report import json_file, json_text
from basemap.report.atomic import Writer, data, text_of, through_memory, write_together

if TYPE_CHECKING:
    from basemap.belief.monte_carlo import Drawing

FEWEST_SAMPLES, MOST_SAMPLES = 100, 10_000_000


def load(path: Path) -> Job:
    """Read a job; a table whose file is ``-`` comes from standard input."""
    from basemap.cli.output import standard_input
    from basemap.jobfile.load import load_job

    return load_job(path, stdin=standard_input())


@contextmanager
def drawing(samples: str | None, seed: str | None) -> Iterator[Drawing | None]:
    """The Monte Carlo run that was asked for, with a progress bar on standard error if that is a terminal."""
    from basemap.belief.monte_carlo import SEED, Drawing

    if samples is None:
        if seed is not None:
            raise InputError("needs --samples: give both", place="--seed")
        yield None
        return
    allowed = f"from {FEWEST_SAMPLES} to {MOST_SAMPLES}; 100000 is plenty"
    count = _whole(samples, "--samples", allowed)
    if not FEWEST_SAMPLES <= count <= MOST_SAMPLES:
        raise InputError(f"{samples} is not {allowed}", place="--samples")
    start = SEED if seed is None else _whole(seed, "--seed", "from 0, such as 1")
    if start < 0:
        raise InputError(f"{seed} is negative: write a whole number from 0", place="--seed")
    if not sys.stderr.isatty():
        yield Drawing(count, start)
        return
    from rich.progress import Progress

    from basemap.cli.output import console

    with Progress(console=console(error=True), transient=True) as bar:
        task = bar.add_task("Drawing random samples", total=count)
        yield Drawing(count, start, lambda done: bar.update(task, completed=done))


def _whole(written: str, option: str, expected: str) -> int:
    """The whole number that an option was given."""
    if re.fullmatch(r"[+-]?[0-9]{1,30}", written.strip()) is None:
        raise InputError(f'"{written}" is not a whole number: write one {expected}', place=option)
    return int(written)


class Destination(NamedTuple):
    """Where the files of a run go."""

    job: Path
    folder: Path | None
    force: bool

    def path(self, name: str) -> Path:
        """A file in the folder; by default one named after the job, beside it."""
        folder = self.job.with_name(f"{self.job.stem}-adapted") if self.folder is None else self.folder
        return folder / name


def write_all(result: Result, place: Destination) -> list[Path]:
    """Write the workbook, the page, the JSON and, unless there is a stop, the new tables; return the files written."""
    from basemap.report.grid_file import further_table_bytes, further_table_name, grid_bytes, grid_name
    from basemap.report.page.write import page_html
    from basemap.workbook import write_workbook

    stem = place.job.stem
    files: dict[Path, Writer] = {
        place.path(f"{stem}.xlsx"): through_memory(partial(write_workbook, result)),
        place.path(f"{stem}.html"): text_of(partial(page_html, result)),
        place.path(f"{stem}.json"): text_of(lambda: json_text.to_text(json_file.as_json(result))),
    }
    grids = {grid_name(result): grid_bytes(result)}
    grids |= {further_table_name(found): further_table_bytes(found) for found in result.further_tables}
    stale = []
    if result.verdict is Verdict.REFUSE:
        # A table from an earlier run must not be found beside a result that says it must not be loaded.
        stale += [place.path(name) for name in grids]
    else:
        files |= {place.path(name): data(content) for name, content in grids.items()}
    spare_the_inputs(result.job, place.job, [*files, *stale])
    write_together(files, force=place.force, stale=stale)
    return list(files)


def status_of(result: Result) -> ExitStatus:
    """Exit status of `adapt`."""
    return ExitStatus.DO_NOT_USE if result.verdict is Verdict.REFUSE else ExitStatus.OK


def spare_the_inputs(job: Job, path: Path, outputs: list[Path]) -> None:
    """Refuse to replace what the result was worked out from, even with ``--force``."""
    # Not Path.resolve, which raises where links lead in a circle.
    try:
        inputs = {os.path.realpath(path), *(os.path.realpath(path.parent / source.file) for source in job.sources)}
        places = {output: os.path.realpath(output) for output in outputs}
    except FileNotFoundError:
        raise InputError("the current folder no longer exists: go to another one") from None
    for output, real in places.items():
        if real in inputs:
            raise InputError("is an input of this job, which is never replaced: name another folder with --out",
                             file=str(output))  # fmt: skip
