"""The map's sensor scales compared with the fitted sensors, and the tables to enter; as issued."""

from __future__ import annotations

from typing import Any

from xlsxwriter.utility import xl_range_abs

from basemap.model.sensor import SensorComparison, SensorResult
from basemap.report.sensors_in_words import ROWS, error_in_words, left_in_words
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.charts import ChartLine, Plot, scatter
from basemap.workbook.core.flow import Flow, item, significant
from basemap.workbook.core.towards_danger import error_percent

SHEET = "Sensors"
_WIDTHS = (74.0, 84.0, 84.0, 84.0, 84.0, 18.0, *([74.0] * 6))
_LEFT, _CHART = 4, 6
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}
_CHART_PX = (438.0, 250.0)


def write_sensors(book: Book) -> None:
    """Write the sheet, where the job states a sensor."""
    if not book.result.sensors:
        return
    page = open_page(book, SHEET, _WIDTHS, tab=style.CAUTION)
    page_head(page, "Sensor scales", "the map's compared with the fitted sensors'; not live")
    # Programs honour a break only at a fixed scale; so no sensor is torn from its chart.
    page.ws.set_print_scale(100)
    flow, breaks = Flow(page, HEAD_ROWS), []
    long = False
    for sensor in book.result.sensors:
        if flow.row > HEAD_ROWS and (sensor.points or long):
            breaks.append(flow.row)
        long = bool(sensor.points)
        _sensor(flow, sensor)
    page.ws.set_h_pagebreaks(breaks)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def _sensor(flow: Flow, sensor: SensorResult) -> None:
    flow.heading(
        f"{sensor.name}: {sensor.kind.value}, {sensor.shown.unit}", "error = what the map reads less what is true"
    )
    if sensor.held is None or sensor.fitted is None:
        side, what = ("donor", "the map holds") if sensor.held is None else ("target", "the fitted sensor means")
        words = f"Not compared: what {what} is not known. State {side}.sensors.{sensor.name} and run again."
        flow.line(item(0, flow.page.last_col, words))
    start = flow.row
    if sensor.as_loaded is not None:
        _errors(flow, sensor, sensor.as_loaded)
    if sensor.points:
        _table(flow, sensor)
    if sensor.as_loaded is not None:
        # The chart beside the tables needs its height, however short they are.
        while (flow.row - start) * 20 < _CHART_PX[1] + 10:
            flow.line(item(0, 0, ""), height_pt=15)
    flow.gap()


def _errors(flow: Flow, sensor: SensorResult, found: SensorComparison) -> None:
    """Write the error at some voltages with its chart, and the largest error in words."""
    has_ratio = found.lambda_ratio is not None
    unit = sensor.shown.unit
    heads = (
        "volts",
        f"true, {unit}",
        f"map reads, {unit}",
        f"error, {unit}",
        "λ actual / intended" if has_ratio else "",
    )
    flow.table_head(*(item(col, col, words, align="right") for col, words in enumerate(heads)))
    first, shown = flow.row, sensor.shown
    ratios = None if found.lambda_ratio is None else 1.0 + error_percent(found.lambda_ratio) / 100.0
    for index in found.spread_out(ROWS):
        true, read = float(shown.of(found.true[index])), float(shown.of(found.read[index]))
        error = float(shown.difference(found.error[index]))
        flow.line(
            _figure(0, float(found.volts[index]), "0.000"), _figure(1, true), _figure(2, read),
            _figure(3, error, f"+{significant(error, 3)};-{significant(error, 3)};0"),
            item(4, 4, "") if ratios is None else _figure(4, float(ratios[index]), "0.000"),
            **_HAIR,
        )  # fmt: skip
    _chart(flow.page, sensor, first, flow.row - 1)
    for words in error_in_words(sensor, found):
        flow.line(item(0, _LEFT, words, font_size=9))
    flow.gap(6)


def _figure(col: int, value: float, shape: str | None = None) -> Any:
    return item(col, col, value, num_format=shape or significant(value, 5), align="right")


def _chart(page: Page, sensor: SensorResult, first: int, last: int) -> None:
    def column(col: int) -> str:
        return f"'{SHEET}'!{xl_range_abs(first, col, last, col)}"

    lines = [ChartLine("true", column(0), column(1)), ChartLine("the map reads", column(0), column(2))]
    plot = Plot(f"{sensor.name}: as loaded", "volts", sensor.shown.unit, lines)
    scatter(page, plot, first - 1, _CHART, _CHART_PX)


def _table(flow: Flow, sensor: SensorResult) -> None:
    unit = sensor.shown.unit
    heads = ("volts", f"held, {unit}", f"enter, {unit}")
    columns = [item(col, col, words, align="right") for col, words in enumerate(heads)]
    flow.table_head(*columns, item(3, _LEFT, "remark", indent=1))
    for point in sensor.points:
        flow.line(
            _figure(0, point.volts, "0.000"),
            item(1, 1, "not known", align="right") if point.old is None else _figure(1, point.old),
            item(2, 2, point.enter, num_format=significant(point.enter, 5), align="right", bold=True),
            item(3, _LEFT, point.note, font_size=9, indent=1),
            **_HAIR,
        )
    for words in left_in_words(sensor):
        flow.line(item(0, _LEFT, words, font_size=9))
