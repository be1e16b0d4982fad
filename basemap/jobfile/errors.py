"""Problems of a job file in our own sentences: invalid TOML, and what pydantic finds."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from basemap.errors import MOST_MISTAKES, InputError, NotSupportedYet, all_of
from basemap.jobfile.quantities import comma_problem
from basemap.jobfile.readers import NOT_SUPPORTED, PROBLEM
from basemap.jobfile.renamed import problem_with
from basemap.jobfile.schema import HOW_THROTTLES, JobFile, Sensor, keys_of
from basemap.jobfile.table_sections import COMPANIONS

_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb"
_AT = re.compile(r"\(at line ([0-9]+), column ([0-9]+)\)$")
_SECTION = re.compile(r"\s*\[\[?\s*([^\[\]]+?)\s*\]")
_KEY = re.compile(r"\s*([\w.\"'-]+)\s*=\s*(.*?)\s*$")
_COMMA = re.compile(r"([\w-]+)\s*=\s*([+-]?[0-9]+),([0-9]+)\s*(?=,(?!\s*[0-9])|[}#]|$)")
_LONGEST = 2000
"""A line with more characters is not searched for mistakes."""


def toml_problem(content: str, found: str) -> InputError:
    """The error for a job file that is no TOML.

    Parameters
    ----------
    content
        The file's text.
    found
        What the parser says, with line and column at its end.
    """
    lines = content.replace("\r\n", "\n").split("\n")
    at = _AT.search(found)
    number, column = (int(at[1]), int(at[2]) - 1) if at else (max(1, len(content.rstrip().split("\n"))), 0)
    line = lines[number - 1]
    if len(line) <= _LONGEST:
        for known in (_decimal_comma, _curly_quotes, _section_twice, _key_twice):
            if (error := known(lines, number, column, found)) is not None:
                return error
    return InputError(f"is not TOML: {found[:1].lower()}{found[1:]}")


def _decimal_comma(lines: list[str], number: int, column: int, _found: str) -> InputError | None:
    for match in _COMMA.finditer(lines[number - 1]):
        if match.start() <= column <= match.end():
            written = f"{match[2]},{match[3]}"
            return InputError(comma_problem(written, match[2], match[3]), place=_place(lines, number, match[1]))
    return None


def _curly_quotes(lines: list[str], number: int, column: int, _found: str) -> InputError | None:
    entry = _KEY.match(lines[number - 1])
    if entry is None or not (
        lines[number - 1][column : column + 1] in tuple(_CURLY) or entry[2].endswith(tuple(_CURLY))
    ):
        return None
    text = entry[2].partition("#")[0].strip().strip(_CURLY + "\"'")
    shown = text if len(text) <= 40 else "..."
    return InputError(
        f'the quotes are curly, as word processors write them: use straight quotes, {entry[1]} = "{shown}"',
        place=_place(lines, number, entry[1]),
    )


def _section_twice(lines: list[str], number: int, _column: int, found: str) -> InputError | None:
    header = _SECTION.match(lines[number - 1])
    if header is None or not found.startswith("Cannot declare"):
        return None
    before = [at for at, line in enumerate(lines[: number - 1], start=1) if _section_of(line) == header[1]]
    where = f"lines {before[0]} and {number}" if before else f"line {number}"
    return InputError(f"[{header[1]}] appears twice ({where}): put its keys into one section")


def _key_twice(lines: list[str], number: int, _column: int, found: str) -> InputError | None:
    entry = _KEY.match(lines[number - 1])
    if entry is None or not found.startswith("Cannot overwrite a value"):
        return None
    for at in range(number - 1, 0, -1):
        if _section_of(lines[at - 1]) is not None:
            return None
        other = _KEY.match(lines[at - 1])
        if other is not None and other[1] == entry[1]:
            place = ".".join(part for part in (_section_at(lines, number), entry[1]) if part)
            return InputError(f"appears twice (lines {at} and {number}): keep one of the two", place=place)
    return None


def _place(lines: list[str], number: int, key: str) -> str:
    """The key with its section and its line."""
    return f"{'.'.join(part for part in (_section_at(lines, number), key) if part)} (line {number})"


def _section_at(lines: list[str], number: int) -> str:
    return next((name for line in reversed(lines[: number - 1]) if (name := _section_of(line)) is not None), "")


def _section_of(line: str) -> str | None:
    header = _SECTION.match(line) if len(line) <= _LONGEST else None
    return None if header is None else header[1]


def problems(error: ValidationError, data: Mapping[str, Any], file: str) -> InputError:
    """The mistakes in the keys of a job, in the order of the file.

    Parameters
    ----------
    error
        The error that pydantic raised.
    data
        The job as read; its keys are in the order of the file.
    file
        The job file as the user named it.
    """
    position = _Positions()
    found = [(_path(details["loc"], data), details) for details in error.errors(include_url=False)]
    found.sort(key=lambda one: _order(one[0], data, position))
    # A key has one mistake, though each branch of a union reports it.
    first = dict(reversed(found))
    paths = list(dict.fromkeys(path for path, _ in found))
    # A job may have very many unknown keys: those that are not shown are only counted.
    return all_of([_translated(first[path], path, file) for path in paths[:MOST_MISTAKES]], len(paths))


def _path(loc: Sequence[int | str], data: Any) -> tuple[str, ...]:
    """The keys of a place in the job, without the names that pydantic gives to the branches of a union."""
    path: list[str] = []
    for part in loc:
        if isinstance(data, Mapping) and part in data:
            path.append(str(part))
            data = data[part]
    return tuple(path)


class _Positions(dict[int, dict[str, int]]):
    """Position of each key in its section, by the section's identity, worked out once because keys may be very many."""

    def of(self, section: Mapping[str, Any]) -> dict[str, int]:
        if id(section) not in self:
            self[id(section)] = {key: index for index, key in enumerate(section)}
        return self[id(section)]


def _order(path: Sequence[str], data: Any, position: _Positions) -> tuple[int, ...]:
    order: list[int] = []
    for part in path:
        order.append(position.of(data)[part])
        data = data[part]
    return tuple(order)


def _translated(details: ErrorDetails, path: tuple[str, ...], file: str) -> InputError:
    kind, place = details["type"], ".".join(path)
    if kind in (PROBLEM, NOT_SUPPORTED):
        error = NotSupportedYet if kind == NOT_SUPPORTED else InputError
        return error(str(details["ctx"]["problem"]), file=file, place=place)
    if kind == "extra_forbidden":
        old = problem_with(path[-2], path[-1], details["input"]) if len(path) > 1 else None
        return InputError(old, file=file, place=place) if old else _unknown_key(path, file)
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        value = details["input"]
        shown = f'"{value}"' if isinstance(value, str) else str(value)
        example = _EXAMPLES.get(path[-1], "") if path else ""
        return InputError(f"must be a section with keys of its own, not {shown}{example}", file=file, place=place)
    raise AssertionError(f"no sentence for pydantic's {kind}: {details['msg']}")


_EXAMPLES = {"throttles": f": {HOW_THROTTLES}"}
"""How a section is written that a user may take for a single value."""
_OWN_POINTS = {"load": "load_points = [30, 60, 100]", "rpm": "rpm_points = [1000, 3000, 6000]"}
_OWN_AXIS = "axis_points = [-20, 20, 80]"
_FEW = 6
"""A section with no more keys than this has them all listed, rather than a similar key of another section."""


def _unknown_key(path: tuple[str, ...], file: str) -> InputError:
    section, key, place = path[:-1], path[-1], ".".join(path)
    if section[:2] == ("target", "tables") and len(section) == 3 and (own := _own_points(section[2], key)):
        return InputError(own, file=file, place=place)
    if section[1:2] == ("sensors",):
        section = (*section[:2], "NAME")
    if section[1:2] == ("tables",) and section[2:] and section[2] != "fuel":
        section = (*section[:2], "NAME", *section[3:])
    return InputError(_meant(section, key), file=file, place=place)


def _own_points(table: str, key: str) -> str | None:
    """Problem for an axis key under the target's table, which has the donor's axes: perhaps its own points."""
    if key not in (*_OWN_POINTS, "axis"):
        return None
    keys = [_OWN_POINTS[key]] if key in _OWN_POINTS else [*_OWN_POINTS.values()]
    if table != "fuel":
        keys = [_OWN_AXIS] if key == "axis" else [*keys, _OWN_AXIS]
    unit = "; the unit of the loads is load_unit" if table == "fuel" and key != "rpm" else ""
    return (
        "unknown key here: the target's table has the donor's axes; leave the key out, or give the table its own "
        f"points: {' or '.join(keys)}{unit}"
    )


def _meant(section: tuple[str, ...], key: str) -> str:
    """What may have been meant: the same key elsewhere (most often), a similar one here, or a similar one elsewhere."""
    everywhere = sorted(_all_keys(), key=lambda other: _distance(other[:-1], section))
    for other in everywhere:
        if other[-1] == key:
            return f'unknown key here: "{key}" belongs in {_bracketed(other[:-1])}'
    known = [other[-1] for other in everywhere if other[:-1] == section]
    if near := difflib.get_close_matches(key, known, n=1, cutoff=0.5):
        return f'unknown key: did you mean "{near[0]}"?'
    if len(known) <= _FEW:
        return f"unknown key: this section takes {', '.join(known)}"
    if far := difflib.get_close_matches(key, [other[-1] for other in everywhere], n=1, cutoff=0.7):
        place = next(other[:-1] for other in everywhere if other[-1] == far[0])
        return f'unknown key: the nearest is "{far[0]}" in {_bracketed(place)}'
    return f"unknown key: this section takes {', '.join(known)}"


def _distance(other: tuple[str, ...], section: tuple[str, ...]) -> tuple[int, bool]:
    """How far one section is from another: in depth, then on the other side."""
    return abs(len(other) - len(section)), other[:1] != section[:1]


def _bracketed(section: tuple[str, ...]) -> str:
    return f"[{'.'.join(section)}]" if section else "the top of the file"


def _all_keys(model: type[BaseModel] = JobFile, section: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every key of the job file with its sections, in their order."""
    for key, leads_to in keys_of(model).items():
        yield (*section, key)
        if leads_to is not None:
            # A sensor's name is the user's own, and leads to the keys that any sensor takes.
            inner = (*section, key, "NAME") if leads_to is Sensor else (*section, key)
            yield from _all_keys(leads_to, inner)
    if model in COMPANIONS:
        yield from _all_keys(COMPANIONS[model], (*section, "NAME"))
