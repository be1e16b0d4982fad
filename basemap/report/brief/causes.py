"""Findings that have one cause are one finding to whoever reads: the gravest, with the places of the others."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from basemap.model.result import Finding, Severity

_WEIGHT = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}
_LIMIT = re.compile(r" \((?:stop|caution|note|limit|limits|above)\b[^()]*\)|; (?:stop|caution|note) [^()]*(?=\))")
_SENTENCE = re.compile(r"(?<=[.!?]) (?=[A-Z])")
_STEP = re.compile(r" (?=[2-9]\. )")


@dataclass(frozen=True)
class Group:
    """Findings of one cause, the gravest first; of equal ones the first that was found."""

    cause: str
    findings: tuple[Finding, ...]

    @property
    def gravest(self) -> Finding:
        """The finding that is printed."""
        return self.findings[0]

    @property
    def severity(self) -> Severity:
        """How much the whole weighs."""
        return self.gravest.severity

    @property
    def rules(self) -> tuple[str, ...]:
        """Names of the rules, each once."""
        return tuple(dict.fromkeys(one.rule for one in self.findings))


def by_cause(findings: Iterable[Finding]) -> tuple[Group, ...]:
    """Findings grouped by cause; the groups in the order of their gravest findings."""
    groups: dict[str, list[Finding]] = {}
    for one in findings:
        groups.setdefault(one.cause or one.rule, []).append(one)
    made = [Group(cause, tuple(sorted(each, key=lambda one: _WEIGHT[one.severity]))) for cause, each in groups.items()]
    return tuple(sorted(made, key=lambda group: _WEIGHT[group.severity]))


def in_short(message: str) -> str:
    """A message's first sentence, without the limit that was passed.

    >>> in_short("The duty is 94.0 % at 6000 rpm (caution above 85 %; 1 cell). It never closes.")
    'The duty is 94.0 % at 6000 rpm.'
    """
    return _LIMIT.sub("", _SENTENCE.split(message, maxsplit=1)[0])


def first_step(remedy: str) -> str:
    """The first thing that a remedy says to do.

    >>> first_step("1. Fit other injectors. 2. Or state a rev_cut.")
    'Fit other injectors.'
    """
    step = _STEP.split(remedy, maxsplit=1)[0]
    return in_short(step.removeprefix("1. "))


def others(group: Group) -> str:
    """Where else the cause shows: the rules and tables besides the gravest finding's; empty where there are none."""
    gravest = group.gravest
    places = [
        one.rule if one.table in (None, gravest.table) else f"{one.rule} in {one.table}"
        for one in group.findings[1:]
        if (one.rule, one.table) != (gravest.rule, gravest.table)
    ]
    again = sum((one.rule, one.table) == (gravest.rule, gravest.table) for one in group.findings[1:])
    named = list(dict.fromkeys(places)) + ([f"{again} more of this rule"] if again else [])
    return ", ".join(named)
