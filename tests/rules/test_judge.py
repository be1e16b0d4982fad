"""The mechanism: verdict, order, overrides, limits."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.belief.bands import bands
from basemap.errors import InputError
from basemap.model.finding import Severity, Verdict
from basemap.model.installation import Induction
from basemap.model.result import Computed
from basemap.model.table_result import LAMBDA_CASES
from basemap.rules import RULES
from basemap.rules.causes import UNTOUCHED
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    AT_LOAD,
    CRUISE,
    make_computed,
    make_job,
    with_adapted_ratio,
    with_pulse,
    with_ratio,
    with_table,
    with_target,
)

WEIGHT = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


def broken() -> Computed:
    """Lean, saturated, and wrong as loaded; revs higher than its donor, and lacks some keys."""
    job = with_target(make_job(), "engine", rev_limit_rpm=6300.0, compression_ratio=None)
    job = with_target(job, "injectors", shortest_pulse_s=None)
    computed = with_adapted_ratio(make_computed(job), 1.2, AT_LOAD)
    computed = with_ratio(computed, "old_table_old_settings", 1.5, AT_LOAD)
    return with_pulse(computed, 0.025, (4, 4))


@pytest.mark.law
def test_a_map_on_its_own_engine_suits() -> None:
    computed = make_computed()
    judged = judge(computed, relative_uncertainty=bands(computed).adapted)
    assert judged.verdict is Verdict.SUITS
    assert [finding.rule for finding in judged.findings] == ["no-cranking-table"]
    assert (judged.not_judged, judged.accepted, judged.limits) == ((), (), ())


@pytest.mark.law
def test_findings_are_ordered_by_severity_then_by_danger_and_the_untouched_map_comes_last() -> None:
    computed = broken()
    judged = judge(computed, relative_uncertainty=np.zeros_like(computed.table.new))
    assert [(finding.severity, finding.rule) for finding in judged.findings] == [
        (Severity.STOP, "lean-at-load"),
        (Severity.STOP, "duty"),
        (Severity.CAUTION, "speed-beyond-donor"),
        (Severity.CAUTION, "no-cranking-table"),
        (Severity.CAUTION, "lean-at-load"),
        (Severity.CAUTION, "loaded-as-it-is"),
    ]
    assert judged.verdict is Verdict.REFUSE


@pytest.mark.law
def test_accepting_every_stop_lifts_the_verdict_and_is_recorded() -> None:
    one, both = judge(broken(), ["duty"]), judge(broken(), ["duty", "lean-at-load", "duty"])
    assert (one.verdict, one.accepted) == (Verdict.REFUSE, ("duty",))
    assert (both.verdict, both.accepted) == (Verdict.ADAPT, ("duty", "lean-at-load"))
    accepted = [(finding.severity, finding.rule) for finding in both.findings if finding.accepted]
    assert accepted == [(Severity.STOP, "lean-at-load"), (Severity.STOP, "duty")]


@pytest.mark.law
@each(
    ("name", "nearest"),
    [
        ("lean-at-laod", "lean-at-load"),
        ("Duty", "duty"),
        ("implied-ve-wideopen", "implied-ve-wide-open"),
        ("DUTY CYCLE", "duty"),
    ],
)
def test_accepting_what_is_no_rule_is_refused_with_the_nearest(name: str, nearest: str) -> None:
    with pytest.raises(InputError) as error:
        judge(make_computed(), [name])
    assert str(error.value) == f'--accept: there is no rule "{name}" to accept; the nearest is "{nearest}"'


@pytest.mark.law
def test_a_cut_that_makes_cells_unreachable_stands_in_the_limits() -> None:
    job = with_target(make_job(), "engine", load_cut_pa=60e3, rev_cut_rpm=4500.0)
    judged = judge(make_computed(job))
    assert judged.verdict is Verdict.SUITS
    assert judged.limits == (
        "Load no higher than 60 kPa: the result is valid only while the ECU enforces this target.engine.load_cut",
        "Speed no higher than 4500 rpm: the result is valid only while the ECU enforces this target.engine.rev_cut",
    )


@pytest.mark.law
def test_a_map_that_suits_but_for_a_limit_that_is_met_is_to_be_adapted() -> None:
    job = with_target(make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3, load_cut_pa=100e3)
    judged = judge(make_computed(job))
    assert (judged.verdict, judged.findings[0].rule) == (Verdict.ADAPT, "load-beyond-donor")
    assert judged.findings[0].severity is Severity.CAUTION


@pytest.mark.law
def test_a_limit_that_is_not_met_can_be_accepted() -> None:
    job = with_target(make_job(), "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3)
    judged = judge(make_computed(job), ["load-beyond-donor"])
    assert (judged.verdict, judged.accepted, judged.limits) == (Verdict.SUITS, ("load-beyond-donor",), ())


@pytest.mark.law
@each("filled", [np.nan, np.inf])
def test_arrays_of_nothing_are_judged_without_a_warning_and_never_pass(filled: float) -> None:
    computed = make_computed()
    whole = np.full_like(computed.table.new, filled)
    computed = with_table(computed, lambda_ratio=dict.fromkeys(LAMBDA_CASES, whole), stored_lambda_ratio=whole)
    judged = judge(computed)
    assert (judged.verdict, judged.findings[0].rule) == (Verdict.REFUSE, "no-pulse")


@pytest.mark.law
def test_every_finding_says_what_to_do_and_where_its_threshold_comes_from() -> None:
    for computed in (make_computed(), broken(), with_ratio(make_computed(), "new_table_old_settings", 2.0, CRUISE)):
        for finding in judge(computed).findings:
            assert len(finding.remedy) > 20, finding.rule
            assert finding.remedy.endswith("."), finding.rule
            assert finding.message.endswith("."), finding.rule
            assert finding.source == {rule.name: rule.source for rule in RULES}[finding.rule]


@pytest.mark.law
def test_names_are_slugs_and_stand_alone() -> None:
    names = [rule.name for rule in RULES]
    assert len(set(names)) == len(names) >= 53
    for name in names:
        assert name == name.lower()
        assert name.replace("-", "").isalpha()


@pytest.mark.law
def test_every_rule_is_complete() -> None:
    parts = ("title", "threshold", "why", "source", "remedy")
    assert [(rule.name, part) for rule in RULES for part in parts if not getattr(rule, part).strip()] == []


@pytest.mark.law
def test_what_could_not_be_judged_is_a_line_in_a_list_and_no_finding() -> None:
    """It says whether it could have stopped the map: that decides where it is shown, never the verdict."""
    job = with_target(make_job(cylinder_trims=None), "engine", rated_power_w=None, rated_speed_rpm=None)
    judged = judge(make_computed(job))
    stops = {entry.rule: entry.can_stop for entry in judged.not_judged}
    assert stops["cylinder-trims"]
    assert stops["implied-power-of-the-target"]
    assert not {"cylinder-trims", "implied-power-of-the-target"} & {finding.rule for finding in judged.findings}


@pytest.mark.law
def test_what_only_holds_for_the_untouched_map_has_one_cause() -> None:
    judged = judge(broken())
    causes = {(finding.rule, finding.cause) for finding in judged.findings}
    assert ("loaded-as-it-is", UNTOUCHED) in causes
    assert ("lean-at-load", UNTOUCHED) in causes
    assert ("lean-at-load", "lean-at-load") in causes
