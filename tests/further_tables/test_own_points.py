"""Further tables on points of the target's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from basemap.adaptation.pipeline import adapt
from basemap.errors import InputError
from basemap.model.finding import Severity
from basemap.model.marks import Mark
from basemap.report.grid_file import further_table_bytes
from basemap.report.json_file import as_json
from tests.builders.round_numbers import CRANK, CRANK_CSV, first, job_with

WARM = """
[donor.tables.warm]
file = "warm.csv"
quantity = "percent"
axis = "coolant temperature"
axis_unit = "degC"
"""
WARM_CSV = "degC,%\n-20,160\n0,140\n60,100\n"
GOAL = """
[donor.tables.goal]
file = "goal.csv"
quantity = "lambda"
load = "manifold pressure"
load_unit = "kPa"
"""
GOAL_CSV = "kPa,1000,3000,6000\n30,1.00,1.00,0.98\n70,1.00,0.97,0.92\n100,0.90,0.88,0.86\n"


def own(name: str, keys: str) -> str:
    return f"\n[target.tables.{name}]\n{keys}\n"


@pytest.mark.check_value
def test_a_cranking_table_on_other_temperatures(tmp_path: Path) -> None:
    crank = first(job_with(tmp_path, CRANK + own("crank", "axis_points = [-40, -20, 0, 80, 100]"), crank=CRANK_CSV))
    # By hand: at 0 degC half way between 18.4 and 9.0 ms, 13.7; of that 2.4 ms are dead time. 2.8 + 0.9 · 11.3 = 12.97.
    # Beyond its ends the table holds 18.4 and 6.4 ms: 17.2 and 6.4 on the target.
    np.testing.assert_allclose(crank.new, [17.2, 17.2, 12.97, 6.4, 6.4], rtol=1e-12)
    np.testing.assert_allclose(crank.old, [18.4, 18.4, 13.7, 6.4, 6.4], rtol=1e-12)
    assert crank.marks[Mark.OUTSIDE].tolist() == [True, False, False, False, True]
    assert further_table_bytes(crank) == b"degC,ms\n-40,17.20\n-20,17.20\n0,12.97\n80,6.40\n100,6.40\n"


@pytest.mark.check_value
@pytest.mark.parametrize("shortest", ["0", "1.0", "2.4"])
def test_beside_a_cell_that_delivers_nothing_a_point_is_left_empty(shortest: str, tmp_path: Path) -> None:
    table = f"degC,ms\n-20,18.4\n20,9.0\n80,{shortest}\n"
    crank = first(job_with(tmp_path, CRANK + own("crank", "axis_points = [0, 20, 21, 50, 79]"), crank=table))
    # By hand: 12.97 as above, and 2.8 + 0.9 · (9.0 - 2.4) = 8.74. Between 20 and 80 degC the pulse and the fuel, each
    # read straight, are not the same: at 50 degC and 1.0 ms 2.6 ms of fuel against 3.3 ms.
    np.testing.assert_allclose(crank.new, [12.97, 8.74, np.nan, np.nan, np.nan], rtol=1e-12)
    assert crank.marks[Mark.DONOR_NO_FUEL].tolist() == [False, False, True, True, True]


def test_what_is_said_of_a_point_beside_a_cell_that_delivers_nothing(tmp_path: Path) -> None:
    table = "degC,ms\n-20,18.4\n20,9.0\n80,1.0\n"
    job = job_with(tmp_path, CRANK + own("crank", "axis_points = [20, 50]"), crank=table)
    (said,) = [f for f in adapt(job).findings if f.rule == "further-tables" and "left empty" in f.message]
    assert said.severity is Severity.CAUTION
    assert "at 50 degC (1 cell): the donor's cell, or one beside this point, is shorter" in said.message


def test_a_cell_just_longer_than_the_dead_time_is_read_across(tmp_path: Path) -> None:
    table = "degC,ms\n20,9.0\n80,2.41\n"
    crank = first(job_with(tmp_path, CRANK + own("crank", "axis_points = [20, 50]"), crank=table))
    # By hand: half way between 6.6 and 0.01 ms of fuel 3.305, of which 0.9 and 2.8 make 5.7745.
    np.testing.assert_allclose(crank.new, [8.74, 5.7745], rtol=1e-12)


def test_a_pulse_without_dead_time_in_it_is_read_down_to_nothing(tmp_path: Path) -> None:
    adds = ("ecu_applies = []", 'ecu_applies = ["dead time"]')
    crank = CRANK + own("crank", "axis_points = [20, 50]")
    found = first(job_with(tmp_path, crank, adds, crank="degC,ms\n20,9.0\n80,0\n"))
    np.testing.assert_allclose(found.new, [8.1, 4.05], rtol=1e-12)  # By hand: 0.9 · 9 and 0.9 · 4.5.


# scipy's interpolator of the fuel of each pulse: reading pulses and reading fuel is the same where the dead time is.
@pytest.mark.check_value
@pytest.mark.parametrize("applies", ["[]", '["dead time"]'])
def test_reading_the_pulse_is_reading_the_fuel(applies: str, tmp_path: Path) -> None:
    pair = ("ecu_applies = []", f"ecu_applies = {applies}")
    points = np.array([-17.0, -3.0, 12.5, 44.0, 79.0])
    on_donors = first(job_with(tmp_path, CRANK, pair, crank=CRANK_CSV))
    found = first(job_with(tmp_path, CRANK + own("crank", f"axis_points = {points.tolist()}"), pair, crank=CRANK_CSV))
    fuel = RegularGridInterpolator((on_donors.axes[0].values,), on_donors.pulse_s - on_donors.dead_time_s)  # type: ignore[no-untyped-call]
    np.testing.assert_allclose(found.pulse_s - found.dead_time_s, fuel(points[:, np.newaxis]), rtol=1e-12)


@pytest.mark.check_value
def test_per_cents_are_read_straight_and_stay_where_they_stood(tmp_path: Path) -> None:
    warm = first(job_with(tmp_path, WARM + own("warm", "axis_points = [-20, -5, 0, 30, 60]"), warm=WARM_CSV))
    assert warm.stored.tolist() == [160.0, 145.0, 140.0, 120.0, 100.0]
    assert further_table_bytes(warm) == b"degC,%\n-20,160\n-5,145\n0,140\n30,120\n60,100\n"
    entry = as_json(adapt(job_with(tmp_path, WARM + own("warm", "axis_points = [-20, 30]"), warm=WARM_CSV)))
    table = entry["tables"]["warm"]
    assert (table["axis"], table["donor_axis"], table["donor_cells"]) == (
        [-20.0, 30.0], [-20.0, 0.0, 60.0], [160.0, 140.0, 100.0],
    )  # fmt: skip


def test_rows_and_falling_axes_keep_their_shape(tmp_path: Path) -> None:
    rows = "degC;80;20;-20\nms;6,40;9,00;18,40\n"
    crank = first(job_with(tmp_path, CRANK + own("crank", "axis_points = [-10, 2.5]"), crank=rows))
    # By hand: 18.4 - 9.4/4 = 16.05 and 18.4 - 9.4 · 22.5/40 = 13.1125; less 2.4, times 0.9, and 2.8: 15.085, 12.44125.
    np.testing.assert_allclose(crank.new, [15.085, 12.44125], rtol=1e-12)
    assert further_table_bytes(crank) == b"degC;2,5;-10\nms;12,44;15,09\n"


@pytest.mark.check_value
def test_a_mixture_over_speed_and_load(tmp_path: Path) -> None:
    rpm, load = [1500.0, 4000.0, 6000.0], [30.0, 55.0, 100.0]
    keys = f"rpm_points = {rpm}\nload_points = {load}"
    goal = first(job_with(tmp_path, GOAL + own("goal", keys), goal=GOAL_CSV))
    cells = np.array([[1.0, 1.0, 0.98], [1.0, 0.97, 0.92], [0.9, 0.88, 0.86]])
    library = RegularGridInterpolator(([30.0, 70.0, 100.0], [1000.0, 3000.0, 6000.0]), cells)  # type: ignore[no-untyped-call]
    np.testing.assert_allclose(goal.new, library(tuple(np.meshgrid(load, rpm, indexing="ij"))), rtol=1e-12)
    assert further_table_bytes(goal).decode().splitlines()[0] == "kPa,1500,4000,6000"


def test_the_donors_mixture_is_still_the_donors(tmp_path: Path) -> None:
    of = ("lambda = 1.0", 'lambda = { table = "goal" }')
    keys = "rpm_points = [1000, 6000]\nload_points = [30, 100]"
    plain = job_with(tmp_path, GOAL, of, goal=GOAL_CSV)
    other = job_with(tmp_path, GOAL + own("goal", keys), of, goal=GOAL_CSV)
    np.testing.assert_array_equal(other.donor.table.intended_lambda, plain.donor.table.intended_lambda)


def test_colder_than_the_donor_is_a_caution(tmp_path: Path) -> None:
    def found(tables: str, **files: str) -> list[tuple[Severity, str]]:
        result = adapt(job_with(tmp_path, tables, ("stoichiometric = 9.8", "stoichiometric = 14.7"), **files))
        return [(one.severity, one.message) for one in result.findings if one.message.startswith("In the table")]

    assert found(CRANK + own("crank", "axis_points = [-40, 0]"), crank=CRANK_CSV) == [
        (
            Severity.CAUTION,
            "In the table crank 1 cell lies beyond the donor's, such as -40 degC: its edge cells are held there, "
            "which is lean at the colder points.",
        )
    ]
    assert found(CRANK + own("crank", "axis_points = [0, 95]"), crank=CRANK_CSV) == [
        (
            Severity.NOTE,
            "In the table crank 1 cell lies beyond the donor's, such as 95 degC: its edge cells are held there.",
        )
    ]
    assert found(CRANK + own("crank", "axis_points = [-20, 80]"), crank=CRANK_CSV) == []


@pytest.mark.law
def test_the_donors_own_points_change_nothing(tmp_path: Path) -> None:
    plain = first(job_with(tmp_path, CRANK, crank=CRANK_CSV))
    same = first(job_with(tmp_path, CRANK + own("crank", "axis_points = [-20, 20, 80]"), crank=CRANK_CSV))
    np.testing.assert_array_equal(same.new, plain.new)
    assert further_table_bytes(same) == further_table_bytes(plain)


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        (
            CRANK + own("crank", "rpm_points = [1000, 2000]"),
            "job.toml: target.tables.crank.rpm_points: the table has one axis: its own points are axis_points",
        ),
        (
            GOAL + own("goal", "axis_points = [1000, 2000]"),
            "job.toml: target.tables.goal.axis_points: the table has two axes: its own points are rpm_points and "
            "load_points",
        ),
        (
            CRANK + own("crank", "axis_points = [-20, 300]"),
            "job.toml: target.tables.crank.axis_points: a coolant temperature of 300 degC is not possible: expected "
            "-60 to 150 degC",
        ),
        (
            GOAL + own("goal", "load_points = [50, 120]"),
            "job.toml: target.tables.goal.load_points: 120 kPa lies above the donor's top row, 100, and an intended "
            "mixture is never carried beyond its own table: leave the point out, or extend the donor's table",
        ),
        (
            GOAL + own("goal", "rpm_points = [-50, 1000]"),
            "job.toml: target.tables.goal.rpm_points: an engine speed of -50 is not possible: expected rev/min above 0 "
            "and below 30000",
        ),
    ],
)
def test_points_that_cannot_be(tables: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, tables, crank=CRANK_CSV, goal=GOAL_CSV)
    assert str(caught.value) == message


def test_injectors_that_are_not_straight_are_refused(tmp_path: Path) -> None:
    bent = '\n[donor.injectors.added_time]\nopen = ["1 ms", "3 ms"]\ntime = ["0.2 ms", "0 ms"]\n'
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, CRANK + bent + own("crank", "axis_points = [0, 20]"), crank=CRANK_CSV)
    assert str(caught.value) == (
        "job.toml: target.tables.crank.axis_points: not supported yet: the donor's injectors have a flow line that is "
        "not straight, so the pulse between two points does not follow from the pulses at them; leave it out"
    )


# A mixture over coolant temperature is richer the colder it is, like a pulse: its edge, held, is lean there too.
@pytest.mark.parametrize(("points", "severity"), [("[-21, 60]", Severity.CAUTION), ("[-20, 61]", Severity.NOTE)])
def test_a_mixture_colder_than_the_donor_is_a_caution_too(points: str, severity: Severity, tmp_path: Path) -> None:
    table = WARM.replace('"percent"', '"lambda"') + own("warm", f"axis_points = {points}")
    found = adapt(job_with(tmp_path, table, warm="degC,lambda\n-20,0.80\n0,0.90\n60,1.00\n"))
    beyond = [finding for finding in found.findings if "its edge cells are held there" in finding.message]
    assert [finding.severity for finding in beyond] == [severity]


def _goal(size: int) -> str:
    speeds = ",".join(str(500 + 90 * n) for n in range(size))
    return f"kPa,{speeds}\n" + "".join(f"{20 + n},{','.join(['0.9'] * size)}\n" for n in range(size))


def test_further_tables_have_no_more_cells_together_than_can_be_compared(tmp_path: Path) -> None:
    tables = "".join(GOAL.replace("tables.goal", f"tables.goal{number}") for number in range(5))
    assert len(job_with(tmp_path, tables, goal=_goal(71)).further_tables) == 5
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, tables, goal=_goal(80))
    assert str(caught.value) == (
        "job.toml: donor.tables.goal4: with this table the further tables have 32000 cells: expected at most 25600 in "
        "all; leave out tables, or some of their rows and columns"
    )
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, GOAL, goal=_goal(81))
    assert str(caught.value) == (
        "goal.csv: has 81 × 81 cells: expected at most 6400, more than any controller's table has; leave out some "
        "rows and columns"
    )


def test_a_percentage_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, WARM, warm=WARM_CSV.replace("140", "-1e300"))
    assert str(caught.value) == "warm.csv: 0 degC: holds -1e+300 %: expected at most 10000 %; is it percent?"
