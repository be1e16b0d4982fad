"""What `--all` prints: findings with threshold, reason, source and remedy; settings, outcomes, band, sweeps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from basemap.adaptation.units_shown import fuel_pressure, temperature
from basemap.model.finding import Finding, Scope, Severity, Verdict
from basemap.model.installation import FloatArray
from basemap.model.result import Result, Setting, TemperatureSweep, VoltageSweep
from basemap.report.dead_times import beyond_the_data, nothing_left
from basemap.report.lambda_table import to_load
from basemap.report.outcomes_in_words import how_sure, mixture
from basemap.report.terminal.layout import WORDS, Hanging, columns, hanging, heading, indented
from basemap.report.words import harmless, number, without_marks
from basemap.rounding import rounded_up, signed_percent
from basemap.rules.registry import RULES
from basemap.rules.rule import Rule

if TYPE_CHECKING:
    from rich.console import RenderableType

Parts = list["RenderableType"]


def details(result: Result) -> Parts:
    """Everything that `--all` adds to the brief."""
    return [
        *_findings(result),
        *_settings(result),
        *mixture(result),
        *how_sure(result),
        *_over_voltage(result),
        *_over_temperature(result),
        *_pump(result),
        *_not_known(result),
    ]


def _findings(result: Result) -> Parts:
    parts = heading("findings")
    if not result.findings:
        parts.append(indented("None."))
    rules = {rule.name: rule for rule in RULES}
    for severity in Severity:
        for finding in result.findings:
            if finding.severity is severity:
                parts += finding_in_words(result, finding, rules.get(finding.rule))
    return parts


def finding_in_words(result: Result, finding: Finding, rule: Rule | None = None) -> Parts:
    """A finding after its severity, with what to do; if `rule` is given, with threshold, reason and source too."""
    name = finding.rule
    if finding.table is not None and finding.table != result.table.name:
        name += f", table {finding.table}"
    if finding.severity is Severity.STOP and finding.scope is Scope.LIMIT:
        has_end = finding.limit_load_pa is not None or finding.limit_rpm is not None
        name += ", above a limit only" if has_end else ", for a part of the table only"
    if finding.accepted:
        name += ", accepted by you"
    said = [("", f"{name}: {finding.message}")]
    said += [("Do:", finding.remedy)] if finding.remedy else []
    if rule is not None:
        said += [("Threshold:", rule.threshold), ("Why:", rule.why), ("Source:", finding.source)]
    parts: Parts = []
    for at, (label, text) in enumerate(said):
        word = WORDS[finding.severity] if not at else ""
        words = f"{label} {without_marks(text)}".lstrip()
        parts.append(Hanging(word, harmless(words), indent=9, severity=finding.severity))
    return parts


def _settings(result: Result) -> Parts:
    if not result.settings and not to_load(result):
        return [*heading("settings to enter"), indented("None: the cells of this table hold everything.")]
    if result.verdict is Verdict.REFUSE:
        parts = heading("settings that would go with the new table")
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
    name = setting.words
    if setting.enter is None:
        return [Text(f"  {name}: leave it at {number(_single(setting.in_force))}{unit}", style="bold")]
    line = Text(f"  {name}: enter {number(enter, 5)}{unit}", style="bold")
    whose = "donor's, assumed:" if setting.old_assumed else "donor's"
    line.append(f"  ({whose} {number(old, 5)})" if old is not None else "", style="not bold")
    return [line]


def _single(value: float | tuple[float, ...] | None) -> float | None:
    assert not isinstance(value, tuple)
    return value


def _over_points(setting: Setting) -> Parts:
    rows = []
    donors = "donor's, assumed" if setting.old_assumed else "donor's"
    for label, values in ((donors, setting.old), ("enter", setting.enter), ("in force", setting.in_force)):
        if isinstance(values, tuple) and not (label == "in force" and setting.enter is not None):
            rows.append([f"{label}, {setting.unit}", *(f"{value:.3f}" for value in values)])
    name, unit, points = setting.points
    head = [name, *(f"{point:g} {unit}" for point in points)]
    return [Text(f"  {setting.words}", style="bold"), columns(rows, head=head, margin=4)]


def _over_voltage(result: Result) -> Parts:
    """The mixture over the battery's voltage: at each place, and the extremes."""
    title, sweep = "mixture over the battery's voltage, new table and settings", result.sweep
    beyond = [indented(words)] if (words := beyond_the_data(result.job, sweep.battery_v)) else []
    if none := nothing_left(result.job, sweep):
        return [*heading(title), indented(none), *beyond]
    parts = _over(title, "V", sweep.battery_v, sweep)
    return [*parts, *beyond] if parts else []


def _over_temperature(result: Result) -> Parts:
    sweep = result.temperature_sweep
    title = "mixture over the charge temperature, new table and settings"
    unit = temperature(result.job)
    points = (sweep.charge_k - unit.zero) / unit.size
    errors = np.array([*(at_place for _, _, at_place in sweep.places.values()), sweep.leanest, sweep.richest])
    if np.isfinite(errors).all() and {signed_percent(float(error)) for error in errors.flat} == {signed_percent(1.0)}:
        return [*heading(title), indented(f"As intended from {points[0]:.4g} to {points[-1]:.4g} {unit.name}.")]
    return _over(title, unit.name, points, sweep)


def _pump(result: Result) -> Parts:
    found = result.fuel_demand
    if not np.isfinite(found.most.flow_m3_s):
        return []
    parts = [] if found.rated is None else [("at the rated speed", found.rated)]
    parts.append(("at the highest speed", found.rev_limit))
    litres = "; ".join(f"{words}, {one.rpm:g} rpm, {rounded_up(one.litres_per_hour, 1)} l/h" for words, one in parts)
    return [*heading("fuel at full load: the pump must give"),
            indented(f"{litres}; at {fuel_pressure(result.job).text(found.pressure_pa)}.")]  # fmt: skip


def _over(title: str, unit: str, points: FloatArray, sweep: VoltageSweep | TemperatureSweep) -> Parts:
    """The mixture at each place and its extremes, point by point."""
    if not np.isfinite(sweep.richest).any():
        return []
    places = list(sweep.places)
    rows = [
        [
            f"{point:.4g}",
            *(signed_percent(float(sweep.places[place][2][at])) for place in places),
            signed_percent(float(sweep.leanest[at])),
            signed_percent(float(sweep.richest[at])),
        ]
        for at, point in enumerate(points)
    ]
    return [*heading(title), columns(rows, head=[unit, *places, "leanest", "richest"], left=())]


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
            stop = "could stop; " if rule.can_stop else ""
            words = f"{rule.rule}: {stop}needs {', '.join(rule.missing)}. {rule.message}".rstrip()
            parts.append(hanging("  -", [harmless(words)], width=4))
    if result.cancelled:
        parts += heading("left out, and not needed because it cancels")
        parts.append(indented(", ".join(result.cancelled)))
    return parts
