"""The four outcomes: λ actual / λ intended of old and new table with old and new settings."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from basemap.model.table_result import LAMBDA_CASES, LambdaCase
from basemap.rounding import rounded_down, rounded_up, without_noise
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import text
from basemap.workbook.core.grid import Axes, WorkbookTable, axes_of, axis_width_px, bands, column_width_px, write_grid
from basemap.workbook.core.layout import GridName, Layout, row_height_px
from basemap.workbook.core.plain_words import OUTCOME_MEANS, OUTCOMES
from basemap.workbook.formulas.live_cells import NOT_KNOWN, NOTHING, CellFormulas
from basemap.workbook.inputs.input_cell import is_cancelled
from basemap.workbook.pages.tables import GAP_PX, PAGE_PX, axes_words

NUMBER_FORMAT = '[>1.05]0.000"▲";[<0.95]0.000"▼";0.000'

LAMBDA_BANDS = bands(
    (
        (">", 1.10, style.LEAN_STOP, True),
        (">", 1.05, style.LEAN_CAUTION, True),
        (">", 1.03, style.LEAN_SLIGHT, False),
        ("<", 0.85, style.RICH_CAUTION, True),
        ("<", 0.95, style.RICH, False),
        ("<", 0.97, style.RICH_SLIGHT, False),
    )
)
LEGEND = (
    ("▼ below 0.85", style.RICH_CAUTION, "far too rich"),
    ("▼ to 0.95", style.RICH, "rich"),
    ("to 0.97", style.RICH_SLIGHT, ""),
    ("0.97–1.03", style.PAPER, "as intended"),
    ("to 1.05", style.LEAN_SLIGHT, ""),
    ("▲ to 1.10", style.LEAN_CAUTION, "lean"),
    ("▲ above 1.10", style.LEAN_STOP, "dangerously lean, or no fuel"),
)


def write_outcomes(book: Book, layout: Layout) -> None:
    """Write the page, or a page for each outcome; of the new table alone where the old one cannot be loaded."""
    cases = LAMBDA_CASES if layout.old_outcomes else _NEW_TABLE
    means = "the mixture in each of four cases" if layout.old_outcomes else "the old table cannot be loaded"
    if layout.abreast:
        _write_page(book, layout, cases, "Outcomes", f"Outcomes: {means}")
        return
    for case in cases:
        _write_page(book, layout, (case,), layout.place(case).sheet, f"Outcome: {OUTCOMES[case].lower()}")


SWATCH_PX = 50
"""The least width of a column for a swatch; narrower columns are axes and gaps."""


def _write_page(book: Book, layout: Layout, cases: Sequence[LambdaCase], sheet: str, title: str) -> None:
    axes = axes_of(book)
    blocks, down = min(len(cases), 2), math.ceil(len(cases) / 2)
    widths = block_widths(layout, axes, ["0.000▲", "no pulse"], blocks)
    page = open_page(book, sheet, widths, tab=style.TARGET_LINE)
    page_head(page, title, f"λ actual ÷ λ intended, open loop, target's hardware · {axes_words(book)}")
    row_px = row_height_px(sum(widths), layout.rows * down, 90 + 90 * down)
    for case in cases:
        place = layout.place(case)
        for i in range(place.rows):
            page.ws.set_row_pixels(place.row + i, row_px)
        write_grid(page, place, axes, outcome_grid(book, layout, case))
        book.names.define(book.workbook, f"ratio_{case}", place.area())
    row = layout.place(cases[-1]).last_row + 2
    last = _legend(page, row)
    page.ws.freeze_panes(HEAD_ROWS if blocks > 1 else HEAD_ROWS + 2, 1)
    finish_page(page, last, one_page=True)


def block_widths(layout: Layout, axes: Axes, samples: list[str], blocks: int) -> list[float]:
    """Widths of the columns of tables side by side, which fill the page."""
    axis = axis_width_px(axes)
    spare = (PAGE_PX - blocks * axis - (blocks - 1) * GAP_PX) / (blocks * layout.cols)
    cell = max(column_width_px([*samples, *axes.rpm]), spare)
    widths: list[float] = []
    for _ in range(blocks):
        widths += [*([GAP_PX] if widths else []), axis, *([cell] * layout.cols)]
    return widths


_PULSES: dict[LambdaCase, GridName] = {
    "old_table_old_settings": "pulse_old_old",
    "old_table_new_settings": "pulse_old_new",
    "new_table_old_settings": "pulse_new_old",
    "new_table_new_settings": "pulse",
}
_NEW_TABLE: tuple[LambdaCase, ...] = ("new_table_old_settings", "new_table_new_settings")
_OLD_SETTINGS: tuple[LambdaCase, ...] = ("old_table_old_settings", "new_table_old_settings")


def outcome_grid(book: Book, layout: Layout, case: LambdaCase) -> WorkbookTable:
    """One outcome; beside its heading the extremes of the reachable cells."""
    ratio, formulas = book.result.table.lambda_ratio[case], CellFormulas(book.result, layout)
    words = f"{OUTCOME_MEANS[case]} · {_extremes(book, case)}"
    if case in _OLD_SETTINGS and is_cancelled(book.result.job):
        return WorkbookTable(OUTCOMES[case], words, ratio, NUMBER_FORMAT, LAMBDA_BANDS, instead=NOT_KNOWN)
    pulses = _PULSES[case]
    return WorkbookTable(
        OUTCOMES[case], words, ratio, NUMBER_FORMAT, LAMBDA_BANDS, instead=NOTHING,
        formula=lambda i, j: formulas.ratio(pulses, i, j),
    )  # fmt: skip


def _extremes(book: Book, case: LambdaCase) -> str:
    table = book.result.table
    ratio = table.lambda_ratio[case][table.reachable]
    ratio = ratio[~np.isnan(ratio)]
    if not ratio.size:
        return "not known: the job leaves out what the donor was tuned with"
    leanest = "no fuel" if np.isinf(ratio.max()) else rounded_up(without_noise(ratio.max()), 3)
    return f"as issued {rounded_down(without_noise(ratio.min()), 3)} to {leanest}"


def _legend(page: Page, row: int) -> int:
    """Write the bands as swatches in one line, or in two where the columns are few; return the last row."""
    book = page.book
    columns = [column for column, width in enumerate(page.widths_px) if width >= SWATCH_PX]
    abreast = min(len(LEGEND), len(columns))
    step, lines = len(columns) // abreast, math.ceil(len(LEGEND) / abreast)
    deep = [1] * lines
    look = {"align": "center", "font_size": 9}
    border = {"border": 1, "border_color": style.HAIRLINE}
    for index, (words, fill, meaning) in enumerate(LEGEND):
        line, place = divmod(index, abreast)
        first, end, top = columns[place * step], columns[place * step + step - 1], row + 2 * line
        page.paragraph(top, (first, end), words, bg_color=fill, bold="▲" in words, **look, **border)
        deep[line] = max(deep[line], page.paragraph(top + 1, (first, end), meaning, font_color=style.QUIET, **look))
    for line, count in enumerate(deep):
        page.ws.set_row(row + 2 * line, 20)
        page.ws.set_row(row + 2 * line + 1, style.height_pt(count, 9))
    text(page.ws, row - 1, 0, "", book.style(font_size=6))
    return row + 2 * lines - 1
