"""Colours, fonts and widths of the workbook."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache

FONT = "Arial"
FONT_SIZE = 10.0
MONOSPACE = "Courier New"

INK = "#1C2B33"
QUIET = "#5E6B73"
HAIRLINE = "#C9D0D4"
PAPER = "#FFFFFF"
PANEL = "#F1F4F5"
BAR = "#263B45"
ON_BAR = "#FFFFFF"
AXIS = "#44586A"
UNREACHABLE = "#EDEFF0"
UNREACHABLE_INK = "#8B959B"

INPUT_FILL = "#FFF3C4"
INPUT_INK = "#0B3D91"

STOP = "#B3261E"
STOP_FILL = "#F6C9B8"
CAUTION = "#8A5A00"
CAUTION_FILL = "#FBE3B4"
GOOD = "#1B5E7A"
GOOD_FILL = "#D3E8F1"

# One hue whose lightness falls steadily; black figures are legible even on its dark end.
TABLE_SCALE = ("#F8F7FC", "#C9C6E6", "#8E8BC9")
# Purple – white – ochre: distinct for every common colour vision, and in grey print by the sign of the figure.
CHANGE_SCALE = ("#9C87C4", "#FFFFFF", "#E8A33D")
QUANTITY_SCALE = ("#F7FAF8", "#BFDAD6", "#7FB3B0")

# λ: blue is rich, orange to vermilion is lean (blue against orange is safe with every common colour vision).
LEAN_STOP = "#E8704A"
LEAN_CAUTION = "#F7B98B"
LEAN_SLIGHT = "#FCE6D3"
RICH_SLIGHT = "#DCE9F5"
RICH = "#9DC3E6"
RICH_CAUTION = "#5E97CC"

DONOR_LINE = "#6B5FA8"
TARGET_LINE = "#C2571A"
THIRD_LINE = "#3C8C84"
GREY_LINE = "#7A868D"

# Advance widths of Arial (metric twins: Helvetica, Liberation Sans), thousandths of the size, from code 32 to 126.
_WIDTHS = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
_WIDE_SIGNS = "▲▼■●○◆✓×—…"
_BOLD = 1.07
_PIXELS_PER_POINT = 96 / 72


def width_px(words: str, size: float = FONT_SIZE, *, bold: bool = False) -> float:
    """Width of a line of Arial in pixels at 96 dpi, within about 3 % (bold is taken as 7 % wider)."""
    return _units(words) / 1000 * size * _PIXELS_PER_POINT * (_BOLD if bold else 1.0)


@lru_cache(maxsize=4096)
def _units(words: str) -> int:
    """Width in thousandths of the size, kept because the same words recur."""
    return sum(map(_character, words))


@lru_cache(maxsize=512)
def _character(character: str) -> int:
    code = ord(character)
    if 32 <= code <= 126:
        return _WIDTHS[code - 32]
    return 1000 if character in _WIDE_SIGNS or code > 0x2E80 else 600


def widest_px(lines: Iterable[str], size: float = FONT_SIZE, *, bold: bool = False) -> float:
    """Width of the widest of several lines, pixels."""
    return max((width_px(line, size, bold=bold) for line in lines), default=0.0)


def line_count(words: str, room_px: float, size: float = FONT_SIZE, *, bold: bool = False) -> int:
    """How many lines `words` take when they are wrapped to `room_px`; a longer word is broken."""
    lines = 0
    for paragraph in words.split("\n"):
        filled, lines = 0.0, lines + 1
        for word in paragraph.split(" "):
            wide = width_px(word, size, bold=bold)
            space = width_px(" ", size, bold=bold) if filled else 0.0
            if filled and filled + space + wide > room_px:
                lines, filled, space = lines + 1, 0.0, 0.0
            if wide > room_px:
                extra = math.ceil(wide / room_px) - 1
                lines, wide = lines + extra, wide - extra * room_px
            filled += space + wide
    return lines


def height_pt(lines: int, size: float = FONT_SIZE) -> float:
    """Height of a row with so many lines, points."""
    return math.ceil(lines * size * 1.22 + 5.0)
