"""The workbook of what the drives taught: crossed limits, the tables before and after, the drives themselves."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

import basemap
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import Learnt, LearntTable
from basemap.model.result import Result
from basemap.model.storage import stored_decimals
from basemap.report.learnt_in_words import (
    NO_FAULT,
    NOT_PROVED,
    NOTHING_CROSSED,
    dangers,
    fault_in_words,
    lean_end,
    likely,
    next_points,
    nothing_crossed,
)
from basemap.workbook.core import style
from basemap.workbook.core.book import A4
from basemap.workbook.core.cells import clean, header_text, number, text
from basemap.workbook.core.print_scale import scale_percent
from basemap.workbook.core.towards_danger import band_percent, error_percent

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

_OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,
}
_NOT_LOADED = "Do not load the table of this workbook until each line above is put right."
_SIGNED = "+0.0;-0.0;0.0"
_WIDTH_IN, _LENGTH_IN, _HEIGHT_PT = 7.47, 10.89, 750.0
"""Width of a portrait and of a landscape A4 page within these margins; height of the former less a little, for programs differ."""
_LANDSCAPE_PT = 500.0
"""Height of a landscape page, less a little."""
_ROW_PT = 15.0
_VISITED = "Bold: visited. Mixture: % off the intended, + lean, − rich. Band: ± % of λ, k = 2."


@dataclass(frozen=True)
class LearntBook:
    """The workbook while it is written, with its cell formats by name."""

    workbook: Workbook
    result: Result
    found: Learnt
    formats: dict[str, Format]

    def sheet(self, name: str, widths: Sequence[float], *, landscape: bool = True) -> Worksheet:
        """A new sheet that prints on A4, one page wide; widths in characters."""
        ws = self.workbook.add_worksheet(name)
        for column, width in enumerate(widths):
            ws.set_column(column, column, width)
        ws.hide_gridlines(2)
        if landscape:
            ws.set_landscape()
        ws.set_paper(A4)
        ws.set_margins(left=0.4, right=0.4, top=0.55, bottom=0.6)
        ws.fit_to_pages(1, 0)
        left, right = header_text(self.result.job.title, 46), f"basemap {basemap.__version__}"
        ws.set_footer(f'&L&"Arial"&8 {left}&C&"Arial"&8 &A · page &P of &N&R&"Arial"&8 {right}', {"margin": 0.3})
        return ws


def write_learnt(result: Result, found: Learnt, file: BinaryIO) -> None:
    """Write the workbook into a binary stream."""
    import xlsxwriter

    # XlsxWriter adds to the mapping that it is given: the next workbook must not find that in it.
    font = {"default_format_properties": {"font_name": style.FONT, "font_size": style.FONT_SIZE}}
    workbook = xlsxwriter.Workbook(file, {**_OPTIONS, **font})
    base: dict[str, Any] = {"font_color": style.INK, "valign": "top"}
    kinds: dict[str, dict[str, Any]] = {
        "plain": {},
        "wrapped": {"text_wrap": True},
        "title": {"bold": True, "font_size": 14},
        "head": {"bold": True, "font_color": style.ON_BAR, "bg_color": style.BAR},
        "stop": {"bold": True, "font_color": style.STOP, "bg_color": style.STOP_FILL, "text_wrap": True},
        "caution": {"font_color": style.CAUTION, "bg_color": style.CAUTION_FILL, "text_wrap": True},
        "one": {"num_format": "0.0"},
        "one visited": {"num_format": "0.0", "bold": True},
        "signed": {"num_format": _SIGNED},
        "signed visited": {"num_format": _SIGNED, "bold": True},
        "cell": {"num_format": _cell_format(result)},
        "cell visited": {"num_format": _cell_format(result), "bold": True},
        "three": {"num_format": "0.000"},
        "axis": {"bold": True, "font_color": style.AXIS},
    }
    formats = {name: workbook.add_format({**base, **more}) for name, more in kinds.items()}
    workbook.set_properties(
        {"title": clean(result.job.title)[:250], "author": f"basemap {basemap.__version__}",
         "created": datetime.now(UTC)}
    )  # fmt: skip
    book = LearntBook(workbook, result, found, formats)
    _first_drive(book)
    if found.table is not None:
        _tables(book, found.table)
        _band(book, found.table)
        _drive(book)
    workbook.close()


def _cell_format(result: Result) -> str:
    """The number format of a cell of the table, with the decimals that it is stored with."""
    decimals = stored_decimals(result.job.storage, result.job.target.shown)
    return f"0.{'0' * decimals}" if decimals else "0"


def _pixels(widths: Sequence[float]) -> float:
    """Width of some columns, whose widths are in characters."""
    return sum(round(7.0 * width + 5.0) for width in widths)


def _first_drive(book: LearntBook) -> None:
    widths = (43, 26, 26, 12, 43)
    ws, found, formats = book.sheet("First drive", widths), book.found, book.formats
    text(ws, 0, 0, book.result.job.title, formats["title"])
    row, above_pt = 2, 3.0 * _ROW_PT
    lines = [(one.label, one.says, "stop" if one.stop else "caution") for one in dangers(found)]
    lines += [("", NOTHING_CROSSED, "wrapped")] if nothing_crossed(found) else []
    lines += [("", _NOT_LOADED, "wrapped")] if found.stopped else []
    lines += [("", f"Accepted: {hold.name}: {hold.says}.", "wrapped") for hold in found.holds if hold.accepted]
    lines += [] if found.proved or found.table is None else [("", NOT_PROVED, "wrapped")]
    lines += [] if found.table is None else [("", lean_end(book.result, found.table), "wrapped")]
    for label, said, look in lines:
        words = f"{label}  {said}".strip()
        ws.merge_range(row, 0, row, 4, "", formats[look])
        text(ws, row, 0, words, formats[look])
        height_pt = style.height_pt(style.line_count(words, _pixels(widths) - 16.0, bold=look == "stop")) + 4.0
        ws.set_row(row, height_pt)
        row, above_pt = row + 1, above_pt + height_pt
    lists = _Lists(book, ws, widths, row + 1, above_pt)
    lists.add(("line of the card", "predicted", "seen", "within", ""), [
        (one.line, one.predicted, one.seen, "" if one.within is None else "yes" if one.within else "NO", "")
        for one in found.card
    ])  # fmt: skip
    faults = [(fault.name, f"{fault.weight:.1f}", *fault_in_words(fault)) for fault in likely(found)]
    faults = faults or [("none", "", NO_FAULT, "")] if found.faults else []
    lists.add(("what it looks like", "weight (not a probability)", "", "", "in words"), [
        (name, weight, "", "", f"{what} Test: {test}" if test else what) for name, weight, what, test in faults
    ])  # fmt: skip
    lists.add(("drive next, some seconds each", "", "", "", "what for"), [
        (f"{rpm}, {load}", "", "", "", why) for rpm, load, why in next_points(book.result, found)
    ])  # fmt: skip
    head = ("what was uncertain", "off what the job says", "standard uncertainty before", "now", "unit")
    lists.add(head, [
        (one.name, f"{one.off:+.4g}", f"{one.standard_before:.4g}", f"{one.standard_after:.4g}", one.unit)
        for one in found.inputs
    ])  # fmt: skip
    lists.break_pages()


@dataclass
class _Lists:
    """Lists below each other on a sheet; `row` is the next free one.

    Parameters
    ----------
    widths
        Of the columns, in characters.
    above_pt
        Height of what stands above the lists.
    heights
        First row and height in points of every list.
    """

    book: LearntBook
    ws: Worksheet
    widths: Sequence[float]
    row: int
    above_pt: float
    heights: list[tuple[int, float]] = field(default_factory=list)

    def add(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Write a list with its head, if it has rows."""
        if not rows:
            return
        first, total = self.row, 2.0 * _ROW_PT  # its head, and a free row below it
        for column, words in enumerate(head):
            text(self.ws, first, column, words, self.book.formats["head"])
        for down, cells in enumerate(rows, start=1):
            lines = 1
            for column, words in enumerate(cells):
                text(self.ws, first + down, column, words, self.book.formats["wrapped"])
                lines = max(lines, style.line_count(words, _pixels(self.widths[column : column + 1]) - 10.0))
            height_pt = _ROW_PT if lines == 1 else style.height_pt(lines)
            self.ws.set_row(first + down, height_pt)
            total += height_pt
        self.heights.append((first, total))
        self.row = first + len(rows) + 2

    def break_pages(self) -> None:
        """Break before a list that would not end on the page; programs honour a break only at a fixed scale."""
        scale = scale_percent(_LENGTH_IN, _pixels(self.widths))
        room_pt, used_pt, breaks = _LANDSCAPE_PT * 100.0 / scale, self.above_pt, []
        for first, height_pt in self.heights:
            if used_pt + height_pt > room_pt:
                breaks.append(first)
                used_pt = 0.0
            used_pt += height_pt
        self.ws.set_print_scale(scale)
        self.ws.set_h_pagebreaks(breaks)


def _tables(book: LearntBook, table: LearntTable) -> None:
    job = book.result.job
    widths = (9, *(6.3 for _ in job.rpm))
    ws = book.sheet("Tables", widths, landscape=False)
    text(ws, 0, 0, _VISITED, book.formats["plain"])
    unit = job.target.shown.unit
    blocks = (
        (f"New, {unit}" + (" – NOT TO BE LOADED" if book.found.stopped else ""), table.new, "cell"),
        ("Change, %", error_percent(1.0 + table.change_percent / 100.0), "signed"),
        (f"As it was loaded, {unit}", table.before, "cell"),
        ("Mixture as it was loaded, %", error_percent(np.exp(table.mean_before)), "signed"),
        ("Mixture with the new table, %", error_percent(np.exp(table.mean_after)), "signed"),
    )
    row, begins = 2, []
    for title, values, look in blocks:
        begins.append(row)
        scale = style.CHANGE_SCALE if look == "signed" else style.TABLE_SCALE
        row = _grid(book, ws, (row, 0), title, values, table.visited, scale, look=look)
    _break_between(ws, _pixels(widths), [*begins, row])


def _break_between(ws: Worksheet, width_px: float, begins: Sequence[int]) -> None:
    """Page breaks that leave every table whole; programs honour a break only at a fixed scale."""
    scale = scale_percent(_WIDTH_IN, width_px)
    rows, breaks, page_begins = int(_HEIGHT_PT / _ROW_PT * 100.0 / scale), [], 0
    for begin, end in itertools.pairwise(begins):
        if end - page_begins > rows and begin > page_begins:
            breaks.append(begin)
            page_begins = begin
    ws.set_print_scale(scale)
    ws.set_h_pagebreaks(breaks)


def _band(book: LearntBook, table: LearntTable) -> None:
    """The band before and now, side by side, with the same colour for the same number; printed on a page each."""
    speeds = len(book.result.job.rpm)
    widths = (9, *(6 for _ in range(speeds)), 3)
    ws = book.sheet("Band", (*widths, *widths[:-1]))
    ws.set_print_scale(scale_percent(_LENGTH_IN, _pixels(widths)))
    ws.set_v_pagebreaks([len(widths)])
    text(ws, 0, 0, _VISITED, book.formats["plain"])
    before, after = (band_percent(2.0 * one) for one in (table.standard_before, table.standard_after))
    ends = float(np.nanmin(after, initial=np.inf)), float(np.nanmax(before, initial=-np.inf))
    for at, title, values in ((0, "Band before, ± %", before), (speeds + 2, "Band now, ± %", after)):
        _grid(book, ws, (2, at), title, values, table.visited, style.QUANTITY_SCALE, ends=ends)


def _grid(
    book: LearntBook, ws: Worksheet, corner: tuple[int, int], title: str, values: FloatArray, visited: BoolArray,
    scale: tuple[str, str, str], *, look: str = "one", ends: tuple[float, float] | None = None,
) -> int:  # fmt: skip
    """Write a shaded table, the highest load on top; return the row below it.

    Parameters
    ----------
    look
        Name of the format of its cells.
    ends
        The numbers of the outermost colours; by default the least and the greatest.
    """
    job, formats, (row, left) = book.result.job, book.formats, corner
    text(ws, row, left, title, formats["axis"])
    text(ws, row + 1, left, job.target.shown.load_unit, formats["axis"])
    for column, rpm in enumerate(job.rpm, start=left + 1):
        number(ws, row + 1, column, float(rpm), formats["axis"])
    loads = len(values)
    for down in range(loads):
        index = loads - 1 - down
        number(ws, row + 2 + down, left, float(job.target.shown.load[index]), formats["axis"])
        for column, value in enumerate(values[index]):
            kind = f"{look} visited" if visited[index, column] else look
            number(ws, row + 2 + down, left + 1 + column, float(value), formats[kind])
    low, middle, high = scale
    colours: dict[str, Any] = {"type": "3_color_scale", "min_color": low, "mid_color": middle, "max_color": high}
    if scale == style.CHANGE_SCALE:
        colours |= {"mid_type": "num", "mid_value": "0"}
    if ends is not None:
        least, most = ends
        colours |= {"min_type": "num", "min_value": least, "mid_type": "num", "mid_value": 0.5 * (least + most),
                    "max_type": "num", "max_value": most}  # fmt: skip
    ws.conditional_format(row + 2, left + 1, row + 1 + loads, left + len(job.rpm), colours)
    return row + loads + 3


def _drive(book: LearntBook) -> None:
    """Expected and seen λ along the drives, as figures and as a chart."""
    trace = book.found.trace
    assert trace is not None
    ws = book.sheet("Along the drive", (8, 10, 12, 12, 12))
    for column, words in enumerate(("log", "time, s", "expected before", "expected now", "seen")):
        text(ws, 0, column, words, book.formats["head"])
    # The stretches of several logs follow each other on the chart.
    rows = zip(trace.log, trace.at_s, trace.expected, trace.corrected, trace.seen, strict=True)
    for row, (log, *values) in enumerate(rows, start=1):
        number(ws, row, 0, log + 1, book.formats["plain"])
        for column, value in enumerate(values, start=1):
            number(ws, row, column, float(value), book.formats["one" if column == 1 else "three"])
    last = len(trace.log)
    chart = book.workbook.add_chart({"type": "line"})
    assert chart is not None
    for column, colour in ((2, style.GREY_LINE), (3, style.THIRD_LINE), (4, style.TARGET_LINE)):
        chart.add_series(
            {
                "name": ["Along the drive", 0, column],
                "values": ["Along the drive", 1, column, last, column],
                "line": {"color": colour, "width": 1.5, "dash_type": "dash" if column == 2 else "solid"},
            }
        )
    chart.set_title({"name": "Lambda of the steady stretches, one after the other", "overlay": False})
    chart.set_y_axis({"name": "lambda", "num_format": "0.00", "min": 0.6})
    chart.set_x_axis({"name": "steady stretch"})
    chart.set_legend({"position": "bottom"})
    chart.set_size({"width": 900, "height": 420})
    ws.insert_chart(1, 6, chart)
