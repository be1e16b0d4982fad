"""What ``compare --write-job`` does: the changed inputs of a returned workbook go into a new job file."""

from __future__ import annotations

import hashlib
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from basemap.errors import InputError, OutputExists

if TYPE_CHECKING:
    from basemap.model.result import Result
    from basemap.workbook.returned.carried import Carried
    from basemap.workbook.returned.edits import WorkbookDifference


@dataclass(frozen=True)
class CarriedBack:
    """The changes in the new job file, and its `check`; no path and no result if nothing was changed."""

    carried: Carried
    path: Path | None = None
    result: Result | None = None


def carry_back(found: WorkbookDifference, named: Path | None, new: Path) -> CarriedBack:
    """Write a job file with the inputs that were changed in a workbook.

    Parameters
    ----------
    found
        The workbook as issued and as returned.
    named
        The job file that the workbook was issued from; by default looked for beside the issued workbook.
    new
        The job file to write, beside the old one.

    Raises
    ------
    InputError
        If the workbook was not issued from this job file, a cell has a value that its input cannot have, or the new job
        cannot be used. Nothing is written then.
    """
    from basemap.adaptation.pipeline import check, compute
    from basemap.jobfile.edited import edited
    from basemap.jobfile.load import build_job, load_job
    from basemap.report.atomic import text, write_together
    from basemap.workbook.returned.carried import carried, refuse_unlike

    job_file, read = _issued_from(found, named)
    _refuse_place(new, job_file)
    done = carried(found, compute(load_job(job_file)))
    if not done.edits:
        return CarriedBack(done)
    try:
        content = edited(read.decode("utf-8-sig"), done.edits)
    except InputError as error:
        raise error.within(file=str(job_file)) from None
    job = build_job(tomllib.loads(content), new.parent, str(new))
    result = check(job)
    refuse_unlike(found, done, result)
    write_together({new: text(content)})
    return CarriedBack(done, new, result)


def _issued_from(found: WorkbookDifference, named: Path | None) -> tuple[Path, bytes]:
    """The job file that the workbook was issued from, known by its SHA-256, and its content."""
    from basemap.jobfile.load import MOST_BYTES
    from basemap.tables.plain_file import content_of
    from basemap.workbook.pages.findings import JOB_FILE, JOB_FILE_HASH

    issued = found.books[0]
    if JOB_FILE_HASH not in issued.names or JOB_FILE not in issued.names:
        raise InputError(
            'does not say which job file it was issued from: issue it again with "basemap adapt"', file=found.issued
        )
    # Only the file name counts: a workbook from outside must not choose which folders are searched.
    name = os.path.basename(str(issued.shown(issued.first(JOB_FILE))).replace("\\", "/")) or "job.toml"
    path = named or _beside(Path(found.issued), name)
    if path is None:
        raise InputError(
            f"was issued from {name}, which is neither next to it nor one folder up: name the job file with --job",
            file=found.issued,
        )
    try:
        content = content_of(path, MOST_BYTES, f"the job file {name}")
    except InputError as error:
        raise error.within(file=str(path)) from None
    if hashlib.sha256(content).hexdigest() != issued.shown(issued.first(JOB_FILE_HASH)):
        raise InputError(
            f"is not the job file that {found.issued} was issued from, or has changed since: name the right one with "
            '--job, or issue the workbook again with "basemap adapt"',
            file=str(path),
        )
    return path, content


def _beside(issued: Path, name: str) -> Path | None:
    """Where "adapt" left it: one folder up from the workbook, or beside it."""
    places = [Path(os.path.normpath(issued.parent / "..")) / name, issued.parent / name]
    return next((path for path in places if os.path.isfile(path)), None)


def _refuse_place(new: Path, job_file: Path) -> None:
    """Refuse a file that exists, and another folder, from which the tables of the job would not be found."""
    if os.path.lexists(new):
        raise OutputExists("already exists: name another file", file=str(new))
    if os.path.realpath(new.parent) != os.path.realpath(job_file.parent):
        raise InputError(
            f"would be in a different folder from {job_file}, whose paths to its tables start there: write "
            f"{job_file.with_name(new.name)}",
            file=str(new),
        )
