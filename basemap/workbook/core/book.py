"""What all pages of a workbook share: the result, the styles, the stamp, the head of a page, its print set-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from basemap.model.finding import HowFar, Severity, Verdict
from basemap.model.result import Result
from basemap.report.standing import stops
from basemap.workbook.core import style
from basemap.workbook.core.cells import header_text, live, merged_text
from basemap.workbook.core.names import Names
from basemap.workbook.core.not_live import figures_only
from basemap.workbook.core.plain_formulas import FiguresOnly, PlainFormulas

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from basemap.workbook.inputs.input_cell import InputCell

A4 = 9
"""The number of that paper, as XlsxWriter and the file format have it."""

_INPUT_COLOURS = (style.INPUT_FILL, style.INPUT_INK)

AS_ISSUED = "as issued"
EDITED = "edited since issue: verdict and findings no longer apply, run again"
IGNITION = "Ignition is not adapted: no load until somebody qualified has set it."
SIGN = {Severity.STOP: "■", Severity.CAUTION: "▲", Severity.NOTE: "•"}
INK_OF = {Severity.STOP: style.STOP, Severity.CAUTION: style.CAUTION, Severity.NOTE: style.QUIET}
FILL_OF = {Severity.STOP: style.STOP_FILL, Severity.CAUTION: style.CAUTION_FILL, Severity.NOTE: style.PANEL}
VERDICT_SIGN = {Verdict.SUITS: "✓", Verdict.ADAPT: "▲", Verdict.REFUSE: "■"}


@dataclass(frozen=True)
class Book:
    """One workbook being written.

    Parameters
    ----------
    workbook
        The XlsxWriter workbook.
    result
        What it shows.
    version, issued
        Of the program, and the day of issue.
    inputs
        The input cells of the job.
    names
        The names given so far.
    watched
        Further inputs whose edits count: the name, the address and the value as issued of each.
    """

    workbook: Workbook
    result: Result
    version: str
    issued: date
    inputs: tuple[InputCell, ...]
    names: Names = field(default_factory=Names)
    watched: list[tuple[str, str, float]] = field(default_factory=list)
    _styles: dict[frozenset[tuple[str, Any]], Format] = field(default_factory=dict)

    def style(self, **properties: Any) -> Format:
        """A cell format with XlsxWriter's properties; the same properties give the same object."""
        if self.not_live and properties.pop("locked", True) is False:
            # A cell that cannot be changed must not look like an input.
            properties = {
                name: value
                for name, value in properties.items()
                if value not in _INPUT_COLOURS and name not in ("border", "border_color")
            }
        key = frozenset(properties.items())
        if key not in self._styles:
            self._styles[key] = self.workbook.add_format({"font_color": style.INK, "valign": "vcenter", **properties})
        return self._styles[key]

    @cached_property
    def remark_style(self) -> Format:
        """Of a cell for the tuner's remarks, which is unlocked even where no other cell is."""
        return self.workbook.add_format(
            {
                "font_color": style.INPUT_INK, "bg_color": style.INPUT_FILL, "border": 1, "border_color": style.HAIRLINE,
                "text_wrap": True, "valign": "top", "locked": False,
            }
        )  # fmt: skip

    @cached_property
    def tick_style(self) -> Format:
        """Of an empty cell to tick, on paper or by typing an x."""
        return self.workbook.add_format(
            {"font_color": style.INK, "border": 1, "border_color": style.INK, "align": "center", "valign": "vcenter",
             "bold": True, "locked": False}
        )  # fmt: skip

    @cached_property
    def not_live(self) -> str:
        """Why the workbook holds figures instead of formulas; empty where it is live."""
        return figures_only(self.result)

    def if_live(self, words: str, instead: str = "as issued, not live") -> str:
        """`words` where the workbook follows an edit, else `instead`."""
        return instead if self.not_live else words

    @cached_property
    def stamp(self) -> str:
        """The stops, the limits and how far to go, as the head of every page says them; empty where there are none."""
        parts = []
        if self.result.verdict is Verdict.REFUSE or self.result.stops:
            rules = ", ".join(stops(self.result))
            parts.append(f"■ STOP – do not use: {rules}" if rules else "■ STOP – do not use")
        if self.result.accepted:
            parts.append(f"■ STOP accepted by the user: {', '.join(self.result.accepted)}")
        if self.result.limits:
            parts.append(f"▲ LIMIT: {'; '.join(self.result.limits)}")
        if self.result.verdict is not Verdict.REFUSE and self.result.how_far is not HowFar.LOAD:
            parts.append(f"▲ {self.result.how_far}")
        return " · ".join(parts)


class Page(NamedTuple):
    """One sheet: its worksheet, and the widths in pixels of the columns that its head and its print area span."""

    book: Book
    ws: Worksheet
    widths_px: tuple[float, ...]

    @property
    def result(self) -> Result:
        """What the workbook shows."""
        return self.book.result

    @property
    def is_working(self) -> bool:
        """Whether it shows the working rather than what is read first."""
        return str(self.ws.name) not in READ_FIRST

    @property
    def last_col(self) -> int:
        """The last column of the page."""
        return len(self.widths_px) - 1

    def room_px(self, first_col: int, last_col: int) -> float:
        """Room for text across some columns, without the padding of a cell, pixels."""
        return sum(self.widths_px[first_col : last_col + 1]) - 16.0

    def paragraph(self, row: int, cols: tuple[int, int], words: str, **properties: Any) -> int:
        """Write wrapped text across some columns; return how many lines it takes."""
        size, bold = properties.get("font_size", style.FONT_SIZE), properties.get("bold", False)
        settings: dict[str, Any] = {"text_wrap": True, **properties}
        merged_text(self.ws, (row, cols[0], row, cols[1]), words, self.book.style(**settings))
        return style.line_count(words, self.room_px(*cols), size, bold=bold)


WORKING = "Working"
READ_FIRST = frozenset(
    {
        "Summary", "Tables", "Old", "New", "Change", "First start", "Inputs", "Further tables", "Outcomes",
        "Old table, old settings", "Old table, new settings", "New table, old settings", "New table, new settings",
        "How sure", "Worked cell",
    }
)  # fmt: skip
"""The sheets that are read and printed; the others show the working: grey tab, title "Working", not printed."""

HEAD_ROWS = 3
"""Rows that the head of every page takes: title bar, stamp, a gap."""


def open_page(
    book: Book, name: str, widths_px: Sequence[float], *, landscape: bool = True, tab: str = style.AXIS
) -> Page:
    """Add a sheet with its columns and print set-up; the contents are still to come."""
    kind = FiguresOnly if book.not_live else PlainFormulas
    ws = book.workbook.add_worksheet(name, worksheet_class=kind)
    for col, width in enumerate(widths_px):
        ws.set_column_pixels(col, col, round(width))
    ws.hide_gridlines(2)
    ws.set_zoom(85)
    ws.set_tab_color(tab if name in READ_FIRST else style.GREY_LINE)
    ws.set_paper(A4)
    if landscape:
        ws.set_landscape()
    else:
        ws.set_portrait()
    ws.set_margins(left=0.4, right=0.4, top=0.55, bottom=0.6)
    ws.center_horizontally()
    ws.fit_to_pages(1, 0)
    _header_and_footer(book, ws, 70 if landscape else 46)
    return Page(book, ws, tuple(widths_px))


def _header_and_footer(book: Book, ws: Worksheet, longest: int) -> None:
    """Page header and footer. The blank after a font size separates it from a title that starts with a figure."""
    if book.stamp:
        ws.set_header(f'&C&"Arial,Bold"&9&K{style.STOP.lstrip("#")} {header_text(book.stamp, 150)}', {"margin": 0.25})
    left = header_text(book.result.job.title, longest)
    right = f"basemap {book.version} · {book.issued.isoformat()}"
    ws.set_footer(f'&L&"Arial"&8 {left}&C&"Arial"&8 &A · page &P of &N&R&"Arial"&8 {right}', {"margin": 0.3})


def page_head(page: Page, title: str, aside: str) -> None:
    """Write the title bar and the stamp under it, from the first column to the page's last."""
    book, ws, last = page.book, page.ws, page.last_col
    title = f"{WORKING}: {title[0].lower()}{title[1:]}" if page.is_working else title
    half = _split(page, title, aside)
    ws.set_row(0, 27)
    bar = {"bg_color": style.BAR, "font_color": style.ON_BAR}
    merged_text(ws, (0, 0, 0, half), title, book.style(**bar, bold=True, font_size=16, indent=1))
    merged_text(ws, (0, half + 1, 0, last), aside, book.style(**bar, font_size=9, align="right", indent=1, shrink=True))
    stamped = bool(book.stamp)
    words = f"{book.stamp} · ▲ {IGNITION}" if stamped else f"▲ {IGNITION}"
    colours = {
        "bg_color": style.STOP_FILL if stamped else style.CAUTION_FILL,
        "font_color": style.STOP if stamped else style.CAUTION,
    }
    lines = page.paragraph(1, (0, last), words, **colours, bold=True, font_size=9, indent=1)
    ws.set_row(1, style.height_pt(lines, 9) + 3)
    # Every page says whether its live figures are still those that were judged.
    ws.set_row(2, 12)
    status = f"{AS_ISSUED}, not live: {book.not_live}" if book.not_live else AS_ISSUED
    live(ws, 2, last, "=issued_status", status, book.style(font_size=8, font_color=style.QUIET, align="right"))


def _split(page: Page, title: str, aside: str) -> int:
    """The last column of the title: as far left as the words on the right need, but never so far that it is cut."""
    needed, least = style.width_px(aside, 9) + 24, style.width_px(title, 16) + 24
    col = page.last_col
    while col > 1 and sum(page.widths_px[col:]) < needed and sum(page.widths_px[: col - 1]) >= least:
        col -= 1
    return col - 1


def finish_page(page: Page, last_row: int, *, repeat: tuple[int, int] | None = None, one_page: bool = False) -> None:
    """Set the print area, the rows repeated on every sheet of paper, and protection without a password.

    The print area of a working sheet is an empty cell beyond its contents, so that printing the whole workbook leaves
    it out.
    """
    if page.is_working:
        page.ws.print_area(last_row + 2, page.last_col + 2, last_row + 2, page.last_col + 2)
    else:
        page.ws.print_area(0, 0, last_row, page.last_col)
    if repeat is not None:
        page.ws.repeat_rows(*repeat)
    if one_page:
        page.ws.fit_to_pages(1, 1)
    page.ws.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
