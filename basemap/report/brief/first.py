"""What to do before the first start, each thing once, the most dangerous first."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.adaptation.further_tables import COLD_K
from basemap.adaptation.units_shown import temperature
from basemap.model.cause import Cause, by_cause
from basemap.model.marks import Mark
from basemap.model.result import Result, Severity, Verdict
from basemap.report.brief.engines import fuel_in_short
from basemap.report.brief.in_short import first_step, in_short, others
from basemap.report.brief.statement import Statement, Topic
from basemap.rules.causes import COLD, FUEL, LAMBDA_TABLE, UNCERTAIN, UNKNOWN, UNTOUCHED

_ELSEWHERE = (UNTOUCHED, UNKNOWN, "ignition")
"""Causes that other statements stand for: the verdict, what was assumed, the ignition."""


def before_the_first_start(result: Result) -> Iterator[Statement]:
    """Cautions with what to do about them, between what belongs to every start of an adapted map."""
    if _together(result):
        rules = tuple(one.rule for one in result.findings if one.rule in ("half-loaded", LAMBDA_TABLE))
        what = "settings, fuel and lambda table" if LAMBDA_TABLE in rules else "settings and table"
        yield _first(f"Enter {what} together, engine off; read them back.", None, rules)
    for group in _cautions(result):
        yield _first(_caution(result, group), group.severity, group.rules)
    if result.verdict is not Verdict.REFUSE:
        yield _first("Check the timing with a light, at fixed advance; begin late.", None)


def _together(result: Result) -> bool:
    """Whether settings and tables are to be loaded, and so together."""
    return result.verdict is Verdict.ADAPT and bool(result.settings)


def _first(text: str, severity: Severity | None, rules: tuple[str, ...] = ()) -> Statement:
    return Statement(Topic.FIRST, text, severity, rules)


def _cautions(result: Result) -> list[Cause]:
    """Causes of cautions that nothing said before stands for."""
    elsewhere = [*_ELSEWHERE, *([LAMBDA_TABLE] if _together(result) else [])]
    elsewhere += [] if result.verdict is Verdict.REFUSE else [UNCERTAIN]  # how far to go says it
    stopped = {one.cause for one in result.stops}
    groups = by_cause(one for one in result.findings if one not in result.stops and not one.accepted)
    return [
        group
        for group in groups
        if group.severity is Severity.CAUTION and group.cause not in elsewhere and group.cause not in stopped
    ]


def _caution(result: Result, group: Cause) -> str:
    if group.cause == FUEL and group.gravest.rule == "fuel":
        fuel = result.job.donor.hardware.fuel
        left = f"left-over {fuel_in_short(fuel)}" if fuel.parts else "what is left of the donor's fuel"
        return f"Flush tank and lines: {left} changes the mixture."
    if group.cause == COLD:
        return _cold(result, group)
    also = others(group)
    said = f"{in_short(group.gravest.message)} {first_step(group.gravest.remedy)}"
    return f"{said} Also: {also}." if also else said


def _cold(result: Result, group: Cause) -> str:
    """Everything about a cold start in one breath."""
    tables = [one for one in result.further_tables if Mark.CALIBRATE in one.marks]
    degrees, parts = temperature(result.job), []
    if "no-cranking-table" in group.rules:
        named = [one.name for one in result.further_tables]
        parts.append(f"No cranking table is in the job{f' beside {_listed(named)}' if named else ''}")
    if tables:
        cells = sum(int(one.marks[Mark.CALIBRATE].sum()) for one in tables)
        names = _listed([one.name for one in tables])
        below = f"{degrees.text(COLD_K)} ({cells} {'cell' if cells == 1 else 'cells'})"
        parts.append(f"{names} below {below} {'are' if len(tables) > 1 else 'is'} not adapted")
    if "ethanol-cold-start" in group.rules:
        coldest = degrees.text(result.job.target.hardware.engine.coldest_start_k)
        parts.append(f"the coldest start is {coldest} on alcohol")
    do = "make one on the engine" if "no-cranking-table" in group.rules else "calibrate on the engine"
    return f"{', and '.join(parts)}: start warm, {do}."


def _listed(names: list[str]) -> str:
    return ", ".join(names)


def more(result: Result) -> Iterator[Statement]:
    """How many findings there are to be read with their reasons."""
    groups = [
        group for group in by_cause(result.findings) if group.cause != UNCERTAIN or group.severity is Severity.STOP
    ]
    if groups:
        rules = tuple(dict.fromkeys(rule for group in groups for rule in group.rules))
        words = "1 finding with its reason" if len(groups) == 1 else f"{len(groups)} findings with reasons"
        yield Statement(Topic.MORE, f"{words}: --all", None, rules)


def always(result: Result) -> Iterator[Statement]:
    """What is true of every first start."""
    if result.verdict is not Verdict.REFUSE:
        text = "Always: gauge on the rail, no leaks, extinguisher at hand, a qualified tuner."
        yield Statement(Topic.ALWAYS, text)
