"""The map's sensor scales compared with the fitted sensors, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from basemap.model.finding import Finding, Severity
from basemap.model.result import Result
from basemap.model.sensor import SensorComparison, SensorQuantity, SensorResult
from basemap.report.json_file import finding_as_json
from basemap.report.json_sensors import sensor_as_json
from basemap.report.json_text import SCHEMA
from basemap.report.words import harmless, number
from basemap.rounding import signed_percent
from basemap.rules.sensors import SENSOR_RULES

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

ROWS = 9
_PLOT_WIDTH = 21
"""Odd, so that there is a middle column."""

NONE = (
    "The job states no sensors. Put the scale in the map under [donor.sensors.NAME] and the scale from the maker of "
    "the fitted sensor under [target.sensors.NAME]; a borrowed map brings its own scales along."
)
RATIO_MEANS = {
    SensorQuantity.LAMBDA: "in closed loop, λ true over λ read",
    SensorQuantity.PRESSURE: "from the wrong pressure alone, true over read",
    SensorQuantity.TEMPERATURE: "from the wrong charge temperature alone, read over true (K)",
}


def sensor_findings(result: Result) -> list[Finding]:
    """The findings of the rules on sensors, in the order of the result."""
    return [finding for finding in result.findings if finding.rule in SENSOR_RULES]


def sensors_stop(result: Result) -> bool:
    """Whether a rule on sensors stops the map."""
    return any(stop.rule in SENSOR_RULES for stop in result.stops)


def as_json(result: Result) -> dict[str, Any]:
    """The sensors as JSON."""
    return {
        "schema": SCHEMA,
        "title": result.job.title,
        "sensors": [sensor_as_json(sensor) for sensor in result.sensors],
        "findings": [finding_as_json(result.job, finding) for finding in sensor_findings(result)],
    }


def as_text(result: Result) -> Group:
    """The sensors for the terminal."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.brief import WHAT, briefly
    from basemap.report.terminal.layout import indented

    parts: list[RenderableType] = briefly(result, WHAT)
    if not result.sensors:
        return Group(*parts, Text(""), indented(NONE))
    for sensor in result.sensors:
        parts += _sensor(sensor)
    return Group(*parts, *_findings(result))


def _sensor(sensor: SensorResult) -> list[RenderableType]:
    from basemap.report.terminal.layout import heading, indented

    parts = heading(f"{harmless(sensor.name)}: {sensor.kind.value}")
    for side, scale, what in (
        ("donor", sensor.held, "what the map holds"),
        ("target", sensor.fitted, "the scale of the fitted sensor"),
    ):
        if scale is None:
            key = f"{side}.sensors.{harmless(sensor.name)}"
            parts.append(indented(f"Not compared: {what} is not known. State {key}."))
    if sensor.as_loaded is not None:
        parts += _error(sensor, sensor.as_loaded)
    if sensor.points:
        parts += _table(sensor)
    return parts


def _error(sensor: SensorResult, reading: SensorComparison) -> list[RenderableType]:
    """The error over the range of a sensor, with a plot."""
    from rich.text import Text

    from basemap.report.terminal.layout import columns, indented

    shown = sensor.shown
    rows = reading.spread_out(ROWS)
    largest = max(abs(float(reading.error[row])) for row in rows)
    table = []
    for row in rows:
        cells = [
            f"{reading.volts[row]:.3f}",
            number(float(shown.of(reading.true[row])), 4),
            number(float(shown.of(reading.read[row])), 4),
            _signed(float(shown.difference(reading.error[row]))),
        ]
        if reading.lambda_ratio is not None:
            cells.append(signed_percent(float(reading.lambda_ratio[row])))
        table.append([*cells, _mark(float(reading.error[row]) / shown.size, largest / abs(shown.size))])
    head = ["volts", "true", "map reads", "error", *(["lambda"] if reading.lambda_ratio is not None else [])]
    head.append("low" + "|".center(_PLOT_WIDTH - 7) + "high")
    parts: list[RenderableType] = [
        indented(f"The map's scale left as it is, in {harmless(shown.unit)}:"),
        columns(table, head=head, left=(len(head) - 1,)),
    ]
    return [*parts, *(indented(line) for line in error_in_words(sensor, reading)), Text("")]


def error_in_words(sensor: SensorResult, reading: SensorComparison) -> list[str]:
    """The largest error in the range that is judged, and what it does to the mixture."""
    worst = reading.largest(reading.judged)
    if worst is None:
        return ["The fitted sensor has no points in the range that is judged."]
    shown = sensor.shown
    low, high = sorted(float(shown.of(value)) for value in sensor.judged_between)
    lines = [
        f"Largest error from {number(low)} to {number(high)} {harmless(shown.unit)}: "
        f"{_signed(float(shown.difference(reading.error[worst])))} at {reading.volts[worst]:.3f} V."
    ]
    ends = reading.ratio_ends(reading.judged)
    if ends is not None:
        lines.append(
            f"Lambda against the intended there ({RATIO_MEANS[sensor.quantity]}): {signed_percent(ends[0])} to "
            f"{signed_percent(ends[1])}; + is lean."
        )
    return lines


def _table(sensor: SensorResult) -> list[RenderableType]:
    from basemap.report.terminal.layout import columns, indented

    rows = [
        [
            f"{point.volts:.3f}",
            "-" if point.old is None else number(point.old, 5),
            number(point.enter, 5),
            point.note,
        ]
        for point in sensor.points
    ]
    which = "the map's own voltages" if sensor.held is not None else "the maker's voltages"
    parts: list[RenderableType] = [
        indented(f"The table to enter, in {harmless(sensor.shown.unit)}, on {which}:"),
        columns(rows, head=["volts", "held", "enter", ""], left=(3,)),
    ]
    return [*parts, *(indented(line) for line in left_in_words(sensor))]


def left_in_words(sensor: SensorResult) -> list[str]:
    """The error that is left once the table is entered."""
    lines = []
    if sensor.stuck:
        lines.append("It cannot be entered (target.settings.cannot_be_told names sensors): the error stays.")
    left = sensor.left_between
    if left is not None and sensor.entered is not None:
        reading, shown = sensor.entered, sensor.shown
        lines.append(
            f"Largest error left between these points: {_signed(float(shown.difference(reading.error[left])))} "
            f"{harmless(shown.unit)} at {reading.volts[left]:.3f} V."
        )
    return lines


def _findings(result: Result) -> list[RenderableType]:
    from basemap.report.terminal.details import finding_in_words
    from basemap.report.terminal.layout import heading, indented

    parts, found = heading("findings"), sensor_findings(result)
    if not found:
        return [*parts, indented("None.")]
    for severity in Severity:
        for finding in found:
            parts += finding_in_words(result, finding) if finding.severity is severity else []
    return parts


def _signed(error: float) -> str:
    return "0" if abs(error) < 5e-7 else ("+" if error > 0 else "-") + number(abs(error), 3)


def _mark(error: float, largest: float) -> str:
    """A line with a mark as far left or right of the middle as the error is large."""
    middle = _PLOT_WIDTH // 2
    line = [" "] * _PLOT_WIDTH
    line[middle] = "|"
    line[middle + (round(middle * error / largest) if largest > 5e-7 else 0)] = "*"
    return "".join(line)
