"""The brief arranged for the page: statements by topic, what to type in line by line, findings with their rules."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

from basemap.model.cause import by_cause
from basemap.model.finding import Finding, Scope, Severity
from basemap.model.result import Result
from basemap.report.brief import Statement, Topic, heading
from basemap.rules.registry import RULES
from basemap.rules.rule import Rule


class Passage(NamedTuple):
    """The statements of one topic, with their heading."""

    kind: Topic
    heading: str
    statements: tuple[Statement, ...]


class ToTypeIn(NamedTuple):
    """A setting to type in; where it runs over points, for each the point, the donor's value and yours."""

    name: str
    before: str
    now: str
    remark: str
    severity: Severity | None
    points: tuple[tuple[str, str, str], ...] = ()


class Said(NamedTuple):
    """A finding with its reason, and the rule that found it."""

    finding: Finding
    rule: Rule | None
    part_only: bool


def passages(result: Result, statements: Sequence[Statement]) -> dict[str, Passage]:
    """The statements by topic, in the order of the brief."""
    ordered = sorted(statements, key=lambda one: list(Topic).index(one.kind))
    grouped = ((kind, tuple(group)) for kind, group in groupby(ordered, key=lambda one: one.kind))
    return {kind.value: Passage(kind, heading(kind, result), group) for kind, group in grouped}


def to_type_in(result: Result, statements: Sequence[Statement]) -> list[ToTypeIn]:
    """The settings to type in; a list over points is taken apart, point by point."""
    said = [one for one in statements if one.kind is Topic.ENTER]
    found = []
    for setting, one in zip(result.settings if said else (), said, strict=True):
        name, before, now, remark = one.columns
        _, unit, points = setting.points
        if not points:
            found.append(ToTypeIn(name, before, now, remark, one.severity))
            continue
        old, new = _each(before.removesuffix(", assumed"), len(points)), _each(now, len(points))
        lines = [(f"{point:g} {unit}", *pair) for point, *pair in zip(points, old, new, strict=True)]
        short = f"{setting.words}, {setting.unit}"
        assumed = "assumed" if before.endswith(", assumed") else ""
        found.append(ToTypeIn(short, assumed, "", remark, one.severity, tuple((at, a, b) for at, a, b in lines)))
    return found


def _each(listed: str, count: int) -> list[str]:
    """A list of numbers, one by one; where there is one word instead, that word for each."""
    numbers = listed.split(" ")
    return numbers if len(numbers) == count else numbers[:1] * count


def findings(result: Result) -> list[Said]:
    """Every finding, those of one cause together, the gravest first."""
    rules = {rule.name: rule for rule in RULES}
    return [
        Said(one, rules.get(one.rule), one.severity is Severity.STOP and one.scope is Scope.LIMIT)
        for group in by_cause(result.findings)
        for one in group.findings
    ]
