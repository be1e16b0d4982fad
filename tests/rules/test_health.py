"""Spikes, flat areas, half-tuned areas and odd axes: each planted in a smooth table, and smooth tables pass."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from statistics import median_high

import numpy as np
import pytest

from basemap.model.finding import Finding, Severity
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.rules.health import _middle
from tests.builders.cases import each
from tests.builders.computed import found, make_computed, make_job, with_donor, with_target
from tests.builders.results import adapted
from tests.samples import invented

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
SPEEDS = np.array([600.0, 800, 1000, 1250, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000])
LOADS_KPA = np.array([20.0, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 95, 100])
HEALTH = "table-health"


def smooth(breathing: invented.Breathing = invented.FERRY_VAN, decimals: int = 1) -> FloatArray:
    """Volumetric efficiency of an invented engine as its file stores it, fraction."""
    grid = np.array([[breathing.ve(rpm, load) for rpm in SPEEDS] for load in LOADS_KPA])
    return np.asarray(np.round(100.0 * grid, decimals) / 100.0)


def with_values(values: FloatArray, rpm: FloatArray = SPEEDS, load_kpa: FloatArray = LOADS_KPA) -> Job:
    job = make_job(load_kpa)
    shape = values.shape
    table = replace(job.donor.table, values=values, rpm=rpm, intended_lambda=np.full(shape, 0.9))
    return replace(
        job,
        donor=replace(job.donor, table=table),
        target=replace(job.target, table=replace(table, values=np.full(shape, np.nan))),
    )


def health(values: FloatArray) -> list[Finding]:
    return found(make_computed(with_values(values)), HEALTH)


def scaled(rows: slice | int, columns: slice | int, factor: float) -> FloatArray:
    values = smooth()
    values[rows, columns] *= factor
    return values


# Source: the standard library's `median_high`, one of the two values themselves, so they agree to the last bit.
@pytest.mark.check_value
@each("size", range(1, 12))
def test_the_middle_is_the_higher_median(size: int) -> None:
    values = np.random.default_rng(size).normal(size=size)
    assert _middle(values) == median_high(values.tolist())


@pytest.mark.law
@each("name", sorted(path.name for path in SAMPLES.glob("*.toml")))
def test_the_samples_are_smooth(name: str) -> None:
    result = adapted(SAMPLES / name)
    assert [finding for finding in result.findings if finding.rule == HEALTH] == []


@pytest.mark.law
@each(
    "breathing",
    [invented.FERRY_VAN, invented.ORCHARD_PICKUP, invented.HARBOUR_LAUNCH, invented.HILL_CLIMB, invented.BIG_SIX],
)
@each("decimals", [0, 1, 3])
def test_smooth_tables_pass_however_they_are_rounded(breathing: invented.Breathing, decimals: int) -> None:
    assert health(smooth(breathing, decimals)) == []


@pytest.mark.law
@each("cell", [(0, 0), (0, 6), (4, 0), (4, 13), (5, 7), (12, 13), (12, 4), (12, 0)])
@each("factor", [0.90, 1.10])
def test_a_spike_is_found_anywhere_and_alone(cell: tuple[int, int], factor: float) -> None:
    (finding,) = health(scaled(*cell, factor))
    assert finding.cells == (cell,)
    assert finding.severity is (Severity.CAUTION if LOADS_KPA[cell[0]] > 81.06 else Severity.NOTE)
    # The neighbours are not quite on a line, least so at the corners of low load.
    assert finding.value == pytest.approx(10.0, abs=2.5)


@pytest.mark.law
@each(("factor", "severity"), [
    (0.1, Severity.CAUTION), (0.7, Severity.CAUTION), (0.8, Severity.NOTE), (1.2, Severity.NOTE),
    (10.0, Severity.CAUTION),
])  # fmt: skip
def test_a_lost_digit_at_part_load_is_no_mere_note(factor: float, severity: Severity) -> None:
    """The engine stops in such a cell, or is drowned: a note, which only `--all` prints, would hide it."""
    (finding,) = health(scaled(5, 7, factor))
    assert (finding.severity, finding.cells) == (severity, ((5, 7),))


@pytest.mark.law
@each(("factor", "count"), [(1.030, 0), (0.970, 0), (1.055, 1), (0.945, 1)])
def test_a_spike_counts_from_four_per_cent(factor: float, count: int) -> None:
    assert len(health(scaled(5, 7, factor))) == count


@pytest.mark.law
def test_the_roughness_of_the_table_itself_is_no_spike() -> None:
    # 2 % of noise everywhere (normal, a fixed seed): second differences of some 2.5 %, a spike of 7 % is lost in it.
    noise = np.random.default_rng(1).standard_normal(smooth().shape)
    rough = smooth() * (1.0 + 0.02 * noise)
    assert [finding.message for finding in health(rough)] == []
    rough[5, 7] *= 1.40
    assert [finding.cells for finding in health(rough)] == [((5, 7),)]


@pytest.mark.law
@each(("rows", "columns"), [(slice(None), 7), (5, slice(None))])
def test_a_ridge_is_no_spike(rows: slice | int, columns: slice | int) -> None:
    findings = health(scaled(rows, columns, 1.10))
    assert [finding for finding in findings if finding.message.startswith("Spikes")] == []


@pytest.mark.law
def test_a_spike_out_of_reach_does_not_matter() -> None:
    job = with_values(scaled(12, 7, 1.2))
    assert found(make_computed(with_target(job, "engine", load_cut_pa=80e3)), HEALTH) == []


@pytest.mark.law
def test_a_spike_in_a_cell_that_nobody_tuned_matters_where_the_target_reads_it() -> None:
    """A slip in the row that brackets the barometer from above is read at wide open, whatever the donor visited."""
    job = with_values(scaled(12, 7, 0.1))
    never_there = with_donor(job, "engine", peak_pressure_pa=90e3)
    assert not make_computed(never_there).table.visited[12, 7]
    (finding,) = found(make_computed(never_there), HEALTH)
    assert (finding.severity, finding.cells) == (Severity.CAUTION, ((12, 7),))


@pytest.mark.pin
def test_what_is_said_of_a_spike() -> None:
    (finding,) = health(scaled(5, 7, 1.2))
    assert finding.message == (
        "Spikes in the donor's table: at 3000 rpm and 45 kPa it is 20.5 % above its neighbours (1 cell more than 4.1 % "
        "off)."
    )
    assert finding.remedy == (
        "Look at these cells of the donor's file: a typing error, or one bad reading. Smooth them and adapt again."
    )


def flat(rows: slice, columns: slice) -> FloatArray:
    values = smooth()
    values[rows, columns] = values[rows, columns].mean().round(3)
    return values


def of_kind(findings: list[Finding], start: str) -> list[Finding]:
    return [finding for finding in findings if finding.message.startswith(start)]


@pytest.mark.law
@each(
    ("rows", "columns", "severity"),
    [(slice(3, 6), slice(6, 9), Severity.NOTE), (slice(10, 13), slice(8, 11), Severity.CAUTION)],
)
def test_a_flat_block(rows: slice, columns: slice, severity: Severity) -> None:
    (finding,) = of_kind(health(flat(rows, columns)), "Flat")
    assert finding.severity is severity
    assert set(finding.cells) == {
        (row, column) for row in range(rows.start, rows.stop) for column in range(columns.start, columns.stop)
    }


@pytest.mark.law
@each(("rows", "columns"), [(slice(3, 5), slice(4, 12)), (slice(2, 9), slice(6, 8))])
def test_two_equal_rows_or_columns_are_not_flat(rows: slice, columns: slice) -> None:
    assert of_kind(health(flat(rows, columns)), "Flat") == []


@pytest.mark.law
@each(("side", "count"), [(3, 0), (4, 1)])
def test_a_table_of_whole_per_cent_is_flat_from_four_by_four(side: int, count: int) -> None:
    job = with_values(np.round(flat(slice(3, 3 + side), slice(5, 5 + side)), 2))
    coarse = replace(job, donor=replace(job.donor, shown=replace(job.donor.shown, decimals=0)))
    assert len(of_kind(found(make_computed(coarse), HEALTH), "Flat")) == count


@pytest.mark.law
def test_a_table_of_one_value_is_flat() -> None:
    (finding,) = health(np.full(smooth().shape, 0.8))
    assert len(finding.cells) == smooth().size
    assert finding.message == (
        "Flat areas in the donor's table: 182 cells in blocks of one value, such as 80 % from 600 rpm and 20 kPa up "
        "(at least 3 by 3 equal cells)."
    )


@pytest.mark.law
@each(
    ("rows", "columns", "severity"),
    [
        (slice(0, 6), slice(9, 14), Severity.NOTE),
        (slice(0, 6), slice(0, 5), Severity.NOTE),
        (slice(7, 13), slice(9, 14), Severity.CAUTION),
    ],
)
@each("factor", [0.92, 1.08])
def test_a_half_tuned_corner(rows: slice, columns: slice, factor: float, severity: Severity) -> None:
    (finding,) = health(scaled(rows, columns, factor))
    assert (finding.severity, finding.message[:12]) == (severity, "Half tuned: ")
    # Every cell named lies beside the edge, none in the middle of either area.
    assert {row for row, _ in finding.cells} & {rows.start, rows.stop, rows.stop - 1}
    assert len(finding.cells) < 0.5 * smooth().size


@pytest.mark.law
@each(("factor", "count"), [(1.03, 0), (0.97, 0), (1.05, 1), (0.95, 1)])
def test_a_half_tuned_corner_counts_from_four_per_cent(factor: float, count: int) -> None:
    assert len(health(scaled(slice(0, 6), slice(9, 14), factor))) == count


@pytest.mark.law
def test_a_table_of_which_only_the_upper_half_was_tuned() -> None:
    (finding,) = health(scaled(slice(0, 7), slice(None), 1.10))
    assert {row for row, _ in finding.cells} == {6, 7}


@pytest.mark.law
def test_a_cam_that_switches_is_the_engines_own() -> None:
    # All loads step at one speed.
    assert health(scaled(slice(None), slice(9, 14), 1.08)) == []


@pytest.mark.pin
def test_what_is_said_of_a_half_tuned_corner() -> None:
    (finding,) = health(scaled(slice(0, 6), slice(9, 14), 1.10))
    assert finding.message == (
        "Half tuned: between 3500 rpm and 40 kPa and 4000 rpm and 40 kPa the donor's table steps up by 10.4 % more "
        "than on either side, along 3 cells or more (limit 4.1 %; 18 cells beside such edges)."
    )
    assert finding.remedy == (
        "One area was tuned and the one next to it was not. Find out which, and tune the other on the target."
    )


def on_axes(rpm: list[float], load_kpa: list[float]) -> Computed:
    """A smooth table on axes of its own, which show no breaks."""
    breathing = invented.FERRY_VAN
    values = np.array([[breathing.ve(speed, load) for speed in rpm] for load in load_kpa])
    return make_computed(with_values(values, np.array(rpm), np.array(load_kpa)))


@pytest.mark.law
@each(
    ("rpm", "count"),
    [
        ([800.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0], 0),
        ([800.0, 1000.0, 2010.0, 3000.0, 4000.0, 5000.0], 1),
        ([1000.0, 2000.0, 3000.0, 3010.0, 4000.0, 5000.0], 1),
    ],
)
def test_an_uneven_axis(rpm: list[float], count: int) -> None:
    # 5 to 1: common practice, no source.
    assert len(of_kind(found(on_axes(rpm, [40.0, 60.0, 80.0, 100.0]), HEALTH), "The speed axis")) == count


@pytest.mark.pin
def test_what_is_said_of_an_uneven_axis() -> None:
    (finding,) = found(on_axes([1000.0, 2000.0, 3000.0, 4000.0], [30.0, 40.0, 41.0, 60.0, 80.0, 100.0]), HEALTH)
    assert (finding.severity, finding.cells) == (Severity.NOTE, ())
    assert finding.message == (
        "The load axis is uneven: of 40 kPa, 41 kPa and 60 kPa one gap is 19 times the other (note above 5): a typing "
        "error, or a missing point."
    )


@pytest.mark.law
@each("shape", [(1, 5), (2, 2), (3, 5), (5, 1)])
def test_small_tables_are_looked_at_without_a_warning(shape: tuple[int, int]) -> None:
    rpm, load = np.linspace(1000.0, 5000.0, shape[1]), np.linspace(40.0, 100.0, shape[0])
    assert found(on_axes(rpm.tolist(), load.tolist()), HEALTH) == []
