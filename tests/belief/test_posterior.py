"""Gaussian conditioning: by hand, by other routes, and by the laws that any of them must keep."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg as scipy_linalg
from scipy import stats

from basemap.belief.posterior import FloatArray, Gaussian, Observed
from tests.builders.cases import each

linalg: Any = scipy_linalg
logpdf: Any = stats.multivariate_normal.logpdf


def random_problem(seed: int, n: int = 6, m: int = 4) -> tuple[Gaussian, FloatArray, FloatArray, FloatArray]:
    """A prior, observations, sensitivities and correlated noise."""
    random = np.random.default_rng(seed)
    root = random.normal(size=(n, n))
    noise_root = random.normal(size=(m, m))
    prior = Gaussian(random.normal(size=n), root @ root.T + 0.1 * np.eye(n))
    noise = noise_root @ noise_root.T + 0.1 * np.eye(m)
    return prior, random.normal(size=m), random.normal(size=(m, n)), noise


# By hand: gain P·h/(hPh + 1) = (4/5, 2/5), so the mean is 5 times that and the covariance P − (4, 2)ᵀ(4, 2)/5.
@pytest.mark.check_value
def test_one_observation_of_two_quantities() -> None:
    prior = Gaussian(np.zeros(2), np.array([[4.0, 2.0], [2.0, 3.0]]))
    found = prior.given(np.array([5.0]), np.array([[1.0, 0.0]]), np.array([[1.0]]))
    assert found.mean == pytest.approx([4.0, 2.0], rel=1e-14)
    assert found.covariance.ravel() == pytest.approx([0.8, 0.4, 0.4, 2.2], rel=1e-14)


# By hand: two readings of one thing, prior variance 1, noise variances 1 and 1 correlated 0.5. Their best mean is the
# plain one, of variance (1 + 0.5)/2 = 0.75; with the prior the weight of it is 1/(1 + 0.75) = 4/7.
@pytest.mark.check_value
def test_two_readings_whose_errors_are_correlated() -> None:
    prior = Gaussian(np.zeros(1), np.eye(1))
    found = prior.given(np.array([0.6, 1.4]), np.ones((2, 1)), np.array([[1.0, 0.5], [0.5, 1.0]]))
    assert found.mean == pytest.approx([4.0 / 7.0], rel=1e-14)
    assert found.standard == pytest.approx([np.sqrt(3.0 / 7.0)], rel=1e-14)


# The information form, with scipy's solver: Λ = P⁻¹ + HᵀR⁻¹H, mean = Λ⁻¹(P⁻¹μ + HᵀR⁻¹y). Agreement some 1e-12.
@pytest.mark.check_value
@each("seed", range(10))
def test_the_information_form(seed: int) -> None:
    prior, y, h, noise = random_problem(seed)
    information = linalg.inv(prior.covariance) + h.T @ linalg.solve(noise, h, assume_a="pos")
    weighted = linalg.solve(prior.covariance, prior.mean) + h.T @ linalg.solve(noise, y, assume_a="pos")
    found = prior.given(y, h, noise)
    assert found.mean == pytest.approx(linalg.solve(information, weighted, assume_a="pos"), rel=1e-8, abs=1e-9)
    assert found.covariance == pytest.approx(linalg.inv(information), rel=1e-8, abs=1e-9)


# Bayes' theorem with scipy.stats: ln p(y|z) + ln p(z) − ln p(z|y) is ln p(y) at any z. Agreement some 1e-11.
@pytest.mark.check_value
@each("seed", range(10))
def test_bayes_theorem(seed: int) -> None:
    prior, y, h, noise = random_problem(seed)
    evidence = logpdf(y, h @ prior.mean, h @ prior.covariance @ h.T + noise)
    found = prior.given(y, h, noise)
    for z in np.random.default_rng(seed).normal(size=(3, len(prior.mean))):
        joint = logpdf(y, h @ z, noise) + logpdf(z, prior.mean, prior.covariance)
        after = logpdf(z, found.mean, found.covariance)
        assert after == pytest.approx(joint - evidence, rel=1e-8, abs=1e-7)


@pytest.mark.law
def test_an_observation_that_says_nothing_leaves_the_prior() -> None:
    prior, y, h, noise = random_problem(1)
    found = prior.given(y, h, 1e14 * noise)
    assert found.mean == pytest.approx(prior.mean, abs=1e-9)
    assert found.covariance == pytest.approx(prior.covariance, rel=1e-9, abs=1e-9)
    nothing = prior.given(np.zeros(0), np.zeros((0, 6)), np.zeros((0, 0)))
    assert nothing.mean.tolist() == prior.mean.tolist()
    assert nothing.covariance.tolist() == prior.covariance.tolist()


@pytest.mark.law
def test_an_exact_observation_pins_what_it_observes_and_may_be_made_twice() -> None:
    prior, y, h, _ = random_problem(2)
    once = prior.given(y, h, np.zeros((4, 4)))
    assert h @ once.mean == pytest.approx(y, abs=1e-9)
    assert h @ once.covariance @ h.T == pytest.approx(np.zeros((4, 4)), abs=1e-9)
    twice = prior.given(np.tile(y, 2), np.tile(h, (2, 1)), np.zeros((8, 8)))
    assert twice.mean == pytest.approx(once.mean, abs=1e-7)
    assert twice.covariance == pytest.approx(once.covariance, abs=1e-7)
    again = once.given(y, h, np.zeros((4, 4)))
    assert again.mean == pytest.approx(once.mean, abs=1e-6)


@pytest.mark.law
def test_exact_observations_that_contradict_each_other_are_refused() -> None:
    prior, y, h, _ = random_problem(2)
    with pytest.raises(ValueError, match="observations without noise contradict each other"):
        prior.given(np.concatenate([y, y + 0.1]), np.tile(h, (2, 1)), np.zeros((8, 8)))


@pytest.mark.law
def test_a_matrix_that_is_no_covariance_is_refused() -> None:
    with pytest.raises(ValueError, match="this is no covariance: it has a negative direction"):
        Observed.of(np.zeros(2), np.array([[1.0, 2.0], [2.0, 1.0]]))


@pytest.mark.law
@given(st.integers(0, 500), st.permutations(range(4)))
def test_the_order_of_evidence_does_not_matter(seed: int, order: list[int]) -> None:
    prior, y, h, noise = random_problem(seed)
    one, other = prior.given(y, h, noise), prior.given(y[order], h[order], noise[np.ix_(order, order)])
    assert one.mean == pytest.approx(other.mean, rel=1e-7, abs=1e-8)
    assert one.covariance == pytest.approx(other.covariance, rel=1e-7, abs=1e-8)


@pytest.mark.law
@given(st.integers(0, 500))
def test_one_after_the_other_is_all_at_once_where_their_noise_is_independent(seed: int) -> None:
    prior, y, h, noise = random_problem(seed)
    noise = np.diag(np.diag(noise))
    one_by_one = prior
    for row in range(4):
        one_by_one = one_by_one.given(y[row : row + 1], h[row : row + 1], noise[row : row + 1, row : row + 1])
    at_once = prior.given(y, h, noise)
    assert one_by_one.mean == pytest.approx(at_once.mean, rel=1e-7, abs=1e-8)
    assert one_by_one.covariance == pytest.approx(at_once.covariance, rel=1e-7, abs=1e-8)


@pytest.mark.law
@given(st.integers(0, 500))
def test_evidence_never_widens_a_band(seed: int) -> None:
    prior, y, h, noise = random_problem(seed)
    assert (prior.given(y, h, noise).standard <= prior.standard * (1 + 1e-9)).all()


@pytest.mark.law
def test_inputs_and_a_field_are_learnt_together_as_one_vector_would_be() -> None:
    """V = J·P·Jᵀ + K + R, inputs by P·Jᵀ and the field elsewhere by its covariance with the visited points."""
    random = np.random.default_rng(7)
    inputs, jacobian = np.diag(random.uniform(0.1, 1.0, 3)), random.normal(size=(5, 3))
    root = random.normal(size=(9, 9))
    field, noise = root @ root.T, 0.2 * np.eye(5)
    visited, elsewhere = field[:5, :5], field[5:, :5]
    y = random.normal(size=5)
    observed = Observed.of(y, jacobian @ inputs @ jacobian.T + visited + noise)
    whole = Gaussian(np.zeros(12), linalg.block_diag(inputs, field))
    found = whole.given(y, np.hstack([jacobian, np.eye(5), np.zeros((5, 4))]), noise)
    assert observed.shift(inputs @ jacobian.T) == pytest.approx(found.mean[:3], rel=1e-10)
    assert observed.shift(elsewhere) == pytest.approx(found.mean[8:], rel=1e-10)
    left = np.diag(field[5:, 5:]) - observed.known_variance(elsewhere)
    assert left == pytest.approx(np.diag(found.covariance)[8:], rel=1e-10)
    both = -observed.known(inputs @ jacobian.T, elsewhere)
    assert both == pytest.approx(found.covariance[:3, 8:], rel=1e-9, abs=1e-12)
