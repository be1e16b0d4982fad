"""What is made of the answers to `basemap new`: TOML values, and a commented job file."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping

from basemap.adaptation.quantities.kinds import Kind
from basemap.cli.questions import Answered, Question, parts
from basemap.errors import InputError
from basemap.jobfile.quantities import UNKNOWN, parse_quantity
from basemap.physics.injector import PLAUSIBLE_DEAD_TIME_S

_COMMENT_AT = 44
"""Column of the comments in the job file that is written."""
_BARE = re.compile(r"[+-]?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{1,15})?")
"""A number that TOML takes as it stands: it has neither .5 nor 007."""
_NO_CHARACTER = re.compile("[\ud800-\udfff]")
"""What Python makes of bytes that are not in the encoding of the terminal."""


def understood(question: Question, answer: str) -> str:
    """The TOML value of an answer; empty where the key is left out.

    Raises
    ------
    InputError
        Where it is no answer to this question.
    """
    text = answer.strip()
    if not text:
        return ""
    if _NO_CHARACTER.search(text):
        raise InputError("that has bytes in it that are no letters here: type it again")
    return _FORMS[question.form](question, text)


def _quantity(question: Question, text: str) -> str:
    if not (text == UNKNOWN and question.default == UNKNOWN):
        parse_quantity(text, Kind[question.kind], file=None, place=None)
    return _quoted(text)


def _number(question: Question, text: str) -> str:
    del question
    parse_quantity(text, Kind.NUMBER, file=None, place=None)
    return _bare_or_quoted(text)


def _choice(question: Question, text: str) -> str:
    near = [choice for choice in question.choices if choice.startswith(text.casefold())]
    if len(near) != 1:
        raise InputError(f'"{text}" is none of: {", ".join(question.choices)}')
    return _quoted(near[0])


def _several(question: Question, text: str) -> str:
    named = [] if text.casefold() == "none" else [one.strip() for one in text.split(",")]
    for one in named:
        if one not in question.choices:
            raise InputError(f'"{one}" is none of: {", ".join(question.choices)}')
    return json.dumps(named)


def _yes_no(question: Question, text: str) -> str:
    del question
    for word, value in (("yes", "true"), ("no", "false")):
        if word.startswith(text.casefold()):
            return value
    raise InputError(f'"{text}" is neither yes nor no')


def _dead_time(question: Question, text: str) -> str:
    if text == UNKNOWN and question.default == UNKNOWN:
        return _quoted(text)
    points = []
    for pair in text.split():
        volts, colon, time = pair.partition(":")
        if not colon:
            raise InputError(f'"{pair}" is no point: write battery voltage, colon, milliseconds, such as 12:1.20')
        points.append((f"{volts} V", f"{time} ms"))
        parse_quantity(points[-1][0], Kind.VOLTAGE, file=None, place=None)
        found = parse_quantity(points[-1][1], Kind.TIME, file=None, place=None)
        shortest, longest = PLAUSIBLE_DEAD_TIME_S
        # Far from 12 V it may be longer or shorter; three orders of magnitude off it is never right.
        if not shortest / 10.0 <= found.value <= longest * 4.0:
            raise InputError(
                f'"{pair}" says {time} ms, and injectors take {shortest * 1e3:g} to {longest * 1e3:g} ms at 12 V. '
                "The likeliest reason is the unit: type milliseconds, such as 0.85 for 850 microseconds"
            )
    battery, times = (json.dumps([point[at] for point in points]) for at in (0, 1))
    return f"{{ battery = {battery}, time = {times} }}"


def _text(question: Question, text: str) -> str:
    """Text, though it be "2024"; where it can be a number instead, the question says so by its kind."""
    return _bare_or_quoted(text) if question.kind else _quoted(text)


def _bare_or_quoted(text: str) -> str:
    return text if _BARE.fullmatch(text) else _quoted(text)


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string, but for the one control character that JSON lets pass.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


_FORMS = {
    Answered.QUANTITY: _quantity,
    Answered.NUMBER: _number,
    Answered.CHOICE: _choice,
    Answered.CHOICES: _several,
    Answered.YES_NO: _yes_no,
    Answered.DEAD_TIME: _dead_time,
    Answered.TEXT: _text,
}


def is_asked(question: Question, values: Mapping[str, str]) -> bool:
    """Whether a question applies, given the TOML values so far."""
    return question.when is None or values.get(question.when[0]) == _quoted(question.when[1])


def job_file(values: Mapping[str, str]) -> str:
    """The commented job file of the answers, key → TOML value."""
    lines = [
        '# Written from your answers. Quantities take a spread, such as "280 cc/min ± 3 %"; "unknown" stands for what',
        "# you do not know, and is listed as assumed. More keys: basemap new FILE.toml --blank",
        "",
    ]
    words = {question.key: question.words for part in parts() for question in part.questions}
    section = ""
    for key in sorted(values, key=_place):
        *path, name = key.split(".")
        if (here := ".".join(path)) != section:
            section = here
            lines += ["", f"[{section}]"]
        lines += _entry(name, values[key], re.split(r" \(Enter|, such as", words[key])[0])
    if '"pulse width"' not in values.get("donor.tables.fuel.quantity", ""):
        lines += [
            "",
            "# The controller is taken to apply pressure, lambda and dead time to a cell: ecu_applies says otherwise.",
        ]
    return "\n".join(lines) + "\n"


def _entry(name: str, value: str, comment: str) -> list[str]:
    """A key with its comment beside it, or above where it is long; commented out where it has no value."""
    if not value:
        return [f"# {name} =".ljust(_COMMENT_AT) + f"# {comment}"]
    entry = f"{name} = {value}"
    return [entry.ljust(_COMMENT_AT) + f"# {comment}"] if len(entry) < _COMMENT_AT else [f"# {comment}", entry]


def _place(key: str) -> tuple[int, bool, int, int]:
    """Order in the file: by side, a side's own keys before its sections, sections and keys as asked."""
    keys = [question.key for part in parts() for question in part.questions]
    section = key.rpartition(".")[0]
    side = ("", "donor", "target").index(section.partition(".")[0])
    first_of_section = next(at for at, other in enumerate(keys) if other.rpartition(".")[0] == section)
    return side, "." in section, first_of_section, keys.index(key)
