"""Dead times over battery voltage on both sides, and the error of λ that is left where ECU and injectors differ."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from basemap.model.installation import FloatArray, Installation
from basemap.model.job import Job
from basemap.model.result import Computed, VoltageSweep
from basemap.model.settings import Settings
from basemap.report.json_file import sweep_as_json
from basemap.report.json_text import SCHEMA, plain
from basemap.report.words import harmless
from basemap.rounding import NOISE, signed_percent

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

_PLOT_WIDTH = 25
"""Odd, so that there is a middle column."""

LAST_DIGIT = 1e-3
"""Errors of λ are shown to 0.1 %; where all are smaller than this, a sentence says so instead of a table."""


class DeadTimes(NamedTuple):
    """Dead times at the voltages of the sweep and the full rail pressure, s; `None` where they are not known."""

    hardware: FloatArray | None
    told: FloatArray | None


def dead_times(computed: Computed) -> dict[str, DeadTimes]:
    """Of each side: the dead times of its injectors, and those that its ECU was told."""
    job, settings, volts = computed.job, computed.in_force, computed.sweep.battery_v
    donor = _side(job.donor.hardware, settings.donor, volts) if job.donor.dead_time_known else DeadTimes(None, None)
    return {"donor": donor, "target": _side(job.target.hardware, settings.new, volts)}


def beyond_the_data(job: Job, volts: FloatArray) -> str:
    """What is not known of some voltages: where the data of the target's injectors ends; empty if it has them all."""
    points = job.target.hardware.injectors.dead_time.battery_v
    low, high = float(points[0]), float(points[-1])
    if low <= volts[0] and volts[-1] <= high:
        return ""
    ends = f"runs from {low:g} to {high:g} V" if low < high else f"is for {low:g} V only"
    guess = "beyond that nobody has measured them and a straight line stands in"
    return f"The data of the target's injectors {ends}: {guess}."


def nothing_left(job: Job, sweep: VoltageSweep) -> str:
    """That no error is left over voltage, or none that a table would show, as far as the injectors' data reaches."""
    spans = np.array([sweep.richest, sweep.leanest]) - 1.0
    known = np.abs(spans[~np.isnan(spans)])
    if not known.size or float(known.max()) >= LAST_DIGIT - NOISE:
        return ""
    points, volts = job.target.hardware.injectors.dead_time.battery_v, sweep.battery_v
    low, high = max(float(points[0]), volts[0]), min(float(points[-1]), volts[-1])
    if low >= high:
        return ""
    if float(known.max()) < NOISE:
        return f"None from {low:g} to {high:g} V: the target's controller holds the injectors' own dead times."
    return f"Less than 0.1 % from {low:g} to {high:g} V: the controller's dead times are nearly the injectors' own."


def as_json(computed: Computed) -> dict[str, Any]:
    """The dead times as JSON."""
    sides = {
        side: {"hardware_ms": _milliseconds(times.hardware), "told_ms": _milliseconds(times.told)}
        for side, times in dead_times(computed).items()
    }
    return {
        "schema": SCHEMA,
        "title": computed.job.title,
        **sides,
        "dead_time_sweep": sweep_as_json(computed.sweep),
    }


def as_text(computed: Computed) -> Group:
    """The dead times for the terminal, and the errors that they leave."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.layout import columns, heading, indented

    sides, sweep = dead_times(computed), computed.sweep
    times = [times for side in sides.values() for times in (side.hardware, side.told)]
    rows = [
        [f"{volts:g}", *("-" if values is None else f"{values[at] * 1e3:.3f}" for values in times)]
        for at, volts in enumerate(sweep.battery_v)
    ]
    head = ["battery, V", "donor: hardware", "told", "target: hardware", "told"]
    return Group(
        Text(harmless(computed.job.title), style="bold"),
        *heading("dead time at the full rail pressure, ms"),
        columns(rows, head=head, left=()),
        *([Text(""), indented(beyond)] if (beyond := beyond_the_data(computed.job, sweep.battery_v)) else []),
        *_errors(computed),
    )


def _side(installation: Installation, settings: Settings, volts: FloatArray) -> DeadTimes:
    hardware = installation.injectors.dead_time.at(volts, installation.fuel.rail_pressure_pa)
    return DeadTimes(hardware, None if settings.battery_factor is not None else settings.dead_time_s(volts))


def _milliseconds(times: FloatArray | None) -> list[Any] | None:
    return None if times is None else plain(times * 1e3)


def _errors(computed: Computed) -> list[RenderableType]:
    """The error of λ over voltage, with a bar from the richest to the leanest cell."""
    from rich.text import Text

    from basemap.report.terminal.layout import columns, heading, indented

    sweep = computed.sweep
    spans = np.array([sweep.richest, sweep.leanest]) - 1.0
    known = np.abs(spans[np.isfinite(spans)])
    parts = heading("mixture error left, %: new table with the settings to enter")
    if not known.size:
        return [*parts, indented("Not known: the target has no cell to judge.")]
    if none := nothing_left(computed.job, sweep):
        return [*parts, indented(none)]
    reach = float(known.max())
    rows = [
        [
            f"{volts:g}",
            *(_percent(float(ratio[at])) for _, _, ratio in sweep.places.values()),
            _percent(float(sweep.leanest[at])),
            _percent(float(sweep.richest[at])),
            _bar(float(spans[0, at]), float(spans[1, at]), reach),
        ]
        for at, volts in enumerate(sweep.battery_v)
    ]
    head = ["V", *sweep.places, "leanest", "richest", _scale(reach)]
    where = "; ".join(f"{name} {rpm:g} rpm, {load / 1e3:.4g} kPa" for name, (rpm, load, _) in sweep.places.items())
    return [
        *parts,
        columns(rows, head=head, left=(len(head) - 1,)),
        Text(""),
        indented(f"+ is lean, - is rich. Leanest, richest and the bar are over all reachable cells. Cells: {where}."),
    ]


def _percent(ratio: float) -> str:
    return signed_percent(ratio).removesuffix(" %")


def _bar(low: float, high: float, reach: float) -> str:
    """A bar from the richest to the leanest cell, with | where there is no error."""
    middle = _PLOT_WIDTH // 2

    def column(error: float) -> int:
        return _PLOT_WIDTH - 1 if math.isinf(error) else middle + round(middle * error / reach)

    if math.isnan(low) or math.isnan(high):
        return ""
    line = ["#" if column(low) <= at <= column(high) else " " for at in range(_PLOT_WIDTH)]
    line[middle] = "|" if line[middle] == " " else "+"
    return "".join(line)


def _scale(reach: float) -> str:
    ends = f"{-100 * reach:.0f} %", f"+{100 * reach:.0f} %"
    inner = _PLOT_WIDTH - len(ends[0]) - len(ends[1])
    return ends[0] + "0".center(inner) + ends[1]
