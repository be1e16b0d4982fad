"""The job as it was written: every input with SI value, spread and origin; assumptions; notes."""

from __future__ import annotations

import math
from typing import Any

from basemap.model.job import Input
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, Item, item

_HALF = (196.0, 152.0, 92.0, 78.0)
_WIDTHS = (*_HALF, 16.0, *_HALF)
_LAST = len(_WIDTHS) - 1
_RIGHT = len(_HALF) + 1
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}


def write_job(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, "As written", _WIDTHS, tab=style.GREY_LINE)
    page_head(page, "The job as it was written", "SI figures are what the program works with")
    flow = Flow(page, HEAD_ROWS)
    _inputs(flow)
    _assumptions(flow)
    _notes(flow)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def _inputs(flow: Flow) -> None:
    """The keys of both sides first, then the donor's on the left and the target's on the right."""
    inputs = flow.page.result.job.inputs
    both = [one for key, one in inputs.items() if key.split(".")[0] not in {"donor", "target"}]
    sides = [
        {_tail(key): one for key, one in inputs.items() if key.startswith(f"{side}.")} for side in ("donor", "target")
    ]
    if both:
        flow.heading("Both sides")
        _head(flow, 0)
        for one in both:
            flow.line(*_input(one, one.key, 0), **_HAIR)
        flow.gap(6)
    flow.heading("Donor and target", "as written · SI, with the half-width of its spread · where it comes from")
    _head(flow, 0, _RIGHT)
    for key in dict.fromkeys([*sides[0], *sides[1]]):
        items: list[Item] = []
        for side, first in zip(sides, (0, _RIGHT), strict=True):
            found = side.get(key)
            items += _input(found, key, first) if found else [item(first + k, first + k, "") for k in range(len(_HALF))]
        flow.line(*items, **_HAIR)
    flow.gap()


def _tail(key: str) -> str:
    return key.split(".", 1)[1]


def _head(flow: Flow, *firsts: int) -> None:
    names = ("key", "as written", "SI", "origin")
    flow.table_head(*(item(first + k, first + k, name) for first in firsts for k, name in enumerate(names)))


def _input(one: Input, key: str, first: int) -> list[Item]:
    value = "" if math.isnan(one.value) else f"{one.value:.7g}"
    if one.half_width is not None:
        value += f" ± {one.half_width:.3g}{' (k = 2)' if one.k2 else ''}"
    warned = one.origin in {"assumed", "guessed"}
    return [
        item(first, first, key, font_size=9, font_color=style.QUIET),
        item(first + 1, first + 1, one.text),
        item(first + 2, first + 2, value, font_size=9),
        item(first + 3, first + 3, f"▲ {one.origin}" if warned else one.origin, font_size=9,
             font_color=style.CAUTION if warned else style.QUIET),
    ]  # fmt: skip


def _assumptions(flow: Flow) -> None:
    assumed = flow.page.result.job.assumed
    flow.heading("Assumed", "what the job left out, or called unknown (▲)")
    if not assumed:
        flow.line(item(0, _LAST, "Nothing."))
        return
    flow.table_head(item(0, 0, "key"), item(1, 1, "value"), item(2, 5, "why"), item(6, _LAST, "what it moves most"))
    for one in sorted(assumed, key=lambda one: not one.unknown):
        ink = style.CAUTION if one.unknown else style.INK
        value = f"{one.value} ± {one.half_width}" if one.half_width else one.value
        flow.line(
            item(0, 0, f"▲ {one.key}" if one.unknown else one.key, font_size=9, font_color=ink),
            item(1, 1, value),
            item(2, 5, one.why, font_size=9),
            item(6, _LAST, one.moves, font_size=9),
            **_HAIR,
        )
    flow.gap()


def _notes(flow: Flow) -> None:
    notes = flow.page.result.job.notes
    if not notes:
        return
    flow.heading("Notes", "as the user wrote them, and what the readers of the files remarked")
    for place, words in notes.items():
        flow.line(item(0, 0, place, font_color=style.QUIET, font_size=9), item(1, _LAST, words), valign="top", **_HAIR)
