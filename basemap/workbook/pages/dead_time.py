"""The dead times on the sheet of inputs: their points, and what follows at the rail pressure and the battery voltage."""

from __future__ import annotations

from typing import Any

from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.workbook.core import style
from basemap.workbook.core.book import Page
from basemap.workbook.core.cells import live, number, text
from basemap.workbook.core.flow import significant
from basemap.workbook.core.input_look import input_look
from basemap.workbook.core.interpolate import segment_formula, segment_number, value_at, value_formula
from basemap.workbook.inputs.dead_time_blocks import SHEET, Block, block
from basemap.workbook.inputs.input_cell import plain
from basemap.workbook.inputs.quantities import SHOWN, limits

_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}
_TIME, _VOLTS = QUANTITIES["injectors.dead_time.time"], QUANTITIES["injectors.dead_time.battery"]
TIME_LIMITS_MS = (
    *limits(_TIME.range, SHOWN[_TIME.unit]),
    f"{_TIME.why}, falls as the voltage rises, and rises with the pressure",
)
VOLT_LIMITS = (*_VOLTS.range.limits, f"{_VOLTS.why}; the voltages must rise downwards")


def write_block(page: Page, blocks: tuple[Block, ...], one: Block) -> None:
    """Write the points of one dead time, what follows from them, and their names."""
    _block_head(page, one)
    for index in range(one.count):
        _point(
            page, blocks, one, (index, one.col), float(one.dead_time.battery_v[index]), bold=True, limits=VOLT_LIMITS
        )
        for row, times_s in enumerate(one.dead_time.time_s):
            time = times_s[index] * 1e3 / one.size
            low, high, why = TIME_LIMITS_MS
            _point(page, blocks, one, (index, one.col + 1 + row), time, limits=(low, high / one.size, why))
    names, workbook = page.book.names, page.book.workbook
    names.define(workbook, one.volts, one.area(one.col))
    first, last = one.col + 1, one.col + len(one.dead_time.time_s)
    names.define(workbook, one.times, f"'{SHEET}'!{xl_range_abs(one.top, first, one.last_row, last)}")
    if one.over_pressure:
        _over_pressure(page, one)
    _at_battery(page, one)


def _block_head(page: Page, one: Block) -> None:
    book, ws, dead = page.book, page.ws, one.dead_time
    head = book.style(bottom=2, bottom_color=style.BAR, bold=True, font_size=12)
    for col in range(one.col, one.last_col + 1):
        text(ws, one.top - 3, col, "", head)
    text(ws, one.top - 3, one.col, one.heading, head)
    axis = {"bg_color": style.AXIS, "font_color": style.ON_BAR, "bold": True, "align": "center", "font_size": 9}
    text(ws, one.top - 2, one.col, "battery", book.style(**axis))
    text(ws, one.pressure_row, one.col, "V", book.style(**axis))
    for row in range(len(dead.time_s)):
        col = one.col + 1 + row
        words = f"{one.unit}, at kPa:" if dead.pressure_pa is not None else "dead time"
        text(ws, one.top - 2, col, words, book.style(**axis))
        if dead.pressure_pa is None:
            text(ws, one.pressure_row, col, one.unit, book.style(**axis))
        else:
            number(ws, one.pressure_row, col, dead.pressure_pa[row] / 1e3, book.style(**axis, num_format="0.###"))


def _point(
    page: Page,
    blocks: tuple[Block, ...],
    one: Block,
    place: tuple[int, int],
    value: float,
    *,
    limits: tuple[float, float, str],
    bold: bool = False,
) -> None:
    book, ws, (index, col) = page.book, page.ws, place
    row, shape = one.top + index, significant(value, 6) if bold else "0.000##"
    if one.follows:
        source = block(blocks, one.follows)
        look = book.style(**_HAIR, align="center", italic=True, font_color=style.QUIET, num_format=shape)
        at = xl_rowcol_to_cell(row - one.top + source.top, col - one.col + source.col)
        live(ws, row, col, f"={at}", value, look)
        return
    if one.filled_from and col != one.col:
        source = block(blocks, one.filled_from)
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
    """Write the times at the rail pressure, beside the points."""
    book, ws, dead = page.book, page.ws, one.dead_time
    assert dead.pressure_pa is not None
    first, last, row = one.col + 1, one.col + dead.pressure_pa.size, one.pressure_row
    names, workbook, rail = book.names, book.workbook, f"{one.side}_rail_pressure_used"
    names.define(workbook, one.pressures, f"'{SHEET}'!{xl_range_abs(row, first, row, last)}")
    order = tuple(
        f"'{SHEET}'!{xl_range_abs(row, start, row, end)}" for start, end in ((first, last - 1), (first + 1, last))
    )
    axis = book.style(
        bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, align="center", font_size=9, num_format='"segment "0'
    )
    rail_pa = (page.result.job.side(one.side).hardware).fuel.rail_pressure_pa
    text(ws, one.top - 2, one.rail_col, "ms, at rail", axis)
    segment = f"={segment_formula(one.pressures, rail, (order[0], order[1]))}"
    live(ws, row, one.rail_col, segment, segment_number(dead.pressure_pa, rail_pa), axis)
    here = xl_rowcol_to_cell(row, one.rail_col, row_abs=True, col_abs=True)
    for index, value in enumerate(one.times_at_rail_ms(rail_pa)):
        at = one.top + index
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
    """Write the injectors' dead time at the battery voltage, below the points, and whether the voltages rise."""
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
