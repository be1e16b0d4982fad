"""What the rules have to say, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding weighs."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


class Scope(StrEnum):
    """The extent of a stop: the whole file, or the part above a load or speed beyond which nothing is known."""

    FILE = "file"
    LIMIT = "limit"


class Verdict(StrEnum):
    """Whether the donor's map can be used."""

    SUITS = "suits as it is"
    ADAPT = "adapt first"
    REFUSE = "do not use"


class HowFar(StrEnum):
    """How far to go with the new table before anything has been measured on the engine."""

    LOAD = "load, watched"
    LIGHT = "light load until measured"
    IDLE = "idle only until measured"


@dataclass(frozen=True)
class Finding:
    """One result of a rule: what is wrong, how serious it is, and what to do.

    `value` and `limit` are in the unit that the message names. `cells` are (load index, speed index) pairs.
    `limit_load_pa` and `limit_rpm` say, for scope ``limit``, the highest load or speed that is known. Findings with the
    same `cause` are shown as one.
    """

    rule: str
    severity: Severity
    message: str
    remedy: str
    source: str
    scope: Scope = Scope.FILE
    table: str | None = "fuel"
    value: float | None = None
    limit: float | None = None
    cells: tuple[tuple[int, int], ...] = ()
    accepted: bool = False
    limit_load_pa: float | None = None
    limit_rpm: float | None = None
    cause: str = ""


@dataclass(frozen=True)
class NotJudged:
    """A rule that could not be judged, and the job-file keys that it lacks.

    `message` says what is unknown without them. A rule that `can_stop` might have stopped the map.
    """

    rule: str
    missing: tuple[str, ...]
    message: str = ""
    can_stop: bool = False
