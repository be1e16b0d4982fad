"""Several donors in order, with the reason for each place, as text and as JSON."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import takewhile
from typing import TYPE_CHECKING, Any

from basemap import __version__
from basemap.model.ranking import Candidate, Ranking
from basemap.report.json_text import SCHEMA, finite, today
from basemap.report.words import one_line
from basemap.rounding import percent_up

if TYPE_CHECKING:
    from rich.console import Group, RenderableType


def _percent(share: float) -> str:
    """A share in %, rounded up to a tenth.

    >>> _percent(0.0), _percent(0.0001), _percent(0.125), _percent(math.nan)
    ('0 %', '0.1 %', '12.5 %', 'not known')
    """
    if not math.isfinite(share):
        return "not known"
    return f"{float(percent_up(share)):g} %"


def _count(number: float) -> str:
    return f"{number:g}"


# In the order of `Candidate.criteria`.
_CRITERIA: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    ("fewer stops", "more stops", _count),
    ("fewer cautions", "more cautions", _count),
    ("less outside the donor's data", "more outside the donor's data", _percent),
    ("a narrower band on λ", "a wider band on λ", _percent),
)


def reason(placed: Sequence[Candidate], position: int) -> str:
    """Why a donor has its place: the first criterion in which it differs from the donor above.

    The first donor is compared with the second.
    """
    if len(placed) == 1:
        return "the only donor that could be judged"
    other = 1 if position == 0 else position - 1
    mine, others = placed[position].criteria, placed[other].criteria
    for (less, more, shown), value, against in zip(_CRITERIA, mine, others, strict=True):
        if value != against:
            words = less if value < against else more
            return f"{words} than place {other + 1} ({_unlike(shown, value, against)})"
    return f"equal to place {other + 1} in all four; listed by name"


def _unlike(shown: Callable[[float], str], value: float, against: float) -> str:
    """Two numbers that differ, with enough digits to see it."""
    pair = shown(value), shown(against)
    if pair[0] == pair[1]:
        pair = f"{100 * value:.6g} %", f"{100 * against:.6g} %"
    return f"{pair[0]} against {pair[1]}"


def as_json(ranking: Ranking) -> dict[str, Any]:
    """The ranking as JSON."""
    return {
        "schema": SCHEMA,
        "version": __version__,
        "date": today(),
        "title": ranking.title,
        "job": ranking.job,
        "ranking": [
            {
                "place": position + 1,
                "donor": one.donor,
                "title": one.title,
                "engine": one.engines[0],
                "verdict": one.verdict.value,
                "reason": reason(ranking.placed, position),
                "stops": list(one.stops),
                "cautions": list(one.cautions),
                "not_judged": list(one.not_judged),
                "outside_donor_data": one.outside,
                "worst_relative_uncertainty": finite(one.band),
                "limits": list(one.limits),
                "sources": [{"file": source.file, "sha256": source.sha256} for source in one.sources],
            }
            for position, one in enumerate(ranking.placed)
        ],
        "not_judged": [{"donor": one.donor, "problem": one.problem} for one in ranking.broken],
    }


def as_text(ranking: Ranking) -> Group:
    """The ranking for the terminal: the donors, why they are in this order, and which could not be judged."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    from basemap.report.brief.verdict import IGNITION
    from basemap.report.terminal.layout import FilePath, Hanging, hanging, heading, indented

    reasons: list[RenderableType] = []
    for position, one in enumerate(ranking.placed):
        reasons.append(hanging(f"{position + 1:5}", [one_line(line) for line in _why(ranking, position, one)], width=7))
    folder = _one_folder(ranking.placed)
    broken: list[RenderableType] = []
    for one_broken in ranking.broken:
        problem = one_broken.problem.removeprefix(f"{one_broken.donor}: ")  # the line above names it
        broken += [Padding(FilePath(one_line(one_broken.donor)), (0, 0, 0, 2)), indented(one_line(problem), by=7)]
    return Group(
        Text(one_line(ranking.title), style="bold"),
        Text(f"Target: {one_line(ranking.job)}", overflow="fold"),
        *([Hanging("", one_line(ranking.placed[0].engines[1]))] if ranking.placed else []),
        *([Text(f"Donors in: {one_line(folder)}", overflow="fold")] if folder else []),
        Text(IGNITION),
        *heading("donors, best first"),
        _table(ranking.placed),
        *heading("why this order"),
        *reasons,
        *([*heading("could not be judged"), *broken] if broken else []),
    )


def _why(ranking: Ranking, position: int, one: Candidate) -> list[str]:
    because = reason(ranking.placed, position)
    said = [f"{because[0].upper()}{because[1:]}."]
    said += [f"Stops: {_names(one.stops)}."] if one.stops else []
    said += [f"Cautions: {_names(one.cautions)}."] if one.cautions else []
    said += [f"Not judged, but could stop it: {_names(one.not_judged)}."] if one.not_judged else []
    said += [f"Limit: {limit}." for limit in one.limits]
    return [one.title, *([one.engines[0]] if one.engines[0] else []), " ".join(said)]


def _names(rules: Sequence[str]) -> str:
    """Rules by name, each with its count where it is more than one."""
    return ", ".join(name if times == 1 else f"{name} ({times})" for name, times in Counter(rules).items())


def _one_folder(placed: Sequence[Candidate]) -> str:
    """The folder that all donors share, with its separator; empty where they share none."""
    from basemap.report.terminal.layout import parts_of

    heads = {one.donor[: len(one.donor) - len(os.path.basename(one.donor))] for one in placed}
    levels = zip(*(parts_of(head) for head in heads), strict=False)
    return "".join(parts[0] for parts in takewhile(lambda parts: len(set(parts)) == 1, levels))


def _table(placed: Sequence[Candidate]) -> RenderableType:
    from basemap.report.terminal.layout import FilePath, columns

    folder = _one_folder(placed)
    rows = [
        [str(position), FilePath(one_line(one.donor[len(folder):])), one.verdict.value, str(len(one.stops)),
         str(len(one.cautions) + len(one.not_judged)), _percent(one.outside), _percent(one.band)]
        for position, one in enumerate(placed, start=1)
    ]  # fmt: skip
    return columns(rows, head=("place", "donor", "verdict", "stops", "cautions", "outside", "band"), left=(1, 2))


def brief(ranking: Ranking) -> Group:
    """What ``--quiet`` prints: the order, the verdicts, and that the ignition is not adapted."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.brief.verdict import IGNITION
    from basemap.report.terminal.layout import FilePath, columns

    rows = [
        [str(at), FilePath(one_line(one.donor)), one.verdict.value] for at, one in enumerate(ranking.placed, start=1)
    ]
    rows += [["-", FilePath(one_line(one.donor)), "could not be judged"] for one in ranking.broken]
    return Group(columns(rows, left=(1, 2), margin=0), Text(IGNITION))
