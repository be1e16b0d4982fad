"""Rows of text and figures one below the other, each as high as its text needs."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from basemap.workbook.core import style
from basemap.workbook.core.book import Page
from basemap.workbook.core.cells import live, merge, number, text


@dataclass(frozen=True)
class Item:
    """The content of some columns of a row: words or a figure, with its formula where it is live."""

    cols: tuple[int, int]
    content: str | float
    formula: str | None = None
    properties: dict[str, Any] = field(default_factory=dict)


def item(first: int, last: int, content: str | float, formula: str | None = None, **properties: Any) -> Item:
    """Shorthand for an `Item`."""
    return Item((first, last), content, formula, properties)


@dataclass
class Flow:
    """Writes row after row; `row` is the next free one, `height_pt` the height of those written."""

    page: Page
    row: int
    height_pt: float = 0.0

    def gap(self, height_pt: float = 9.0) -> None:
        """Leave a thin row free."""
        self._end_row(height_pt)

    def heading(self, words: str, aside: str = "") -> None:
        """A heading across the page, with small words on the right."""
        page, last = self.page, self.page.last_col
        line: dict[str, Any] = {"bottom": 2, "bottom_color": style.BAR}
        room = style.width_px(aside, 9) + 16
        col = last
        while col > 1 and sum(page.widths_px[col:]) < room:
            col -= 1
        self.line(
            item(0, col - 1, words, **line, bold=True, font_size=12.5),
            item(col, last, aside, **line, font_size=9, italic=True, font_color=style.QUIET, align="right"),
            height_pt=21,
        )

    def line(self, *items: Item, height_pt: float | None = None, **shared: Any) -> int:
        """Write a row of items, whose cells share some properties; return its number."""
        tallest = height_pt or 0.0
        for one in items:
            properties = {"text_wrap": isinstance(one.content, str), **shared, **one.properties}
            self._write(one, properties)
            if height_pt is None:
                tallest = max(tallest, self._height(one, properties))
        self._end_row(tallest)
        return self.row - 1

    def _end_row(self, height_pt: float) -> None:
        self.page.ws.set_row(self.row, height_pt)
        self.row += 1
        self.height_pt += height_pt

    def table_head(self, *items: Item) -> None:
        """Column headings of a table."""
        self.line(*items, bold=True, font_size=9, font_color=style.QUIET, bg_color=style.PANEL, valign="vcenter")

    def _height(self, one: Item, properties: dict[str, Any]) -> float:
        size = properties.get("font_size", style.FONT_SIZE)
        if not isinstance(one.content, str) or len(one.content) < 3 or not properties["text_wrap"]:
            return style.height_pt(1, size)
        room = self.page.room_px(*one.cols) - 9.0 * properties.get("indent", 0)
        lines = style.line_count(one.content, room, size, bold=properties.get("bold", False))
        return style.height_pt(lines, size)

    def _write(self, one: Item, properties: dict[str, Any]) -> None:
        ws, look = self.page.ws, self.page.book.style(**properties)
        merge(ws, (self.row, one.cols[0], self.row, one.cols[1]), look)
        if one.formula is not None:
            live(ws, self.row, one.cols[0], one.formula, one.content, look)
        elif isinstance(one.content, str):
            text(ws, self.row, one.cols[0], one.content, look)
        else:
            number(ws, self.row, one.cols[0], one.content, look)


def significant(value: float, digits: int = 5) -> str:
    """The number format of a spreadsheet that shows `value` with so many significant digits and no exponent."""
    if value == 0 or not math.isfinite(value):
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    shown = f"{abs(value):.{decimals}f}"
    kept = len(shown.rstrip("0").split(".")[1]) if "." in shown else 0
    return "0." + "0" * kept if kept else "0"
