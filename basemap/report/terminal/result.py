"""A result on a terminal: the verdict first, readable at 80 columns, without colour and through a pipe."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Group
from rich.text import Text

from basemap.model.marks import Mark
from basemap.model.result import Finding, Result, Scope, Setting, Severity, Verdict
from basemap.model.storage import stored_decimals
from basemap.report import standing
from basemap.report.lambda_table import to_load
from basemap.report.outcomes_in_words import as_loaded, breathing_in_words, how_sure, mixture, over_voltage
from basemap.report.terminal.further_tables import further_tables
from basemap.report.terminal.grid import PrintedTable, lines
from basemap.report.terminal.layout import columns, hanging, heading, indented
from basemap.report.words import harmless, number
from basemap.rounding import cells, signed_percent

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

Parts = list["RenderableType"]

IGNITION = "Ignition is NOT adapted: no load until somebody qualified has set it."

_VERDICT_MARK = {Verdict.SUITS: "[ OK ]", Verdict.ADAPT: "[ !! ]", Verdict.REFUSE: "[STOP]"}
_VERDICT_STYLE = {Verdict.SUITS: "bold green", Verdict.ADAPT: "bold yellow", Verdict.REFUSE: "bold red"}
_VERDICT_MEANS = {
    Verdict.SUITS: "with the donor's own settings, the donor's table is within 3 % of the intended mixture wherever "
    "the target engine goes.",
    Verdict.ADAPT: "do not load the donor's table as it is. The new table and the settings to enter belong together.",
    Verdict.REFUSE: "a stop stands. Load nothing that comes from this donor.",
}
_SEVERITY_LABEL = {Severity.STOP: "STOP", Severity.CAUTION: "caution", Severity.NOTE: "note"}
_SEVERITY_STYLE = {Severity.STOP: "bold red", Severity.CAUTION: "bold yellow", Severity.NOTE: "bold"}
_LABEL_WIDTH = 9


def checked(result: Result, next_step: str) -> Group:
    """What `check` prints; `next_step` is the command that follows."""
    parts = [*_head(result), *_findings(result), *mixture(result), *how_sure(result), *_not_known(result)]
    if result.verdict is Verdict.ADAPT:
        parts += [*heading("next"), indented(next_step)]
    return Group(*parts)


def adapted(result: Result, files: Sequence[Path], console: Console) -> Group:
    """What `adapt` prints."""
    return Group(
        *_head(result),
        *_settings(result),
        *_findings(result),
        *_new_table(result, console),
        *further_tables(result, console),
        *mixture(result),
        *over_voltage(result),
        *how_sure(result),
        *_not_known(result),
        *_files(result, files),
    )


def brief(result: Result, files: Iterable[Path] = ()) -> Group:
    """What ``--quiet`` leaves: the verdict, what stands against the map, the ignition, the files."""
    against = [Text(harmless(line)) for line in (*standing.because(result), *standing.conditions(result))]
    return Group(verdict(result), *against, Text(IGNITION), *(Text(str(path)) for path in files))


def _head(result: Result) -> Parts:
    first = standing.because(result) if result.verdict is Verdict.REFUSE else [as_loaded(result)]
    paragraphs = [*first, IGNITION, *standing.conditions(result)]
    return [
        Text(harmless(result.job.title), style="bold"),
        Text(""),
        verdict(result, _means(result)),
        hanging("", [harmless(paragraph) for paragraph in paragraphs if paragraph], width=7),
    ]


def _means(result: Result) -> str:
    """What a verdict means for the user; a stop above a limit only is met by a cut."""
    if result.verdict is Verdict.REFUSE and all(stop.scope is Scope.LIMIT for stop in result.stops):
        return (
            "a stop stands, above a limit only. State the cut that it names and have the ECU enforce it, or load "
            "nothing."
        )
    return _VERDICT_MEANS[result.verdict]


def verdict(result: Result, meaning: str = "") -> RenderableType:
    """The verdict with its mark, and what it means where that is said."""
    words = result.verdict.value.upper() + (f": {meaning}" if meaning else "")
    return hanging(_VERDICT_MARK[result.verdict], [words], style=_VERDICT_STYLE[result.verdict], width=7)


def _settings(result: Result) -> Parts:
    if not result.settings and not to_load(result):
        return [*heading("settings to enter"), indented("None: this table carries everything in its cells.")]
    if result.verdict is Verdict.REFUSE:
        parts = heading("settings that would belong to the new table")
    else:
        parts = heading("settings to enter together with the new table")
    for setting in result.settings:
        parts += _over_points(setting) if setting.points[2] else _one_number(setting)
        parts.append(indented(harmless(setting.basis), by=6))
    for words in to_load(result):
        parts.append(hanging("", [harmless(f"lambda table {words}")], style="bold", width=2))
    return parts


def _one_number(setting: Setting) -> Parts:
    old, enter = _single(setting.old), _single(setting.enter)
    unit = f" {setting.unit}" if setting.unit else ""
    name = setting.name.replace("_", " ")
    if setting.enter is None:
        return [Text(f"  {name}: leave it at {number(_single(setting.in_force))}{unit}", style="bold")]
    line = Text(f"  {name}: enter {number(enter, 5)}{unit}", style="bold")
    line.append(f"  (donor's {number(old, 5)})" if old is not None else "", style="not bold")
    return [line]


def _single(value: float | tuple[float, ...] | None) -> float | None:
    assert not isinstance(value, tuple)
    return value


def _over_points(setting: Setting) -> Parts:
    rows = []
    for label, values in (("donor's", setting.old), ("enter", setting.enter), ("in force", setting.in_force)):
        if isinstance(values, tuple) and not (label == "in force" and setting.enter is not None):
            rows.append([f"{label}, {setting.unit}", *(f"{value:.3f}" for value in values)])
    name, unit, points = setting.points
    head = [name, *(f"{point:g} {unit}" for point in points)]
    return [Text(f"  {setting.name.replace('_', ' ')}", style="bold"), columns(rows, head=head, margin=4)]


def _findings(result: Result) -> Parts:
    parts = heading("findings")
    if not result.findings:
        parts.append(indented("None."))
    for severity in Severity:
        parts += [finding_in_words(result, finding) for finding in result.findings if finding.severity is severity]
    return parts


def finding_in_words(result: Result, finding: Finding) -> RenderableType:
    """A finding beside its severity, with what to do."""
    name = finding.rule
    if finding.table is not None and finding.table != result.table.name:
        name += f", table {finding.table}"
    if finding.severity is Severity.STOP and finding.scope is Scope.LIMIT:
        has_end = finding.limit_load_pa is not None or finding.limit_rpm is not None
        name += ", above a limit only" if has_end else ", for a part of the table only"
    if finding.accepted:
        name += ", accepted by you"
    paragraphs = [f"{name}: {finding.message}"]
    if finding.remedy:
        paragraphs.append(f"Do: {finding.remedy}")
    return hanging(
        _SEVERITY_LABEL[finding.severity],
        [harmless(paragraph) for paragraph in paragraphs],
        style=_SEVERITY_STYLE[finding.severity],
        width=_LABEL_WIDTH,
    )


def _not_known(result: Result) -> Parts:
    parts: Parts = []
    if result.job.assumed:
        parts += heading("assumed, because the job does not say")
        for one in result.job.assumed:
            spread = f" ± {one.half_width}" if one.half_width else ""
            why = "; ".join(reason for reason in (one.why, one.moves and f"moves {one.moves}") if reason)
            parts.append(hanging("  -", [harmless(f"{one.key}: {one.value}{spread}" + (f" ({why})" if why else ""))],
                                 width=4))  # fmt: skip
    if result.not_judged:
        parts += heading("not judged")
        for rule in result.not_judged:
            missing = ", ".join(rule.missing)
            parts.append(hanging("  -", [harmless(f"{rule.rule}: needs {missing}")], width=4))
    if result.cancelled:
        parts += heading("left out, and not needed because it cancels")
        parts.append(indented(", ".join(result.cancelled)))
    return parts


def _new_table(result: Result, console: Console) -> Parts:
    job, table = result.job, result.table
    decimals = stored_decimals(job.storage, job.target.shown)
    stamp = " - DO NOT LOAD" if result.verdict is Verdict.REFUSE else ""
    grid = PrintedTable(
        values=table.stored,
        rpm=job.rpm,
        load=job.target.shown.load,
        load_unit=job.target.shown.load_unit,
        unit=job.target.shown.unit,
        decimals=decimals,
        reachable=table.reachable,
    )
    parts = [*heading(f"new table: {harmless(table.name)}, {job.target.table.quantity.value}{stamp}")]
    parts += lines(grid, console)
    parts += [Text(""), indented(_change(result))]
    if words := breathing_in_words(result):
        parts.append(indented(words))
    return parts + [hanging("  -", [line], width=4) for line in _marks(result)]


def _change(result: Result) -> str:
    if result.job.other_quantity:
        return (
            f"The donor's cells are {result.job.donor.table.quantity.value} in {result.job.donor.shown.unit}: "
            "old and new cannot be compared cell for cell."
        )
    change = np.where(result.table.reachable, result.table.change_percent, np.nan)
    known = change[np.isfinite(change)]
    if not known.size:
        return "How far the cells changed cannot be said."
    low, high = float(known.min()), float(known.max())
    if max(abs(low), abs(high)) < 0.05:
        return "No cell changes by as much as 0.1 %."
    ends = f"{signed_percent(1 + low / 100)} to {signed_percent(1 + high / 100)}"
    return f"New against old, cells that the engine reaches: {ends}."


def _marks(result: Result) -> list[str]:
    """Each mark with how many cells have it and where they lie."""
    job = result.job
    out = []
    for mark, where in result.table.marks.items():
        rows, cols = np.nonzero(where)
        # The table's axes show what is not reachable.
        if mark is Mark.NOT_REACHABLE or not rows.size:
            continue
        loads, speeds = job.target.shown.load[rows], job.rpm[cols]
        out.append(
            f"{mark.in_words}: {cells(rows.size)}, {_span(speeds)} rpm, {_span(loads)} {job.target.shown.load_unit}"
        )
    return out


def _span(values: np.ndarray) -> str:
    low, high = float(values.min()), float(values.max())
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _files(result: Result, files: Sequence[Path]) -> Parts:
    parts = heading("written")
    parts += [indented(harmless(str(path))) for path in files]
    if result.verdict is Verdict.REFUSE:
        parts.append(indented("No table to load was written, because a stop stands."))
    return parts
