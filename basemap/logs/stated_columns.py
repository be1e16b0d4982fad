"""What the user says of a log's columns: the entries of ``[log.columns]``, or of a file of their own."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from basemap.errors import InputError
from basemap.logs.channels import CHANNELS
from basemap.model.drive import LogColumn
from basemap.tables.plain_file import MIB, content_of

MOST_BYTES = MIB
_KEYS = frozenset({"column", "unit", "basis", "dead_time_included"})
_EXAMPLE = 'rpm = { column = "engine speed", unit = "rpm" }'


def read_stated(path: Path) -> dict[str, LogColumn]:
    """Read a file of columns: the same entries as ``[log.columns]`` of a job file, at its top or in that section.

    Raises
    ------
    InputError
        If the file cannot be read or an entry cannot be used.
    """
    file = str(path)
    try:
        content = content_of(path, MOST_BYTES, "columns as in [log.columns]")
        data = tomllib.loads(content.decode("utf-8-sig"))
    except InputError as error:
        raise error.within(file=file) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"is not TOML: {error}", file=file) from None
    log = data.get("log", data)
    columns = log.get("columns", log) if isinstance(log, dict) else log
    return stated(columns, file, "")


def stated(entries: Mapping[str, Any], file: str, place: str) -> dict[str, LogColumn]:
    """Check entries of ``[log.columns]``.

    Raises
    ------
    InputError
        If an entry names no channel, or has a key or value that cannot be used.
    """
    if not isinstance(entries, Mapping):
        raise InputError(f"expected one entry for each channel, such as {_EXAMPLE}", file=file, place=place or None)
    return {name: _stated(name, entry, file, f"{place}.{name}".lstrip(".")) for name, entry in entries.items()}


def _stated(name: str, entry: Any, file: str, place: str) -> LogColumn:
    if name not in CHANNELS:
        near = difflib.get_close_matches(name, CHANNELS, 1)
        meant = f"; did you mean {near[0]}?" if near else f": expected one of {', '.join(CHANNELS)}"
        raise InputError(f"is not a channel{meant}", file=file, place=place)
    if not isinstance(entry, Mapping) or not isinstance(entry.get("column"), str):
        raise InputError(f"expected an entry such as {_EXAMPLE}", file=file, place=place)
    unknown = sorted(set(entry) - _KEYS)
    if unknown:
        raise InputError(f'"{unknown[0]}" is not a key: expected {", ".join(sorted(_KEYS))}', file=file, place=place)
    unit, basis, dead = entry.get("unit"), entry.get("basis"), entry.get("dead_time_included")
    if unit is not None and (not isinstance(unit, str) or CHANNELS[name].size(unit) is None):
        known = CHANNELS[name].shown
        raise InputError(f'"{unit}" is not a unit of {CHANNELS[name].words}: expected {known}', file=file, place=place)
    if basis is not None and (isinstance(basis, bool) or not isinstance(basis, int | float) or not 4 < basis < 20):
        raise InputError(
            "basis: expected the ratio that the scale shows at lambda 1, such as 14.7", file=file, place=place
        )
    if dead is not None and not isinstance(dead, bool):
        raise InputError("dead_time_included: expected true or false", file=file, place=place)
    return LogColumn(entry["column"], unit, None if basis is None else float(basis), dead)
