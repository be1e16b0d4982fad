"""Standard output and standard error, so that a closed pipe, an old code page or a hostile title does no harm."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from basemap.report.facts import Answer

_IN_ASCII = str.maketrans(
    {"λ": "lambda", "η": "eta", "κ": "kappa", "±": "+/-", "≤": "<=", "≥": ">=", "×": "x", "·": "*", "–": "-", "—": "-",
     "−": "-", "…": "...", "→": "->", "°": " deg ", "²": "2", "³": "3", "Δ": "d"}
)  # fmt: skip


def say(text: str) -> None:
    """Write text to standard output."""
    _write(sys.stdout, text)


def complain(problem: str) -> None:
    """Write one message to standard error."""
    from basemap.report.words import harmless

    _write(sys.stderr, f"basemap: {harmless(problem)}\n")


def show(*parts: RenderableType) -> None:
    """Write formatted parts to standard output, one below the other."""
    page = console()
    with page.capture() as captured:
        page.print(*parts, sep="\n")
    text = captured.get()
    if not page.is_terminal:
        text = "".join(line.rstrip() + "\n" for line in text.splitlines())
    say(text)


def answer(found: Answer, as_json: bool) -> None:
    """Print a short answer as text or as JSON."""
    if as_json:
        from basemap.report.json_file import to_text

        say(to_text(found.as_json()))
    else:
        show(found.as_text())


def console() -> Console:
    """A rich console on standard output that reads nothing into the text it is given."""
    from rich.console import Console

    return Console(markup=False, emoji=False, highlight=False)


def _write(stream: TextIO, text: str) -> None:
    """Write and flush; a reader that has gone away is no error, and the command still ends with its own status."""
    try:
        stream.write(_writable(stream, text))
        stream.flush()
    except BrokenPipeError:
        # Whatever is flushed when the interpreter ends must not fail again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _writable(stream: TextIO, text: str) -> str:
    """The text in letters that the stream's encoding has."""
    encoding = stream.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.translate(_IN_ASCII).encode(encoding, "replace").decode(encoding)
    return text
