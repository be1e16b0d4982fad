"""Keeps text from becoming a formula when a spreadsheet program opens a text table."""

from __future__ import annotations

import re

from basemap.tables.numbers import is_number_like, parse

# Full-width signs start a formula in Japanese and Chinese versions of a program.
_LIVE = "=+-@＝＋－＠"
_BEFORE = re.compile(r"""[\s"\u200b\ufeff]*""")
_SEPARATORS = re.compile(r"([,;\t])")
_BLANKS = re.compile(r"([,;\t ])")


def inert(line: str, separator: str) -> str:
    """A line of a text table in which no field starts a formula, whatever separator it is opened with.

    A field that begins with ``=``, ``+``, ``-`` or ``@`` and is not a number gets an apostrophe, which marks text in
    spreadsheet programs; numbers, also negative ones and those with a unit, stay as they are.

    >>> inert("=1+1;-5,2;@x;- 3", ";")
    "'=1+1;-5,2;'@x;'- 3"
    """
    divided = _BLANKS if separator == " " else _SEPARATORS
    return "".join(_inert_field(field) for field in divided.split(line))


def _inert_field(field: str) -> str:
    before = _BEFORE.match(field)
    start = before.end() if before else 0
    if field[start : start + 1] not in tuple(_LIVE):
        return field
    text = field[start:].rstrip('" ')
    if text == "-" or is_number_like(text) or parse(text, ".") is not None or parse(text, ",") is not None:
        return field
    return f"{field[:start]}'{field[start:]}"


def one_line(text: str) -> str:
    """Text of a workbook's cell as a field on one line, with blanks for characters that cannot be printed.

    A field that begins with ``#`` gets an apostrophe too, because it would make its line a comment.
    """
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return f"'{plain}" if plain.startswith("#") else plain
