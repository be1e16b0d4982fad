"""A job file becomes a `Job`."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from pydantic import ValidationError

from basemap.errors import InputError, all_of
from basemap.jobfile.assemble import assemble
from basemap.jobfile.errors import problems, toml_problem
from basemap.jobfile.provenance import Provenance
from basemap.jobfile.schema import JobFile
from basemap.jobfile.table import Files
from basemap.jobfile.template import blanks
from basemap.model.job import Job, Source
from basemap.tables.grid import GridFile
from basemap.tables.plain_file import MIB, content_of

MOST_BYTES = MIB
DEEPEST = 12
"""Levels of keys and lists inside each other; a job needs six."""
LONGEST_TEXT = 10_000
_TOO_DEEP = "keys or lists are nested too deeply: expected the sections and keys of a job file"


class Written(NamedTuple):
    """A job file as read from TOML, before any key is checked."""

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
        If anything in it cannot be used: one sentence with the file, the key or cell, and how to mend it.
    """
    written = read_written(path)
    return _build(written.data, Files(Path(path).parent, stdin), written.source.file, [written.source])


def build_job(
    data: Mapping[str, Any],
    folder: Path,
    file: str,
    *,
    stdin: BinaryIO | None = None,
    kept: dict[object, GridFile] | None = None,
) -> Job:
    """Put a job together from the mapping that a job file would give.

    Parameters
    ----------
    data
        As `tomllib` reads a job file.
    folder
        Folder that paths in it are relative to.
    file
        Its name in messages; its stem becomes the job's.
    stdin
        As in `load_job`.
    kept
        Tables already read, as in `Files`, where much the same job is built again and again.

    Raises
    ------
    InputError
        As in `load_job`.
    """
    return _build(data, Files(folder, stdin, kept=kept), file, [])


def read_written(path: str | Path) -> Written:
    """Read a job file without looking at its keys.

    Raises
    ------
    InputError
        If it cannot be read or is not TOML.
    """
    file, content = str(path), _content(Path(path), str(path))
    return Written(Path(path), _parsed(content, file), Source(file, hashlib.sha256(content).hexdigest()))


def parsed_file(data: Mapping[str, Any], file: str) -> JobFile:
    """A job file with every key checked by itself.

    Raises
    ------
    InputError
        With every problem found, in the order of the file.
    """
    _refuse_extremes(data, file)
    blank = [
        InputError("is still blank, as in the template: fill it in", file=file, place=place) for place in blanks(data)
    ]
    if blank:
        raise all_of(blank)
    try:
        return JobFile.model_validate(data)
    except ValidationError as error:
        raise problems(error, data, file) from None


def _content(path: Path, file: str) -> bytes:
    try:
        content = content_of(path, MOST_BYTES, "a job file such as van.toml")
    except InputError as error:
        raise error.within(file=file) from None
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
        raise toml_problem(content.decode("utf-8-sig"), str(error)).within(file=file) from None
    except RecursionError:
        raise InputError(_TOO_DEEP, file=file) from None
    except ValueError:  # what Python refuses of a number or a date that TOML's grammar lets pass
        raise InputError(
            "contains a number that is too long or a date that does not exist: expected numbers such as 1998", file=file
        ) from None


def _refuse_extremes(data: Mapping[str, Any], file: str) -> None:
    """Refuse keys that are nested too deeply, whole numbers of more than 64 bits, and texts that are pages long."""
    pending: list[tuple[str, Any, int]] = [("", data, 0)]
    while pending:
        place, value, depth = pending.pop()
        if depth > DEEPEST:
            raise InputError(_TOO_DEEP, file=file)
        if isinstance(value, Mapping):
            pending += ((f"{place}.{key}" if place else key, inner, depth + 1) for key, inner in value.items())
        elif isinstance(value, list):
            pending += ((place, inner, depth + 1) for inner in value)
        elif isinstance(value, int) and not -(2**63) <= value < 2**63:
            raise InputError(
                "contains a whole number of more than 64 bits: expected numbers such as 1998",
                file=file,
                place=place,
            )
        elif isinstance(value, str) and len(value) > LONGEST_TEXT:
            raise InputError(
                f"the text has {len(value)} characters: expected at most {LONGEST_TEXT}", file=file, place=place
            )


def _build(data: Mapping[str, Any], files: Files, file: str, sources: list[Source]) -> Job:
    parsed = parsed_file(data, file)
    try:
        return assemble(parsed, Provenance(file, data, sources=sources), files)
    except InputError as first:
        from basemap.jobfile.mistakes import all_mistakes

        raise all_mistakes(parsed, Provenance(file, data), files, first) from None
