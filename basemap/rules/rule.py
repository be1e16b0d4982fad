"""A rule and its possible answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from basemap.model.finding import Scope, Severity

if TYPE_CHECKING:
    from basemap.rules.case import Case

STANDARD = "published standard"
MODEL = "follows from the model"
PRACTICE = "common practice in the trade, no source"
MEMORY = "from memory"

UNTOUCHED = "Do not load the map as it is. Adapt it, then enter the settings and the new table together."


@dataclass(frozen=True)
class Trip:
    """A rule's finding; the rule's name, source and usual remedy are added to it.

    Parameters
    ----------
    severity, message
        The severity, and what is wrong, in words: place, number and limit.
    remedy
        What to do, in order, if it is not the rule's usual remedy.
    scope, limit_load_pa, limit_rpm
        For a limit stop, the highest load or speed that is known; a cut at or below either meets it.
    value, limit
        The number and the limit it passed, in the unit that the message names.
    cells
        (load index, speed index) pairs that the finding is about.
    table
        The further table that it is about; `None` for the main one.
    cause
        Its cause, if that is not the rule's usual one.
    as_loaded
        Whether it holds only for the untouched map; such a finding is never a stop, and comes after the others.
    """

    severity: Severity
    message: str
    remedy: str | None = None
    as_loaded: bool = False
    scope: Scope = Scope.FILE
    value: float | None = None
    limit: float | None = None
    cells: tuple[tuple[int, int], ...] = ()
    limit_load_pa: float | None = None
    limit_rpm: float | None = None
    table: str | None = None
    cause: str | None = None


class Missing(NamedTuple):
    """A rule, or a part of it, that cannot be judged because the job does not state `keys`.

    Parameters
    ----------
    keys
        Job-file keys.
    message
        What is not known without them.
    """

    keys: tuple[str, ...]
    message: str = ""


Answer = Trip | Missing


class Rule(NamedTuple):
    """One suitability rule with its threshold, its reason, its source and its remedy.

    Parameters
    ----------
    name
        Its name, as ``--accept`` takes it.
    title
        Its title in words.
    threshold
        What trips it, and how severe that is.
    why
        What happens if it is ignored.
    source
        Where the threshold comes from.
    remedy
        What to do, in order.
    judge
        Gives the answers for a case; none if the rule passes.
    can_stop
        Whether it may be a stop: if it is not judged, that is said.
    about_table
        Whether its findings are about the table; else about the job as a whole.
    about_donor
        Whether it looks at the donor's table, on its own axes.
    """

    name: str
    title: str
    threshold: str
    why: str
    source: str
    remedy: str
    judge: Callable[[Case], Iterable[Answer]]
    can_stop: bool = False
    about_table: bool = True
    about_donor: bool = False
