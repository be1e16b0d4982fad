"""Lean, rich, and the intended mixture, at load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from basemap.model.band import LeanEnd
from basemap.model.finding import HowFar, NotJudged, Severity, Verdict
from basemap.model.job import Assumption, Job
from basemap.model.marks import Mark
from basemap.model.result import Computed
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    AT_LOAD,
    CRUISE,
    PART_LOAD,
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_adapted_ratio,
    with_mark,
    with_ratio,
    with_table,
)

# Thresholds: common practice, no source.
STOP, CAUTION = [Severity.STOP], [Severity.CAUTION]
BOOST_KPA = np.array([20.0, 60.0, 100.0, 150.0, 200.0])


@pytest.mark.check_value
@each(
    ("ratio", "expected"),
    [(1.05, []), (1.0501, CAUTION), (1.10, CAUTION), (1.1004, STOP), (np.inf, STOP)],
)
def test_lean_at_load_after_adapting(ratio: float, expected: list[Severity]) -> None:
    assert severities(with_adapted_ratio(make_computed(), ratio, AT_LOAD), "lean-at-load") == expected


@pytest.mark.law
@each("which", ["new", "stored"])
def test_the_unrounded_and_the_stored_table_are_both_judged(which: str) -> None:
    computed = make_computed()
    if which == "new":
        computed = with_ratio(computed, "new_table_new_settings", 1.2, AT_LOAD)
    else:
        kept = np.array(computed.table.stored_lambda_ratio)
        kept[AT_LOAD] = 1.2
        computed = with_table(computed, stored_lambda_ratio=kept)
    assert severities(computed, "lean-at-load") == STOP


@pytest.mark.law
@each("cell", [PART_LOAD, CRUISE])
def test_lean_below_four_fifths_of_the_barometer_is_not_this_rule(cell: tuple[int, int]) -> None:
    assert severities(with_adapted_ratio(make_computed(), 1.5, cell), "lean-at-load") == []


@pytest.mark.law
def test_at_load_begins_at_four_fifths_of_the_barometer() -> None:
    job = make_job(np.array([20.0, 40.0, 60.0, 81.1, 100.0]))
    assert severities(with_adapted_ratio(make_computed(job), 1.2, (3, 2)), "lean-at-load") == STOP


@pytest.mark.law
def test_a_table_that_ends_below_load_is_judged_on_its_top_row() -> None:
    job = make_job(np.array([20.0, 40.0, 50.0, 60.0, 70.0]))
    assert severities(with_adapted_ratio(make_computed(job), 1.2, (4, 2)), "lean-at-load") == STOP


@pytest.mark.law
def test_cells_out_of_reach_are_not_judged() -> None:
    computed = with_adapted_ratio(make_computed(), 1.5, AT_LOAD)
    reachable = np.array(computed.table.reachable)
    reachable[AT_LOAD] = False
    assert severities(with_table(computed, reachable=reachable), "lean-at-load") == []


@pytest.mark.check_value
@each(("ratio", "expected"), [(1.05, []), (1.0501, CAUTION), (1.5, CAUTION), (np.inf, CAUTION)])
def test_lean_as_loaded_is_a_caution_at_most(ratio: float, expected: list[Severity]) -> None:
    computed = with_ratio(make_computed(), "old_table_old_settings", ratio, AT_LOAD)
    assert severities(computed, "lean-at-load") == expected
    assert judge(computed).verdict is Verdict.ADAPT


@pytest.mark.pin
def test_what_is_said_of_a_lean_cell() -> None:
    (finding,) = found(with_adapted_ratio(make_computed(), 1.1004, AT_LOAD), "lean-at-load")
    assert finding.message == (
        "With the new table and settings, λ is 1.101 times the intended at 3000 rpm and 100 kPa: 10.1 % lean "
        "(stop above 1.10; 1 cell at load)."
    )
    assert (finding.value, finding.limit, finding.cells, finding.table) == (1.1004, 1.10, (AT_LOAD,), "fuel")


@pytest.mark.pin
def test_what_is_said_of_a_map_that_is_lean_as_it_is() -> None:
    (finding,) = found(with_ratio(make_computed(), "old_table_old_settings", np.inf, AT_LOAD), "lean-at-load")
    assert finding.message == (
        "If loaded as it is, λ is infinite times the intended at 3000 rpm and 100 kPa: no fuel at all (limit 1.05; "
        "1 cell at load)."
    )


@pytest.mark.pin
def test_a_lean_cell_names_what_made_it_so() -> None:
    computed = with_mark(with_adapted_ratio(make_computed(), 1.2, AT_LOAD), Mark.SATURATED, AT_LOAD)
    (finding,) = found(computed, "lean-at-load")
    assert finding.message.endswith("The cell is marked: injector open throughout.")


@pytest.mark.law
def test_not_shown_to_be_safe_is_a_caution_that_says_what_to_measure_and_how_rich_to_start() -> None:
    computed = with_adapted_ratio(make_computed(), 1.04, AT_LOAD)
    band = np.full(computed.table.new.shape, 0.08)
    (finding,) = found(computed, "lean-at-load", band=band)
    assert finding.severity is Severity.CAUTION
    # 1.04 · e^0.08 = 1.12662, so 13 % richer bring it to the intended mixture, not 12.
    assert finding.message == (
        "Not shown to be safe: somewhere at load λ may be 1.127 times the intended within its uncertainty (k = 2; "
        "caution above 1.12), most likely at 3000 rpm and 100 kPa, where 1.040 times is expected."
    )
    assert finding.remedy == (
        'Measure the injectors\' flow and dead time first. With options.richer_at_load = "13 %" the lean end is as '
        "intended."
    )


@pytest.mark.law
def test_what_is_proposed_is_within_what_the_job_takes_and_is_counted_once_stated() -> None:
    computed = make_computed()
    (finding,) = found(computed, "lean-at-load", band=np.full(computed.table.new.shape, 0.16))  # e^0.16 = 1.1736
    # 1.1736/1.15 = 1.0205; 1.35/1.15 = 1.1739. How far to go stands beside it, and is said there only.
    assert finding.remedy.endswith('Even options.richer_at_load = "15 %" leaves 2.1 % lean.')
    (finding,) = found(computed, "lean-at-load", band=np.full(computed.table.new.shape, np.log(1.35)))
    assert finding.remedy.endswith('Even options.richer_at_load = "15 %" leaves 17.4 % lean.')
    richer = make_computed(replace(make_job(), richer_at_load=0.05))  # 1.1736/1.05 = 1.1177
    assert found(richer, "lean-at-load", band=np.full(computed.table.new.shape, 0.16)) == []


@pytest.mark.law
def test_all_cells_at_load_together_are_judged_and_a_caution_has_a_cell() -> None:
    computed = make_computed()
    judged = judge(
        computed, relative_uncertainty=np.full(computed.table.new.shape, 0.10), lean_at_load=LeanEnd(1.13, AT_LOAD)
    )
    (finding,) = [each for each in judged.findings if each.rule == "lean-at-load"]
    assert (finding.value, finding.cells) == (1.13, (AT_LOAD,))
    assert judged.going.how_far is HowFar.LIGHT
    assert judged.going.because == "it may be 13.0 % lean at load (likeliest 3000 rpm, 100 kPa; k = 2)"


@pytest.mark.law
@each(("half_width", "expected"), [(0.1133, []), (0.1134, CAUTION)])  # ln 1.12 = 0.11333
def test_both_sides_of_the_band(half_width: float, expected: list[Severity]) -> None:
    computed = make_computed()
    band = np.full(computed.table.new.shape, half_width)
    # Rounding to the stored table leaves the intended mixture to a few parts in a million here.
    assert [each.severity for each in found(computed, "lean-at-load", band=band)] == expected


@pytest.mark.check_value
@each(
    ("ratio", "expected"),
    # The intended λ is 0.88 there: 0.65 of λ is a ratio of 0.738636.
    [(0.85, []), (0.8499, CAUTION), (0.7387, CAUTION), (0.7386, STOP)],
)
def test_rich_at_load_after_adapting(ratio: float, expected: list[Severity]) -> None:
    assert severities(with_adapted_ratio(make_computed(), ratio, AT_LOAD), "rich-at-load") == expected


@pytest.mark.check_value
@each(("ratio", "expected"), [(0.85, []), (0.8499, CAUTION), (0.5, CAUTION)])
def test_rich_as_loaded_is_a_caution_at_most(ratio: float, expected: list[Severity]) -> None:
    computed = with_ratio(make_computed(), "old_table_old_settings", ratio, AT_LOAD)
    assert severities(computed, "rich-at-load") == expected


@pytest.mark.law
def test_rich_but_not_shown_to_be_safe() -> None:
    computed = with_adapted_ratio(make_computed(), 0.90, AT_LOAD)  # λ 0.792
    band = np.full(computed.table.new.shape, 0.21)  # 0.792 · e^-0.21 = 0.64198
    (finding,) = found(computed, "rich-at-load", band=band)
    assert finding.severity is Severity.CAUTION
    assert finding.message == (
        "Not shown to be safe: at 3000 rpm and 100 kPa λ may be 0.641 within its uncertainty (k = 2); expected is "
        "0.792 (stop below 0.65)."
    )


def with_intended(job: Job, row: int, value: float) -> Computed:
    intended = np.array(job.target.table.intended_lambda)
    intended[row] = value
    return make_computed(
        replace(job, target=replace(job.target, table=replace(job.target.table, intended_lambda=intended)))
    )


@pytest.mark.check_value
@each(("intended", "expected"), [(0.95, []), (0.9501, CAUTION), (1.0, CAUTION), (1.0001, STOP)])
def test_intended_mixture_wide_open(intended: float, expected: list[Severity]) -> None:
    assert severities(with_intended(make_job(), 4, intended), "intended-mixture-at-load") == expected


@pytest.mark.check_value
@each(("intended", "expected"), [(0.90, []), (0.9001, STOP)])
def test_intended_mixture_in_boost(intended: float, expected: list[Severity]) -> None:
    job = boosted(make_job(BOOST_KPA), 200.0)
    assert severities(with_intended(job, 3, intended), "intended-mixture-at-load") == expected


@pytest.mark.check_value
@each(
    ("row_kpa", "intended", "expected"),
    [
        (106.3, 0.95, []),
        (106.4, 0.95, []),  # no step: a hair of boost allows what the barometer allows
        (106.4, 0.9501, CAUTION),
        (106.4, 1.0, STOP),  # 0.9996 by hand: 1 - 0.10·0.075/20
        (111.325, 0.95, []),
        (111.325, 0.975, CAUTION),  # a quarter of the way from 106.325 to 126.325 kPa: 0.975 is still allowed
        (111.325, 0.9751, STOP),
        (116.325, 0.95, []),  # half way: 0.95
        (116.325, 0.9501, STOP),
        (126.325, 0.90, []),
        (126.325, 0.9001, STOP),
    ],
)
def test_what_is_allowed_falls_from_5_to_25_kpa_of_boost(
    row_kpa: float, intended: float, expected: list[Severity]
) -> None:
    """Straight from 1.00 at the barometer (101.325 kPa) + 5 kPa to 0.90 at + 25 kPa, by hand."""
    job = boosted(make_job(np.array([20.0, 60.0, 100.0, row_kpa, 200.0])), 200.0)
    assert severities(with_intended(job, 3, intended), "intended-mixture-at-load") == expected


@pytest.mark.law
def test_wide_open_is_within_5_percent_of_the_barometer() -> None:
    # 101.325 kPa less 5 % is 96.26 kPa.
    below, within = (make_job(np.array([20.0, 60.0, 80.0, row, 101.0])) for row in (96.2, 96.3))
    assert severities(with_intended(below, 3, 1.1), "intended-mixture-at-load") == CAUTION  # leaner than part load
    assert severities(with_intended(within, 3, 1.1), "intended-mixture-at-load") == STOP


@pytest.mark.law
def test_an_atmospheric_target_is_never_in_boost() -> None:
    job = make_job(np.array([20.0, 60.0, 80.0, 100.0, 120.0]))
    assert severities(with_intended(job, 4, 0.95), "intended-mixture-at-load") == []


@pytest.mark.law
@each(("above", "expected"), [(1.00, CAUTION), (1.10, STOP)])
def test_with_no_row_near_the_barometer_what_the_ecu_reads_between_rows_counts(
    above: float, expected: list[Severity]
) -> None:
    # Half-way, 101.325 kPa, between 82.65 and 120 kPa: (0.95 + 1.10)/2 is lean.
    job = make_job(np.array([20.0, 40.0, 60.0, 82.65, 120.0]))
    intended = np.array(job.target.table.intended_lambda)
    intended[3], intended[4] = 0.95, above
    job = replace(job, target=replace(job.target, table=replace(job.target.table, intended_lambda=intended)))
    assert severities(make_computed(job), "intended-mixture-at-load") == expected


@pytest.mark.pin
def test_what_is_said_of_an_intended_mixture() -> None:
    (finding,) = found(with_intended(make_job(), 4, 1.02), "intended-mixture-at-load")
    assert finding.message == "The intended λ is 1.020 at 800 rpm and 100 kPa wide open (stop above 1.00)."


@pytest.mark.law
def test_an_unknown_intended_mixture_is_not_judged() -> None:
    entry = Assumption("donor.tables.fuel.lambda", "0.95", "0.10", "between cruise and full load", "the air", True)
    computed = make_computed(make_job(assumed=(entry,)))
    assert severities(computed, "intended-mixture-at-load") == []
    expected = [NotJudged("intended-mixture-at-load", ("donor.tables.fuel.lambda",))]
    assert missing(computed, "intended-mixture-at-load") == expected


@pytest.mark.law
def test_an_unknown_intended_mixture_stops_where_its_stand_in_is_too_lean() -> None:
    entry = Assumption("donor.tables.fuel.lambda", "0.95", "0.10", "between cruise and full load", "the air", True)
    job = boosted(make_job(BOOST_KPA, assumed=(entry,)), 200.0)
    computed = with_intended(job, 4, 0.95)
    assert severities(computed, "intended-mixture-at-load") == STOP
    assert missing(computed, "intended-mixture-at-load") == []


@pytest.mark.law
@each(("below", "count"), [(0.87, 0), (0.85, 1)])
def test_a_lambda_table_upside_down(below: float, count: int) -> None:
    """0.88 at load; below it as little more than 0.02 richer is asked for: cruising is meant leaner than full load."""
    job = make_job()
    intended = np.array(job.target.table.intended_lambda)
    intended[:4] = below
    table = replace(job.target.table, intended_lambda=intended)
    findings = found(make_computed(replace(job, target=replace(job.target, table=table))), "intended-mixture-at-load")
    assert len(findings) == count
    assert all("is the λ table upside down, or transposed?" in finding.message for finding in findings)


@pytest.mark.law
@each(("value", "count"), [(0.92, 0), (0.94, 1), (0.82, 1)])
def test_one_lambda_cell_at_load(value: float, count: int) -> None:
    """Of 0.88 all around; 5 % are 0.924 and 0.836."""
    job = make_job()
    intended = np.array(job.target.table.intended_lambda)
    intended[4, 2] = value
    table = replace(job.target.table, intended_lambda=intended)
    findings = found(make_computed(replace(job, target=replace(job.target, table=table))), "intended-mixture-at-load")
    assert [finding.cells for finding in findings] == [((4, 2),)] * count
    assert all("where the cells around it suggest about 0.88" in finding.message for finding in findings)
