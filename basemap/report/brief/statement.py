"""One short statement, and the kinds of them in the order in which they are said."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from basemap.model.finding import Severity


class Topic(StrEnum):
    """What a statement is about; a brief has them in this order."""

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
"""What stands above the statements of a kind, where something does."""

COLUMNS = {
    Topic.ENTER: ("setting", "donor's", "yours", "remark"),
    Topic.LOAD: ("file", "in place of", "change", "remark"),
    Topic.MIXTURE: ("loaded", "leanest", "at", "richest", "at"),
}
"""Names of the columns of the statements that have them."""


class Statement(NamedTuple):
    """One statement of the brief.

    Parameters
    ----------
    kind
        What it is about.
    text
        A sentence or less, whole by itself.
    severity
        How much it weighs; `None` where it is neither good nor bad.
    findings
        Rules whose findings it stands for, the gravest first.
    columns
        The same in the columns of `COLUMNS`, where its kind has them; of an engine, which one it is and what it has.
    """

    kind: Topic
    text: str
    severity: Severity | None = None
    findings: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
