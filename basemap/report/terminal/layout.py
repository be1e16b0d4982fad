"""The layout of text on a terminal: headings, hanging paragraphs, columns, a colour for each severity."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

from basemap.model.finding import Severity
from basemap.report.letters import in_letters_of

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
    from rich.measure import Measurement

PROSE_WIDTH = 100
"""The longest line of running text, however wide the terminal is."""

WORDS = {Severity.STOP: "STOP", Severity.CAUTION: "caution", Severity.NOTE: "note"}
"""The word for each severity; its colour only repeats it."""

# Each stands out from white and from black by 3.9 to 1 or more (WCAG 2.1, contrast ratio). With sixteen colours the
# second would become a yellow that white swallows: magenta stands in for it.
_COLOURS = {Severity.STOP: "#d70000", Severity.CAUTION: "#af5f00", None: "#008700"}
_OF_SIXTEEN = {Severity.STOP: "red", Severity.CAUTION: "magenta", None: "green"}


def colour_of(severity: Severity | None, console: Console) -> str:
    """The style of the word for a severity; `None` is the severity of what is good."""
    if severity is Severity.NOTE:
        return "bold"
    many = console.color_system in ("256", "truecolor")
    return f"bold {(_COLOURS if many else _OF_SIXTEEN)[severity]}"


def heading(words: str) -> list[RenderableType]:
    """The heading of a section, in capitals so that it stands out without colour."""
    return [Text(""), Text(words.upper(), style="bold")]


class Hanging:
    """A paragraph that begins with a label; its further lines are indented.

    Parameters
    ----------
    label
        Its first words, bold and in the colour of `severity`.
    text
        The paragraph.
    indent
        Columns by which its further lines are indented. A shorter label is padded to that width.
    severity
        How serious it is; `NOTE` has no colour.
    margin
        Columns left free on its left.
    bold
        Whether the label is bold.
    """

    def __init__(
        self,
        label: str,
        text: str,
        *,
        indent: int = 2,
        severity: Severity | None = Severity.NOTE,
        margin: int = 0,
        bold: bool = True,
    ) -> None:
        self.label, self.text, self.indent, self.severity, self.margin = label, text, indent, severity, margin
        self.bold = bold

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """The lines; a word is broken only where it is longer than a line."""
        width = max(min(options.max_width, PROSE_WIDTH) - self.margin, self.indent + 1)
        label, said = (in_letters_of(console.encoding, part) for part in (self.label, self.text))
        head = f"{label} ".ljust(self.indent) if label else ""
        words = f"{head}{said}" if head.strip() else " " * self.indent + said
        lines = list(_filled(words, width, self.indent))
        for at, line in enumerate(lines):
            text = Text(" " * self.margin + line)
            if not at and label and self.bold:
                text.stylize(colour_of(self.severity, console), self.margin, self.margin + len(label))
            yield text


def _filled(text: str, width: int, indent: int) -> Iterator[str]:
    """Lines of at most `width` columns, indented after the first; a longer word is broken."""
    from rich.cells import cell_len, chop_cells

    first = re.match(" *", text)
    line = first.group() if first else ""
    empty = True
    # Blanks that pad the label are kept: they come before the first word that may move to the next line.
    for gap, word in re.findall(r"( *)([^ \n]+)", text[len(line) :]):
        if empty:
            line, empty = line + word, False
            continue
        if cell_len(line) + len(gap) + cell_len(word) <= width:
            line += gap + word
            continue
        yield line
        line = " " * indent
        *full, word = chop_cells(word, width - indent) or [""]
        for part in full:
            yield line + part
        line += word
    yield line


def hanging(label: str, paragraphs: Sequence[str], *, style: str = "", width: int = 8) -> RenderableType:
    """Paragraphs to the right of a label."""
    from rich.table import Table  # here, because a run that says little needs none

    table = Table.grid(padding=0)
    table.add_column(width=width, no_wrap=True)
    table.add_column(max_width=PROSE_WIDTH - width, overflow="fold")
    for position, paragraph in enumerate(paragraphs):
        table.add_row(Text("" if position else label, style=style), Text(paragraph))
    return table


def parts_of(path: str) -> list[str]:
    """The folders of a path, each with its separator, and the file.

    >>> parts_of("donors/a/van.toml")
    ['donors/', 'a/', 'van.toml']
    """
    return re.findall(r"[^/\\]*[/\\]+|[^/\\]+", path)


class FilePath:
    """A path that is broken after a folder where it does not fit on one line."""

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
    """An indented paragraph."""
    return hanging("", [text], width=by)


def columns(
    rows: Sequence[Sequence[str | FilePath]], *, head: Sequence[str] = (), left: Sequence[int] = (0,), margin: int = 2
) -> RenderableType:
    """Rows in columns, numbers aligned right; `left` are the columns of words."""
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


class Columned:
    """Rows in columns; on a narrow page columns are left out, and on a very narrow one each row becomes a sentence.

    Parameters
    ----------
    head
        The headings of the columns, bold.
    rows
        As many cells in each as in `head`.
    texts
        A sentence for each row, where even the fewest columns do not fit.
    left
        Columns of words; the others are aligned right.
    optional
        Columns that may be left out, in the order in which they go.
    """

    def __init__(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        texts: Sequence[str],
        *,
        left: Sequence[int] = (0,),
        optional: Sequence[int] = (),
    ) -> None:
        self.head, self.rows, self.texts, self.left, self.optional = head, rows, texts, left, optional

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """As many columns as fit, or the sentences."""
        for gone in range(len(self.optional) + 1):
            kept = [at for at in range(len(self.head)) if at not in self.optional[:gone]]
            head, rows = ([self._part(row, kept) for row in part] for part in ([self.head], self.rows))
            # The head begins at the margin, the rows are indented by two.
            rows = [[f"  {row[0]}", *row[1:]] for row in rows]
            widths = [max(len(row[at]) for row in [*head, *rows]) for at in range(len(kept))]
            if sum(widths) + 2 * (len(kept) - 1) <= options.max_width:
                yield from (self._line(row, kept, widths, bold=not at) for at, row in enumerate([*head, *rows]))
                return
        yield Text(self.head[0], style="bold")
        for text in self.texts:
            yield Hanging("", text)

    @staticmethod
    def _part(row: Sequence[str], kept: Sequence[int]) -> list[str]:
        return [row[at] for at in kept]

    def _line(self, row: Sequence[str], kept: Sequence[int], widths: Sequence[int], *, bold: bool) -> Text:
        cells = [
            cell.ljust(width) if at in self.left else cell.rjust(width)
            for cell, at, width in zip(row, kept, widths, strict=True)
        ]
        return Text("  ".join(cells).rstrip(), style="bold" if bold else "")
