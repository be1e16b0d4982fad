"""What battery voltage and charge temperature do to the mixture, and the dead times that decide it."""

from __future__ import annotations

import numpy as np
from xlsxwriter.utility import xl_range_abs

from basemap.adaptation.units_shown import manifold_pressure, temperature
from basemap.model.installation import FloatArray
from basemap.model.result import TemperatureSweep, VoltageSweep
from basemap.report.dead_times import beyond_the_data
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import merged_text, number, text
from basemap.workbook.core.charts import ChartLine, Plot, scatter
from basemap.workbook.core.towards_danger import error_percent
from basemap.workbook.inputs.dead_time_blocks import Block, blocks_of

SHEET = "Battery and heat"
_COLUMN_PX = 66.0
_COLUMNS, _SWEEP_COLUMNS = 17, 6
_CHART_ROWS = 17
_ROW_PX = 20


def write_battery_and_heat(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, [_COLUMN_PX] * _COLUMNS)
    page_head(page, "What battery voltage and charge temperature do to the mixture", "as issued, not live")
    last = _sweep(page, HEAD_ROWS)
    end = max(_temperatures(page, last + 2), HEAD_ROWS + 2 * _CHART_ROWS + 1)
    for row in range(HEAD_ROWS, end + 1):
        page.ws.set_row_pixels(row, _ROW_PX)
    size = ((_COLUMNS - _SWEEP_COLUMNS - 1) * _COLUMN_PX - 6, _CHART_ROWS * _ROW_PX - 6)
    _sweep_chart(page, HEAD_ROWS, _SWEEP_COLUMNS + 1, size)
    _dead_time_chart(page, blocks_of(book.result), (HEAD_ROWS + _CHART_ROWS + 1, _SWEEP_COLUMNS + 1), size)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, end, one_page=True)


def _dead_time_chart(page: Page, blocks: tuple[Block, ...], at: tuple[int, int], size_px: tuple[float, float]) -> None:
    lines = []
    for one in blocks:
        for row in range(len(one.dead_time.time_s)):
            pressure = one.dead_time.pressure_pa
            rail = "" if pressure is None else f", {pressure[row] / 1e3:g} kPa"
            lines.append(ChartLine(f"{one.heading}{rail}", one.area(one.col), one.area(one.col + 1 + row)))
    every = np.concatenate([one.dead_time.battery_v for one in blocks])
    ends = float(np.floor(every.min())), float(np.ceil(every.max()))
    if ends[0] == ends[1]:
        ends = ends[0] - 1, ends[1] + 1
    unit = blocks[0].unit
    scatter(page, Plot("Dead time over battery voltage", "battery, V", unit, lines, ends), at[0], at[1], size_px)


def _sweep(page: Page, row: int) -> int:
    """Write the λ error over voltage; return its last row."""
    sweep = page.result.sweep
    last = _over(page, row, ("battery voltage", "battery, V"), sweep.battery_v, sweep)
    beyond = beyond_the_data(page.result.job, sweep.battery_v)
    if not beyond:
        return last
    look = page.book.style(font_size=8.5, font_color=style.CAUTION, text_wrap=True, valign="top")
    merged_text(page.ws, (last + 1, 0, last + 2, _SWEEP_COLUMNS - 1), beyond, look)
    return last + 2


def _temperatures(page: Page, row: int) -> int:
    """Write the λ error at the coldest, the stated and the hottest charge; return its last row."""
    sweep, unit = page.result.temperature_sweep, temperature(page.result.job)
    points = (sweep.charge_k - unit.zero) / unit.size
    return _over(page, row, ("charge temperature", unit.name), points, sweep)


def _over(
    page: Page, row: int, words: tuple[str, str], points: FloatArray, sweep: VoltageSweep | TemperatureSweep
) -> int:
    book, ws = page.book, page.ws
    head = book.style(bottom=2, bottom_color=style.BAR, bold=True, font_size=12)
    for col in range(_SWEEP_COLUMNS):
        text(ws, row, col, "", head)
    text(ws, row, 0, f"λ error over {words[0]}, % (+ lean)", head)
    axis = book.style(
        bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9, text_wrap=True
    )
    names = [words[1], *sweep.places, "leanest", "richest"]
    columns = [
        points,
        *(error_percent(ratio) for _, _, ratio in sweep.places.values()),
        error_percent(sweep.leanest),
        error_percent(sweep.richest),
    ]
    for col, (name, figures) in enumerate(zip(names, columns, strict=True)):
        text(ws, row + 1, col, name, axis)
        for index, figure in enumerate(figures):
            shape = "0.0" if col == 0 else '[>5]+0.0"▲";[<0]-0.0;+0.0'
            look = book.style(align="center", bold=col == 0, num_format=shape, bottom=1, bottom_color=style.HAIRLINE)
            number(ws, row + 2 + index, col, float(figure), look, instead="no fuel" if np.isposinf(figure) else "–")
    last = row + 2 + len(points)
    unit = manifold_pressure(page.result.job)
    where = "; ".join(f"{name}: {rpm:g} rpm, {unit.text(load, 4)}" for name, (rpm, load, _) in sweep.places.items())
    note = f"New table with the settings to enter. {where}."
    merged_text(
        ws, (last, 0, last + 2, _SWEEP_COLUMNS - 1), note,
        book.style(font_size=8.5, font_color=style.QUIET, text_wrap=True, valign="top"),
    )  # fmt: skip
    return last + 2


def _sweep_chart(page: Page, row: int, col: int, size_px: tuple[float, float]) -> None:
    sweep = page.result.sweep
    first, last = row + 2, row + 1 + len(sweep.battery_v)
    names = [*sweep.places, "leanest reachable", "richest reachable"]

    def area(column: int) -> str:
        return f"'{SHEET}'!{xl_range_abs(first, column, last, column)}"

    lines = [ChartLine(name, area(0), area(index)) for index, name in enumerate(names, start=1)]
    ends = float(sweep.battery_v[0]), float(sweep.battery_v[-1])
    plot = Plot("λ error over battery voltage", "battery, V", "%, + lean", lines, ends, "+0.0;-0.0;0")
    scatter(page, plot, row, col, size_px)
