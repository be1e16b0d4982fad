"""How a page for the terminal is laid out: headings, hanging paragraphs, columns."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
    from rich.measure import Measurement

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


def parts_of(path: str) -> list[str]:
    """The folders of a path, each with the separator behind it, and the file.

    >>> parts_of("donors/a/van.toml")
    ['donors/', 'a/', 'van.toml']
    """
    return re.findall(r"[^/\\]*[/\\]+|[^/\\]+", path)


class FilePath:
    """A path that is broken behind its folders where it does not fit in one line."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.parts = parts_of(path)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """From its longest part to all of it."""
        from rich.measure import Measurement

        return Measurement(max(map(len, self.parts), default=0), len(self.path)).clamp(max_width=options.max_width)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """As many parts on a line as fit; a part that is longer than the line is folded."""
        lines = [""]
        for part in self.parts:
            if lines[-1] and len(lines[-1]) + len(part) > options.max_width:
                lines.append("")
            lines[-1] += part
        yield Text("\n".join(lines), overflow="fold")


def indented(text: str, by: int = 2) -> RenderableType:
    """A paragraph set in by some columns."""
    return hanging("", [text], width=by)


def columns(
    rows: Sequence[Sequence[str | FilePath]], *, head: Sequence[str] = (), left: Sequence[int] = (0,), margin: int = 2
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
        table.add_row(*(Text(cell) if isinstance(cell, str) else cell for cell in row))
    return Padding(table, (0, 0, 0, margin))
