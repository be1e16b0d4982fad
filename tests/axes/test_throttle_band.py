"""How sure the mixture is behind a throttle: slopes by hand, and Monte Carlo against first order."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt, compute
from basemap.belief.breathing import Believed
from basemap.belief.budget import budget
from basemap.belief.monte_carlo import Drawing
from basemap.belief.world import Forward
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import Computed
from tests.builders.over_throttle import DONOR, FIXED, OPENINGS, RPM, TEXT, job, opening_ms, target, to, write
from tests.builders.text import built


def slopes(computed: Computed) -> dict[str, FloatArray]:
    """∂ln λ/∂ln x of every cell by the name of the input."""
    behind = computed.job
    forward = Forward.of(behind)
    found = budget(behind, forward, forward.new(computed.table.new * behind.target.shown.per_unit))
    return {
        entry.name: contribution / entry.standard
        for entry, contribution in zip(found.inputs, found.contributions, strict=True)
    }


def sonic_and_open(of: Job) -> tuple[BoolArray, BoolArray]:
    """Cells with both manifolds far below 0.528 of the barometer, and the wide-open row."""
    ratios = [table.pressure_pa / 101_325.0 for table in (of.donor.table, of.target.table)]
    sonic = np.asarray(np.maximum(*ratios) < 0.5)
    wide_open = np.zeros(sonic.shape, dtype=bool)
    wide_open[-1] = True
    return sonic, wide_open


# By hand. Sonic: the air goes with the bore area, so with the bore squared: +2 for the target's, -2 for the donor's,
# and displacement does not matter in the air of the whole engine: per cylinder and so per cell 0. Wide open the bore
# does not matter and the displacement does, ±1.
@pytest.mark.check_value
def test_slopes_where_they_are_known(tmp_path: Path) -> None:
    computed = compute(job(tmp_path))
    found = slopes(computed)
    sonic, wide_open = sonic_and_open(computed.job)
    assert sonic.sum() > 20
    for name, choked, opened in (
        ("throttle bore of the target", 2.0, 0.0),
        ("throttle bore of the donor", -2.0, 0.0),
        ("displacement of the target", 0.0, 1.0),
        ("displacement of the donor", 0.0, -1.0),
    ):
        np.testing.assert_allclose(found[name][sonic], choked, atol=2e-3, err_msg=name)
        np.testing.assert_allclose(found[name][wide_open], opened, atol=2e-3, err_msg=name)


@pytest.mark.law
def test_the_transfer_is_unsure_by_a_tenth_of_what_it_does(tmp_path: Path) -> None:
    computed = compute(job(tmp_path))
    effect = slopes(computed)["transfer between the throttles, as a share of its own effect"]
    before, after = (table.pressure_pa / 101_325.0 for table in (computed.job.donor.table, computed.job.target.table))
    np.testing.assert_allclose(effect, before / after - 1.0, rtol=1e-3, atol=1e-6)
    same = compute(job(tmp_path, to(target(1.998))))
    assert np.abs(slopes(same)["transfer between the throttles, as a share of its own effect"]).max() < 1e-9


@pytest.mark.law
@pytest.mark.parametrize("pairs", [(), (FIXED,)], ids=["manifold", "fixed rail"])
def test_monte_carlo_agrees_with_first_order(pairs: tuple[tuple[str, str], ...], tmp_path: Path) -> None:
    # Four of the eleven speeds: every cell is drawn 20,000 times.
    write(tmp_path, "t.csv", (opening_ms(DONOR, fixed=bool(pairs)) + 2.0)[:, ::3], rpm=RPM[::3])
    of = built(tmp_path, TEXT, *pairs)
    first, drawn = adapt(of).band, adapt(of, drawing=Drawing(20_000, seed=7)).band
    assert drawn.simulated.all()
    # Both are of ln λ. Rectangles add up to something narrower than 2 standard deviations at 95 %: seen 0.977 …
    # 0.993 of first order.
    ratio = drawn.adapted / first.adapted
    assert ratio.min() > 0.9
    assert ratio.max() < 1.02


# What is written of a bore is used: ± 0.5 mm of 60 mm is a rectangle, u = 0.5/60/√3.
@pytest.mark.check_value
def test_a_stated_spread_of_the_bore(tmp_path: Path) -> None:
    of = job(
        tmp_path, ('throttle_bore = "60 mm"\n[donor.injectors]', 'throttle_bore = "60 mm ± 0.5 mm"\n[donor.injectors]')
    )
    share = next(one for one in adapt(of).band.shares if one.name == "throttle bore of the donor")
    assert share.standard == pytest.approx(100.0 * 0.5 / 60.0 / np.sqrt(3.0), rel=1e-9)
    assert not share.assumed


def test_without_a_throttle_axis_no_bore_is_in_the_budget() -> None:
    from tests.builders.computed import make_job

    assert not any("throttle" in share.name for share in adapt(make_job()).band.shares)


BREATHES = "breathing of the target (another engine)"


# A simulated target that breathes 1 % better than believed, manifold settled anew: what it draws more of air is what
# λ moves by in the band, 0 where the blade is choked. Seen: 0 … 2.2 % of the breathing too much, never too little: the
# closed form takes the wide-open manifold for the barometer's.
@pytest.mark.check_value
def test_how_the_target_breathes_acts_by_the_stiffness_of_its_manifold(tmp_path: Path) -> None:
    computed = compute(job(tmp_path))
    behind = computed.job
    believed = Believed.again(behind, computed.table.breathing)
    field = believed.field.standard(believed.points).reshape(computed.table.new.shape)
    forward = Forward(behind, computed.in_force, believed)
    found = budget(behind, forward, forward.new(computed.table.new * behind.target.shown.per_unit))
    (band,) = (part for entry, part in zip(found.inputs, found.contributions, strict=True) if entry.name == BREATHES)
    engine = target(2.393).simulated
    better = replace(engine, efficiency=lambda rpm, ratio: 1.01 * engine.efficiency(rpm, ratio))
    air = [each.tables(OPENINGS / 100.0, RPM)[0] for each in (engine, better)]
    sonic, wide_open = sonic_and_open(behind)
    above_idle = OPENINGS >= 3.0
    simulated = np.log(air[1] / air[0]) / np.log(1.01)
    off = (band / field - simulated)[above_idle]
    assert off.min() > -1e-6
    assert off.max() < 0.025
    np.testing.assert_allclose(band[sonic & above_idle[:, np.newaxis]], 0.0, atol=1e-12)
    np.testing.assert_allclose(band[~above_idle], field[~above_idle], rtol=1e-6)  # the idle valve sets the air
    np.testing.assert_allclose(band[wide_open], field[wide_open], rtol=1e-6)


# A sensor of either side that is off by 0.5 % of the travel: the simulated blade stands so much further open. The slope
# is that of the table, whose points stand 5 % apart and more: within 4 % where the blade is choked, and where it ceases
# to be choked between two points at most 7 % too little.
@pytest.mark.check_value
@pytest.mark.parametrize("side", ["donor", "target"])
def test_a_throttle_that_stands_otherwise_than_is_read(side: str, tmp_path: Path) -> None:
    computed = compute(job(tmp_path))
    slope = slopes(computed)[f"throttle-position reading of the {side}"]
    engine = target(2.393).simulated
    more, less = (engine.tables(OPENINGS / 100.0 + by, RPM)[0] for by in (0.005, -0.005))
    simulated = np.log(more / less) / 0.01
    inner = (OPENINGS > 5.0) & (OPENINGS < 100.0)
    choked = (computed.job.target.table.pressure_pa < 0.4 * 101_325.0) & inner[:, np.newaxis]
    assert choked.sum() > 10
    np.testing.assert_allclose(slope[choked], simulated[choked], rtol=0.05)
    assert (slope > 0.9 * simulated - 0.05)[inner].all()
    np.testing.assert_array_equal(slope[OPENINGS < 3.0], 0.0)


@pytest.mark.law
def test_what_is_applied_leaves_a_choked_cell_alone(tmp_path: Path) -> None:
    figures = [
        (f'displacement = "{size} cc"', f'displacement = "{size} cc"\nrated_power = "{power} kW @ 6000 rpm"')
        for size, power in ((1998, 92), (2393, 150))
    ]
    computed = compute(job(tmp_path, *figures))
    sonic, wide_open = sonic_and_open(computed.job)
    factor = computed.table.breathing_factor
    assert factor is not None
    sonic[OPENINGS < 3.0] = False  # the idle valve sets the air
    np.testing.assert_allclose(factor[sonic], 1.0, rtol=1e-12)
    assert factor[wide_open].min() > 1.05
    np.testing.assert_allclose(computed.table.breathing.lambda_expected, 1.0, rtol=1e-12)


@pytest.mark.law
def test_where_the_ecu_measures_the_pressure_the_mixture_follows_the_breathing_itself(tmp_path: Path) -> None:
    write(tmp_path, "map.csv", np.maximum(DONOR.tables(OPENINGS / 100.0, RPM)[1] * 101.325, 5.0))
    multiplied = ('["lambda", "dead time"]', '["pressure", "lambda", "dead time"]\nrow_pressure = "map.csv"')
    measured = compute(job(tmp_path, multiplied))
    believed = Believed.again(measured.job, measured.table.breathing)
    field = believed.field.standard(believed.points).reshape(measured.table.new.shape)
    np.testing.assert_array_equal(measured.table.breathing.standard, field)
