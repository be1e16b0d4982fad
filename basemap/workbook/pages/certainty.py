"""How sure the mixture is: the budget, live in its spreads, and the band in every cell as issued."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from basemap.adaptation.outcomes import places
from basemap.belief.bands import WORST
from basemap.belief.budget import COVERAGE
from basemap.model.result import Band, Share
from basemap.rounding import percent_up
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item, significant
from basemap.workbook.core.grid import Axes, WorkbookTable, axes_of, axis_width_px, bands, column_width_px, write_grid
from basemap.workbook.core.layout import Layout, TablePlace, row_height_px
from basemap.workbook.pages.tables import axes_words

BUDGET_SHEET, BAND_SHEET = "How sure", "Band"
_WIDTHS = (250.0, 62.0, 46.0, 74.0, 74.0, 74.0, 74.0, 74.0, 74.0)
_SPREAD, _UNIT, _FIRST_PLACE = 1, 2, 3
_EDITABLE: dict[str, Any] = {"bg_color": style.INPUT_FILL, "font_color": style.INPUT_INK, "locked": False}
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}

BROAD, WIDE = 0.10, 0.25
BAND_BANDS = bands(((">", WIDE, style.LEAN_STOP, True), (">", BROAD, style.LEAN_CAUTION, True)))


@dataclass(frozen=True)
class _Budget:
    """Where the budget stands on its sheet: its first and last row (0-based) and its places."""

    first: int
    last: int
    places: tuple[str, ...]

    def column(self, col: int) -> str:
        """Absolute range of one column."""
        letter = chr(ord("A") + col)
        return f"${letter}${self.first + 1}:${letter}${self.last + 1}"


def write_budget(book: Book) -> None:
    """Write the sheet of what the band is made of."""
    band = book.result.band
    page = open_page(book, BUDGET_SHEET, _WIDTHS, landscape=False, tab=style.THIRD_LINE)
    page_head(page, "How sure the mixture is", "relative λ after adapting · expanded with k = 2 (JCGM 100, the GUM)")
    flow = Flow(page, HEAD_ROWS)
    if not band.shares:
        for words in _without_budget(book):
            flow.line(item(0, page.last_col, words))
        finish_page(page, flow.row - 1)
        return
    flow.line(item(0, page.last_col, f"As issued: {band.advice}", bold=True))
    flow.gap()
    follows = "amber: change a spread, and the bands below follow · slopes as issued"
    flow.heading("What it is made of", book.if_live(follows))
    budget = _rows(flow, band)
    _watch(book, budget, band.shares)
    flow.gap()
    flow.heading("The band that follows", f"{book.if_live('live', 'as issued')}, first order: ± % of λ, k = 2")
    _totals(flow, budget, band)
    flow.gap()
    flow.heading("If one input were measured", f"band of the worst cell then · {book.if_live('live', 'as issued')}")
    _measured(flow, budget, band.shares)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, flow.row - 1)


def _without_budget(book: Book) -> list[str]:
    """What is said where the band is not made of the inputs one by one."""
    band = book.result.band
    if book.result.table.taught is None or band.worst_cell is None:
        return ["No band is known: there is no cell to judge."]
    at = {name: float(band.adapted[place.cell]) for name, place in places(book.result.job).items()} | {
        WORST: band.worst
    }
    return [band.advice, *(f"{name}: ± {percent_up(value)} %" for name, value in at.items() if math.isfinite(value))]


def _rows(flow: Flow, band: Band) -> _Budget:
    places = tuple(band.shares[0].slopes)
    heads = [item(_FIRST_PLACE + k, _FIRST_PLACE + k, place, align="right") for k, place in enumerate(places)]
    end = flow.page.last_col
    flow.table_head(
        item(0, 0, "input; * its spread is assumed"), item(_SPREAD, _SPREAD, "u", align="right"),
        item(_UNIT, _UNIT, ""), *heads, item(_FIRST_PLACE + len(places), end, "% of λ for one unit of it"),
    )  # fmt: skip
    first = flow.row
    for share in band.shares:
        flow.line(
            item(0, 0, share.name + (" *" if share.assumed else "")),
            item(_SPREAD, _SPREAD, share.standard, num_format=significant(share.standard, 3), **_EDITABLE),
            item(_UNIT, _UNIT, share.unit, font_color=style.QUIET),
            *(
                item(_FIRST_PLACE + k, _FIRST_PLACE + k, 100 * share.slopes[place], num_format="+0.000;-0.000;0.000")
                for k, place in enumerate(places)
            ),
            **_HAIR,
        )
    return _Budget(first, flow.row - 1, places)


def _watch(book: Book, budget: _Budget, shares: tuple[Share, ...]) -> None:
    """Name the spreads, and have them watched for edits as every input is."""
    book.names.define(book.workbook, "budget_spreads", f"'{BUDGET_SHEET}'!{budget.column(_SPREAD)}")
    letter = chr(ord("A") + _SPREAD)
    for index, share in enumerate(shares):
        book.watched.append(
            (f"u of {share.name}", f"'{BUDGET_SHEET}'!{letter}{budget.first + index + 1}", share.standard)
        )


def _totals(flow: Flow, budget: _Budget, band: Band) -> None:
    """The band at every place: k · √Σ(slope · u)²."""
    cells = []
    for k, place in enumerate(budget.places):
        col = _FIRST_PLACE + k
        squares = sum((100 * share.slopes[place] * share.standard) ** 2 for share in band.shares)
        if not np.isfinite(squares):
            cells.append(item(col, col, "–", bold=True, align="right"))
            continue
        formula = f"={COVERAGE:g}*SQRT(SUMPRODUCT(({budget.column(_SPREAD)}*{budget.column(col)})^2))"
        cells.append(item(col, col, COVERAGE * squares**0.5, formula, num_format='0.0" %"', bold=True))
    flow.line(item(0, 0, "expanded band, ±", bold=True), *cells, **_HAIR)


def _measured(flow: Flow, budget: _Budget, shares: tuple[Share, ...]) -> None:
    """What is left of the worst cell's band: its square, less the input's own part, plus what measuring leaves."""
    worst = _FIRST_PLACE + len(budget.places) - 1
    letter, spread = chr(ord("A") + worst), chr(ord("A") + _SPREAD)
    flow.table_head(
        item(0, 0, "measure this"), item(_SPREAD, _SPREAD, "to u", align="right"), item(_UNIT, _UNIT, ""),
        item(_FIRST_PLACE, _FIRST_PLACE, "band then", align="right"), item(_FIRST_PLACE + 1, flow.page.last_col, ""),
    )  # fmt: skip
    all_squares = f"SUMPRODUCT(({budget.column(_SPREAD)}*{budget.column(worst)})^2)"
    for index, share in enumerate(shares):
        if share.measured_to is None or share.worst_after is None:
            continue
        at, row = budget.first + index + 1, flow.row + 1
        own, slope = f"${spread}${at}", f"${letter}${at}"
        left = f"MIN({own},${spread}${row})"
        formula = f"={COVERAGE:g}*SQRT(MAX(0,{all_squares}+({left}^2-{own}^2)*{slope}^2))"
        flow.line(
            item(0, 0, share.name),
            item(_SPREAD, _SPREAD, share.measured_to, num_format=significant(share.measured_to, 3), **_EDITABLE),
            item(_UNIT, _UNIT, share.unit, font_color=style.QUIET),
            item(_FIRST_PLACE, _FIRST_PLACE, 100 * _left(shares, share), formula, num_format='0.0" %"'),
            **_HAIR,
        )


def _left(shares: tuple[Share, ...], measured: Share) -> float:
    """First-order band of the worst cell once one input is measured, relative, as the formula beside it has it."""
    spreads = {share.name: share.standard for share in shares}
    assert measured.measured_to is not None
    spreads[measured.name] = min(measured.standard, measured.measured_to)  # nought where a page is read
    return COVERAGE * math.sqrt(sum((share.slopes[WORST] * spreads[share.name]) ** 2 for share in shares))


def write_band(book: Book, layout: Layout) -> None:
    """Write the sheet of the band in every cell."""
    band, axes = book.result.band, axes_of(book)
    widths = _band_widths(layout, axes)
    page = open_page(book, BAND_SHEET, widths, tab=style.THIRD_LINE)
    page_head(page, "The band in every cell", f"± of λ after adapting, k = 2, as issued, not live · {axes_words(book)}")
    place = TablePlace(BAND_SHEET, HEAD_ROWS + 2, 1, layout.rows, layout.cols)
    row_px = row_height_px(sum(widths), layout.rows, 150)
    for i in range(place.rows):
        page.ws.set_row_pixels(place.row + i, row_px)
    words = "first order; ○ Monte Carlo, its longer side" if band.simulated.any() else "first order"
    words = words if book.result.table.taught is None else "after the drives"
    grid = WorkbookTable(
        "Expanded band of λ", words, np.round(band.adapted, 6), "0.0%", BAND_BANDS, instead="–", signs=_signs(band)
    )
    write_grid(page, place, axes, grid)
    _marks(page, place.last_row + 2, band)
    page.ws.freeze_panes(HEAD_ROWS + 2, 1)
    finish_page(page, place.last_row + 2, one_page=True)


def _band_widths(layout: Layout, axes: Axes) -> list[float]:
    cell = column_width_px(["100.0%▲", *axes.rpm])
    return [axis_width_px(axes), *([cell] * layout.cols)]


def _signs(band: Band) -> tuple[tuple[str, ...], ...]:
    """▲ and △ for a wide band, ○ for one that was drawn."""
    return tuple(
        tuple(
            ("▲" if value > WIDE else "△" if value > BROAD else "") + ("○" if drawn else "")
            for value, drawn in zip(values, simulated, strict=True)
        )
        for values, simulated in zip(band.adapted, band.simulated, strict=True)
    )


def _marks(page: Page, row: int, band: Band) -> None:
    words = "▲ above 25 %   △ above 10 %   – not known."
    if band.simulated.any():
        words += f" {int(np.count_nonzero(band.simulated))} cells come from Monte Carlo ({band.samples} draws)."
    page.paragraph(row, (0, page.last_col), words, font_size=9, font_color=style.QUIET)
