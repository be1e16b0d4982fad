from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from basemap.model.axes import Interpolation, interpolation
from basemap.model.installation import FloatArray
from tests.builders.cases import each


@dataclass(frozen=True)
class Grid:
    load: FloatArray
    rpm: FloatArray


def between(old: Grid, new: Grid) -> Interpolation:
    return interpolation((old.load, new.load), (old.rpm, new.rpm))


OLD = Grid(load=np.array([30.0, 60.0, 100.0]), rpm=np.array([1000.0, 3000.0, 6000.0]))
ETA = np.array([[45.0, 55.0, 50.0], [62.0, 75.0, 70.0], [70.0, 88.0, 82.0]])


def at(load: float, rpm: float) -> Grid:
    return Grid(np.array([load]), np.array([rpm]))


# scipy 1.17.1, RegularGridInterpolator, and by hand.
@pytest.mark.check_value
@each(("load", "rpm", "value"), [(45.0, 2000.0, 59.25), (80.0, 4500.0, 78.75)])
def test_worked_points(load: float, rpm: float, value: float) -> None:
    read = between(OLD, at(load, rpm))
    assert read.of(ETA).tolist() == [[pytest.approx(value, rel=1e-15)]]
    assert read.outside.tolist() == [[False]]


# What interpolating the raw pulse, pressure inside, would have cost at the first of them: worked out apart, 5.204 %.
@pytest.mark.check_value
def test_why_a_pulse_is_not_interpolated() -> None:
    read = between(OLD, at(45.0, 2000.0))
    pulse, efficiency = read.of(ETA * OLD.load[:, np.newaxis])[0, 0], read.of(ETA)[0, 0]
    assert pulse / (45.0 * efficiency) - 1.0 == pytest.approx(0.05204, abs=2.5e-5 / 2)


@pytest.mark.law
def test_on_its_own_axes_a_table_comes_back_to_the_bit() -> None:
    odd = ETA / 3.0
    read = between(OLD, OLD)
    assert read.of(odd).tolist() == odd.tolist()
    assert not read.outside.any()
    assert not read.beyond_top_row.any()


@pytest.mark.law
def test_a_plane_stays_a_plane() -> None:
    new = Grid(np.linspace(30.0, 100.0, 15), np.linspace(1000.0, 6000.0, 23))

    def plane(grid: Grid) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.asarray(3.0 + 0.2 * grid.load[:, np.newaxis] - 1e-3 * grid.rpm)

    assert between(OLD, new).of(plane(OLD)) == pytest.approx(plane(new), rel=1e-13)


@pytest.mark.law
def test_outside_the_edge_is_held_and_marked() -> None:
    new = Grid(np.array([20.0, 60.0, 110.0]), np.array([500.0, 3000.0, 7000.0]))
    read = between(OLD, new)
    assert read.of(ETA).tolist() == ETA.tolist()
    assert read.outside.tolist() == [[True, True, True], [True, False, True], [True, True, True]]
    assert read.beyond_top_row.tolist() == [False, False, True]


@pytest.mark.law
def test_the_edge_itself_is_inside() -> None:
    assert not between(OLD, Grid(OLD.load[[0, -1]], OLD.rpm[[0, -1]])).outside.any()


@pytest.mark.law
def test_an_empty_cell_empties_its_surroundings_only() -> None:
    holed = ETA.copy()
    holed[1, 1] = np.nan
    new = Grid(np.array([30.0, 45.0, 60.0, 100.0]), np.array([1000.0, 2000.0, 3000.0, 6000.0]))
    empty = np.isnan(between(OLD, new).of(holed))
    assert empty.tolist() == [
        [False, False, False, False],
        [False, True, True, False],
        [False, True, True, False],
        [False, False, False, False],
    ]


@pytest.mark.law
def test_an_endless_cell_is_not_touched_from_its_neighbours() -> None:
    endless = ETA.copy()
    endless[0, 0] = np.inf
    new = Grid(np.array([30.0, 60.0]), np.array([1000.0, 2000.0, 3000.0]))
    assert between(OLD, new).of(endless).tolist() == [[np.inf, np.inf, 55.0], [62.0, 68.5, 75.0]]


@pytest.mark.law
def test_a_single_row_or_column_holds_everywhere() -> None:
    row = Grid(np.array([60.0]), OLD.rpm)
    read = between(row, Grid(np.array([30.0, 60.0]), np.array([2000.0])))
    assert read.of(ETA[1:2]).tolist() == [[68.5], [68.5]]
    assert read.outside.tolist() == [[True], [False]]


@pytest.mark.law
def test_one_axis_after_the_other_is_both_at_once() -> None:
    new = Grid(np.array([33.0, 71.0]), np.array([1234.0, 5432.0]))
    by_speed = np.array([np.interp(new.rpm, OLD.rpm, row) for row in ETA])
    by_both = np.array([np.interp(new.load, OLD.load, column) for column in by_speed.T]).T
    assert between(OLD, new).of(ETA) == pytest.approx(by_both, rel=1e-14)


@pytest.mark.law
def test_a_mistake_of_the_program_is_told_as_one() -> None:
    with pytest.raises(ValueError, match=r"^an axis does not rise: \[30\.0, 30\.0, 100\.0\]$"):
        between(Grid(np.array([30.0, 30.0, 100.0]), OLD.rpm), OLD)


# By hand: of the four cells around 45 and 2000 one is set; of the two beside 60 and 2000 none.
@pytest.mark.check_value
def test_a_mark_of_a_cell_is_one_of_what_is_read_from_it() -> None:
    marked = np.zeros((3, 3), dtype=bool)
    marked[0, 0] = True
    read = between(OLD, Grid(np.array([45.0, 60.0]), np.array([1000.0, 2000.0, 3000.0])))
    assert read.any_of(marked).tolist() == [[True, True, False], [False, False, False]]
    assert read.all_of(~marked).tolist() == [[False, False, True], [True, True, True]]


# Worlds of samples go before the axes.
@pytest.mark.law
def test_samples_are_read_as_one_table_each() -> None:
    read = between(OLD, Grid(np.array([45.0]), np.array([1500.0, 2000.0])))
    assert read.of(np.array([ETA, 2.0 * ETA])).tolist() == [read.of(ETA).tolist(), read.of(2.0 * ETA).tolist()]
