"""What to do with the table, how far to go with it, and the stops against both."""

from __future__ import annotations

import math
from collections.abc import Iterator

from basemap.model.cause import Cause
from basemap.model.finding import Finding, HowFar, Scope, Severity, Verdict
from basemap.model.result import Result
from basemap.report.brief.in_short import cut, first_step, in_short, others, sentences
from basemap.report.brief.statement import Statement, Topic
from basemap.report.extremes import extremes
from basemap.report.words import without_marks
from basemap.rounding import NOISE, excess, off
from basemap.rules.causes import UNCERTAIN, UNTOUCHED

IGNITION = "Ignition is NOT adapted: no load until somebody qualified has set it."

_SEVERITY = {Verdict.SUITS: None, Verdict.ADAPT: Severity.CAUTION, Verdict.REFUSE: Severity.STOP}


def verdict(result: Result) -> Iterator[Statement]:
    """The verdict, the stops, what was accepted, the limits, and the ignition."""
    untouched = tuple(dict.fromkeys(one.rule for one in result.findings if one.cause == UNTOUCHED))
    # A map that suits only as a guess goes is not shown as good.
    guess = result.verdict is Verdict.SUITS and result.how_far is not HowFar.LOAD
    word = f"usable unchanged, {result.how_far}" if guess else result.verdict.value
    severity = Severity.CAUTION if guess else _SEVERITY[result.verdict]
    yield Statement(Topic.VERDICT, f"{word.upper()}. {_meaning(result)}", severity, untouched)
    yield from _stops(result)
    for rule in result.accepted:
        yield Statement(Topic.ACCEPTED, _accepted(result, rule), Severity.STOP, (rule,))
    for limit in result.limits:
        yield Statement(Topic.LIMIT, f"Limit: {limit}.", Severity.CAUTION)
    if result.verdict is not Verdict.REFUSE:
        severity = None if result.how_far is HowFar.LOAD else Severity.CAUTION
        unsure = [one for one in result.findings if one.cause == UNCERTAIN]
        words = " ".join([how_far_in_words(result), *(_richer(one.remedy) for one in unsure[:1])]).rstrip()
        yield Statement(Topic.HOW_FAR, words, severity, tuple(dict.fromkeys(one.rule for one in unsure)))
    knock = [one for one in result.findings if one.rule == "ignition"]
    because = f" {in_short(knock[0].message)}" if knock else ""
    yield Statement(Topic.IGNITION, f"{IGNITION}{because}", Severity.CAUTION, tuple(one.rule for one in knock))


def _richer(remedy: str) -> str:
    """The sentence of a remedy that says how much richer at load is safe; empty where none does."""
    return next((without_marks(one) for one in sentences(remedy) if "richer_at_load" in one), "")


def how_far_in_words(result: Result) -> str:
    """How far to go with the new table, with the number behind it."""
    words = f"{result.how_far.capitalize()}: {result.how_far_because}."
    richer = result.job.richer_at_load
    return f"{words} Written {100 * richer:g} % richer at load." if richer else words


def _meaning(result: Result) -> str:
    if result.verdict is Verdict.REFUSE and all(stop.scope is Scope.LIMIT for stop in result.stops):
        if not all(_has_end(stop) for stop in result.stops):
            return "There is a stop for a part of the table. Load nothing until that is mended."
        return (
            "There is a stop above a limit. State the cut that it names and have the ECU enforce it, or load nothing."
        )
    if result.verdict is Verdict.REFUSE:
        return "There is a stop. Load nothing from this donor."
    if result.verdict is Verdict.SUITS:
        return f"With the donor's own settings this map is within 3 %: {as_it_is(result)}."
    return f"Do not load this map as it is: {as_it_is(result)}."


def as_it_is(result: Result) -> str:
    """The mixture of the untouched map, from its leanest cell to its richest."""
    if result.job.other_quantity:
        return "the target's table holds a different quantity"
    found = extremes(result, result.table.lambda_ratio["old_table_old_settings"])
    if found is None:
        return "its effect is not known, for the job leaves out what it was tuned with"
    return span(found[0].ratio, found[1].ratio) + _runs(result)


def span(lean: float, rich: float) -> str:
    """The leanest and the richest λ ratio in words.

    >>> span(1.1, 0.9), span(0.703, 0.634), span(1.3, 1.1), span(1.0, 1.0)
    ('10.0 % lean to 10.0 % rich', '29.7 to 36.6 % rich', '10.0 to 30.0 % lean', 'as intended')
    >>> span(1.0, 0.9), span(0.5, 0.5)
    ('up to 10.0 % rich', '50.0 % rich')
    """
    leaner, richer = lean - 1.0 > NOISE, 1.0 - rich > NOISE
    if leaner and richer:
        return f"{'from ' if math.isinf(lean) else ''}{off(lean)} to {off(rich)}"
    if not (leaner or richer):
        return "as intended"
    nearest, furthest = (rich, lean) if leaner else (lean, rich)
    if excess(nearest) == excess(furthest):
        return off(furthest)
    if abs(nearest - 1.0) <= NOISE:
        return f"up to {off(furthest)}"
    return f"{excess(nearest)} to {off(furthest)}" if excess(nearest) != "infinite" else off(furthest)


def _runs(result: Result) -> str:
    hardly = any(one.rule == "will-not-run" and one.cause == UNTOUCHED for one in result.findings)
    sensors = any(one.rule in ("map-scale", "wideband-scale", "temperature-sensor") for one in result.findings)
    return (", hardly runs" if hardly else "") + (", apart from the sensor scales below" if sensors else "")


def _stops(result: Result) -> Iterator[Statement]:
    """A statement for each rule that stops the map, as each is accepted by itself, with its cause's other findings."""
    said: set[str] = set()
    for rule in dict.fromkeys(stop.rule for stop in result.stops):
        own = tuple(stop for stop in result.stops if stop.rule == rule)
        causes = {stop.cause for stop in own} - said
        said |= causes
        rest = tuple(one for one in result.findings if one.cause in causes and one not in result.stops)
        group = Cause(rule, own + tuple(one for one in rest if not one.accepted))
        finding, also = group.gravest, others(group)
        words = [in_short(finding.message), first_step(finding.remedy)]
        words += [cut(finding.remedy)] if finding.scope is Scope.LIMIT and _has_end(finding) else []
        words += [f"Also: {also}."] if also else []
        text = f"{_name(finding)}: {' '.join(filter(None, words))}"
        yield Statement(Topic.STOP, text, Severity.STOP, group.rules)


def _name(finding: Finding) -> str:
    if finding.scope is not Scope.LIMIT:
        return finding.rule
    return f"{finding.rule}, {'above a limit only' if _has_end(finding) else 'for a part of the table only'}"


def _has_end(finding: Finding) -> bool:
    """Whether a cut keeps the engine below what the finding is about."""
    return finding.limit_load_pa is not None or finding.limit_rpm is not None


def _accepted(result: Result, rule: str) -> str:
    said = [in_short(one.message) for one in result.findings if one.accepted and one.rule == rule]
    return f"Accepted by you, against advice: {rule}" + (f": {' '.join(said)}" if said else ".")
