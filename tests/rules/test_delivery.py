"""Pulses and duty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from basemap.model.finding import NotJudged, Severity
from basemap.model.job import Job
from basemap.model.marks import Mark
from basemap.model.result import Computed
from tests.builders.cases import each
from tests.builders.computed import (
    AT_LOAD,
    CRUISE,
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_mark,
    with_pulse,
    with_ratio,
    with_table,
    with_target,
)

STOP, CAUTION, NOTE = [Severity.STOP], [Severity.CAUTION], [Severity.NOTE]
IDLE_CORNER = (0, 0)
FASTEST = (4, 4)
AT_TOP = with_both(make_job(), "conditions", barometer_pa=100e3)
"""Wide open is the table's last row."""
WINDOW_S = 0.02
"""Time of one cycle at 6000 rpm, four-stroke: 120/6000."""


@pytest.mark.check_value
@each(
    # 85, 95 and 100 %: common practice, no source.
    ("duty", "atmospheric", "under_boost"),
    [
        (0.8499, [], []),
        (0.8501, CAUTION, CAUTION),
        (0.9499, CAUTION, CAUTION),
        (0.9501, CAUTION, STOP),
        (0.9999, CAUTION, STOP),
        (1.0, STOP, STOP),
        (1.4, STOP, STOP),
    ],
)
def test_duty(duty: float, atmospheric: list[Severity], under_boost: list[Severity]) -> None:
    for job, expected in ((AT_TOP, atmospheric), (boosted(AT_TOP, 100.0), under_boost)):
        computed = with_pulse(make_computed(job), duty * WINDOW_S, FASTEST)
        assert severities(computed, "duty") == expected


@pytest.mark.law
def test_duty_out_of_reach_is_not_judged() -> None:
    computed = with_pulse(make_computed(), 1.2 * WINDOW_S, FASTEST)
    reachable = np.array(computed.table.reachable)
    reachable[FASTEST] = False
    assert severities(with_table(computed, reachable=reachable), "duty") == []


@pytest.mark.law
def test_beyond_the_last_column_the_pulse_is_held_and_the_cycle_is_shorter() -> None:
    # 84 % at 6000 rpm is 98 % at 7000.
    job = with_target(AT_TOP, "engine", rev_limit_rpm=7000.0)
    (finding,) = found(with_pulse(make_computed(job), 0.84 * WINDOW_S, FASTEST), "duty")
    assert finding.message == (
        "The injectors' duty is 98.0 % at 7000 rpm (the last column of the table, 6000 rpm, held) and 100 kPa "
        "(caution above 85 %)."
    )
    assert finding.value == pytest.approx(98.0, rel=1e-12)


@pytest.mark.check_value
def test_beyond_the_last_row_the_cell_is_held_and_the_pressure_is_not() -> None:
    """By hand: 18.96 ms of a cycle of 20 ms at 6000 rpm and 100 kPa, 0.84 ms of them dead time at 13.8 V: at a peak of
    104 kPa they are 0.84 + 18.12 · 1.04 = 19.6848 ms, 98.424 %. A boosted engine stops from 95 %: common practice."""
    job = boosted(AT_TOP, 104.0)
    computed = with_pulse(make_computed(job), 0.948 * WINDOW_S, FASTEST)
    assert computed.table.target.dead_time_s[FASTEST] == pytest.approx(0.84e-3, rel=1e-9)
    (finding,) = found(computed, "duty")
    assert finding.message == (
        "The injectors' duty is 98.5 % at 6000 rpm and 104 kPa (the last row of the table, 100 kPa, held) (stop from "
        "95 % on a boosted engine)."
    )
    assert finding.value == pytest.approx(98.424, abs=1e-9)


@pytest.mark.law
def test_a_rev_cut_keeps_the_cycle_long() -> None:
    job = with_target(AT_TOP, "engine", rev_limit_rpm=7000.0, rev_cut_rpm=6000.0)
    assert severities(with_pulse(make_computed(job), 0.84 * WINDOW_S, FASTEST), "duty") == []


@pytest.mark.pin
def test_what_is_said_of_the_duty() -> None:
    (finding,) = found(with_pulse(make_computed(AT_TOP), 1.0004 * WINDOW_S, FASTEST), "duty")
    assert finding.message == "The injectors' duty is 100.1 % at 6000 rpm and 100 kPa (stop from 100 %; 1 cell)."


@pytest.mark.check_value
@each(
    # The shortest pulse is 1 ms; 20 % below it: common practice, no source.
    ("pulse_ms", "at_load", "at_cruise"),
    [(1.0, [], []), (0.9999, CAUTION, CAUTION), (0.8, CAUTION, CAUTION), (0.7999, STOP, CAUTION)],
)
def test_short_pulse(pulse_ms: float, at_load: list[Severity], at_cruise: list[Severity]) -> None:
    # With so little dead time the other half of the rule stays out of it.
    for cell, expected in ((AT_LOAD, at_load), (CRUISE, at_cruise)):
        computed = without_dead_time(make_computed())
        assert severities(with_pulse(computed, pulse_ms * 1e-3, cell), "short-pulse") == expected


def without_dead_time(computed: Computed) -> Computed:
    chain = computed.table.target
    nothing = np.zeros_like(chain.dead_time_s)
    pulse = chain.pulse_s - chain.dead_time_s
    return with_table(computed, target=replace(chain, dead_time_s=nothing, pulse_s=pulse))


@pytest.mark.check_value
@each(
    # A third of the dead time: common practice, no source.
    ("share", "at_load", "at_cruise"),
    [(0.3334, [], []), (0.3333, STOP, CAUTION), (0.1, STOP, CAUTION)],
)
def test_pulse_against_dead_time(share: float, at_load: list[Severity], at_cruise: list[Severity]) -> None:
    job = with_target(make_job(), "injectors", shortest_pulse_s=0.5e-3)
    for cell, expected in ((AT_LOAD, at_load), (CRUISE, at_cruise)):
        computed = make_computed(job)
        dead = float(computed.table.target.dead_time_s[cell])
        assert severities(with_pulse(computed, dead * (1.0 + share), cell), "short-pulse") == expected


def idling(job: Job, pressure_kpa: float) -> Job:
    return with_target(job, "engine", idle_rpm=800.0, idle_pressure_pa=pressure_kpa * 1e3)


@pytest.mark.check_value
@each(("share", "expected"), [(0.34, []), (0.33, STOP)])
def test_at_idle_the_pulse_is_read_at_the_idle_point(share: float, expected: list[Severity]) -> None:
    # Dead time 0.84 ms at 13.8 V; both corners of the column hold the same share per kPa, so the point does too.
    computed = make_computed(idling(with_target(make_job(), "injectors", shortest_pulse_s=0.5e-3), 30.0))
    dead = float(computed.table.target.dead_time_s[IDLE_CORNER])
    for row, kpa in ((0, 20.0), (1, 40.0)):
        computed = with_pulse(computed, dead * (1.0 + share * kpa / 30.0), (row, 0))
    # The 20 kPa corner is below a third either way: a caution at most.
    assert [each for each in severities(computed, "short-pulse") if each is Severity.STOP] == expected


@pytest.mark.pin
def test_what_is_said_of_a_short_pulse_at_idle() -> None:
    computed = make_computed(idling(with_target(make_job(), "injectors", shortest_pulse_s=4.0e-3), 20.0))
    first, *_ = found(computed, "short-pulse")
    # 20 kPa: 1.43 ms and 0.84 ms of dead time.
    assert first.severity is Severity.STOP
    assert first.message == (
        "At idle (800 rpm and 20 kPa) the pulse is 2.272 ms (stop below 3.2; 10 cells in reach below 4)."
    )


@pytest.mark.law
def test_an_idle_below_the_lowest_row_has_a_shorter_pulse_than_the_row() -> None:
    # The ECU holds the volumetric efficiency of the row and multiplies by the lower pressure: 1.4325 ms · 10/20.
    job = idling(with_target(make_job(), "injectors", shortest_pulse_s=2.0e-3), 10.0)
    first, *_ = found(make_computed(job), "short-pulse")
    assert first.message == ("At idle (800 rpm and 10 kPa) the pulse is 1.556 ms (stop below 1.6).")


@pytest.mark.law
def test_an_unknown_shortest_pulse_is_not_judged_and_the_dead_time_still_is() -> None:
    computed = make_computed(with_target(make_job(), "injectors", shortest_pulse_s=None))
    assert missing(computed, "short-pulse") == [NotJudged("short-pulse", ("target.injectors.shortest_pulse",))]
    assert severities(computed, "short-pulse") == []
    assert severities(with_pulse(computed, 0.9e-3, AT_LOAD), "short-pulse") == [Severity.STOP]


def emptied(computed: Computed, cell: tuple[int, int]) -> Computed:
    new = np.array(computed.table.new)
    new[cell] = np.nan
    return with_table(computed, new=new)


@pytest.mark.law
@each(
    # The engine idles at 900 rpm and 35 kPa: between the first two rows and columns.
    ("cell", "expected"),
    [(AT_LOAD, STOP), (IDLE_CORNER, STOP), ((1, 1), STOP), (CRUISE, CAUTION), ((0, 2), CAUTION)],
)
def test_an_empty_cell(cell: tuple[int, int], expected: list[Severity]) -> None:
    assert severities(emptied(make_computed(), cell), "no-pulse") == expected
    for ratio in (np.nan, np.inf):
        computed = with_ratio(make_computed(), "new_table_new_settings", ratio, cell)
        assert severities(computed, "no-pulse") == expected


@pytest.mark.pin
@each(
    ("mark", "why"),
    [
        (Mark.NO_PRESSURE, "there is no pressure across the injector"),
        (Mark.DONOR_NO_FUEL, "the donor gives no fuel, so its air is not known"),
        (Mark.NO_PULSE, "the engine needs a shorter pulse than the ECU adds by itself"),
        (Mark.ABOVE_LINE, "no mixture can be worked out"),
    ],
)
def test_an_empty_cell_says_why(mark: Mark, why: str) -> None:
    (finding,) = found(with_mark(emptied(make_computed(), AT_LOAD), mark, AT_LOAD), "no-pulse")
    assert finding.message == (
        f"There is no usable cell at load or idle: at 3000 rpm and 100 kPa {why}; 1 cell in reach, 1 of them at load "
        "or idle."
    )


@pytest.mark.law
@each(
    ("cell", "empty", "no_fuel"),
    [(AT_LOAD, STOP, CAUTION), (IDLE_CORNER, STOP, CAUTION), (CRUISE, [], NOTE)],
)
def test_where_the_donor_cuts_its_fuel(cell: tuple[int, int], empty: list[Severity], no_fuel: list[Severity]) -> None:
    job = make_job()
    values = np.array(job.donor.table.values)
    values[cell] = 0.0
    computed = make_computed(replace(job, donor=replace(job.donor, table=replace(job.donor.table, values=values))))
    assert severities(computed, "no-pulse") == empty
    assert severities(computed, "donor-gives-no-fuel") == no_fuel
