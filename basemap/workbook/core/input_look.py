"""The style of a cell that may be changed."""

from __future__ import annotations

from typing import Any

from basemap.workbook.core import style
from basemap.workbook.core.book import Book

INPUT_LOOK: dict[str, Any] = {
    "bg_color": style.INPUT_FILL, "font_color": style.INPUT_INK, "border": 1, "border_color": "#D9C27A", "align": "center",
    "bold": True, "locked": False,
}  # fmt: skip


def input_look(book: Book, **properties: Any) -> Any:
    """That style, with some of its properties changed."""
    return book.style(**{**INPUT_LOOK, **properties})
