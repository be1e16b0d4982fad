"""The brief on a terminal; it can be read at 60 columns, without colour and through a pipe."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rich.text import Text

from basemap.model.finding import Severity
from basemap.model.job import Job
from basemap.model.result import Result, Setting
from basemap.report.brief import Statement, Topic, brief, heading
from basemap.report.brief.engines import engines
from basemap.report.terminal.layout import Columned, Hanging
from basemap.report.words import harmless

if TYPE_CHECKING:
    from rich.console import RenderableType

Parts = list["RenderableType"]

CHECKED = frozenset(Topic) - {Topic.ENTER, Topic.LOAD, Topic.IDLE}
"""What `check` prints: nothing is typed in or loaded yet."""
ADAPTED = frozenset(Topic)
WHAT = frozenset({Topic.TITLE, Topic.ENGINE})
"""What the output of every command begins with."""
AGAINST = frozenset({Topic.STOP, Topic.ACCEPTED, Topic.LIMIT})
QUIET = AGAINST | {Topic.VERDICT, Topic.HOW_FAR, Topic.IGNITION}


def briefly(result: Result, kinds: frozenset[Topic]) -> Parts:
    """The statements of some topics, in order."""
    parts: Parts = []
    statements = brief(result)
    for kind in Topic:
        of_kind = [one for one in statements if one.kind is kind]
        if kind in kinds and of_kind:
            parts += _of_kind(kind, of_kind, _PrintedBrief(result, statements, kinds))
    return parts


class _PrintedBrief(NamedTuple):
    """What is printed: all statements of a result, and the topics that are asked for."""

    result: Result
    statements: Sequence[Statement]
    kinds: frozenset[Topic]

    def texts(self, kind: Topic) -> list[str]:
        """The statements of a topic, if it is asked for."""
        return [one.text for one in self.statements if one.kind is kind and kind in self.kinds]


def _of_kind(kind: Topic, said: Sequence[Statement], page: _PrintedBrief) -> Parts:
    result = page.result
    match kind:
        case Topic.TITLE:
            return [Text(harmless(one.text), style="bold") for one in said]
        case Topic.ENGINE:
            return [_engine(*one.columns) for one in said]
        case Topic.VERDICT:
            return [_verdict(one) for one in said]
        case Topic.STOP | Topic.ACCEPTED | Topic.LIMIT:
            return [_against(one) for one in said]
        case Topic.ENTER:
            return _entries(said, result)
        case Topic.LOAD:
            files = (_head(kind, result), "in place of", "change", "")
            return [_columned(files, said, left=(0, 1, 3), optional=(3, 1))]
        case Topic.MIXTURE:
            return [_mixture(said, page)]
        case Topic.FIRST:
            return [Text(_head(kind, result), style="bold"), *_numbered(said)]
        case Topic.ASSUMED | Topic.NOT_JUDGED:
            more = page.texts(Topic.MORE) if kind is Topic.NOT_JUDGED else []
            return [_listed(kind, said, more, _head(kind, result))]
        case Topic.HOW_SURE:
            first = "".join(f" Measure first: {text}." for text in page.texts(Topic.MEASURE))
            return [Hanging(_head(kind, result), harmless(f" {one.text}.{first}")) for one in said]
        case Topic.MEASURE:
            return []
        case Topic.MORE if page.texts(Topic.NOT_JUDGED):
            return []  # it stands behind what was not judged
        case Topic.IDLE:
            return [Hanging(_head(kind, result), harmless(f" {one.text}")) for one in said]
        case _:
            return [Hanging("", harmless(one.text)) for one in said]


def both_engines(job: Job) -> Parts:
    """The engine that the map was made for and the one that it goes onto, a line each."""
    return [_engine(*one.columns) for one in engines(job)]


def _engine(label: str, words: str) -> RenderableType:
    return Hanging("", harmless(f"{label:6} {words}"))


def _head(kind: Topic, result: Result) -> str:
    return heading(kind, result).upper().replace("(K = 2)", "(k = 2)")


def _mixture(said: Sequence[Statement], page: _PrintedBrief) -> RenderableType:
    """Every way to load it: `check` prints a table with places, `adapt` what the verdict has not said already."""
    head = _head(Topic.MIXTURE, page.result)
    if Topic.LOAD in page.kinds:
        verdict = " ".join(page.texts(Topic.VERDICT))
        as_it_is, *others = (one.text for one in said)
        texts = others if as_it_is.partition(": ")[2] in verdict else [as_it_is, *others]
        return Hanging(head, harmless(f" {'; '.join(texts)}"))
    # Absolute, gauge or vacuum would push the place of the richest off the page.
    place = f"at rpm / {page.result.job.target.shown.load_unit.partition(' ')[0]}".rstrip(" /")
    return _columned((head, "leanest", place, "richest", "at"), said, left=(0, 2, 4), optional=(4, 2))


def _verdict(said: Statement) -> RenderableType:
    word, _, rest = said.text.partition(". ")
    return Hanging(f"{word}.", harmless(rest), severity=said.severity)


def _against(said: Statement) -> RenderableType:
    """A stop, an accepted stop or a limit, after the word for it."""
    if said.kind is Topic.STOP:
        return Hanging("STOP", harmless(said.text), indent=6, severity=Severity.STOP)
    word, colon, rest = said.text.partition(": ")
    return Hanging(f"{word}{colon}".rstrip(), harmless(rest), severity=said.severity)


def _columned(
    head: Sequence[str], said: Sequence[Statement], *, left: Sequence[int], optional: Sequence[int]
) -> RenderableType:
    rows = [[harmless(cell) for cell in one.columns] for one in said]
    return Columned(head, rows, [harmless(one.text) for one in said], left=left, optional=optional)


def _entries(said: Sequence[Statement], result: Result) -> Parts:
    """The settings: single numbers in columns, then those over points, with the points above."""
    head = _head(Topic.ENTER, result)
    lists = [setting for setting in result.settings if setting.points[2]]
    single = [one for one in said if not _is_list(one, lists) and one.columns[1] != one.columns[2]]
    same = [one for one in said if not _is_list(one, lists) and one.columns[1] == one.columns[2]]
    parts: Parts = []
    if single:
        parts.append(_columned((head, "donor's", "yours", ""), single, left=(0, 3), optional=(3,)))
    else:
        parts.append(Text(head, style="bold"))
    if same:
        parts.append(
            Hanging("  as before:", ", ".join(f"{one.columns[0]} {one.columns[2]}" for one in same), bold=False)
        )
    for setting in lists:
        parts.append(_over_points(setting, [one.text for one in said if _is_list(one, [setting])]))
    return parts


def _is_list(said: Statement, lists: Sequence[Setting]) -> bool:
    return any(said.columns[0].startswith(f"{setting.words}, ") for setting in lists)


def _over_points(setting: Setting, texts: Sequence[str]) -> RenderableType:
    _, unit, points = setting.points
    head = [f"  {setting.words}, {setting.unit}", *(f"{point:g} {unit}" for point in points)]
    rows = []
    told = setting.in_force if setting.enter is None else setting.enter
    donors = "  donor's, assumed" if setting.old_assumed else "  donor's"
    for label, values in ((donors, setting.old), ("  yours" if setting.enter else "  leave it at", told)):
        if isinstance(values, tuple):
            rows.append([label, *(f"{value:.3f}" for value in values)])
    return Columned(head, rows, texts)


def _numbered(said: Sequence[Statement]) -> Parts:
    """What to do, in order; a caution is coloured."""
    return [
        Hanging(f"{at:>2}", harmless(one.text), indent=4, severity=one.severity or Severity.NOTE, margin=1)
        for at, one in enumerate(said, 1)
    ]


def _listed(kind: Topic, said: Sequence[Statement], more: Sequence[str], head: str) -> RenderableType:
    """Short statements one after the other: how many, how many of them are serious, then `more`."""
    grave = sum(one.severity is not None for one in said)
    weigh = {Topic.ASSUMED: "unknown", Topic.NOT_JUDGED: "could stop the map"}[kind]
    first = "the first" if grave == 1 else f"the first {grave}"
    count = f"{len(said)}, {first} {weigh}:" if grave else f"{len(said)}:"
    severity = Severity.CAUTION if grave else Severity.NOTE
    return Hanging(
        f"{head} {count}", harmless(". ".join(["; ".join(one.text for one in said), *more])), severity=severity
    )


def written(files: Sequence[Path], loaded: Sequence[str] = ()) -> RenderableType:
    """Where the files are: the folder once, a common stem once, then a word for the files to load.

    Parameters
    ----------
    loaded
        Names of the files to load, which the brief has listed.
    """
    folders = {path.parent for path in files}
    if len(folders) != 1 or len(files) == 1:
        return Hanging("WRITTEN", harmless(", ".join(map(str, files))))
    names: list[str] = []
    for path in files:
        if path.name not in loaded:
            names.append(path.suffix if names and files[0].stem == path.stem else path.name)
    load = ["the files to load"] if len(names) < len(files) else []
    return Hanging("WRITTEN", harmless(f"into {folders.pop()}{os.sep} {', '.join([*names, *load])}"))


def loaded(result: Result) -> list[str]:
    """Names of the files to load, as the brief lists them."""
    return [one.columns[0] for one in brief(result) if one.kind is Topic.LOAD]


def following(command: str) -> RenderableType:
    """The command that comes next."""
    return Hanging("NEXT", harmless(f" {command}"))
