"""The map as it is, the map half loaded, and when it suits."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.model.finding import NotJudged, Severity, Verdict
from basemap.model.table_result import LambdaCase
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    AT_LOAD,
    CRUISE,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_donor_side,
    with_ratio,
    with_table,
)

NOTE, CAUTION = [Severity.NOTE], [Severity.CAUTION]


@pytest.mark.check_value
@each(
    ("ratio", "verdict"),
    # The 3 % of the verdict: common practice, no source.
    [
        (1.03, Verdict.SUITS),
        (1.0301, Verdict.ADAPT),
        (0.97, Verdict.SUITS),
        (0.9699, Verdict.ADAPT),
        (np.inf, Verdict.ADAPT),
        (np.nan, Verdict.ADAPT),
    ],
)
@each("cell", [CRUISE, AT_LOAD])
def test_when_a_map_suits(ratio: float, verdict: Verdict, cell: tuple[int, int]) -> None:
    assert judge(with_ratio(make_computed(), "old_table_old_settings", ratio, cell)).verdict is verdict


@pytest.mark.law
def test_cells_out_of_reach_do_not_unsuit_a_map() -> None:
    computed = with_ratio(make_computed(), "old_table_old_settings", 1.5, CRUISE)
    reachable = np.array(computed.table.reachable)
    reachable[CRUISE] = False
    assert judge(with_table(computed, reachable=reachable)).verdict is Verdict.SUITS


@pytest.mark.law
def test_a_map_of_which_nothing_can_be_reached_does_not_suit() -> None:
    computed = make_computed()
    judged = judge(with_table(computed, reachable=np.zeros_like(computed.table.reachable)))
    assert judged.verdict is Verdict.REFUSE
    assert judged.findings[0].rule == "no-pulse"


@pytest.mark.law
@each(("ratio", "expected"), [(1.03, []), (1.0301, NOTE), (1.0999, NOTE), (1.1001, CAUTION), (0.8999, CAUTION)])
def test_the_map_as_it_is(ratio: float, expected: list[Severity]) -> None:
    computed = with_ratio(make_computed(), "old_table_old_settings", ratio, CRUISE)
    assert severities(computed, "loaded-as-it-is") == expected


@pytest.mark.pin
def test_what_is_said_of_the_map_as_it_is() -> None:
    computed = with_ratio(make_computed(), "old_table_old_settings", 1.2, CRUISE)
    (finding,) = found(with_ratio(computed, "old_table_old_settings", 0.7, (0, 0)), "loaded-as-it-is")
    assert finding.message == (
        "If loaded as it is, the mixture is more than 3 % off in 2 cells of 25: at worst 20.0 % lean at 3000 rpm and "
        "40 kPa and 30.0 % rich at 800 rpm and 20 kPa."
    )
    assert finding.cells == ((0, 0), CRUISE)


@pytest.mark.law
@each("which", ["new_table_old_settings", "old_table_new_settings"])
@each(("ratio", "expected"), [(1.0999, []), (1.1001, CAUTION), (0.9001, []), (0.8999, CAUTION)])
def test_half_loaded(which: LambdaCase, ratio: float, expected: list[Severity]) -> None:
    assert severities(with_ratio(make_computed(), which, ratio, CRUISE), "half-loaded") == expected


@pytest.mark.pin
def test_half_loaded_is_one_finding_that_names_both_halves() -> None:
    computed = with_ratio(make_computed(), "new_table_old_settings", 1.3, CRUISE)
    (finding,) = found(with_ratio(computed, "old_table_new_settings", 0.5, AT_LOAD), "half-loaded")
    assert finding.message == (
        "Half loaded, the new table with the old settings gives 30.0 % lean at 3000 rpm and 40 kPa; the old table "
        "with the new settings gives 50.0 % rich at 3000 rpm and 100 kPa (limit 10 %)."
    )
    assert finding.value == pytest.approx(50.0)


@pytest.mark.law
def test_what_cancels_leaves_the_old_settings_unjudged() -> None:
    computed = make_computed(with_donor_side(make_job(), flow_known=False))
    keys = ("donor.injectors.static_flow",)
    assert missing(computed, "loaded-as-it-is") == [NotJudged("loaded-as-it-is", keys)]
    assert missing(computed, "half-loaded") == [NotJudged("half-loaded", keys)]
    assert severities(computed, "loaded-as-it-is") == []
    assert severities(computed, "half-loaded") == []
    assert judge(computed).verdict is Verdict.ADAPT
