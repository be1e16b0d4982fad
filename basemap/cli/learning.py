"""Reading a job and its logs, learning, and writing the results: shared by `learn` and `demo`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from basemap.adaptation.pipeline import adapt
from basemap.cli.run import load, spare_the_inputs
from basemap.errors import InputError
from basemap.exit_status import ExitStatus
from basemap.jobfile.drives import proved_at
from basemap.logs.learn import learn
from basemap.logs.log import read_log
from basemap.logs.stated_columns import read_stated
from basemap.model.drive import LogColumn
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.learnt import Learnt
from basemap.model.result import Result
from basemap.report import json_text
from basemap.report.atomic import Writer, data, text, text_of, through_memory, write_together
from basemap.report.grid_file import grid_bytes, grid_name
from basemap.report.learnt_job import learnt_job, learnt_name
from basemap.report.learnt_json import learnt_as_json
from basemap.report.page.learnt import learnt_html
from basemap.tables.read import read_grid
from basemap.workbook.learnt import write_learnt


@dataclass(frozen=True)
class LearnAsked:
    """What was asked for on the command line."""

    job: Path
    logs: tuple[Path, ...]
    columns: Path | None = None
    loaded: Path | None = None
    probe_proved: str | None = None
    accept: tuple[str, ...] = ()
    out: Path | None = None
    force: bool = False

    def path(self, name: str) -> Path:
        """A file in the folder; by default one named after the job, beside it."""
        folder = self.job.with_name(f"{self.job.stem}-learnt") if self.out is None else self.out
        return folder / name


def learn_and_write(asked: LearnAsked) -> tuple[Result, Learnt, list[Path]]:
    """Read the job and its logs, learn, and write everything that may be written."""
    job = load(asked.job)
    if not asked.logs and not job.drives:
        raise InputError("name one or more logs of drives: basemap learn JOB.toml LOG", place="LOG")
    points = _points(asked.probe_proved)
    stated: Mapping[str, LogColumn] = job.log_columns
    if asked.columns is not None:
        stated = read_stated(asked.columns)
    barometer = job.target.hardware.conditions.barometer_pa
    logs = [read_log(path, stated, barometer_pa=barometer) for path in asked.logs]
    result = adapt(replace(job, drives=()))
    own = None if asked.loaded is None else _loaded(job, asked.loaded)
    loaded, begun_with = (job.loaded, job.begun_with) if own is None else (own, own)
    found = learn(
        result,
        logs,
        loaded=loaded,
        began=result.table.to_load if begun_with is None else begun_with,
        earlier=job.drives,
        proved=bool(points) or job.probe_proved,
        accept=asked.accept,
    )
    found = replace(found, proved_at=points, begun_with=begun_with)
    return result, found, _write(asked, result, found)


def status_of(found: Learnt) -> ExitStatus:
    """Exit status of `learn`."""
    return ExitStatus.DO_NOT_USE if found.stopped else ExitStatus.OK


def _points(written: str | None) -> tuple[float, ...]:
    if written is None:
        return ()
    numbers = re.findall(r"[0-9]*\.?[0-9]+", written)
    points = tuple(float(number) for number in numbers)
    proved_at(points, None, "--probe-proved")
    return points


def _loaded(job: Job, path: Path) -> FloatArray:
    """The cells of a table that was loaded, in the unit shown, on the target's own axes."""
    grid = read_grid(path)
    shape = job.target.table.values.shape
    if grid.values.shape != shape or not np.allclose(grid.rpm, job.rpm, rtol=1e-6):
        rows, speeds = grid.values.shape
        raise InputError(
            f"has {rows} loads and {speeds} speeds, which are not those of the job's table ({shape[0]} by {shape[1]}): "
            "expected the axes of the table that adapt writes",
            file=str(path),
        )
    return np.asarray(grid.values, dtype=np.float64)


def _write(asked: LearnAsked, result: Result, found: Learnt) -> list[Path]:
    # With another log the files take the next number, as the learnt job does.
    base = learnt_name(asked.job).stem if asked.logs else asked.job.stem

    files: dict[Path, Writer] = {
        asked.path(f"{base}.xlsx"): through_memory(partial(write_learnt, result, found)),
        asked.path(f"{base}.html"): text_of(partial(learnt_html, result, found)),
        asked.path(f"{base}.json"): text_of(lambda: json_text.to_text(learnt_as_json(result, found))),
    }
    grid = asked.path(grid_name(result))
    stale = [grid] if found.stopped else []
    if found.table is not None:
        learnt = replace(result, table=replace(result.table, stored=found.table.new, richer=None))
        if not found.stopped:
            files[grid] = data(grid_bytes(learnt))
        if asked.logs:
            original = asked.job.read_bytes().decode("utf-8-sig")
            has_columns = bool(result.job.log_columns)
            content = learnt_job(original, found, has_columns=has_columns, written=not found.stopped)
            files[learnt_name(asked.job)] = text(content)
    spare_the_inputs(result.job, asked.job, [*files, *stale])
    write_together(files, force=asked.force, stale=stale)
    return list(files)
