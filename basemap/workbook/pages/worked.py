"""One cell worked step by step, so that a calculator can follow it."""

from __future__ import annotations

from typing import Any

from basemap.explain.cell import central_cell, worked_cell
from basemap.explain.step import Stage, Step
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item, significant

_WIDTHS = (78.0, 250.0, 262.0, 80.0, 50.0)
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
    stage: Stage | None = None
    for step in worked_cell(result, row, col):
        if step.stage is not stage:
            stage = step.stage
            flow.gap(5)
            flow.heading(str(stage.value))
            flow.table_head(
                item(0, 0, "symbol"),
                item(1, 1, "what"),
                item(2, 2, "how"),
                item(3, 3, "figure", align="right"),
                item(4, 4, "unit"),
            )
        _line(flow, step)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1)


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
