"""What a drive taught on a terminal: what is dangerous first, then the card, the table, and where to drive next."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Group
from rich.text import Text

from basemap.model.learnt import Formula, Learnt, LearntTable
from basemap.model.result import Result
from basemap.report.terminal.layout import columns, hanging, heading, indented
from basemap.report.words import harmless
from basemap.rounding import percent_up

if TYPE_CHECKING:
    from rich.console import RenderableType

Parts = list["RenderableType"]

FOOTER = (
    "Nobody watches a screen while driving on a public road: a dynamometer, a closed place, or a second person. Lift "
    "at the first lean reading at load. An overvoltage is answered by stopping, not by logging on. Ignition is not "
    "learnt. What a licensed tuner or local rules say goes before this."
)
NOT_PROVED = (
    "The probe is not proved: a wrong scale cannot be seen in any log, so no fuel is taken out anywhere. Prove it at "
    'two points, then --probe-proved "0.80, 1.00".'
)
_LABEL = 7


def learnt(result: Result, found: Learnt, files: Sequence[Path]) -> Group:
    """What `learn` prints."""
    return Group(
        Text(harmless(result.job.title), style="bold"),
        *_dangers(found),
        *_card(found),
        *_table(result, found),
        *_faults(found),
        *_controller(found.controller),
        *_next(result, found),
        *_used(found),
        *_files(files),
        Text(""),
        indented(FOOTER, by=0),
    )


def brief(found: Learnt, files: Sequence[Path]) -> Group:
    """What ``--quiet`` leaves: what is dangerous, what holds the table back, the files."""
    return Group(*_dangers(found), *(Text(str(path)) for path in files))


def _dangers(found: Learnt) -> Parts:
    parts: Parts = []
    for event in found.events:
        label, style = ("STOP", "bold red") if event.stop else ("caution", "bold")
        said = f"{_clock(event.at_s)}, for {event.for_s:.1f} s: {event.kind}: {event.says}."
        parts.append(hanging(label, [harmless(said)], style=style, width=_LABEL + 2))
    if found.nothing:
        said = f"Nothing was learnt about the table: {found.nothing}."
        parts.append(hanging("STOP", [said], style="bold red", width=9))
    elif found.stopped:
        parts.append(hanging("HELD", [_held(found)], style="bold red", width=9))
    if not found.events and not found.nothing:
        parts.append(Text("No limit of the first-start card was crossed."))
    return parts


def _held(found: Learnt) -> str:
    open_ones = [hold for hold in found.holds if not hold.accepted]
    # What an event has said already is not said twice.
    said = {event.kind.replace(" ", "-") for event in found.events}
    listed = "; ".join(hold.name if hold.name in said else f"{hold.name}: {hold.says}" for hold in open_ones)
    options = " ".join(f"--accept {hold.name}" for hold in open_ones)
    return harmless(f"No table to load was written: {listed}. Where you take it upon yourself: {options}")


def _card(found: Learnt) -> Parts:
    seen = [one for one in found.card if one.within is not None]
    if not seen:
        return []
    rows = [[one.line, one.predicted, one.seen, "yes" if one.within else "NO"] for one in seen]
    return [
        *heading("against the card"),
        columns(rows, head=["line", "predicted", "seen", "within"], left=(0, 1, 2, 3)),
    ]


def _table(result: Result, found: Learnt) -> Parts:
    table = found.table
    if table is None:
        return []
    reachable = result.table.reachable
    visited, others = table.visited & reachable, ~table.visited & reachable
    parts = heading("the table")
    rows = [_row("visited", table, visited), _row("not visited", table, others)]
    head = ["cells", "", "were", "change", "band before", "band now"]
    parts.append(columns([row for row in rows if row], head=head, left=(0, 2, 3)))
    parts.append(indented(_worst(result, table)))
    if not found.proved:
        parts.append(indented(NOT_PROVED))
    return parts


def _row(name: str, table: LearntTable, where: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[str]:
    off = table.mean_before[where & np.isfinite(table.mean_before)]
    if not off.size:
        return []
    low, high = float(off.min()), float(off.max())
    change = table.change_percent[where]
    before, now = (2.0 * float(np.nanmedian(values[where])) for values in (table.standard_before, table.standard_after))
    span = f"{_lean(low)} to {_lean(high)}"
    moved = f"{np.nanmin(change):+.1f} to {np.nanmax(change):+.1f} %"
    return [name, str(off.size), span, moved, f"±{percent_up(before)} %", f"±{percent_up(now)} %"]


def _worst(result: Result, table: LearntTable) -> str:
    """The leanest cell at load of the table that was loaded, and what it becomes."""
    job = result.job
    loaded = result.table.reachable & (
        np.broadcast_to(job.target.table.pressure_pa, table.new.shape)
        >= 0.8 * job.target.hardware.conditions.barometer_pa
    )
    end = np.where(loaded, table.mean_after + 2.0 * table.standard_after, -np.inf)
    end = np.where(np.isfinite(end), end, -np.inf)
    row, column = np.unravel_index(int(end.argmax()), end.shape)
    lean = percent_up(max(float(np.expm1(end[row, column])), 0.0))
    load = f"{job.target.shown.load[row]:g} {job.target.shown.load_unit}"
    return f"Lean end of the band at load, with the new table: {lean} % at {job.rpm[column]:g} rpm, {load}."


def _faults(found: Learnt) -> Parts:
    if not found.faults:
        return []
    better = [fault for fault in found.faults if fault.says.split(":")[0] in ("clearly", "likely", "perhaps")]
    parts = heading("what it looks like")
    if not better:
        return [*parts, indented("Within what was expected: no fault is needed to explain the drive.")]
    return [*parts, *(indented(f"{fault.name}, {fault.says}.") for fault in better[:3])]


def _controller(formula: Formula | None) -> Parts:
    if formula is None:
        return []
    says = "within what was assumed" if formula.confirms else "NOT what was assumed: look at the settings page"
    slope = ""
    if formula.per_volt_ms is not None:
        slope = f", {formula.per_volt_ms:+.3f} ms/V (told {formula.told_per_volt_ms:+.3f})"
    return [
        *heading("what the controller really commands"),
        indented(
            f"Formula factor {formula.factor:.3f} ± {2 * formula.factor_standard:.3f}; dead time "
            f"{formula.dead_time_ms:.3f} ± {2 * formula.dead_time_standard_ms:.3f} ms at {formula.battery_v:.1f} V "
            f"(told {formula.told_ms:.3f}){slope}: {says}."
        ),
    ]


def _next(result: Result, found: Learnt) -> Parts:
    if not found.next_points:
        return []
    unit = result.job.target.shown.load_unit
    rows = [
        [f"{point.rpm:g} rpm", f"{point.load:g} {unit}", f"takes away {100 * point.narrows:.0f} % of what is open"]
        for point in found.next_points
    ]
    return [*heading("drive next, some seconds each"), columns(rows, left=(2,))]


def _used(found: Learnt) -> Parts:
    seconds, compared = sum(one.seconds for one in found.used), sum(one.compared_s for one in found.used)
    reasons: dict[str, float] = {}
    for one in found.used:
        for reason, gone in one.left_out.items():
            reasons[reason] = reasons.get(reason, 0.0) + gone
    left = ", ".join(f"{reason} {gone:.0f}" for reason, gone in sorted(reasons.items(), key=lambda item: -item[1]))
    lines = [f"{compared:.0f} of {seconds:.0f} s, {sum(one.chunks for one in found.used)} steady stretches."]
    if left:
        lines.append(f"Left out, s: {left}.")
    lines += [harmless(f"Columns as read: {'; '.join(said)}.") for said in found.read_as if said]
    return [*heading("compared"), *(indented(line) for line in lines)]


def _files(files: Sequence[Path]) -> Parts:
    return [*heading("written"), *(indented(harmless(str(path))) for path in files)] if files else []


def _lean(log_off: float) -> str:
    percent = 100.0 * (float(np.exp(log_off)) - 1.0)
    return f"{abs(percent):.1f} % {'lean' if percent >= 0 else 'rich'}"


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{seconds % 60:04.1f}"
