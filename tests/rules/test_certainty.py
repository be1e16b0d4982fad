"""How sure is the answer at load?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import basemap
from basemap.model.installation import DonorState
from basemap.model.result import NotJudged, Scope, Severity, Verdict
from basemap.rules.judge import judge
from tests.rules.factory import AT_LOAD, PART_LOAD, found, make_computed, make_job, missing, severities, with_target

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
STOP, CAUTION = [Severity.STOP], [Severity.CAUTION]
UNSURE = "uncertainty-at-load"


def weights(uncertainty: float, cell: tuple[int, int] = AT_LOAD, elsewhere: float = 0.0) -> list[Severity]:
    computed = make_computed()
    band = np.full_like(computed.table.new, elsewhere)
    band[cell] = uncertainty
    return [finding.severity for finding in found(computed, UNSURE, band=band)]


@pytest.mark.check_value
@pytest.mark.parametrize(
    # 10 and 25 %: common practice, no source.
    ("uncertainty", "expected"),
    [(0.08, []), (0.10, []), (0.1001, CAUTION), (0.25, CAUTION), (0.2501, STOP), (np.inf, STOP)],
)
def test_uncertainty_at_load(uncertainty: float, expected: list[Severity]) -> None:
    assert weights(uncertainty) == expected


@pytest.mark.law
def test_only_load_counts() -> None:
    assert weights(0.9, PART_LOAD) == []


@pytest.mark.law
@pytest.mark.parametrize(
    # 0.8 of 101.325 kPa are 81.06 kPa.
    ("cut_kpa", "verdict", "expected"),
    [(None, Verdict.REFUSE, STOP), (81.1, Verdict.REFUSE, STOP), (81.0, Verdict.ADAPT, CAUTION)],
)
def test_a_load_cut_meets_it(cut_kpa: float | None, verdict: Verdict, expected: list[Severity]) -> None:
    job = make_job()
    if cut_kpa is not None:
        job = with_target(job, "engine", load_cut_pa=cut_kpa * 1e3)
    computed = make_computed(job)
    band = np.full_like(computed.table.new, 0.26)
    judged = judge(computed, relative_uncertainty=band)
    assert judged.verdict is verdict
    assert [finding.severity for finding in judged.findings if finding.rule == UNSURE] == expected


@pytest.mark.pin
def test_what_is_said_of_the_uncertainty() -> None:
    computed = make_computed()
    (stop,) = found(computed, UNSURE, band=np.full_like(computed.table.new, 0.27))
    assert stop.scope is Scope.LIMIT
    assert stop.limit_load_pa == pytest.approx(81_060.0)
    assert stop.message == (
        "At load, λ after adapting is only known to ± 27.0 % (k = 2), at 800 rpm and 100 kPa (stop above 25 %; 5 cells "
        "at load): the answer is a guess there."
    )
    assert stop.remedy == (
        "1. Measure the injectors' flow and dead time and state it with its spread. 2. Or state "
        'target.engine.load_cut = "81.0 kPa" or lower, and have the ECU enforce it.'
    )
    (caution,) = found(computed, UNSURE, band=np.full_like(computed.table.new, 0.12))
    assert (caution.scope, caution.message) == (
        Scope.FILE,
        "At load, λ after adapting is only known to ± 12.0 % (k = 2), at 800 rpm and 100 kPa (caution above 10 %; 5 "
        "cells at load).",
    )


@pytest.mark.law
def test_it_is_not_judged_where_it_was_not_worked_out() -> None:
    computed = make_computed()
    assert missing(computed, UNSURE) == [NotJudged(UNSURE, ("relative_uncertainty",))]
    assert severities(computed, UNSURE) == []
    nothing = judge(computed, relative_uncertainty=np.full_like(computed.table.new, np.nan))
    assert (UNSURE, ("donor.tables.fuel",)) in [(one.rule, one.missing) for one in nothing.not_judged]


@pytest.mark.law
@pytest.mark.parametrize(
    # A volumetric efficiency known to 3, 8 or 10 % (standard) is ± 6, 16 or 20 %, and some 6 % come from the rest.
    ("state", "expected"),
    [(DonorState.TUNED, []), (DonorState.GENERIC, CAUTION), (DonorState.UNKNOWN, CAUTION)],
)
def test_a_donor_of_which_nothing_is_known_is_a_caution_and_no_stop(
    state: DonorState, expected: list[Severity]
) -> None:
    result = basemap.check(replace(basemap.load_job(SAMPLES / "ferry_van.toml"), donor_state=state))
    assert [finding.severity for finding in result.findings if finding.rule == UNSURE] == expected
    assert result.verdict is Verdict.ADAPT
