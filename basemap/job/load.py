"""A job file becomes a `Job`."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from pydantic import ValidationError

from basemap.errors import InputError
from basemap.job.assemble import assemble
from basemap.job.record import Record
from basemap.job.schema import JobFile
from basemap.job.table import Files
from basemap.job.template import blanks
from basemap.job.translate import first_problem
from basemap.model.job import Job, Source


@dataclass(frozen=True)
class Written:
    """A job file as TOML has it, before any key is looked at."""

    path: Path
    data: Mapping[str, Any]
    source: Source


def load_job(path: str | Path, *, stdin: BinaryIO | None = None) -> Job:
    """Read a job file and its tables.

    Parameters
    ----------
    path
        The job file, TOML in UTF-8. Paths in it are relative to it.
    stdin
        Where a table named ``-`` is read from; the process's own standard input unless given.

    Raises
    ------
    InputError
        Where anything in it cannot be used: one sentence with the file, the key or cell, and how to mend it.
    """
    written = read_written(path)
    return _build(written.data, Files(Path(path).parent, stdin), written.source.file, [written.source])


def build_job(data: Mapping[str, Any], folder: Path, file: str, *, stdin: BinaryIO | None = None) -> Job:
    """Put a job together from the mapping that a job file would give.

    Parameters
    ----------
    data
        As `tomllib` reads a job file.
    folder
        To which paths in it are relative.
    file
        What messages call it; its stem becomes the job's.
    stdin
        As in `load_job`.

    Raises
    ------
    InputError
        As in `load_job`.
    """
    return _build(data, Files(folder, stdin), file, [])


def read_written(path: str | Path) -> Written:
    """Read a job file without looking at its keys.

    Raises
    ------
    InputError
        Where it cannot be read or is not TOML.
    """
    file, content = str(path), _content(Path(path), str(path))
    return Written(Path(path), _parsed(content, file), Source(file, hashlib.sha256(content).hexdigest()))


def parsed_file(data: Mapping[str, Any], file: str) -> JobFile:
    """Every key of a job file, checked by itself.

    Raises
    ------
    InputError
        The first problem in the order of the file.
    """
    for place in blanks(data):
        raise InputError("is still the blank of the template: fill it in", file=file, place=place)
    try:
        return JobFile.model_validate(data)
    except ValidationError as error:
        raise first_problem(error, data, file) from None


def _content(path: Path, file: str) -> bytes:
    if os.path.isdir(path):
        raise InputError("is a folder: expected a job file such as van.toml", file=file)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise InputError("no such file: expected a job file such as van.toml", file=file) from None
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {getattr(error, 'strerror', None) or error}", file=file) from None
    if not content.strip():
        raise InputError('is empty: "basemap new --blank" writes a template to fill in', file=file)
    return content


def _parsed(content: bytes, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(f"line {line} is not UTF-8: save the job file as UTF-8", file=file) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not TOML: {_lowered(str(error))}", file=file) from None


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _build(data: Mapping[str, Any], files: Files, file: str, sources: list[Source]) -> Job:
    parsed = parsed_file(data, file)
    return assemble(parsed, Record(file, data, sources=sources), files)
