"""Dead time over battery voltage of both sides, and what the battery does to the mixture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from xlsxwriter.utility import xl_range_abs

from basemap.model.installation import DeadTime, FloatArray
from basemap.report.workbook import style
from basemap.report.workbook.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.report.workbook.cells import merged_text, number, text
from basemap.report.workbook.charts import Line, Plot, scatter

_COLUMN_PX = 66.0
_FEWEST_COLUMNS = 16
_SWEEP_COLUMNS = 6
_ROW_PX = 20
SHEET = "Dead time"


@dataclass(frozen=True)
class Block:
    """The points of one dead time: its heading, the prefix of its names, and where it stands (column)."""

    heading: str
    prefix: str
    dead_time: DeadTime
    col: int

    @property
    def last_col(self) -> int:
        """The last column of its times."""
        return self.col + len(self.dead_time.time_s)


def blocks_of(book: Book) -> list[Block]:
    """Every dead time that plays a part: of the hardware, and what an ECU was told apart from it."""
    job = book.result.job
    found = [
        ("Donor's injectors", "donor", job.donor.injectors.dead_time if job.donor_dead_time_known else None),
        ("Donor's settings", "donor_settings", job.donor_told.dead_time),
        ("Target's injectors", "target", job.target.injectors.dead_time),
        ("Target's settings", "target_settings", job.target_told.dead_time),
    ]
    blocks: list[Block] = []
    col = 0
    for heading, prefix, dead_time in found:
        if dead_time is not None:
            blocks.append(Block(heading, prefix, dead_time, col))
            col = blocks[-1].last_col + 2
    return blocks


FIRST_ROW = HEAD_ROWS + 3


def points(block: Block) -> str:
    """Absolute address of a block's voltages."""
    last = FIRST_ROW + len(block.dead_time.battery_v) - 1
    return f"'{SHEET}'!{xl_range_abs(FIRST_ROW, block.col, last, block.col)}"


def times(block: Block, row: int) -> str:
    """Absolute address of the times of one pressure."""
    last = FIRST_ROW + len(block.dead_time.battery_v) - 1
    return f"'{SHEET}'!{xl_range_abs(FIRST_ROW, block.col + 1 + row, last, block.col + 1 + row)}"


def write_dead_time(book: Book) -> None:
    """Write the sheet."""
    blocks = blocks_of(book)
    left = max(blocks[-1].last_col, _SWEEP_COLUMNS - 1)
    columns = max(_FEWEST_COLUMNS, left + 11)
    page = open_page(book, SHEET, [_COLUMN_PX] * columns, tab=style.THIRD_LINE)
    page_head(page, "Dead time, and what the battery does to the mixture", "dead time: time offset of the flow line (SAE J1832)")
    height = max(len(block.dead_time.battery_v) for block in blocks)
    for block in blocks:
        _points(page, block)
    chart_rows = max(height + 3, 15)
    sweep_row = HEAD_ROWS + chart_rows + 1
    last = _sweep(page, sweep_row)
    for row in range(HEAD_ROWS, last + 1):
        page.ws.set_row_pixels(row, _ROW_PX)
    width = (columns - left - 2) * _COLUMN_PX - 6
    _dead_time_chart(page, blocks, left + 2, (width, chart_rows * _ROW_PX - 6))
    _sweep_chart(page, sweep_row, left + 2, (width, (last - sweep_row + 1) * _ROW_PX))
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, last, one_page=True)


def _points(page: Page, block: Block) -> None:
    book, ws, dead = page.book, page.ws, block.dead_time
    head = book.style(bottom=2, bottom_color=style.BAR, bold=True, font_size=12)
    for col in range(block.col, block.last_col + 1):
        text(ws, HEAD_ROWS, col, "", head)
    text(ws, HEAD_ROWS, block.col, block.heading, head)
    axis = book.style(bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9)
    text(ws, HEAD_ROWS + 1, block.col, "battery", axis)
    text(ws, HEAD_ROWS + 2, block.col, "V", axis)
    for row, times_s in enumerate(dead.time_s):
        col = block.col + 1 + row
        words = "dead time" if dead.pressure_pa is None else f"at {dead.pressure_pa[row] / 1e3:g} kPa"
        text(ws, HEAD_ROWS + 1, col, words, axis)
        text(ws, HEAD_ROWS + 2, col, "ms", axis)
        for index, time_s in enumerate(times_s):
            look = book.style(align="center", num_format="0.000", bottom=1, bottom_color=style.HAIRLINE)
            number(ws, FIRST_ROW + index, col, time_s * 1e3, look)
    for index, volts in enumerate(dead.battery_v):
        look = book.style(align="center", bold=True, bottom=1, bottom_color=style.HAIRLINE)
        number(ws, FIRST_ROW + index, block.col, float(volts), look)


def _dead_time_chart(page: Page, blocks: list[Block], col: int, size_px: tuple[float, float]) -> None:
    lines = []
    for block in blocks:
        for row in range(len(block.dead_time.time_s)):
            pressure = block.dead_time.pressure_pa
            at = "" if pressure is None else f", {pressure[row] / 1e3:g} kPa"
            lines.append(Line(f"{block.heading}{at}", points(block), times(block, row)))
    every = np.concatenate([block.dead_time.battery_v for block in blocks])
    ends = float(np.floor(every.min())), float(np.ceil(every.max()))
    if ends[0] == ends[1]:
        ends = ends[0] - 1, ends[1] + 1
    scatter(page, Plot("Dead time over battery voltage", "battery, V", "ms", lines, ends), HEAD_ROWS, col, size_px)


def _sweep(page: Page, row: int) -> int:
    """The λ error over voltage, with the settings to enter. Return its last row."""
    book, ws, sweep = page.book, page.ws, page.result.sweep
    head = book.style(bottom=2, bottom_color=style.BAR, bold=True, font_size=12)
    for col in range(_SWEEP_COLUMNS):
        text(ws, row, col, "", head)
    text(ws, row, 0, "λ error over battery voltage, % (+ lean)", head)
    axis = book.style(bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9, text_wrap=True)
    names = ["battery, V", *sweep.places, "leanest", "richest"]
    columns = [sweep.battery_v, *(errors(ratio) for _, _, ratio in sweep.places.values()), errors(sweep.leanest), errors(sweep.richest)]
    for col, (name, figures) in enumerate(zip(names, columns, strict=True)):
        text(ws, row + 1, col, name, axis)
        for index, figure in enumerate(figures):
            shape = "0.0" if col == 0 else '[>5]+0.0"▲";[<0]-0.0;+0.0'
            look = book.style(align="center", bold=col == 0, num_format=shape, bottom=1, bottom_color=style.HAIRLINE)
            number(ws, row + 2 + index, col, float(figure), look, instead="no fuel" if np.isposinf(figure) else "–")
    last = row + 2 + len(sweep.battery_v)
    where = "; ".join(f"{name}: {rpm:g} rpm, {load / 1e3:g} kPa" for name, (rpm, load, _) in sweep.places.items())
    words = f"As issued (not recomputed): new table with the settings to enter. {where}."
    merged_text(
        ws, (last, 0, last + 2, _SWEEP_COLUMNS - 1), words,
        book.style(font_size=8.5, font_color=style.QUIET, text_wrap=True, valign="top"),
    )  # fmt: skip
    return last + 2


def errors(ratio: FloatArray) -> FloatArray:
    """λ error in per cent, + lean; without the last-bit noise of what is exact."""
    error = 100.0 * (ratio - 1.0)
    return np.asarray(np.where(np.abs(error) < 1e-9, 0.0, error))


def _sweep_chart(page: Page, row: int, col: int, size_px: tuple[float, float]) -> None:
    sweep = page.result.sweep
    first, last = row + 2, row + 1 + len(sweep.battery_v)
    names = [*sweep.places, "leanest reachable", "richest reachable"]

    def area(column: int) -> str:
        return f"'{SHEET}'!{xl_range_abs(first, column, last, column)}"

    lines = [Line(name, area(0), area(index)) for index, name in enumerate(names, start=1)]
    ends = float(sweep.battery_v[0]), float(sweep.battery_v[-1])
    plot = Plot("λ error over battery voltage (as issued)", "battery, V", "%, + lean", lines, ends, "+0.0;-0.0;0")
    scatter(page, plot, row, col, size_px)
