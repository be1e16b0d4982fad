"""What the drives taught, in sentences for terminal, page and workbook; what is dangerous comes first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from basemap.model.installation import BoolArray
from basemap.model.learnt import Fault, Formula, Learnt, LearntTable
from basemap.model.result import Result
from basemap.model.taught import PROBE_NOT_PROVED
from basemap.report.brief.verdict import span
from basemap.report.words import place_of
from basemap.rounding import off, percent_up, rounded_up, signed_percent

FOOTER = (
    "On a public road, never watch a screen while you drive: use a dynamometer, a closed place or a second person. "
    "Lift at the first lean reading at load. Stop for an overvoltage; do not log on. Ignition is not learnt. A "
    "licensed tuner and local rules come before this."
)
NOT_PROVED = (
    "The probe is not proved. No log can show a wrong scale, so no cell gets less fuel than before the first drive, "
    f"and the band allows for one that is {200 * PROBE_NOT_PROVED:g} % off (k = 2). "
    'Prove it at two points, then add --probe-proved "0.80, 1.00".'
)
NOTHING_CROSSED = "No limit of the first-start card was crossed."
NO_FAULT = "Within what was expected: no fault is needed to explain the drive."
NOT_IN_A_LOG = (
    "A wrong scale of the wideband: every reading is off by the same factor, and so is every correction. Prove it at "
    "two points.",
    "Whether flow, stoichiometric ratio or rail pressure is wrong: each is one factor on all cells. The correction is "
    "the same; a flow bench, a fuel tester and a gauge tell them apart.",
    "Whether it is an exhaust leak or the dead time, as long as the engine only idles. Free-rev to 2500 rpm: a leak "
    "fades with flow.",
    "How far a weak pump falls short: it can be named, but no table corrects for it.",
)
"""What no log can tell."""


@dataclass(frozen=True)
class Danger:
    """A sentence that the user must read first, with its label: `STOP`, `HELD` or `caution`."""

    label: str
    says: str

    @property
    def stop(self) -> bool:
        """Whether it forbids the next start, or the table."""
        return self.label != "caution"


def dangers(found: Learnt) -> list[Danger]:
    """The crossed limits, the most dangerous first, and what holds the table back."""
    said = [
        Danger("STOP" if event.stop else "caution",
               f"{_capital(event.kind)} from {clock(event.at_s)}, for {event.for_s:.1f} s. {_capital(event.says)}.")
        for event in found.events
    ]  # fmt: skip
    if found.nothing:
        said.append(Danger("STOP", f"Nothing was learnt about the table: {found.nothing}."))
    elif found.stopped:
        said.append(Danger("HELD", _held(found)))
    return said


def _held(found: Learnt) -> str:
    open_ones = [hold for hold in found.holds if not hold.accepted]
    # An event that was stated above is named only.
    said = {event.kind.replace(" ", "-") for event in found.events}
    listed = "; ".join(hold.name if hold.name in said else f"{hold.name} ({hold.says})" for hold in open_ones)
    options = " ".join(f"--accept {hold.name}" for hold in open_ones)
    return f"No table to load was written, because of {listed}. To write it at your own risk: {options}"


def nothing_crossed(found: Learnt) -> bool:
    """Whether logs were read now and no limit was crossed in them."""
    return bool(found.used) and not (found.events or found.nothing)


@dataclass(frozen=True)
class CellsLearnt:
    """The visited cells, or the others: how many, how far off they were, their change, their band before and now."""

    name: str
    count: int
    were: str
    change: str
    band_before: str
    band_now: str


def cells(result: Result, table: LearntTable) -> list[CellsLearnt]:
    """The reachable cells that a drive visited, and those that it did not."""
    reachable = result.table.reachable
    both = (("visited", table.visited & reachable), ("not visited", ~table.visited & reachable))
    return [one for name, where in both for one in _cells(name, table, where)]


def _cells(name: str, table: LearntTable, where: BoolArray) -> Iterator[CellsLearnt]:
    errors = table.mean_before[where & np.isfinite(table.mean_before)]
    if not errors.size:
        return
    change = 1.0 + table.change_percent[where] / 100.0
    ends = [signed_percent(float(one)) for one in (np.nanmin(change), np.nanmax(change))]
    before, now = (2.0 * float(np.nanmedian(values[where])) for values in (table.standard_before, table.standard_after))
    yield CellsLearnt(
        name,
        int(errors.size),
        span(float(np.exp(errors.max())), float(np.exp(errors.min()))),
        f"{ends[0].removesuffix(' %')} to {ends[1]}",
        f"±{percent_up(before)} %",
        f"±{percent_up(now)} %",
    )


def lean_end(result: Result, table: LearntTable) -> str:
    """How lean the new table may still be at load; empty where the table has no cell at load."""
    end = table.lean_at_load
    if end is None:
        return ""
    place = place_of(result.job, *end.cell)
    return f"With the new table it may still be {off(end.ratio)} somewhere at load (most likely {place}; k = 2)."


def likely(found: Learnt) -> list[Fault]:
    """The faults that explain the drive better than no fault does, at most three."""
    return [fault for fault in found.faults if fault.says.split(":")[0] in ("clearly", "likely", "perhaps")][:3]


def fault_in_words(fault: Fault) -> tuple[str, str]:
    """A fault with those that look like it, and the test that tells them apart; no test where there is none."""
    how, _, rest = fault.says.partition(": ")
    what, _, test = rest.partition(". Test: ")
    return f"{_capital(fault.name)} ({how}): {what}.", test and f"{test}."


def _capital(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}"


def controller(formula: Formula) -> str:
    """Formula factor and dead time of the controller, as the logged pulses show them.

    >>> controller(Formula(1.0021, 1e-4, 1.0371, 4e-4, 13.9, None, None, 1.017, -0.17, True))[:68]
    'Formula factor 1.002 ± 0.001; dead time 1.037 ± 0.001 ms at 13.9 V ('
    """
    says = (
        "That is within what was assumed" if formula.confirms else "That is NOT what was assumed: see the settings page"
    )
    slope = ""
    if formula.per_volt_ms is not None:
        slope = f", changing by {formula.per_volt_ms:+.3f} ms/V (told {formula.told_per_volt_ms:+.3f})"
    factor, dead_ms = (rounded_up(2 * one, 3) for one in (formula.factor_standard, formula.dead_time_standard_ms))
    return (
        f"Formula factor {formula.factor:.3f} ± {factor}; dead time "
        f"{formula.dead_time_ms:.3f} ± {dead_ms} ms at {formula.battery_v:.1f} V "
        f"(told {formula.told_ms:.3f}){slope}. {says}."
    )


def next_points(result: Result, found: Learnt) -> list[tuple[str, str, str]]:
    """Where to drive next: speed, load, and what that would settle."""
    unit = result.job.target.shown.load_unit
    return [
        (
            f"{point.rpm:g} rpm",
            f"{point.load:g} {unit}",
            f"would settle {100 * point.narrows:.0f} % of what is still uncertain",
        )
        for point in found.next_points
    ]


def compared(found: Learnt) -> list[str]:
    """How much of the logs was compared, why the rest was left out, and how their columns were read."""
    if not found.used:
        before = sum(float(log.chunks.for_s.sum()) for log in found.logs)
        return [f"{before:.0f} s, {sum(log.chunks.size for log in found.logs)} steady stretches, learnt from before."]
    seconds, used = sum(one.seconds for one in found.used), sum(one.compared_s for one in found.used)
    reasons: dict[str, float] = {}
    for one in found.used:
        for reason, gone in one.left_out.items():
            reasons[reason] = reasons.get(reason, 0.0) + gone
    listed = sorted(((gone, reason) for reason, gone in reasons.items() if gone >= 0.5), reverse=True)
    left = ", ".join(f"{gone:.0f} s {reason}" for gone, reason in listed)
    lines = [f"{used:.0f} of {seconds:.0f} s, {sum(one.chunks for one in found.used)} steady stretches."]
    if left:
        lines.append(f"Left out: {left}.")
    return [*lines, *(f"Columns as read: {'; '.join(said)}." for said in found.read_as if said)]


def clock(seconds: float) -> str:
    """A time of a log, in minutes and seconds.

    >>> clock(192.49)
    '3:12.5'
    """
    return f"{int(seconds) // 60}:{seconds % 60:04.1f}"
