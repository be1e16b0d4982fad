"""How sure the mixture is: the band of every cell, as issued, and its budget, live in the spreads of the inputs."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from xlsxwriter.utility import xl_col_to_name

from basemap.adaptation.outcomes import places as places_of
from basemap.belief.bands import WORST
from basemap.belief.budget import COVERAGE
from basemap.model.band import Band, Share
from basemap.rounding import percent_up, rounded_up
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, Item, item, significant
from basemap.workbook.core.grid import Axes, WorkbookTable, axes_of, axis_width_px, bands, column_width_px, write_grid
from basemap.workbook.core.layout import Layout, TablePlace
from basemap.workbook.core.towards_danger import band_percent
from basemap.workbook.pages.tables import axes_words

SHEET = "How sure"
_ROW_PX = 20
_FEWEST_COLUMNS = 17
_NOISE = 1e-9
"""A slope below this is rounding noise, % of λ."""
_NARROWEST_PX = 800.0
"""The least width of the page: that of the columns of the budget."""
_FIGURE_PX, _UNIT_PX = 47.0, 46.0
_EDITABLE: dict[str, Any] = {"bg_color": style.INPUT_FILL, "font_color": style.INPUT_INK, "locked": False}
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}

BROAD, WIDE = 0.10, 0.25
BAND_BANDS = bands(((">", WIDE, style.LEAN_STOP, True), (">", BROAD, style.LEAN_CAUTION, True)))

Span = tuple[int, int]


class _Columns(NamedTuple):
    """The columns of the budget, each made of several narrow columns of the grid."""

    name: Span
    spread: Span
    unit: Span
    places: tuple[Span, ...]
    measured: Span
    band_then: Span

    @classmethod
    def of(cls, page: Page, places: int) -> _Columns:
        """Share out the columns of a page: figures take what they need, the names the rest."""
        figures = [_FIGURE_PX, _UNIT_PX, *[_FIGURE_PX] * (places + 2)]
        counts = [math.ceil(needed / page.widths_px[-1]) for needed in figures]
        first = page.last_col + 1 - sum(counts)
        spans: list[Span] = [(0, first - 1)]
        for count in counts:
            spans.append((first, first + count - 1))
            first += count
        return cls(spans[0], spans[1], spans[2], tuple(spans[3:-2]), spans[-2], spans[-1])


class _BudgetRows(NamedTuple):
    """Where the budget is on its sheet: first and last row (from 0), columns, and its places by name."""

    first: int
    last: int
    columns: _Columns
    places: tuple[str, ...]

    def column(self, span: Span) -> str:
        """Absolute range of one column."""
        letter = xl_col_to_name(span[0])
        return f"${letter}${self.first + 1}:${letter}${self.last + 1}"

    @property
    def worst(self) -> Span:
        """The column of the worst cell."""
        return self.columns.places[-1]


def write_certainty(book: Book, layout: Layout) -> None:
    """Write the sheet."""
    band, axes = book.result.band, axes_of(book)
    widths = _widths(layout, axes, band)
    page = open_page(book, SHEET, widths, landscape=sum(widths) > 1.4 * _NARROWEST_PX, tab=style.THIRD_LINE)
    page_head(page, "How sure the mixture is", "± % of λ after adapting, k = 2 (JCGM 100)")
    flow = Flow(page, HEAD_ROWS)
    for words in [f"As issued: {band.advice}"] if band.shares else _without_budget(book):
        flow.line(item(0, page.last_col, words, bold=True))
    flow.gap(6)
    _every_cell(flow, layout, axes)
    if band.shares:
        budget = _budget(flow, band)
        _watch(book, budget, band.shares)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, flow.row - 1, one_page=True)


def _without_budget(book: Book) -> list[str]:
    """What the sheet says where there is no budget of the inputs."""
    band = book.result.band
    if book.result.table.taught is None or band.worst_cell is None:
        return ["No band is known: there is no cell to judge."]
    at = {name: float(band.adapted[place.cell]) for name, place in places_of(book.result.job).items()} | {
        WORST: band.worst
    }
    return [band.advice, *(f"{name}: ± {percent_up(value)} %" for name, value in at.items() if math.isfinite(value))]


def _widths(layout: Layout, axes: Axes, band: Band) -> list[float]:
    """Widths of the narrow columns of the grid; the budget joins several of them to one."""
    cells, axis = max(layout.cols, _FEWEST_COLUMNS - 1), axis_width_px(axes)
    signs = [sign for row in _signs(band) for sign in row]
    samples = [
        f"{value:.1%}{sign}" for value, sign in zip(band.adapted.ravel(), signs, strict=True) if value < math.inf
    ]
    cell = max(1.03 * column_width_px([*samples, *axes.rpm]), (_NARROWEST_PX - axis) / cells)
    return [axis, *([cell] * cells)]


def _every_cell(flow: Flow, layout: Layout, axes: Axes) -> None:
    """The band in every cell, with its marks."""
    page, band = flow.page, flow.page.result.band
    place = TablePlace(SHEET, flow.row + 2, 1, layout.rows, layout.cols)
    for i in range(place.rows):
        page.ws.set_row_pixels(place.row + i, _ROW_PX)
    taught = page.result.table.taught is not None
    words = f"as issued, not live{', after the drives' if taught else ''}"
    if band.simulated.any():
        words += "; ○ Monte Carlo, its longer side"
    shown = band_percent(band.adapted) / 100.0
    grid = WorkbookTable("The band in every cell", words, shown, "0.0%", BAND_BANDS, instead="–", signs=_signs(band))
    write_grid(page, place, axes, grid)
    flow.row = place.last_row + 1
    said = f"{axes_words(page.book)} · {_marks(band)}"
    flow.line(item(0, page.last_col, said, font_size=9, font_color=style.QUIET))
    flow.gap(6)


def _budget(flow: Flow, band: Band) -> _BudgetRows:
    """The budget: what each input adds to the band, and what would be left if it were measured."""
    page, places = flow.page, tuple(band.shares[0].slopes)
    columns = _Columns.of(page, len(places))
    follows = page.book.if_live("change a marked spread u, and the bands follow; slopes as issued")
    flow.heading("What it is made of: % of λ for one unit of each input", follows)
    right: dict[str, Any] = {"align": "right"}
    first = flow.row + 2
    budget = _BudgetRows(first, first + len(band.shares) - 1, columns, places)
    flow.table_head(
        item(*columns.name, "input; * its spread is assumed"), item(*columns.spread, "u", **right),
        item(*columns.unit, ""), *(item(*span, name, **right) for span, name in zip(columns.places, places, strict=True)),
        item(columns.measured[0], columns.band_then[1], "measured: u, worst cell", **right),
    )  # fmt: skip
    flow.line(item(*columns.name, "all together: expanded band, ±", bold=True), *_totals(budget, band), **_HAIR)
    assert flow.row == first
    for share in band.shares:
        flow.line(*_share(flow.row, budget, band.shares, share), **_HAIR)
    return budget


def _share(row: int, budget: _BudgetRows, shares: tuple[Share, ...], share: Share) -> list[Item]:
    columns, spread = budget.columns, significant(share.standard, 3)
    items = [
        item(*columns.name, share.name + (" *" if share.assumed else "")),
        item(*columns.spread, share.standard, num_format=spread, **_EDITABLE),
        item(*columns.unit, share.unit, font_color=style.QUIET, font_size=9),
    ]
    for span, place in zip(columns.places, budget.places, strict=True):
        slope = 100 * share.slopes[place]
        items.append(item(*span, slope if abs(slope) > _NOISE else 0.0, num_format="+0.000;-0.000;0.000"))
    if share.measured_to is not None and share.worst_after is not None:
        then = float(percent_up(_left(shares, share)))
        items += [
            item(*columns.measured, share.measured_to, num_format=significant(share.measured_to, 3), **_EDITABLE),
            item(*columns.band_then, then, _left_formula(row, budget), num_format='0.0" %"'),
        ]
    return items


def _watch(book: Book, budget: _BudgetRows, shares: tuple[Share, ...]) -> None:
    """Name the spreads, and count their edits like those of every input."""
    spread = budget.columns.spread
    book.names.define(book.workbook, "budget_spreads", f"'{SHEET}'!{budget.column(spread)}")
    letter = xl_col_to_name(spread[0])
    for index, share in enumerate(shares):
        book.watched.append((f"u of {share.name}", f"'{SHEET}'!{letter}{budget.first + index + 1}", share.standard))


def _totals(budget: _BudgetRows, band: Band) -> list[Item]:
    """The band at every place, k · √Σ(slope · u)², rounded up like that of the brief."""
    cells = []
    for span, place in zip(budget.columns.places, budget.places, strict=True):
        squares = sum((100 * share.slopes[place] * share.standard) ** 2 for share in band.shares)
        if not np.isfinite(squares):
            cells.append(item(*span, "–", bold=True, align="right"))
            continue
        band_of = f"{COVERAGE:g}*SQRT(SUMPRODUCT(({budget.column(budget.columns.spread)}*{budget.column(span)})^2))"
        shown = float(rounded_up(COVERAGE * squares**0.5, 1))
        cells.append(item(*span, shown, f"=ROUNDUP({band_of},1)", num_format='0.0" %"', bold=True))
    return cells


def _left_formula(row: int, budget: _BudgetRows) -> str:
    """The band of the worst cell once an input is measured, rounded up: the new spread in place of the old in the sum."""
    spread, worst = budget.columns.spread, budget.worst
    all_squares = f"SUMPRODUCT(({budget.column(spread)}*{budget.column(worst)})^2)"
    own, slope, measured = (
        f"${xl_col_to_name(col)}${row + 1}" for col in (spread[0], worst[0], budget.columns.measured[0])
    )
    squares = f"MAX(0,{all_squares}+(MIN({own},{measured})^2-{own}^2)*{slope}^2)"
    return f"=ROUNDUP({COVERAGE:g}*SQRT({squares}),1)"


def _left(shares: tuple[Share, ...], measured: Share) -> float:
    """The value of that formula before it is rounded: the first-order band of the worst cell once an input is measured, relative."""
    spreads = {share.name: share.standard for share in shares}
    assert measured.measured_to is not None
    spreads[measured.name] = min(measured.standard, measured.measured_to)  # 0 where reading a settings page settles it
    return COVERAGE * math.sqrt(sum((share.slopes[WORST] * spreads[share.name]) ** 2 for share in shares))


def _signs(band: Band) -> tuple[tuple[str, ...], ...]:
    """▲ or △ for a wide band, ○ for one from Monte Carlo."""
    return tuple(
        tuple(
            ("▲" if value > WIDE else "△" if value > BROAD else "") + ("○" if drawn else "")
            for value, drawn in zip(values, simulated, strict=True)
        )
        for values, simulated in zip(band.adapted, band.simulated, strict=True)
    )


def _marks(band: Band) -> str:
    words = "▲ above 25 %, △ above 10 %, – not known."
    if band.simulated.any():
        words += f" {int(np.count_nonzero(band.simulated))} cells come from Monte Carlo ({band.samples} draws)."
    return words
