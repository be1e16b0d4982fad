"""How sure is the answer at load?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import basemap
from basemap.model.finding import HowFar, NotJudged, Scope, Severity, Verdict
from basemap.model.installation import DonorState, FloatArray
from basemap.model.job import Job
from basemap.rules.judge import Judgement, judge
from tests.builders.cases import each
from tests.builders.computed import AT_LOAD, PART_LOAD, make_computed, make_job, missing, severities, with_target

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
STOP, CAUTION = [Severity.STOP], [Severity.CAUTION]
UNSURE = "uncertainty-at-load"


FLOW = "injector flow of the target"


def judged(parts: dict[str, FloatArray], job: Job | None = None) -> Judgement:
    """The verdict where inputs that can be measured alone make so much of the band, which is as wide as the widest."""
    computed = make_computed(job)
    whole = np.maximum.reduce([*parts.values(), np.zeros_like(computed.table.new)])
    return judge(computed, relative_uncertainty=whole, measurable=parts)


def weights(part: float, cell: tuple[int, int] = AT_LOAD) -> list[Severity]:
    alone = np.zeros_like(make_computed().table.new)
    alone[cell] = part
    return [finding.severity for finding in judged({FLOW: alone}).findings if finding.rule == UNSURE]


@pytest.mark.check_value
@each(
    # 25 %: common practice, no source.
    ("part", "expected"),
    [(0.10, []), (0.25, []), (0.2501, STOP), (np.inf, STOP)],
)
def test_one_input_that_could_be_measured(part: float, expected: list[Severity]) -> None:
    assert weights(part) == expected


@pytest.mark.law
def test_only_load_counts() -> None:
    assert weights(0.9, PART_LOAD) == []


@pytest.mark.law
def test_what_only_the_engine_can_settle_stops_nothing() -> None:
    """However wide the band is: how far to go with the table says it."""
    computed = make_computed()
    found = judge(computed, relative_uncertainty=np.full_like(computed.table.new, 0.9), measurable={})
    assert [finding for finding in found.findings if finding.rule == UNSURE] == []
    assert found.going.how_far is HowFar.IDLE


@pytest.mark.law
@each(
    # 0.8 of 101.325 kPa are 81.06 kPa.
    ("cut_kpa", "verdict", "expected"),
    [(None, Verdict.REFUSE, STOP), (81.1, Verdict.REFUSE, STOP), (81.0, Verdict.ADAPT, CAUTION)],
)
def test_a_load_cut_meets_it(cut_kpa: float | None, verdict: Verdict, expected: list[Severity]) -> None:
    job = make_job()
    if cut_kpa is not None:
        job = with_target(job, "engine", load_cut_pa=cut_kpa * 1e3)
    found = judged({FLOW: np.full_like(make_computed(job).table.new, 0.26)}, job)
    assert found.verdict is verdict
    assert [finding.severity for finding in found.findings if finding.rule == UNSURE] == expected
    assert found.going.how_far is HowFar.IDLE


@pytest.mark.pin
def test_what_is_said_of_the_uncertainty() -> None:
    found = judged(
        {FLOW: np.full_like(make_computed().table.new, 0.27), "dead time of the target": np.full((5, 5), 0.1)}
    )
    (stop,) = [finding for finding in found.findings if finding.rule == UNSURE]
    assert stop.scope is Scope.LIMIT
    assert stop.limit_load_pa == pytest.approx(81_060.0)
    # exp(0.27) = 1.310, rounded up.
    assert stop.message == (
        "At load, the injector flow of the target alone may put λ 31.0 % off (k = 2), at 800 rpm and 100 kPa (stop "
        "above 25 %; 5 cells at load): the result is a guess there. A measurement on the bench would settle it."
    )
    assert stop.remedy == (
        "1. Measure the injector flow of the target and state it with its spread. 2. Or state "
        'target.engine.load_cut = "81.0 kPa" or lower, and have the ECU enforce it.'
    )


@pytest.mark.law
def test_it_is_not_judged_where_it_was_not_worked_out() -> None:
    computed = make_computed()
    assert missing(computed, UNSURE) == [NotJudged(UNSURE, ("relative_uncertainty",))]
    assert severities(computed, UNSURE) == []
    nothing = judge(computed, relative_uncertainty=np.full_like(computed.table.new, np.nan))
    assert (UNSURE, ("donor.tables.fuel",)) in [(one.rule, one.missing) for one in nothing.not_judged]


@pytest.mark.law
@each("state", list(DonorState))
def test_a_donor_of_which_nothing_is_known_is_no_stop(state: DonorState) -> None:
    result = basemap.check(replace(basemap.load_job(SAMPLES / "ferry_van.toml"), donor_state=state))
    assert [finding.severity for finding in result.findings if finding.rule == UNSURE] == []
    assert result.verdict is Verdict.ADAPT
