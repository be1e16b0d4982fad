"""The first-start card for the terminal and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from basemap.adaptation.first_start_card import PRACTICE_MARK
from basemap.model.card import Basis, Card, CardLine, CardPart
from basemap.model.job import Job
from basemap.report.json_text import SCHEMA
from basemap.report.words import harmless

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

_TO_TICK = "[ ]"
_ABREAST = 3


def as_json(card: Card) -> dict[str, Any]:
    """The card as JSON."""
    return {
        "schema": SCHEMA,
        "title": card.title,
        "warning": card.warning or None,
        "limits": list(card.limits),
        "parts": [
            {"name": part.key, "title": part.title, "ticks": part.ticks, "lines": [_line(one) for one in part.lines]}
            for part in card.parts
        ],
        "notes": list(card.notes),
    }


def _line(line: CardLine) -> dict[str, Any]:
    return {**asdict(line), "basis": line.basis.value}


def mark(line: CardLine) -> str:
    """The sign behind a line that is common practice instead of a prediction; empty behind a prediction."""
    return "" if line.basis is Basis.PREDICTED else PRACTICE_MARK


def as_text(card: Card, job: Job) -> Group:
    """The card for the terminal."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.brief import both_engines
    from basemap.report.terminal.layout import indented

    parts: list[RenderableType] = [Text(f"First start: {harmless(card.title)}", style="bold"), *both_engines(job)]
    if card.warning:
        parts += [Text(""), Text(card.warning, style="bold red")]
    parts += [indented(f"LIMIT: {limit}") for limit in card.limits]
    for part in card.parts:
        parts += _part(part)
    return Group(*parts, Text(""), *(indented(note) for note in card.notes))


def _part(part: CardPart) -> list[RenderableType]:
    from basemap.report.terminal.layout import columns, hanging, heading

    parts = heading(part.title)
    if part.is_short:
        ticks = [f"{_TO_TICK} {line.words}" for line in part.lines]
        rows = [ticks[first : first + _ABREAST] for first in range(0, len(ticks), _ABREAST)]
        return [*parts, columns([row + [""] * (_ABREAST - len(row)) for row in rows], left=range(_ABREAST), margin=0)]
    for line in part.lines:
        words = f"{line.words}{'' if part.ticks else mark(line)}"
        said = f"{words}: {line.expect}" if line.expect else words
        paragraphs = [said]
        limits = [f"caution {line.caution}" if line.caution else "", f"STOP {line.stop}" if line.stop else ""]
        if any(limits):
            paragraphs.append("; ".join(limit for limit in limits if limit))
        parts.append(hanging(_TO_TICK, paragraphs, width=4))
    return parts
