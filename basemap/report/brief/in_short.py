"""A finding in short: its first sentence, the first thing to do, and which other findings have the same cause."""

from __future__ import annotations

import re

from basemap.model.cause import Cause
from basemap.report.words import without_marks

_LIMIT = re.compile(r" \((?:stop|caution|note|limit|limits|above)\b[^()]*\)|; (?:stop|caution|note) [^()]*(?=\))")
_SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z])")
_STEP = re.compile(r" (?=[2-9]\. )")
_CUT = re.compile(r"state target\.engine\.(?:load|rev)_cut = \"[^\"]*\" or lower")


def sentences(text: str) -> list[str]:
    """The sentences of a text, each with its full stop."""
    return _SENTENCE.split(text)


def in_short(message: str) -> str:
    """The first sentence of a message as plain text, without the limit that was passed.

    >>> in_short("The duty is 94.0 % at 6000 rpm (caution above 85 %; 1 cell). It never closes.")
    'The duty is 94.0 % at 6000 rpm.'
    """
    return without_marks(_LIMIT.sub("", _SENTENCE.split(message, maxsplit=1)[0]))


def first_step(remedy: str) -> str:
    """The first thing that a remedy says to do.

    >>> first_step("1. Fit other injectors. 2. Or state a rev_cut.")
    'Fit other injectors.'
    """
    step = _STEP.split(remedy, maxsplit=1)[0]
    return in_short(step.removeprefix("1. "))


def cut(remedy: str) -> str:
    """The cut that a remedy names as another way, as it is to be stated; empty where it names none.

    >>> cut('1. Use another. 2. Or state target.engine.load_cut = "97.7 kPa" or lower, and have the ECU enforce it.')
    'Or state target.engine.load_cut = "97.7 kPa" or lower.'
    """
    ways = _CUT.findall(remedy)
    return f"Or {', or '.join(ways)}." if ways else ""


def others(group: Cause) -> str:
    """The other findings of a cause, by rule and table; empty where the gravest is the only one."""
    gravest = group.gravest
    places = [
        one.rule if one.table in (None, gravest.table) else f"{one.rule} in {one.table}"
        for one in group.findings[1:]
        if (one.rule, one.table) != (gravest.rule, gravest.table)
    ]
    again = sum((one.rule, one.table) == (gravest.rule, gravest.table) for one in group.findings[1:])
    named = list(dict.fromkeys(places)) + ([f"{again} more of this rule"] if again else [])
    return ", ".join(named)
