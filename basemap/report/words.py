"""Numbers, places and other people's words, made fit for print."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from basemap.model.installation import BoolArray
    from basemap.model.job import Job
    from basemap.model.marks import Mark

# Control characters can move the cursor or recolour the screen; the others reverse the order of what is read.
_HARMFUL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")

CODE = re.compile(r"`([^`\n]+)`")
EMPHASIS = re.compile(r"(?<![\w*])\*([^*\s](?:[^*\n]*[^*\s])?)\*(?![\w*])")
"""The two marks that the words of a rule have: `code` and *emphasis*."""


def without_marks(text: str) -> str:
    """The words of a rule as plain text: a key stands as it is typed, a command and a verdict in quotes.

    >>> without_marks("Enter what `basemap sensors` prints, or *adapt first*, with `richer_at_load`.")
    'Enter what "basemap sensors" prints, or "adapt first", with richer_at_load.'
    """
    unmarked = CODE.sub(lambda found: f'"{found[1]}"' if " " in found[1] else found[1], text)
    return EMPHASIS.sub(r'"\1"', unmarked)


def harmless(text: str) -> str:
    r"""Text from a user, without characters that would act on a terminal instead of being shown.

    >>> harmless("van\x1b[2J")
    'van�[2J'
    """
    return _HARMFUL.sub("\N{REPLACEMENT CHARACTER}", text)


def one_line(text: str) -> str:
    r"""The same on one line: a file name may hold a line feed, and would then look like two names.

    >>> one_line("van\n2. best")
    'van�2. best'
    """
    return harmless(text).replace("\n", "\N{REPLACEMENT CHARACTER}")


def escaped(text: str) -> str:
    r"""JSON text with the same characters as escapes: a program reads them, a terminal does not obey them.

    >>> escaped('"van\x9b2J"')
    '"van\\u009b2J"'
    """
    return _HARMFUL.sub(lambda found: f"\\u{ord(found.group()):04x}", text)


def marks_at(marks: Mapping[Mark, BoolArray], index: tuple[int, ...]) -> list[Mark]:
    """The marks of one cell."""
    return [mark for mark, where in marks.items() if where[index]]


def place_of(job: Job, row: int, column: int) -> str:
    """Where a cell of the target's table is, such as ``3000 rpm, 60 kPa``."""
    shown = job.target.shown
    return f"{job.rpm[column]:g} rpm, {shown.load[row]:g} {shown.load_unit}".rstrip()


@lru_cache(maxsize=4096)  # the chains of a table repeat most of their numbers
def number(value: float | None, digits: int = 4) -> str:
    """A number with a given number of significant digits, without an exponent if possible.

    >>> number(666.6666), number(1998.0), number(0.951), number(None), number(math.inf), number(12345.6)
    ('666.7', '1998', '0.951', 'not known', 'infinite', '12346')
    """
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "infinite"
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
