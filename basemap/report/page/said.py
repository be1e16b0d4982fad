"""The brief arranged for the page: the statements of a kind together, and what to type in line by line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

from basemap.model.cause import by_cause
from basemap.model.finding import Finding, Scope, Severity
from basemap.model.result import Result
from basemap.report.brief import HEADINGS, Statement, Topic
from basemap.rules.registry import all_rules
from basemap.rules.rule import Rule


class Passage(NamedTuple):
    """The statements of one kind, below their heading."""

    kind: Topic
    heading: str
    statements: tuple[Statement, ...]


class ToTypeIn(NamedTuple):
    """A setting to type in; of what runs over points a line for each point: the point, the donor's value, yours."""

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


def parts(statements: Sequence[Statement]) -> dict[str, Passage]:
    """The statements by kind, in the order of the brief."""
    ordered = sorted(statements, key=lambda one: list(Topic).index(one.kind))
    grouped = ((kind, tuple(group)) for kind, group in groupby(ordered, key=lambda one: one.kind))
    return {kind.value: Passage(kind, HEADINGS.get(kind, ""), group) for kind, group in grouped}


def entries(result: Result, statements: Sequence[Statement]) -> list[ToTypeIn]:
    """What to type in: the columns of the statements, a list over points taken apart."""
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
        short = f"{setting.name.replace('_', ' ')}, {setting.unit}"
        assumed = "assumed" if before.endswith(", assumed") else ""
        found.append(ToTypeIn(short, assumed, "", remark, one.severity, tuple((at, a, b) for at, a, b in lines)))
    return found


def _each(listed: str, count: int) -> list[str]:
    """A list of numbers, one by one; what is not known stands in every place."""
    numbers = listed.split(" ")
    return numbers if len(numbers) == count else numbers[:1] * count


def findings(result: Result) -> list[Said]:
    """Every finding, those of one cause together, the gravest first."""
    rules = {rule.name: rule for rule in all_rules()}
    return [
        Said(one, rules.get(one.rule), one.severity is Severity.STOP and one.scope is Scope.LIMIT)
        for group in by_cause(result.findings)
        for one in group.findings
    ]
