"""What commonly makes a job file no TOML, said in the words of a job file: key, line and how to mend it."""

from __future__ import annotations

import re

from basemap.errors import InputError
from basemap.jobfile.quantities import comma_problem

_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb"
_AT = re.compile(r"\(at line ([0-9]+), column ([0-9]+)\)$")
_SECTION = re.compile(r"\s*\[\[?\s*([^\[\]]+?)\s*\]")
_KEY = re.compile(r"\s*([\w.\"'-]+)\s*=\s*(.*?)\s*$")
_COMMA = re.compile(r"([\w-]+)\s*=\s*([+-]?[0-9]+),([0-9]+)\s*(?=,(?!\s*[0-9])|[}#]|$)")
_LONGEST = 2000
"""Characters of a line beyond which it is no line of a job file."""


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
        f'its quotes are curly ones, as word processors write them: quotes must be straight, {entry[1]} = "{shown}"',
        place=_place(lines, number, entry[1]),
    )


def _section_twice(lines: list[str], number: int, _column: int, found: str) -> InputError | None:
    header = _SECTION.match(lines[number - 1])
    if header is None or not found.startswith("Cannot declare"):
        return None
    before = [at for at, line in enumerate(lines[: number - 1], start=1) if _section_of(line) == header[1]]
    where = f"lines {before[0]} and {number}" if before else f"line {number}"
    return InputError(f"[{header[1]}] stands twice ({where}): put its keys into one section")


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
            return InputError(f"stands twice (lines {at} and {number}): leave one of the two", place=place)
    return None


def _place(lines: list[str], number: int, key: str) -> str:
    """The key with its section and its line."""
    return f"{'.'.join(part for part in (_section_at(lines, number), key) if part)} (line {number})"


def _section_at(lines: list[str], number: int) -> str:
    return next((name for line in reversed(lines[: number - 1]) if (name := _section_of(line)) is not None), "")


def _section_of(line: str) -> str | None:
    header = _SECTION.match(line) if len(line) <= _LONGEST else None
    return None if header is None else header[1]
