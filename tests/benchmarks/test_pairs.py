"""The benchmark of honesty works out of many pairs at once what the program says of each."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.outcomes import places
from basemap.adaptation.pipeline import adapt
from basemap.belief.breathing import points_of
from basemap.belief.field import Points
from basemap.model.job import Job
from basemap.model.likeness import Likeness
from benchmarks.honesty import invented
from benchmarks.pairs import (
    FIGURES,
    Drawn,
    Truth,
    cam_switch,
    drawn,
    from_the_field,
    held,
    highest_rank_correlation,
    rank_correlation,
    step_over_load,
    with_figures_of,
)


@pytest.fixture(name="job")
def another_engine(tmp_path: Path) -> Job:
    return replace(invented(tmp_path), likeness=Likeness.ANOTHER_ENGINE)


@pytest.mark.law
def test_what_the_figures_were_made_of_is_what_the_program_observes(job: Job) -> None:
    result = adapt(with_figures_of(job, np.array([0.12, -0.07])))
    found = [entry.value for entry in result.table.breathing.evidence]
    assert found == pytest.approx([0.12, -0.07], abs=1e-12)


# Agreement 1e-5 of λ: in a cell that holds more fuel the dead time is a little less of the pulse.
@pytest.mark.law
def test_many_pairs_at_once_are_what_each_would_be_by_itself(job: Job) -> None:
    truths = drawn(job, from_the_field, 40, np.random.default_rng(3))
    together = held(adapt(with_figures_of(job, np.zeros(2))), truths, with_figures=True)
    for index in range(4):
        one = Drawn(*(values[index : index + 1] for values in vars(truths).values()))
        result = adapt(with_figures_of(job, truths.observed[index]))
        alone = held(result, one, with_figures=False)  # its own mean is that of its own figures
        assert alone.end[0] == pytest.approx(together.end[index], rel=1e-4)
        assert alone.leanest[0] == pytest.approx(together.leanest[index], rel=1e-4)


@pytest.mark.law
@pytest.mark.parametrize("truth", [from_the_field, cam_switch, step_over_load])
def test_truths_are_as_large_as_the_field(job: Job, truth: Truth) -> None:
    """Of 4000 draws: 1.1 % of a standard deviation is one of its own."""
    cells = points_of(job)
    both = Points(np.append(cells.speed, FIGURES.speed), np.append(cells.pressure, FIGURES.pressure))
    values = truth(both, job.likeness, 4000, np.random.default_rng(5))
    believed = adapt(job).table.breathing.standard
    at = {name: place.cell for name, place in places(job).items()}
    for cell in at.values():
        seen = values[:, : cells.size].reshape(-1, *believed.shape)[(slice(None), *cell)].std()
        assert seen == pytest.approx(believed[cell], rel=0.045)


# The band is one of 95.45 %, and about 0.4 % of 3000 pairs is one standard deviation.
@pytest.mark.law
@pytest.mark.parametrize("with_figures", [False, True])
@pytest.mark.parametrize("likeness", Likeness)
def test_the_band_holds_what_is_drawn_from_the_field(job: Job, likeness: Likeness, with_figures: bool) -> None:
    job = replace(job, likeness=likeness)
    truths = drawn(job, from_the_field, 3000, np.random.default_rng(11))
    result = adapt(with_figures_of(job, np.zeros(2)) if with_figures else job)
    inside = held(result, truths, with_figures).inside
    assert min(inside.values()) > 0.94
    assert max(inside.values()) < 0.97


@pytest.mark.law
def test_the_lean_end_ranks_pairs_as_well_as_anything_could(job: Job) -> None:
    truths = drawn(job, from_the_field, 3000, np.random.default_rng(11))
    found = held(adapt(with_figures_of(job, np.zeros(2))), truths, with_figures=True)
    most = highest_rank_correlation(truths, found.leanest)
    assert 0.5 < rank_correlation(found.end, found.leanest) <= most + 0.01
