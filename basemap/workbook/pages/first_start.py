"""The first-start card, one page in large letters with cells to tick, and the cautions behind it."""

from __future__ import annotations

from typing import Any

from basemap.adaptation.first_start_card import first_start_card
from basemap.model.card import Card, CardLine, CardPart
from basemap.report.card_in_words import mark
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.cells import text
from basemap.workbook.core.flow import Flow, Item, item
from basemap.workbook.core.print_scale import scale_percent
from basemap.workbook.pages.cautions import write_cautions

SHEET = "First start"
SIZE = 12.0
"""Points; the page is laid out at nearly the size of the paper, so that it is hardly scaled down."""

_WIDTHS = (26.0, 196.0, 26.0, 218.0, 26.0, 88.0, 124.0)
_WORDS, _EXPECT, _CAUTION, _STOP = (1, 1), (2, 3), (4, 5), (6, 6)
_ABREAST = ((0, (1, 1)), (2, (3, 3)), (4, (5, 6)))
"""Of three lines side by side: the column of the cell to tick, and the columns of the words behind it."""
_LINE_PT = 14.3
_PRINTED_IN = 7.47
"""Width of A4 within the margins."""
_LINES_END: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}


def write_card(book: Book) -> None:
    """Write the sheet."""
    card = first_start_card(book.result)
    page = open_page(book, SHEET, _WIDTHS, landscape=False, tab=style.CAUTION)
    page.ws.set_margins(left=0.4, right=0.4, top=0.4, bottom=0.5)
    page_head(page, "First start", "written down before the engine turns")
    flow = Flow(page, HEAD_ROWS)
    if card.warning:
        _line(flow, [item(0, page.last_col, f"■ {card.warning}")], bold=True, bg_color=style.STOP_FILL)
    for part in card.parts:
        _part(flow, part)
    _notes(flow, card)
    # A break is honoured only at a fixed scale, not on a sheet that is fitted to pages.
    page.ws.set_print_scale(scale_percent(_PRINTED_IN, sum(_WIDTHS)))
    page.ws.set_h_pagebreaks([flow.row])
    write_cautions(flow, _WORDS, (2, page.last_col))
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1)


def _part(flow: Flow, part: CardPart) -> None:
    head: dict[str, Any] = {"bottom": 2, "bottom_color": style.INK, "bold": True}
    last = flow.page.last_col
    if part.ticks:
        _line(flow, [item(0, last, part.title, **head)])
        _ticks(flow, part)
        return
    columns = [item(*_EXPECT, "expect", **head), item(*_CAUTION, "caution", **head), item(*_STOP, "STOP", **head)]
    if len(part.title) > 20:
        # A long title leaves no room for the heads of the columns.
        columns = []
    _line(flow, [item(0, 1 if columns else last, part.title, **head), *columns])
    for line in part.lines:
        _expectation(flow, line)


def _expectation(flow: Flow, line: CardLine) -> None:
    words = item(*_WORDS, f"{line.words}{mark(line)}", indent=1)
    if line.caution or line.stop:
        rest = [item(*_EXPECT, line.expect), item(*_CAUTION, line.caution), item(*_STOP, line.stop, bold=True)]
    else:
        rest = [item(_EXPECT[0], _STOP[1], line.expect)]
    _line(flow, [words, *rest], ticks=(0,), **_LINES_END)


def _ticks(flow: Flow, part: CardPart) -> None:
    """Short lines stand three abreast, longer ones below each other."""
    if part.is_short:
        for first in range(0, len(part.lines), len(_ABREAST)):
            places = [*zip(_ABREAST, part.lines[first : first + len(_ABREAST)], strict=False)]
            ticks = tuple(tick for (tick, _), _ in places)
            _line(flow, [item(*cols, line.words, indent=1) for (_, cols), line in places], ticks=ticks)
        return
    for line in part.lines:
        _line(flow, [item(1, flow.page.last_col, line.words, indent=1)], ticks=(0,), **_LINES_END)


def _notes(flow: Flow, card: Card) -> None:
    flow.gap(5)
    for note in card.notes:
        _line(flow, [item(0, flow.page.last_col, note)])


def _line(flow: Flow, items: list[Item], ticks: tuple[int, ...] = (), **shared: Any) -> None:
    """A row of the card, no higher than its text needs, with cells to tick in some columns."""
    for col in ticks:
        text(flow.page.ws, flow.row, col, "", flow.page.book.tick_style)
    bold = bool(shared.get("bold"))
    lines = 1
    for one in items:
        if isinstance(one.content, str) and len(one.content) > 1:
            heavy = bold or bool(one.properties.get("bold"))
            room = flow.page.room_px(*one.cols) + 8 - 9 * one.properties.get("indent", 0)
            lines = max(lines, style.line_count(one.content, room, SIZE, bold=heavy))
    flow.line(*items, height_pt=lines * _LINE_PT + 2.3, font_size=SIZE, **shared)
