"""What to do before the first start: each thing once, the most dangerous first."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.further_tables import COLD_K
from basemap.adaptation.units_shown import fuel_pressure, temperature
from basemap.model.cause import Cause, by_cause
from basemap.model.finding import Severity, Verdict
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.report.brief.engines import fuel_in_short
from basemap.report.brief.in_short import first_step, in_short, others
from basemap.report.brief.statement import Statement, Topic
from basemap.rounding import rounded_up
from basemap.rules.causes import COLD, FUEL, LAMBDA_TABLE, UNCERTAIN, UNKNOWN, UNTOUCHED

_ELSEWHERE = (UNTOUCHED, UNKNOWN, "ignition")
"""Causes that other statements cover: the verdict, what was assumed, the ignition."""


def before_the_first_start(result: Result) -> Iterator[Statement]:
    """What must be loaded together, what to do about each caution, and what the pump must give."""
    if _together(result):
        rules = tuple(one.rule for one in result.findings if one.rule in ("half-loaded", LAMBDA_TABLE))
        what = "settings, fuel and lambda table" if LAMBDA_TABLE in rules else "settings and table"
        yield _first(f"Enter {what} together, engine off; read them back.", None, rules)
    pump = _pump(result)
    for group in _cautions(result):
        said = _caution(result, group)
        if pump and "fuel" in group.rules:
            said, pump = f"{said.removesuffix('.')}; {pump}.", ""
        yield _first(said, group.severity, group.rules)
    if pump:
        yield _first(f"{pump[0].upper()}{pump[1:]}.", None)


def _pump(result: Result) -> str:
    """What the pump must give; empty where engine and fuel stay the same, or the job states what it gives."""
    job, found = result.job, result.fuel_demand
    same = {"engine", "fuel"} <= job.same_as_donor or result.verdict is Verdict.REFUSE
    if same or job.target.hardware.fuel.pump_flow_m3_s is not None or not np.isfinite(found.most.flow_m3_s):
        return ""
    litres = rounded_up(found.most.litres_per_hour, 0)
    return f"the pump must give {litres} l/h at {fuel_pressure(job).text(found.pressure_pa)}"


def _together(result: Result) -> bool:
    """Whether settings and tables are to be loaded, and so together."""
    return result.verdict is Verdict.ADAPT and bool(result.settings)


def _first(text: str, severity: Severity | None, rules: tuple[str, ...] = ()) -> Statement:
    return Statement(Topic.FIRST, text, severity, rules)


def _cautions(result: Result) -> list[Cause]:
    """Causes of cautions that no earlier statement covers."""
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
        left = fuel_in_short(fuel) if fuel.parts else "what is left of the donor's fuel"
        return f"Flush {left} out of tank and lines."
    if group.cause == COLD:
        return _cold(result, group)
    also = others(group)
    said = f"{in_short(group.gravest.message)} {first_step(group.gravest.remedy)}"
    return f"{said} Also: {also}." if also else said


def _cold(result: Result, group: Cause) -> str:
    """Everything about a cold start, in one sentence."""
    tables = [one for one in result.further_tables if Mark.CALIBRATE in one.marks]
    degrees = temperature(result.job)
    names = ", ".join(one.name for one in tables)
    cold = f"{names} {'are' if len(tables) > 1 else 'is'} not adapted below {degrees.text(COLD_K)}" if tables else ""
    if "no-cranking-table" in group.rules:
        made = "Start warm, with a cranking table made on the engine: the job has none"
        return f"{made}; {cold}." if cold else f"{made}."
    coldest = degrees.text(result.job.target.hardware.engine.coldest_start_k)
    return f"Start warm, calibrate: {cold or f'the coldest start is {coldest} on alcohol'}."


def more(result: Result) -> Iterator[Statement]:
    """Where the findings are explained."""
    groups = [
        group for group in by_cause(result.findings) if group.cause != UNCERTAIN or group.severity is Severity.STOP
    ]
    if groups:
        rules = tuple(dict.fromkeys(rule for group in groups for rule in group.rules))
        yield Statement(Topic.MORE, "Every finding with its reason: --all", None, rules)


def always(result: Result) -> Iterator[Statement]:
    """What is true of every first start."""
    if result.verdict is not Verdict.REFUSE:
        text = "Always: timing light, rail gauge, no leaks, extinguisher, a qualified tuner."
        yield Statement(Topic.ALWAYS, text)
