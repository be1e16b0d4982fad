"""One short statement, and the topics in the order in which they are stated."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from basemap.model.finding import Severity


class Topic(StrEnum):
    """What a statement is about, in the order of the brief."""

    TITLE = "title"
    ENGINE = "engine"
    VERDICT = "verdict"
    STOP = "stop"
    ACCEPTED = "accepted"
    LIMIT = "limit"
    HOW_FAR = "how_far"
    IGNITION = "ignition"
    ENTER = "enter"
    LOAD = "load"
    IDLE = "idle"
    MIXTURE = "mixture"
    HOW_SURE = "how_sure"
    MEASURE = "measure_first"
    FIRST = "first"
    ASSUMED = "assumed"
    NOT_JUDGED = "not_judged"
    MORE = "more"
    ALWAYS = "always"


HEADINGS = {
    Topic.STOP: "stops",
    Topic.ENTER: "type in",
    Topic.LOAD: "load, together with the settings",
    Topic.IDLE: "expect at warm idle",
    Topic.MIXTURE: "mixture against intended",
    Topic.HOW_SURE: "how sure (k = 2)",
    Topic.MEASURE: "measure first",
    Topic.FIRST: "before the first start",
    Topic.ASSUMED: "assumed",
    Topic.NOT_JUDGED: "not judged",
}
"""The heading of a topic, where it has one; `heading` says where a result changes it."""

COLUMNS = {
    Topic.ENTER: ("setting", "donor's", "yours", "remark"),
    Topic.LOAD: ("file", "in place of", "change", "remark"),
    Topic.MIXTURE: ("loaded", "leanest", "at", "richest", "at"),
}
"""The columns of a topic whose statements have columns."""


class Statement(NamedTuple):
    """One statement of the brief.

    Parameters
    ----------
    kind
        What it is about.
    text
        A sentence or less, whole by itself.
    severity
        How serious it is; `None` where it is neither good nor bad.
    findings
        Rules whose findings it covers, the gravest first.
    columns
        The same in the columns of `COLUMNS`; of an engine, which one it is and what it has.
    """

    kind: Topic
    text: str
    severity: Severity | None = None
    findings: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
