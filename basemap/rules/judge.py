"""From numbers to a verdict: run every rule, see which limits a cut meets, apply overrides, order the findings."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from basemap.constants import SAME
from basemap.errors import InputError
from basemap.model.band import LeanEnd
from basemap.model.finding import Finding, NotJudged, Scope, Severity, Verdict
from basemap.model.installation import FloatArray
from basemap.model.result import Computed
from basemap.rules.case import Case
from basemap.rules.causes import UNTOUCHED, cause_of
from basemap.rules.how_far import Going, going
from basemap.rules.loading import suits
from basemap.rules.plausible import TARGET_POWER
from basemap.rules.registry import RULES
from basemap.rules.rule import Answer, Missing, Rule, Trip
from basemap.rules.sensors import scale_differs

_WEIGHT = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


class Judgement(NamedTuple):
    """What the rules say about a job.

    Parameters
    ----------
    verdict
        Whether the donor's map can be used.
    findings
        Stops first, then cautions and notes; within each the most dangerous first.
    not_judged
        Rules that lack something, with the job-file keys.
    accepted
        Rules whose stops the user accepts at their own risk.
    limits
        Loads and speeds that the answer depends on, in words.
    going
        How far to go with the new table.
    """

    verdict: Verdict
    findings: tuple[Finding, ...]
    not_judged: tuple[NotJudged, ...]
    accepted: tuple[str, ...]
    limits: tuple[str, ...]
    going: Going


class _Found(NamedTuple):
    """A finding, the key that it is sorted by, and the limit that a cut keeps within."""

    finding: Finding
    order: tuple[int, bool, int]
    met: str | None = None


def judge(
    computed: Computed,
    accept: Sequence[str] = (),
    *,
    relative_uncertainty: FloatArray | None = None,
    measure_first: Mapping[str, str] | None = None,
    measurable: Mapping[str, FloatArray] | None = None,
    of_parts: FloatArray | None = None,
    further_uncertainty: Mapping[str, FloatArray] | None = None,
    lean_at_load: LeanEnd | None = None,
) -> Judgement:
    """Judge a job by every rule.

    Parameters
    ----------
    computed
        The numbers of the job.
    accept
        Names of rules whose stops do not count; recorded.
    relative_uncertainty
        Expanded uncertainty (k = 2) of λ after adapting, relative, shape (loads, speeds), if it is known.
    measure_first
        Place → the input whose measurement would narrow it most there, if one would.
    measurable
        Input that can be measured on the bench → the uncertainty that it alone causes, shape (loads, speeds).
    of_parts
        The uncertainty from inputs that can be measured on parts: all but how the target breathes; all of it unless
        given.
    further_uncertainty
        As `of_parts`, for the further tables of pulses by name.
    lean_at_load
        Lean end of all cells at load together; each cell's own is taken unless given.

    Raises
    ------
    InputError
        Where `accept` names something that is not a rule.
    """
    accepted = tuple(dict.fromkeys(_known(name) for name in accept))
    parts = relative_uncertainty if of_parts is None else of_parts
    further = further_uncertainty or {}
    case = Case(computed, relative_uncertainty, measure_first, further, measurable or {}, parts, lean_at_load)
    found: list[_Found] = []
    not_judged: list[NotJudged] = []
    for rank, rule in enumerate(RULES):
        for answer in _answers(case, rule):
            if isinstance(answer, Missing):
                not_judged.append(NotJudged(rule.name, answer.keys, answer.message, rule.can_stop))
            else:
                found.append(_finding(case, rule, answer, rank, rule.name in accepted))
    found.sort(key=lambda each: each.order)
    return Judgement(
        verdict=_verdict(case, found),
        findings=tuple(each.finding for each in found),
        not_judged=tuple(not_judged),
        accepted=accepted,
        limits=tuple(_limits(case, found)),
        going=going(case, lean_by_power=any(_lean_by_power(each.finding) for each in found)),
    )


def _lean_by_power(finding: Finding) -> bool:
    """Whether it says that the target's rated power needs more air than its table has fuel for."""
    value, limit = finding.value, finding.limit
    return finding.rule == TARGET_POWER.name and value is not None and limit is not None and value < limit


def _answers(case: Case, rule: Rule) -> Iterator[Answer]:
    """What a rule says; cells on the donor's own axes are left out, because they are not cells of the target."""
    if not rule.about_donor or case.on_donor_axes is case:
        yield from rule.judge(case)
        return
    for answer in rule.judge(case.on_donor_axes):
        yield replace(answer, cells=()) if isinstance(answer, Trip) else answer


def _known(name: str) -> str:
    names = [rule.name for rule in RULES]
    if name in names:
        return name
    nearest = difflib.get_close_matches(name.strip().casefold(), names, n=1, cutoff=0.0)[0]
    raise InputError(f'there is no rule "{name}" to accept; the nearest is "{nearest}"', place="--accept")


def _finding(case: Case, rule: Rule, trip: Trip, rank: int, accepted: bool) -> _Found:
    met = _met(case, trip)
    severity = Severity.CAUTION if met else trip.severity
    message, remedy = trip.message, trip.remedy or rule.remedy
    if met:
        message = f"{message} Met: the job states {met}."
        remedy = "Make sure that the ECU enforces the cut, and test it at low load before the first full-load pull."
    finding = Finding(
        rule=rule.name,
        severity=severity,
        message=message,
        remedy=remedy,
        source=rule.source,
        scope=trip.scope,
        table=trip.table or (case.table.name if rule.about_table else None),
        value=trip.value,
        limit=trip.limit,
        cells=trip.cells,
        accepted=accepted and severity is Severity.STOP,
        limit_load_pa=trip.limit_load_pa,
        limit_rpm=trip.limit_rpm,
        cause=UNTOUCHED if trip.as_loaded else trip.cause or cause_of(rule.name),
    )
    return _Found(finding, (_WEIGHT[severity], trip.as_loaded, rank), met)


def _met(case: Case, trip: Trip) -> str | None:
    """The cut that meets a limit stop, in words."""
    engine = case.job.target.hardware.engine
    if trip.severity is not Severity.STOP or trip.scope is not Scope.LIMIT:
        return None
    cut, limit = engine.load_cut_pa, trip.limit_load_pa
    if cut is not None and limit is not None and cut <= limit * (1.0 + SAME):
        return f"a load cut of {case.load(cut)}"
    rev_cut, limit_rpm = engine.rev_cut_rpm, trip.limit_rpm
    if rev_cut is not None and limit_rpm is not None and rev_cut <= limit_rpm * (1.0 + SAME):
        return f"a rev cut of {rev_cut:g} rpm"
    return None


def _verdict(case: Case, found: Sequence[_Found]) -> Verdict:
    if any(each.finding.severity is Severity.STOP and not each.finding.accepted for each in found):
        return Verdict.REFUSE
    met = any(each.met for each in found)
    return Verdict.SUITS if suits(case) and not met and not scale_differs(case) else Verdict.ADAPT


def _limits(case: Case, found: Sequence[_Found]) -> Iterator[str]:
    """Every cut that the answer depends on, and where the map is known, in words."""
    engine, peak = case.job.target.hardware.engine, case.job.target.hardware.peak_pressure_pa
    met = [each for each in found if each.met]
    if engine.load_cut_pa is not None and (engine.load_cut_pa < peak or _by(met, "load")):
        yield _limit(f"Load no higher than {case.load(engine.load_cut_pa)}", "load_cut", _by(met, "load"))
    limit = engine.rev_limit_rpm
    if engine.rev_cut_rpm is not None and (limit is None or engine.rev_cut_rpm < limit or _by(met, "rev")):
        yield _limit(f"Speed no higher than {engine.rev_cut_rpm:g} rpm", "rev_cut", _by(met, "rev"))


def _by(met: Sequence[_Found], kind: str) -> list[str]:
    return [each.finding.rule for each in met if each.met and f"a {kind} cut" in each.met]


def _limit(words: str, key: str, rules: Sequence[str]) -> str:
    because = f" ({', '.join(rules)})" if rules else ""
    return f"{words}: the result is valid only while the ECU enforces this target.engine.{key}{because}"
