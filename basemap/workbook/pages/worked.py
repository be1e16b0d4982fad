"""One cell step by step, so that a reader can follow it with a calculator."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from basemap.explain.cell import central_cell, worked_cell
from basemap.explain.step import Step
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item, significant

_WIDTHS = (72.0, 266.0, 250.0, 66.0, 54.0)
_SCALE_PERCENT = 94
"""Of the print: the columns then fit on the page in every spreadsheet program."""
_PAGE_PT = 796.0
"""Height of a portrait page, A4, in rows of this scale, less a little, since programs differ by some points."""
_HEAD_PT = 70.0
"""Height of the head that every page repeats."""
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}


def write_worked_cell(book: Book) -> None:
    """Write the sheet."""
    result = book.result
    row, col = central_cell(result)
    page = open_page(book, "Worked cell", _WIDTHS, landscape=False, tab=style.GREY_LINE)
    where = f"{result.job.rpm[col]:g} rpm, {result.job.target.shown.load[row]:.6g} {result.job.target.shown.load_unit}"
    page_head(page, "One cell, step by step", where)
    flow = Flow(page, HEAD_ROWS)
    words = (
        "The cell at the highest load that the target reaches, at its middle speed, as issued. Every figure follows from "
        "those above it by the arithmetic beside it; the figures are shown to seven digits and kept in full."
    )
    flow.line(item(0, page.last_col, words, font_color=style.QUIET))
    stages: list[tuple[int, float]] = []
    for stage, steps in groupby(worked_cell(result, row, col), lambda step: step.stage):
        flow.gap(5)
        stages.append((flow.row, flow.height_pt))
        flow.heading(str(stage.value))
        flow.table_head(
            item(0, 0, "symbol"),
            item(1, 1, "what"),
            item(2, 2, "how"),
            item(3, 3, "figure", align="right"),
            item(4, 4, "unit"),
        )
        for step in steps:
            _line(flow, step)
    # Programs honour a break only at a fixed scale; so no stage is torn from its heading.
    page.ws.set_print_scale(_SCALE_PERCENT)
    page.ws.set_h_pagebreaks(_breaks(stages, flow.height_pt, _PAGE_PT - _HEAD_PT))
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def _breaks(stages: Sequence[tuple[int, float]], end_pt: float, page_pt: float) -> list[int]:
    """Rows that begin a new page, so that each stage that fits on a page stays whole.

    Parameters
    ----------
    stages
        First row of each stage, and how far down the sheet it begins.
    end_pt
        How far down the last one ends.
    page_pt
        Height that a page has for them.
    """
    breaks, page_begins = [], 0.0
    ends = [begin for _, begin in stages[1:]] + [end_pt]
    for (row, begin), end in zip(stages, ends, strict=True):
        if end - page_begins > page_pt and begin > page_begins:
            breaks.append(row)
            page_begins = begin
    return breaks


def _line(flow: Flow, step: Step) -> None:
    result = step.symbol in {"cell", "stored", "m_air", "m_air,t", "t"}
    known = step.value == step.value
    fill: dict[str, Any] = {"bg_color": style.GOOD_FILL} if step.symbol in {"cell", "stored"} else {}
    flow.line(
        item(0, 0, step.symbol, bold=result),
        item(1, 1, step.name, bold=result),
        item(2, 2, step.how or "given", font_color=style.INK if step.how else style.QUIET, font_size=9),
        item(3, 3, step.value if known else "–", num_format=significant(step.value, 7), align="right", bold=result),
        item(4, 4, step.unit, font_color=style.QUIET),
        **_HAIR,
        **fill,
    )
