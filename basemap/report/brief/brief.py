"""The brief of a result: every statement once, the most dangerous first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from basemap.model.finding import Verdict
from basemap.model.result import Result
from basemap.report.brief.assumed import assumed, not_judged
from basemap.report.brief.engines import engines
from basemap.report.brief.enter_and_load import to_enter, to_load
from basemap.report.brief.first import always, before_the_first_start, more
from basemap.report.brief.mixture import at_idle, how_sure, mixture
from basemap.report.brief.statement import HEADINGS, Statement, Topic
from basemap.report.brief.verdict import verdict


def brief(result: Result) -> tuple[Statement, ...]:
    """All statements of the brief, in order."""
    return (
        Statement(Topic.TITLE, result.job.title),
        *engines(result.job),
        *verdict(result),
        *to_enter(result),
        *to_load(result),
        *at_idle(result),
        *mixture(result),
        *how_sure(result),
        *before_the_first_start(result),
        *assumed(result.job),
        *not_judged(result),
        *more(result),
        *always(result),
    )


def heading(topic: Topic, result: Result) -> str:
    """What stands above the statements of a topic; empty where nothing does."""
    if topic is Topic.LOAD and not (result.settings and result.verdict is not Verdict.REFUSE):
        return "load"  # there are no settings to go with it
    if topic is Topic.FIRST and result.verdict is Verdict.REFUSE:
        return "also, once that is fixed"
    return HEADINGS.get(topic, "")


def as_json(statements: Sequence[Statement]) -> list[dict[str, Any]]:
    """The statements for other programs."""
    return [
        {
            "kind": one.kind.value,
            "severity": None if one.severity is None else one.severity.value,
            "text": one.text,
            "findings": list(one.findings),
        }
        for one in statements
    ]
