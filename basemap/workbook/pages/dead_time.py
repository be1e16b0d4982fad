"""Dead time over battery voltage of both sides, and what the battery does to the mixture."""

from __future__ import annotations

from typing import Any

import numpy as np
from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.constants import ZERO_CELSIUS
from basemap.model.installation import FloatArray
from basemap.model.result import TemperatureSweep, VoltageSweep
from basemap.workbook.core import style
from basemap.workbook.core.blocks import FIRST_ROW, SHEET, Block, blocks_of, pressure_row
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, merged_text, number, text
from basemap.workbook.core.charts import ChartLine, Plot, scatter
from basemap.workbook.core.flow import significant
from basemap.workbook.formulas.interpolate import segment_formula, segment_number, value_at, value_formula
from basemap.workbook.inputs.quantities import SHOWN, limits
from basemap.workbook.inputs.sides import plain
from basemap.workbook.pages.inputs import input_look

_COLUMN_PX = 66.0
_FEWEST_COLUMNS = 16
_SWEEP_COLUMNS = 6
_ROW_PX = 20
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}
_TIME, _VOLTS = QUANTITIES["injectors.dead_time.time"], QUANTITIES["injectors.dead_time.battery"]
TIME_LIMITS_MS = (
    *limits(_TIME.range, SHOWN[_TIME.unit]),
    f"{_TIME.why}, falls as the voltage rises, and rises with the pressure",
)
VOLT_LIMITS = (*_VOLTS.range.limits, f"{_VOLTS.why}; the voltages must rise downwards")


def write_dead_time(book: Book) -> None:
    """Write the sheet."""
    blocks = blocks_of(book.result)
    left = max(blocks[-1].last_col, _SWEEP_COLUMNS - 1)
    columns = max(_FEWEST_COLUMNS, left + 11)
    page = open_page(book, SHEET, [_COLUMN_PX] * columns, tab=style.CAUTION)
    aside = "dead time: time offset of the flow line (SAE J1832); marked cells are inputs"
    page_head(page, "Dead time, and what the battery does to the mixture", aside)
    height = max(one.count for one in blocks)
    for one in blocks:
        write_block(page, one)
    chart_rows = max(height + 6, 16)
    sweep_row = HEAD_ROWS + chart_rows + 1
    last = _sweep(page, sweep_row)
    end = _temperatures(page, last + 2)
    for row in range(HEAD_ROWS, end + 1):
        page.ws.set_row_pixels(row, _ROW_PX)
    width = (columns - left - 2) * _COLUMN_PX - 6
    _dead_time_chart(page, blocks, left + 2, (width, chart_rows * _ROW_PX - 6))
    _sweep_chart(page, sweep_row, left + 2, (width, (last - sweep_row + 1) * _ROW_PX))
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, end, one_page=True)


def write_block(page: Page, one: Block) -> None:
    """Write the points of one dead time, what follows at the rail pressure and at the battery voltage, and the names."""
    _block_head(page, one)
    for index in range(one.count):
        _point(page, one, (index, one.col), float(one.dead_time.battery_v[index]), bold=True, limits=VOLT_LIMITS)
        for row, times_s in enumerate(one.dead_time.time_s):
            time = times_s[index] * 1e3 / one.size
            low, high, why = TIME_LIMITS_MS
            _point(page, one, (index, one.col + 1 + row), time, limits=(low, high / one.size, why))
    names, workbook = page.book.names, page.book.workbook
    names.define(workbook, one.volts, one.area(one.col))
    first, last = one.col + 1, one.col + len(one.dead_time.time_s)
    names.define(workbook, one.times, f"'{SHEET}'!{xl_range_abs(FIRST_ROW, first, one.last_row, last)}")
    if one.over_pressure:
        _over_pressure(page, one)
    _at_battery(page, one)


def _block_head(page: Page, one: Block) -> None:
    book, ws, dead = page.book, page.ws, one.dead_time
    head = book.style(bottom=2, bottom_color=style.BAR, bold=True, font_size=12)
    for col in range(one.col, one.last_col + 1):
        text(ws, HEAD_ROWS, col, "", head)
    text(ws, HEAD_ROWS, one.col, one.heading, head)
    axis = {"bg_color": style.AXIS, "font_color": style.ON_BAR, "bold": True, "align": "center", "font_size": 9}
    text(ws, HEAD_ROWS + 1, one.col, "battery", book.style(**axis))
    text(ws, pressure_row(), one.col, "V", book.style(**axis))
    for row in range(len(dead.time_s)):
        col = one.col + 1 + row
        words = f"{one.unit}, at kPa:" if dead.pressure_pa is not None else "dead time"
        text(ws, HEAD_ROWS + 1, col, words, book.style(**axis))
        if dead.pressure_pa is None:
            text(ws, pressure_row(), col, one.unit, book.style(**axis))
        else:
            number(ws, pressure_row(), col, dead.pressure_pa[row] / 1e3, book.style(**axis, num_format="0.###"))


def _point(
    page: Page,
    one: Block,
    place: tuple[int, int],
    value: float,
    *,
    limits: tuple[float, float, str],
    bold: bool = False,
) -> None:
    book, ws, (index, col) = page.book, page.ws, place
    row, shape = FIRST_ROW + index, significant(value, 6) if bold else "0.000##"
    if one.follows:
        source = next(block for block in blocks_of(page.result) if block.prefix == one.follows)
        look = book.style(**_HAIR, align="center", italic=True, font_color=style.QUIET, num_format=shape)
        live(ws, row, col, f"={xl_rowcol_to_cell(row, col - one.col + source.col)}", value, look)
        return
    if one.filled_from and col != one.col:
        source = next(block for block in blocks_of(page.result) if block.prefix == one.filled_from)
        volts = xl_rowcol_to_cell(row, one.col)
        read = value_formula(
            source.volts,
            source.at_rail,
            volts,
            f"({segment_formula(source.volts, volts, source.ordered)})",
            source.count,
        )
        look = book.style(**_HAIR, align="center", num_format=shape)
        live(ws, row, col, f"=MAX(0,{'' if source.over_pressure else plain(source.size) + '*'}({read}))", value, look)
        return
    number(ws, row, col, value, input_look(book, num_format=shape, bold=bold))
    low, high, why = limits
    ws.data_validation(
        row, col, row, col,
        {
            "validate": "decimal", "criteria": "between", "minimum": low, "maximum": high, "ignore_blank": False,
            "error_title": one.heading[:32], "error_message": f"Between {low:g} and {high:g}: {why}."[:250],
        },
    )  # fmt: skip


def _over_pressure(page: Page, one: Block) -> None:
    """Times at the rail pressure, beside the points."""
    book, ws, dead = page.book, page.ws, one.dead_time
    assert dead.pressure_pa is not None
    first, last, row = one.col + 1, one.col + dead.pressure_pa.size, pressure_row()
    names, workbook, rail = book.names, book.workbook, f"{one.side}_rail_pressure_used"
    names.define(workbook, one.pressures, f"'{SHEET}'!{xl_range_abs(row, first, row, last)}")
    order = tuple(
        f"'{SHEET}'!{xl_range_abs(row, start, row, end)}" for start, end in ((first, last - 1), (first + 1, last))
    )
    axis = book.style(
        bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9, num_format='"segment "0'
    )
    rail_pa = (page.result.job.side(one.side).hardware).fuel.rail_pressure_pa
    text(ws, HEAD_ROWS + 1, one.rail_col, "ms, at rail", axis)
    segment = f"={segment_formula(one.pressures, rail, (order[0], order[1]))}"
    live(ws, row, one.rail_col, segment, segment_number(dead.pressure_pa, rail_pa), axis)
    here = xl_rowcol_to_cell(row, one.rail_col, row_abs=True, col_abs=True)
    for index, value in enumerate(one.times_at_rail_ms(rail_pa)):
        at = FIRST_ROW + index
        inner = value_formula(one.pressures, xl_range_abs(at, first, at, last), rail, here, dead.pressure_pa.size)
        live(
            ws,
            at,
            one.rail_col,
            f"={plain(one.size)}*({inner})",
            float(value),
            book.style(**_HAIR, align="center", num_format="0.000"),
        )
    names.define(workbook, one.at_rail, one.area(one.rail_col))


def _at_battery(page: Page, one: Block) -> None:
    """The hardware's dead time at the battery voltage, under the points; and whether the voltages rise."""
    book, ws, row = page.book, page.ws, one.last_row + 1
    look = book.style(bg_color=style.GOOD_FILL, align="center", bold=True, num_format="0.000")
    job = page.result.job
    if one.prefix in {"donor", "target"}:
        volts = job.side(one.side).table.battery_v
        live(
            ws,
            row,
            one.col,
            f"={one.side}_battery_used",
            volts,
            book.style(bg_color=style.GOOD_FILL, align="center", num_format="0.0#"),
        )
        columns = range(one.col + 1, one.col + 1 + len(one.dead_time.time_s))
        if one.over_pressure:
            for col, times_s in zip(columns, one.dead_time.time_s, strict=True):
                inner = value_formula(
                    one.volts, one.area(col), f"{one.side}_battery_used", f"{one.side}_dead_time_segment", one.count
                )
                value = value_at(one.dead_time.battery_v, times_s, volts) * 1e3
                live(ws, row, col, f"={plain(one.size)}*({inner})", value, look)
            area = f"'{SHEET}'!{xl_range_abs(row, columns[0], row, columns[-1])}"
            book.names.define(book.workbook, one.at_battery, area)
        else:
            live(ws, row, one.col + 1, f"={one.side}_dead_time", float(one.dead_time.at(volts, 0.0)) * 1e3, look)
    if one.ordered is not None:
        lower, upper = one.ordered
        check = f'=IF(SUMPRODUCT(1*({upper}<={lower}))=0,"✓ voltages rise","▲ voltages must rise")'
        live(ws, row + 1, one.col, check, "✓ voltages rise", book.style(font_size=9, font_color=style.QUIET))


def _dead_time_chart(page: Page, blocks: tuple[Block, ...], col: int, size_px: tuple[float, float]) -> None:
    lines = []
    for one in blocks:
        for row in range(len(one.dead_time.time_s)):
            pressure = one.dead_time.pressure_pa
            at = "" if pressure is None else f", {pressure[row] / 1e3:g} kPa"
            lines.append(ChartLine(f"{one.heading}{at}", one.area(one.col), one.area(one.col + 1 + row)))
    every = np.concatenate([one.dead_time.battery_v for one in blocks])
    ends = float(np.floor(every.min())), float(np.ceil(every.max()))
    if ends[0] == ends[1]:
        ends = ends[0] - 1, ends[1] + 1
    unit = blocks[0].unit
    scatter(page, Plot("Dead time over battery voltage", "battery, V", unit, lines, ends), HEAD_ROWS, col, size_px)


def _sweep(page: Page, row: int) -> int:
    """The λ error over voltage, with the settings to enter. Return its last row."""
    sweep = page.result.sweep
    return _over(page, row, ("battery voltage", "battery, V"), sweep.battery_v, sweep)


def _temperatures(page: Page, row: int) -> int:
    """The λ error at the coldest, the stated and the hottest charge. Return its last row."""
    sweep = page.result.temperature_sweep
    return _over(page, row, ("charge temperature", "charge, °C"), sweep.charge_k - ZERO_CELSIUS, sweep)


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
        *(errors(ratio) for _, _, ratio in sweep.places.values()),
        errors(sweep.leanest),
        errors(sweep.richest),
    ]
    for col, (name, figures) in enumerate(zip(names, columns, strict=True)):
        text(ws, row + 1, col, name, axis)
        for index, figure in enumerate(figures):
            shape = "0.0" if col == 0 else '[>5]+0.0"▲";[<0]-0.0;+0.0'
            look = book.style(align="center", bold=col == 0, num_format=shape, bottom=1, bottom_color=style.HAIRLINE)
            number(ws, row + 2 + index, col, float(figure), look, instead="no fuel" if np.isposinf(figure) else "–")
    last = row + 2 + len(points)
    where = "; ".join(f"{name}: {rpm:g} rpm, {load / 1e3:g} kPa" for name, (rpm, load, _) in sweep.places.items())
    note = f"As issued (not recomputed): new table with the settings to enter. {where}."
    merged_text(
        ws, (last, 0, last + 2, _SWEEP_COLUMNS - 1), note,
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

    lines = [ChartLine(name, area(0), area(index)) for index, name in enumerate(names, start=1)]
    ends = float(sweep.battery_v[0]), float(sweep.battery_v[-1])
    plot = Plot("λ error over battery voltage (as issued)", "battery, V", "%, + lean", lines, ends, "+0.0;-0.0;0")
    scatter(page, plot, row, col, size_px)
