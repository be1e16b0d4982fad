"""The breathing field: its kernel another way, its limits, and draws from it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from basemap.belief.field import METER, SPREADS, Evidence, Field, FieldSpread, FloatArray, Points, covariance
from basemap.belief.square_root import square_root
from basemap.model.likeness import Likeness
from tests.builders.cases import each

ANOTHER = SPREADS[Likeness.ANOTHER_ENGINE]
RPM = np.linspace(600.0, 7000.0, 9)
RATIO = np.linspace(0.2, 1.3, 7)
GRID = Points.at(RPM, RATIO[:, np.newaxis])


def makers_evidence(value: float = 0.05) -> Evidence:
    """Power at 6500 and torque at 4500 rpm: √2·5 % each, correlated 0.7."""
    noise = 2.0 * 0.05**2 * np.array([[1.0, 0.7], [0.7, 1.0]])
    return Evidence(Points.at(np.array([6500.0, 4500.0]), 1.0), np.full(2, value), noise)


# Wide open √(s_c² + s_r²), at 30 kPa of 101.325 also (s_p·ln 0.296)²; worked by hand to three digits.
@pytest.mark.check_value
@each(
    ("likeness", "wide_open", "at_30_kpa"),
    [
        (Likeness.SAME_ENGINE, 0.0297, 0.0349),
        (Likeness.SAME_HEAD, 0.0502, 0.0699),
        (Likeness.ANOTHER_ENGINE, 0.1097, 0.1925),
    ],
)
def test_the_standard_deviations_of_the_three_likenesses(
    likeness: Likeness, wide_open: float, at_30_kpa: float
) -> None:
    field = Field(SPREADS[likeness])
    found = field.standard(Points.at(3000.0, np.array([1.0, 30.0 / 101.325])))
    assert found == pytest.approx([wide_open, at_30_kpa], abs=5e-5)
    assert (field.mean(GRID) == 0.0).all()


# scipy's distances of scaled coordinates, and a Brownian path's covariance of the part towards light load.
@pytest.mark.check_value
def test_the_kernel_by_scaled_distances() -> None:
    at = np.column_stack([GRID.speed, GRID.pressure])
    long, short = (np.exp(-0.5 * cdist(at / scale, at / scale, "sqeuclidean")) for scale in ((0.55, 0.6), (0.15, 0.15)))
    below = np.clip(GRID.pressure, None, 0.0)
    expected = 0.08**2 + 0.075**2 * (0.96 * long + 0.04 * short) + 0.13**2 * below[:, np.newaxis] * below
    assert covariance(ANOTHER, GRID, GRID) == pytest.approx(expected, rel=1e-12)


# The design's own statement, from a calculation apart from the program: 11 % wide open become about 6 % near the
# figures' speeds and 9 % at 1500 rpm.
@pytest.mark.check_value
def test_makers_figures_narrow_the_field_where_they_were_made() -> None:
    field = Field(ANOTHER).given(makers_evidence())
    assert field.standard(Points.at(np.array([1500.0, 4500.0, 6500.0]), 1.0)) == pytest.approx(
        [0.09, 0.06, 0.06], abs=0.005
    )
    assert (field.mean(Points.at(np.array([4500.0, 6500.0]), 1.0)) > 0.03).all()


@pytest.mark.law
def test_no_evidence_is_the_prior_and_exact_evidence_is_believed() -> None:
    points = Points.at(np.array([2000.0, 5000.0]), np.array([0.4, 1.0]))
    loose = Field(ANOTHER).given(Evidence(points, np.array([0.1, -0.1]), 1e12 * np.eye(2)))
    assert loose.standard(GRID) == pytest.approx(Field(ANOTHER).standard(GRID), rel=1e-9)
    assert loose.mean(GRID) == pytest.approx(np.zeros(GRID.size), abs=1e-9)
    exact = Field(ANOTHER).given(Evidence(points, np.array([0.1, -0.1]), np.zeros((2, 2))))
    assert exact.mean(points) == pytest.approx([0.1, -0.1], abs=1e-12)
    assert exact.standard(points) == pytest.approx([0.0, 0.0], abs=1e-7)


@pytest.mark.law
def test_far_from_all_evidence_the_smooth_part_is_as_before() -> None:
    """Nine lengths away; a factor common to all cells is learnt everywhere, so there is none here."""
    smooth = FieldSpread(0.0, 0.075, 0.0)
    field = Field(smooth).given(Evidence(Points.at(np.array([50.0]), 1.0), np.array([0.3]), np.zeros((1, 1))))
    far = Points.at(np.array([7000.0]), 1.0)
    assert field.mean(far) == pytest.approx([0.0], abs=1e-15)
    assert field.standard(far) == pytest.approx([0.075], rel=1e-9)


@pytest.mark.law
@given(st.permutations(range(4)))
def test_the_order_of_evidence_does_not_matter(order: list[int]) -> None:
    rpm, values = np.array([1500.0, 3000.0, 4500.0, 6500.0]), np.array([0.02, -0.05, 0.1, 0.04])
    noise = 0.05**2 * (0.5 * np.eye(4) + 0.5)

    def field(order: list[int]) -> Field:
        points = Points.at(rpm[order], 1.0)
        return Field(ANOTHER).given(Evidence(points, values[order], noise[np.ix_(order, order)]))

    one, other = field([0, 1, 2, 3]), field(order)
    assert one.mean(GRID) == pytest.approx(other.mean(GRID), rel=1e-9, abs=1e-12)
    assert one.standard(GRID) == pytest.approx(other.standard(GRID), rel=1e-9)


@pytest.mark.law
def test_the_meter_of_the_air_has_one_scale() -> None:
    field = Field(METER)
    assert field.standard(GRID) == pytest.approx(np.full(GRID.size, 0.03))
    assert field.factor(GRID).shape == (GRID.size, 1)


@pytest.mark.law
@pytest.mark.parametrize("field", [Field(ANOTHER), Field(ANOTHER).given(makers_evidence())])
def test_draws_have_the_covariance_of_the_field(field: Field) -> None:
    """The factor times itself is the covariance to 1e-6 of a standard deviation, and the diagonal is the band's."""
    factor = field.factor(GRID)
    assert factor @ factor.T == pytest.approx(field.covariance(GRID, GRID), abs=1e-9)
    assert np.sqrt(np.sum(factor**2, axis=1)) == pytest.approx(field.standard(GRID), rel=1e-7)


@pytest.mark.law
def test_a_cell_without_a_pressure_is_not_known() -> None:
    points = Points.at(3000.0, np.array([0.5, np.nan, 1.0]))
    field = Field(ANOTHER).given(makers_evidence())
    assert np.isnan(field.standard(points)).tolist() == [False, True, False]
    assert np.isnan(field.mean(points)).tolist() == [False, True, False]
    assert np.isnan(field.factor(points)).any(axis=1).tolist() == [False, True, False]


@pytest.mark.law
@given(st.integers(0, 200), st.integers(1, 12), st.integers(1, 12))
def test_the_square_root_of_any_covariance(seed: int, size: int, rank: int) -> None:
    root: FloatArray = np.random.default_rng(seed).normal(size=(size, rank))
    whole = root @ root.T
    factor = square_root(lambda index: whole[:, index], np.diag(whole))
    assert factor.shape[1] <= min(size, rank)
    assert factor @ factor.T == pytest.approx(whole, rel=1e-6, abs=1e-6 * float(np.diag(whole).max()))
