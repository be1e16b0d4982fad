"""The workbook of what the first drives taught: what was crossed, the tables before and after, the drive itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

import basemap
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import Learnt, LearntTable
from basemap.model.result import Result
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
from basemap.workbook.core.cells import clean, number, text

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "in_memory": True}
_NOT_LOADED = "Do not load the table of this workbook until each line above is put right."
_VISITED = "Bold: visited. Mixture: % off the intended, + lean, - rich. Band: ± % of λ, k = 2."


@dataclass(frozen=True)
class LearntBook:
    """The workbook while it is written, with its formats by name."""

    workbook: Workbook
    result: Result
    found: Learnt
    formats: dict[str, Format]

    def sheet(self, name: str, widths: Sequence[float]) -> Worksheet:
        """A new sheet, set up for printing across one page."""
        ws = self.workbook.add_worksheet(name)
        for column, width in enumerate(widths):
            ws.set_column(column, column, width)
        ws.hide_gridlines(2)
        ws.set_landscape()
        ws.set_paper(9)
        ws.fit_to_pages(1, 0)
        return ws


def write_learnt(result: Result, found: Learnt, file: BinaryIO) -> None:
    """Write the workbook into a binary stream."""
    import xlsxwriter

    workbook = xlsxwriter.Workbook(file, _OPTIONS)
    base: dict[str, Any] = {
        "font_name": style.FONT,
        "font_size": style.FONT_SIZE,
        "font_color": style.INK,
        "valign": "top",
    }
    kinds: dict[str, dict[str, Any]] = {
        "plain": {},
        "wrapped": {"text_wrap": True},
        "title": {"bold": True, "font_size": 14},
        "head": {"bold": True, "font_color": style.ON_BAR, "bg_color": style.BAR},
        "stop": {"bold": True, "font_color": style.STOP, "bg_color": style.STOP_FILL, "text_wrap": True},
        "caution": {"font_color": style.CAUTION, "bg_color": style.CAUTION_FILL, "text_wrap": True},
        "one": {"num_format": "0.0"},
        "one visited": {"num_format": "0.0", "bold": True},
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


def _first_drive(book: LearntBook) -> None:
    ws, found, formats = book.sheet("First drive", (34, 26, 26, 12, 95)), book.found, book.formats
    text(ws, 0, 0, book.result.job.title, formats["title"])
    row = 2
    lines = [(one.label, one.says, "stop" if one.stop else "caution") for one in dangers(found)]
    lines += [("", NOTHING_CROSSED, "wrapped")] if nothing_crossed(found) else []
    lines += [("", _NOT_LOADED, "wrapped")] if found.stopped else []
    lines += [("", f"Accepted: {hold.name}: {hold.says}.", "wrapped") for hold in found.holds if hold.accepted]
    lines += [] if found.proved or found.table is None else [("", NOT_PROVED, "wrapped")]
    lines += [] if found.table is None else [("", lean_end(book.result, found.table), "wrapped")]
    for label, said, look in lines:
        ws.merge_range(row, 0, row, 4, "", formats[look])
        text(ws, row, 0, f"{label}  {said}".strip(), formats[look])
        ws.set_row(row, 30)
        row += 1
    row = _list(book, ws, row + 1, ("line of the card", "predicted", "seen", "within", ""), [
        (one.line, one.predicted, one.seen, "" if one.within is None else "yes" if one.within else "NO", "")
        for one in found.card
    ])  # fmt: skip
    faults = [(fault.name, f"{fault.weight:.1f}", *fault_in_words(fault)) for fault in likely(found)]
    faults = faults or [("none", "", NO_FAULT, "")] if found.faults else []
    row = _list(book, ws, row + 1, ("what it looks like", "weight (no probability)", "", "", "in words"), [
        (name, weight, "", "", f"{what} Test: {test}" if test else what) for name, weight, what, test in faults
    ])  # fmt: skip
    row = _list(book, ws, row + 1, ("drive next, some seconds each", "", "", "", "what for"), [
        (f"{rpm}, {load}", "", "", "", why) for rpm, load, why in next_points(book.result, found)
    ])  # fmt: skip
    head = ("what was uncertain", "off what the job says", "standard uncertainty before", "now", "unit")
    _list(book, ws, row + 1, head, [
        (entry.name, f"{entry.off:+.4g}", f"{entry.standard_before:.4g}", f"{entry.standard_after:.4g}", entry.unit)
        for entry in found.inputs
    ])  # fmt: skip


def _list(
    book: LearntBook, ws: Worksheet, row: int, head: Sequence[str], rows: Sequence[Sequence[str]]
) -> int:  # fmt: skip
    """A list with its head; the row below it. Nothing where there is nothing to list."""
    if not rows:
        return row - 1
    for column, words in enumerate(head):
        text(ws, row, column, words, book.formats["head"])
    for down, cells in enumerate(rows, start=1):
        for column, words in enumerate(cells):
            text(ws, row + down, column, words, book.formats["wrapped"])
    return row + len(rows) + 1


def _tables(book: LearntBook, table: LearntTable) -> None:
    job = book.result.job
    ws = book.sheet("Tables", (12, *(7.5 for _ in job.rpm)))
    text(ws, 0, 0, _VISITED, book.formats["plain"])
    unit = job.target.shown.unit
    blocks = (
        (f"New, {unit}" + (" – NOT TO BE LOADED" if book.found.stopped else ""), table.new, style.TABLE_SCALE),
        ("Change, %", table.change_percent, style.CHANGE_SCALE),
        (f"As it was loaded, {unit}", table.before, style.TABLE_SCALE),
        ("Mixture as it was loaded, %", 100.0 * np.expm1(table.mean_before), style.CHANGE_SCALE),
        ("Mixture with the new table, %", 100.0 * np.expm1(table.mean_after), style.CHANGE_SCALE),
    )
    row = 2
    for title, values, scale in blocks:
        row = _grid(book, ws, (row, 0), title, values, table.visited, scale)


def _band(book: LearntBook, table: LearntTable) -> None:
    """The band before and after beside each other, in the same colours for the same number."""
    speeds = len(book.result.job.rpm)
    ws = book.sheet("Band", (9, *(6 for _ in range(speeds)), 3, 9, *(6 for _ in range(speeds))))
    text(ws, 0, 0, _VISITED, book.formats["plain"])
    before, after = 200.0 * table.standard_before, 200.0 * table.standard_after
    ends = float(np.nanmin(after, initial=np.inf)), float(np.nanmax(before, initial=-np.inf))
    for at, title, values in ((0, "Band before, ± %", before), (speeds + 2, "Band now, ± %", after)):
        _grid(book, ws, (2, at), title, values, table.visited, style.QUANTITY_SCALE, ends=ends)


def _grid(
    book: LearntBook, ws: Worksheet, corner: tuple[int, int], title: str, values: FloatArray, visited: BoolArray,
    scale: tuple[str, str, str], *, ends: tuple[float, float] | None = None,
) -> int:  # fmt: skip
    """One shaded grid, the highest load on top; the row below it. `ends` are the numbers of the outermost colours."""
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
            kind = "one visited" if visited[index, column] else "one"
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
    """Expected against seen λ along the drive, as figures and as a chart."""
    trace = book.found.trace
    assert trace is not None
    ws = book.sheet("Along the drive", (8, 10, 12, 12, 12))
    for column, words in enumerate(("log", "time, s", "expected before", "expected now", "seen")):
        text(ws, 0, column, words, book.formats["head"])
    # Of several logs the clocks are one behind the other, so that the chart runs on.
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
