"""How a page for the terminal is laid out: headings, hanging paragraphs, columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

if TYPE_CHECKING:
    from rich.console import RenderableType

PROSE_WIDTH = 100
"""Columns beyond which running text is not spread, however wide the terminal is."""


def heading(words: str) -> list[RenderableType]:
    """The head of a section, in capitals so that it stands out without colour too."""
    return [Text(""), Text(words.upper(), style="bold")]


def hanging(label: str, paragraphs: Sequence[str], *, style: str = "", width: int = 8) -> RenderableType:
    """Paragraphs that hang beside a label of so many columns."""
    from rich.table import Table  # here, because a run that says little needs none

    table = Table.grid(padding=0)
    table.add_column(width=width, no_wrap=True)
    table.add_column(max_width=PROSE_WIDTH - width, overflow="fold")
    for position, paragraph in enumerate(paragraphs):
        table.add_row(Text("" if position else label, style=style), Text(paragraph))
    return table


def indented(text: str, by: int = 2) -> RenderableType:
    """A paragraph set in by some columns."""
    return hanging("", [text], width=by)


def columns(
    rows: Sequence[Sequence[str]], *, head: Sequence[str] = (), left: Sequence[int] = (0,), margin: int = 2
) -> RenderableType:
    """Rows in columns two apart, numbers to the right; `left` names the columns of words."""
    from rich.table import Table

    table = Table.grid(padding=(0, 2, 0, 0))
    for position in range(len(rows[0])):
        words = position in left
        table.add_column(justify="left" if words else "right", no_wrap=not words, overflow="fold")
    if head:
        table.add_row(*(Text(cell, style="bold") for cell in head))
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return Padding(table, (0, 0, 0, margin))
