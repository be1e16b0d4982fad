"""Is the donor's map what it says? The breathing and the power that its cells imply."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from basemap.adaptation.implied import implied_power_w
from basemap.model.finding import NotJudged, Severity
from basemap.model.installation import Cycle, Induction
from basemap.model.job import Job
from basemap.model.result import Computed
from tests.builders.cases import each
from tests.builders.computed import (
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_donor,
    with_table,
    with_target,
)

STOP, CAUTION, NOTE = [Severity.STOP], [Severity.CAUTION], [Severity.NOTE]
BOOST_KPA = np.array([20.0, 60.0, 100.0, 150.0, 200.0])
VE, PART = "implied-ve-wide-open", "implied-ve-part-load"
POWER, TARGET = "implied-power", "implied-power-of-the-target"


def implying(value: float, cells: Any = (4, slice(None)), job: Job | None = None) -> Computed:
    """A donor whose cells imply a volumetric efficiency."""
    computed = make_computed(job)
    implied = np.array(computed.table.implied_ve)
    implied[cells] = value
    return with_table(computed, implied_ve=implied)


@pytest.mark.check_value
@each(
    # 0.60, 0.70, 1.05 and 1.20: common practice, no source; a good four-stroke breathes 80 to 105 % (Heywood 2.10,
    # from memory).
    ("value", "expected"),
    [
        (0.5999, STOP),
        (0.60, CAUTION),
        (0.6999, CAUTION),
        (0.70, []),
        (0.95, []),
        (1.05, []),
        (1.0501, CAUTION),
        (1.20, CAUTION),
        (1.2001, STOP),
    ],
)
def test_implied_volumetric_efficiency(value: float, expected: list[Severity]) -> None:
    assert severities(implying(value), VE) == expected


@pytest.mark.law
def test_the_median_runs_from_30_to_90_percent_of_the_rev_limit() -> None:
    # Of 6000 rpm that is 1800 to 5400: the columns 3000 and 4500.
    assert severities(implying(1.1, (4, [0, 1, 4])), VE) == []
    assert severities(implying(1.1, (4, [2, 3])), VE) == CAUTION


@pytest.mark.law
def test_the_highest_visited_row_counts() -> None:
    # The donor's barometer ends its data at 101.3 kPa: the rows above were never visited.
    job = make_job(BOOST_KPA)
    assert severities(implying(1.5, (4, slice(None)), job), VE) == []
    assert severities(implying(1.5, (2, slice(None)), job), VE)[0] is Severity.STOP


@pytest.mark.law
def test_not_for_two_strokes() -> None:
    job = with_both(make_job(), "engine", cycle=Cycle.TWO_STROKE)
    assert severities(implying(0.3, (4, slice(None)), job), VE) == []


@pytest.mark.law
def test_a_donor_that_never_visited_its_table_is_not_judged() -> None:
    computed = make_computed(with_donor(make_job(), "engine", peak_pressure_pa=10e3))
    keys = ("donor.engine.peak_pressure", "donor.engine.rev_limit")
    assert missing(computed, VE) == [NotJudged(VE, keys)]
    assert severities(computed, VE) == []


@pytest.mark.law
def test_air_that_is_not_known_is_not_judged() -> None:
    computed = implying(np.nan)
    assert missing(computed, VE) == [NotJudged(VE, ("donor.tables.fuel",))]
    assert severities(computed, VE) == []


@pytest.mark.check_value
@each(
    # 0.5 and 1.3: common practice, no source.
    ("value", "expected"),
    [(0.4999, NOTE), (0.5, []), (1.3, []), (1.3001, NOTE)],
)
def test_single_odd_cells(value: float, expected: list[Severity]) -> None:
    assert severities(implying(value, (4, 0)), VE) == expected


@pytest.mark.pin
def test_what_is_said_of_the_volumetric_efficiency() -> None:
    stop, note = found(implying(1.3004), VE)
    assert stop.message == (
        "At 100 kPa the donor's cells imply a volumetric efficiency of 130.1 % (median over the middle of its speeds; "
        "stop above 120 %; 70 to 105 % is normal)."
    )
    assert stop.cells == ((4, 2), (4, 3))
    assert note.message == (
        "Single cells are odd: 130.1 % at 800 rpm and 100 kPa wide open (note outside 50 to 130 %; 5 cells)."
    )


@pytest.mark.check_value
@each(
    # 0.35 and 0.95: common practice, no source.
    ("value", "expected"),
    [(0.3499, CAUTION), (0.35, []), (0.95, []), (0.9501, CAUTION)],
)
@each("row", [1, 2])
def test_part_load(value: float, expected: list[Severity], row: int) -> None:
    # The rows are 20, 40, 60, 80 and 100 kPa.
    assert severities(implying(value, (row, slice(None))), PART) == expected


@pytest.mark.law
@each(("load_kpa", "expected"), [(29.9, []), (30.0, CAUTION), (60.0, CAUTION), (60.1, [])])
def test_part_load_is_30_to_60_kpa(load_kpa: float, expected: list[Severity]) -> None:
    loads = np.array([*sorted([load_kpa, 45.0]), 80.0, 90.0, 100.0])
    row = int(np.searchsorted(loads, load_kpa))
    assert severities(implying(0.2, (row, slice(None)), make_job(loads)), PART) == expected


@pytest.mark.law
def test_part_load_is_not_judged_without_rows_there_nor_for_two_strokes() -> None:
    computed = make_computed(make_job(np.array([70.0, 80.0, 100.0])))
    assert missing(computed, PART) == [NotJudged(PART, ("donor.tables.fuel",))]
    assert severities(computed, PART) == []
    two_stroke = with_both(make_job(), "engine", cycle=Cycle.TWO_STROKE)
    assert severities(implying(0.2, (1, slice(None)), two_stroke), PART) == []


@pytest.mark.pin
def test_what_is_said_of_part_load() -> None:
    (finding,) = found(implying(0.2, (1, slice(None))), PART)
    assert finding.message == (
        "At 40 kPa, part load, the donor's cells imply a volumetric efficiency of 20.0 % (median over the middle of "
        "its speeds; caution below 35 %)."
    )
    assert finding.cells == ((1, 2), (1, 3))


@pytest.mark.check_value
def test_power_by_hand() -> None:
    # ISO 1585 air (99 kPa, 25 °C), Heywood 2.10 for the flow; 0.305 kg/kWh and 14.6: common practice, no source.
    # 5500 rpm lies two thirds of the way from 4500 to 6000 rpm: 0.86 − 0.02·2/3 = 0.84667; λ is 0.88 from 80 kPa up.
    # 99 000·0.001998/(287.05287·298.15) = 2.31119e-3 kg per cycle, · 0.84667 · 5500/120 · 3600 = 322.87 kg/h of air,
    # / (0.305·14.6·0.88) = 82.393 kW.
    job = make_job()
    power = implied_power_w(job.donor.hardware, job.donor.table, make_computed(job).table.implied_ve)
    assert power == pytest.approx(82_393.0, rel=1e-4)


@pytest.mark.check_value
def test_power_of_a_boosted_engine_by_hand() -> None:
    # At its peak of 180 kPa: 180 000·0.001998/(287.05287·298.15) = 4.20216e-3 kg, · 0.84667 · 45.8333 · 3600 = 587.04
    # kg/h, / (0.365·14.6·0.88) = 125.18 kW.
    job = boosted(make_job(BOOST_KPA), 180.0)
    power = implied_power_w(job.donor.hardware, job.donor.table, make_computed(job).table.implied_ve)
    assert power == pytest.approx(125_180.0, rel=1e-4)


@pytest.mark.law
def test_the_reference_air_replaces_the_conditions_of_an_atmospheric_engine() -> None:
    # In thin warm air its cells are the same, and so is the power that its maker stated.
    job = make_job()
    thin = replace(
        job.donor.hardware,
        conditions=replace(job.donor.hardware.conditions, barometer_pa=80e3, charge_temperature_k=330.0),
    )
    ve = np.full((5, 5), 0.85)
    assert implied_power_w(thin, job.donor.table, ve) == pytest.approx(
        implied_power_w(job.donor.hardware, job.donor.table, ve), rel=1e-12
    )


IMPLIED_W = 82_393.0


@pytest.mark.check_value
@each(
    # 15 and 30 %: common practice, no source.
    ("ratio", "expected"),
    [
        (0.699, STOP),
        (0.701, CAUTION),
        (0.849, CAUTION),
        (0.851, []),
        (1.149, []),
        (1.151, CAUTION),
        (1.299, CAUTION),
        (1.301, STOP),
    ],
)
def test_implied_power(ratio: float, expected: list[Severity]) -> None:
    job = with_donor(make_job(), "engine", rated_power_w=IMPLIED_W / ratio)
    assert severities(make_computed(job), POWER) == expected


@pytest.mark.check_value
@each(
    # 10, 15 and 20 %: common practice, no source.
    ("ratio", "expected"),
    [(0.5, STOP), (0.799, STOP), (0.801, CAUTION), (0.899, CAUTION), (0.901, []), (1.149, []), (1.151, CAUTION),
     (3.0, CAUTION)],
)  # fmt: skip
def test_implied_power_of_the_target(ratio: float, expected: list[Severity]) -> None:
    """The donor's figure is left out: with both, what they say is in the cells."""
    job = with_donor(make_job(), "engine", rated_power_w=None, rated_speed_rpm=None)
    job = with_target(job, "engine", rated_power_w=IMPLIED_W / ratio)
    assert severities(make_computed(job), TARGET) == expected


@pytest.mark.law
def test_a_target_that_its_figures_have_enriched_is_a_caution_at_most() -> None:
    job = with_target(make_job(), "engine", rated_power_w=IMPLIED_W / 0.7)
    (finding,) = found(make_computed(job), TARGET)
    assert finding.severity is Severity.CAUTION
    assert "if it makes that power, it runs lean at full load" in finding.message


@pytest.mark.law
def test_the_power_of_the_target_follows_its_size_and_its_intended_mixture() -> None:
    # 20 % more displacement; 0.88/0.80 is another 10 %. 108.76 kW over 80 kW is 1.3595.
    job = with_target(make_job(), "engine", displacement_m3=1.2 * 1998e-6, rated_power_w=80e3)
    rich = replace(job.target.table, intended_lambda=np.full((5, 5), 0.80))
    (finding,) = found(make_computed(replace(job, target=replace(job.target, table=rich))), TARGET)
    assert finding.value == pytest.approx(1.2 * 1.1 * IMPLIED_W / 1e3, rel=1e-4)
    assert finding.message == (
        "At 5500 rpm the adapted table has fuel for 108.8 kW, 36.0 % above the target's rated 80 kW (caution above 15 "
        "%): is it over-fuelled at full load?"
    )


@pytest.mark.law
def test_without_a_rated_power_neither_is_judged() -> None:
    computed = make_computed(with_both(make_job(), "engine", rated_power_w=None, rated_speed_rpm=None))
    assert missing(computed, POWER) == [NotJudged(POWER, ("donor.engine.rated_power",))]
    assert missing(computed, TARGET) == [NotJudged(TARGET, ("target.engine.rated_power",))]
    assert found(computed, POWER) == found(computed, TARGET) == []


@pytest.mark.law
def test_power_whose_air_is_not_known_is_not_judged() -> None:
    computed = make_computed()
    nothing = np.full((5, 5), np.nan)
    chains = {side: replace(getattr(computed.table, side), air_kg=nothing) for side in ("donor", "target")}
    computed = with_table(computed, **chains)
    assert missing(computed, POWER) == [NotJudged(POWER, ("donor.tables.fuel",))]
    assert missing(computed, TARGET) == [NotJudged(TARGET, ("donor.tables.fuel",))]


@pytest.mark.law
def test_power_is_not_for_two_strokes() -> None:
    job = with_both(make_job(), "engine", cycle=Cycle.TWO_STROKE, rated_power_w=1.0, induction=Induction.ATMOSPHERIC)
    computed = make_computed(job)
    assert (severities(computed, POWER), severities(computed, TARGET)) == ([], [])
