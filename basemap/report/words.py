"""Numbers and other people's words, made fit for print."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from basemap.model.installation import BoolArray
    from basemap.model.marks import Mark

# Control characters can move the cursor or recolour the screen; the others reverse the order of what is read.
_HARMFUL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def harmless(text: str) -> str:
    r"""Text from a user, without characters that would act on a terminal instead of being shown.

    >>> harmless("van\x1b[2J")
    'van�[2J'
    """
    return _HARMFUL.sub("\N{REPLACEMENT CHARACTER}", text)


def one_line(text: str) -> str:
    r"""Such text where a new line would be taken for another entry, as a file name may hold one.

    >>> one_line("van\n2. best")
    'van�2. best'
    """
    return harmless(text).replace("\n", "\N{REPLACEMENT CHARACTER}")


def escaped(text: str) -> str:
    r"""JSON text with the same characters written as escapes: the reader of it gets them, a terminal does not.

    >>> escaped('"van\x9b2J"')
    '"van\\u009b2J"'
    """
    return _HARMFUL.sub(lambda found: f"\\u{ord(found.group()):04x}", text)


def marks_at(marks: Mapping[Mark, BoolArray], index: tuple[int, ...]) -> list[Mark]:
    """The marks of one cell."""
    return [mark for mark, where in marks.items() if where[index]]


@lru_cache(maxsize=4096)  # the chains of a table say most of their numbers many times
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
