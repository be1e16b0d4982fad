"""Standard output and standard error, so that a closed pipe, an old code page or a hostile title does no harm."""

from __future__ import annotations

import io
import os
import re
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO, TextIO, cast

from basemap.errors import InputError, reason

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from basemap.report.facts import Answer

_COLOUR = re.compile(r"(\x1b\[[0-9;]*m)")
_LONGEST_PROBLEM = 2000
NARROWEST, WIDEST = 20, 500
"""Least and most columns of any page, whatever the environment or the terminal says."""


class _StandardInput(io.BufferedIOBase):
    """Standard input as bytes; a failure to read it is an `InputError`."""

    def read(self, size: int | None = -1, /) -> bytes:
        try:
            return sys.stdin.buffer.read(-1 if size is None else size)
        except OSError as cause:
            raise InputError(f"cannot be read ({reason(cause)})") from None


def standard_input() -> BinaryIO:
    """Standard input as bytes; empty if whoever started the program closed it."""
    return io.BytesIO() if sys.stdin is None else cast(BinaryIO, _StandardInput())


def say(text: str) -> None:
    """Write text to standard output, without anything that a terminal would obey."""
    from basemap.report.words import harmless

    _write_out(harmless(text))


def complain(*lines: str) -> None:
    """Write a message to standard error, one printed line for each of its lines, whatever text a file put into it."""
    from basemap.report.words import one_line

    cut = [line if len(line) <= _LONGEST_PROBLEM else line[:_LONGEST_PROBLEM] + "…" for line in lines]
    with suppress(OSError):  # there is nowhere left to say it
        _write(sys.stderr, "basemap: " + "".join(f"{one_line(line)}\n" for line in cut))


def show(*parts: RenderableType) -> None:
    """Write formatted parts to standard output, one below the other."""
    from basemap.report.words import harmless

    page = console()
    try:
        with page.capture() as captured:
            page.print(*parts, sep="\n")
    except OSError as cause:  # it touches the stream even then
        _never_again(sys.stdout)
        raise _not_written(cause) from None
    text = captured.get()
    if not page.is_terminal:
        text = "".join(line.rstrip() + "\n" for line in text.splitlines())
    # Every other piece is one of the console's own colours.
    pieces = _COLOUR.split(text)
    _write_out("".join(piece if odd % 2 else harmless(piece) for odd, piece in enumerate(pieces)))


def answer(found: Answer, as_json: bool) -> None:
    """Print a short answer as text or as JSON."""
    if as_json:
        from basemap.report.json_text import to_text

        say(to_text(found.as_json()))
    else:
        show(found.as_text())


def console(*, error: bool = False) -> Console:
    """A rich console on standard output (or error) that takes text literally."""
    from rich.console import Console

    for variable in ("COLUMNS", "LINES"):
        # rich stumbles over "²", which it takes for a number.
        if not re.fullmatch("[0-9]{1,4}", os.environ.get(variable, "")):
            os.environ.pop(variable, None)
    page = Console(markup=False, emoji=False, highlight=False, stderr=error)
    page.width = min(max(page.width, NARROWEST), WIDEST)
    return page


def _write_out(text: str) -> None:
    try:
        _write(sys.stdout, text)
    except OSError as cause:
        raise _not_written(cause) from None


def _not_written(cause: OSError) -> InputError:
    return InputError(f"standard output cannot be written ({reason(cause)})")


def _write(stream: TextIO | None, text: str) -> None:
    """Write and flush; a reader that has gone away is not an error, and the command keeps its own exit status."""
    if stream is None:  # whoever started the program closed it
        return
    try:
        stream.write(_writable(stream, text))
        stream.flush()
    except OSError as cause:
        _never_again(stream)
        if not isinstance(cause, BrokenPipeError):
            raise


def _never_again(stream: TextIO) -> None:
    """Send the stream nowhere, so that the flush when the interpreter ends does not fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _writable(stream: TextIO, text: str) -> str:
    """The text in letters that the stream's encoding has."""
    from basemap.report.letters import in_letters_of

    return in_letters_of(stream.encoding or "utf-8", text)
