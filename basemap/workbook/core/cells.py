"""The only functions that write cells: text that never becomes a formula, finite numbers, formulas with their value.

Every page uses them, so that a title such as ``=HYPERLINK(…)`` stays a title, no cell holds NaN, and every formula has
the model's own number with it.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST_TEXT = 32_767
"""Characters that a cell can hold (ECMA-376 as the spreadsheet programs implement it)."""

LONGEST_FORMULA = 8_192

# Characters that XML 1.0 forbids: with U+FFFE, U+FFFF, a lone surrogate or most control characters a file cannot be read.
# A pattern of the allowed ones would take ten times as long to compile.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def clean(words: str) -> str:
    """`words` as a cell can hold them: without characters that XML forbids, lines ended by LF, cut visibly at 32,767."""
    kept = _FORBIDDEN.sub("", words.replace("\r\n", "\n").replace("\r", "\n"))
    return kept if len(kept) <= LONGEST_TEXT else kept[: LONGEST_TEXT - 1] + "…"


def header_text(words: str, longest: int = 80) -> str:
    """`words` for a page header or footer: on one line, ``&`` escaped, cut visibly."""
    line = " ".join(clean(words).split())
    line = line if len(line) <= longest else line[: longest - 1] + "…"
    return line.replace("&", "&&")


def text(ws: Worksheet, row: int, col: int, words: str, style: Format | None = None) -> None:
    """Write text as text, even if it looks like a number or a formula."""
    kept = clean(words)
    if kept:
        ws.write_string(row, col, kept, style)
    else:
        ws.write_blank(row, col, None, style)


def merged_text(ws: Worksheet, area: tuple[int, int, int, int], words: str, style: Format | None = None) -> None:
    """Write text into an area: first row, first column, last row, last column; merged if it has several cells."""
    merge(ws, area, style)
    text(ws, area[0], area[1], words, style)


def merge(ws: Worksheet, area: tuple[int, int, int, int], style: Format | None = None) -> None:
    """Merge an area of several cells; its first cell is still to be written."""
    first_row, first_col, last_row, last_col = area
    if (first_row, first_col) != (last_row, last_col):
        ws.merge_range(first_row, first_col, last_row, last_col, "", style)


def number(ws: Worksheet, row: int, col: int, value: float, style: Format | None = None, instead: str = "–") -> None:
    """Write a number; for NaN and infinity, which no spreadsheet has, write the words `instead`."""
    if math.isfinite(value):
        ws.write_number(row, col, float(value), style)
    else:
        text(ws, row, col, instead, style)


def live(ws: Worksheet, row: int, col: int, formula: str, value: float | str, style: Format | None = None) -> None:
    """Write a formula with the model's own value as its saved result; on a sheet of figures, the value alone.

    Raises
    ------
    ValueError
        Where the value is NaN or infinite, or the formula too long: a bug in a page, never the fault of a user.
    """
    if isinstance(value, (float, int)) and not math.isfinite(value):
        raise ValueError(f"no cached value for {formula}")
    if len(formula) > LONGEST_FORMULA:
        raise ValueError(f"formula of {len(formula)} characters")
    if getattr(ws, "figures_only", False):
        if isinstance(value, str):
            text(ws, row, col, value, style)
        else:
            number(ws, row, col, value, style)
        return
    ws.write_formula(row, col, formula, style, clean(value) if isinstance(value, str) else float(value))
