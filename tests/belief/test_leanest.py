"""The lean end of many cells at once: closed cases, another library's integral, and worlds run through the model."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from basemap.adaptation.pipeline import check, compute
from basemap.adaptation.regions import Regions
from basemap.belief import leanest
from basemap.belief.breathing import Believed
from basemap.belief.budget import budget, moved
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.leanest import highest_end, lean_end
from basemap.belief.monte_carlo import draw
from basemap.belief.world import Forward, nominal
from basemap.model.result import Result
from tests.belief.test_jobs import BETTER, spare

SHARE = NormalDist().cdf(2.0)


@pytest.mark.law
@pytest.mark.parametrize("widths", [[0.05], [0.05] * 40, [0.01, 0.03, 0.08]], ids=["one", "alike", "unequal"])
def test_cells_that_vary_as_one_have_the_lean_end_of_the_leanest(widths: list[float]) -> None:
    factor = np.array(widths)[:, np.newaxis]
    centre = np.linspace(0.0, -0.02, factor.size)
    assert highest_end(centre, factor) == pytest.approx((centre + 2.0 * factor[:, 0]).max(), rel=1e-4)


@pytest.mark.law
def test_cells_that_do_not_vary_have_no_more_than_their_mean() -> None:
    assert highest_end(np.array([0.01, 0.03]), np.zeros((2, 3))) == 0.03


# All of n independent normals lie below t with Φ(t)ⁿ, of two mirror images with 2Φ(t) − 1. Agreement 1.1 %, 0.02 %.
@pytest.mark.check_value
@pytest.mark.parametrize("cells", [2, 10, 50])
def test_independent_cells_follow_order_statistics(cells: int) -> None:
    expected = NormalDist().inv_cdf(SHARE ** (1.0 / cells))
    assert highest_end(np.zeros(cells), np.eye(cells)) == pytest.approx(expected, rel=0.02)


@pytest.mark.check_value
def test_two_cells_of_which_one_is_lean_where_the_other_is_rich() -> None:
    factor = np.array([[1.0, 0.0], [-0.999, np.sqrt(1.0 - 0.999**2)]])
    assert highest_end(np.zeros(2), factor) == pytest.approx(NormalDist().inv_cdf(0.5 * (1.0 + SHARE)), rel=2e-3)


# scipy integrates the normal distribution over the orthant below by Genz's method: no draw of ours. Agreement 0.0007.
@pytest.mark.check_value
@pytest.mark.parametrize("seed", range(4))
def test_another_library_finds_that_probability_below_it(seed: int) -> None:
    random = np.random.default_rng(seed)
    factor = np.concatenate([random.normal(0.05, 0.02, (12, 2)), random.normal(0.0, 0.02, (12, 6))], axis=1)
    centre = random.normal(0.0, 0.01, 12)
    end = highest_end(centre, factor)
    covariance = factor @ factor.T + 1e-9 * np.eye(12)
    # Asked for a tenth of the tolerance: its own 1e-5 takes it a hundred times as many points.
    library = multivariate_normal(centre, covariance, seed=1, abseps=1e-4, releps=1e-4)
    below = library.cdf(np.full(12, end))
    assert below == pytest.approx(SHARE, abs=0.0015)


def _max_of_worlds(result: Result, samples: int) -> float:
    """The same quantile of whole worlds, each run through the forward model: nothing of first order."""
    job, table = result.job, result.table
    forward = Forward.of(job)
    inputs = uncertain_inputs(job, forward.believed)
    world = moved(nominal(job), inputs, draw(inputs, samples, np.random.default_rng(4)))
    ratio = forward.lambda_ratio(forward.new(table.new * job.target.shown.per_unit), world)
    expected, _ = table.expected_extremes
    at_load = Regions(result).at_load
    over = ratio[:, at_load] / table.lambda_ratio["new_table_new_settings"][at_load] * expected[at_load]
    return float(np.quantile(over.max(axis=1), SHARE))


# Agreement 0.4 % of λ: first order and normals against the model and rectangles, 6000 worlds.
@pytest.mark.check_value
@pytest.mark.parametrize(
    "changes",
    [{}, {"target__engine__likeness": "another engine"}, {"target__engine__likeness": "another engine", **BETTER}],
    ids=["same engine", "another engine", "with makers' figures"],
)
def test_worlds_run_through_the_model_are_no_leaner_anywhere_at_load(changes: dict[str, Any]) -> None:
    result = check(spare(**changes))
    point = result.lean_ends["at load"]
    assert point is not None
    assert np.log(point.ratio) == pytest.approx(np.log(_max_of_worlds(result, 6000)), rel=0.05)


@pytest.mark.law
def test_no_cell_at_load_has_a_leaner_end_and_more_cells_are_no_less_lean() -> None:
    result = check(spare(target__engine__likeness="another engine"))
    point, band = result.lean_ends["at load"], result.band.adapted
    expected, _ = result.table.expected_extremes
    at_load = Regions(result).at_load
    assert point is not None
    each = np.where(at_load, expected * np.exp(band), np.nan)
    assert point.ratio > np.nanmax(each) * 1.01
    believed = Believed.again(result.job, result.table.breathing)
    forward = Forward(result.job, result.in_force, believed)
    found = budget(result.job, forward, forward.new(result.table.new * result.job.target.shown.per_unit))
    before = 0.0
    for columns in (1, 2, 4, at_load.shape[1]):
        some = at_load & (np.arange(at_load.shape[1]) < columns)
        end = lean_end(found, believed, band, expected, some)
        assert end is not None
        assert end.ratio >= max(before, np.nanmax(np.where(some, each, np.nan))) * (1.0 - 2e-3)
        assert some[end.cell]
        before = end.ratio


@pytest.mark.law
def test_a_band_without_end_is_said_as_such_and_none_where_nothing_is_known() -> None:
    result = check(spare())
    believed = Believed.again(result.job, result.table.breathing)
    forward = Forward(result.job, result.in_force, believed)
    found = budget(result.job, forward, forward.new(result.table.new * result.job.target.shown.per_unit))
    expected, _ = result.table.expected_extremes
    at_load = Regions(result).at_load
    endless = np.array(result.band.adapted)
    row, column = np.argwhere(at_load)[3].tolist()
    endless[row, column] = np.inf
    end = lean_end(found, believed, endless, expected, at_load)
    assert end is not None
    assert (end.ratio, end.cell) == (np.inf, (row, column))
    assert lean_end(found, believed, np.full_like(endless, np.nan), expected, at_load) is None


@pytest.mark.law
def test_of_very_many_cells_the_leanest_of_every_stretch_stand_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    computed = compute(spare(target__engine__likeness="another engine"))
    whole = check(computed.job).band.lean_at_load
    monkeypatch.setattr(leanest, "MOST_CELLS", 24)
    thinned = check(computed.job).band.lean_at_load
    assert whole is not None
    assert thinned is not None
    assert np.log(thinned.ratio) == pytest.approx(np.log(whole.ratio), rel=0.05)


@pytest.mark.law
def test_what_is_written_richer_is_taken_from_it_once() -> None:
    plain, richer = check(spare()), check(spare(options__richer_at_load="10 %"))
    ends = plain.lean_ends["at load"], richer.lean_ends["at load"]
    assert ends[0] is not None
    assert ends[1] is not None
    assert ends[1] == replace(ends[0], ratio=ends[0].ratio / 1.1)
