"""Estimates of how the target breathes otherwise than the donor, through the whole chain. Invented engines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.adaptation.pipeline import adapt, compute
from basemap.belief.budget import budget
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.world import Forward, nominal
from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.model.axes import LoadAxis, LoadPoints
from basemap.model.installation import Cycle, FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Breathing
from basemap.model.marks import Mark
from basemap.model.result import Computed
from basemap.report.json_file import as_json
from basemap.report.outcomes_in_words import breathing_in_words
from tests.builders.computed import RPM, make_job, with_both, with_donor, with_target


def mach(volume_ratio: float = 1.2, area_ratio: float = 1.0) -> Job:
    """A target with another cylinder or other valves; its efficiency over speed is 85, 83, 85, 86, 84 %."""
    job = with_both(make_job(breathing=Breathing.INLET_MACH), "engine", inlet_valve_area_m2=12e-4)
    return with_target(job, "engine", displacement_m3=1998e-6 * volume_ratio, inlet_valve_area_m2=12e-4 * area_ratio)


def residual(before: float, now: float, load_kpa: FloatArray) -> Job:
    job = with_both(make_job(load_kpa, breathing=Breathing.RESIDUAL_GAS), "conditions", barometer_pa=100e3)
    return with_target(with_donor(job, "engine", compression_ratio=before), "engine", compression_ratio=now)


def factor_of(computed: Computed) -> FloatArray:
    factor = computed.table.breathing_factor
    return np.ones_like(computed.table.new) if factor is None else factor


# By hand from Heywood's equation 6.2 at pe/p = 2: f = (1.4·r − 2.4)/(1.4·(r − 1)), so 12.3/13.3 over 9.5/10.5.
@pytest.mark.check_value
def test_residual_gas_worked_by_hand() -> None:
    computed = compute(residual(8.5, 10.5, np.array([50.0, 100.0])))
    np.testing.assert_allclose(factor_of(computed)[0], 129.15 / 126.35, rtol=1e-14)
    np.testing.assert_allclose(factor_of(computed)[1], 1.0, rtol=1e-14)
    np.testing.assert_allclose(computed.table.new[0, 2], 85.0 * 129.15 / 126.35, rtol=1e-13)
    assert Mark.BREATHING_ESTIMATED in computed.table.marks
    np.testing.assert_array_equal(computed.table.marks[Mark.BREATHING_ESTIMATED][:, 0], [True, False])


# By hand: at 1.2 times the speed 960 rpm lies 160/700 of the way from 85 to 83 %, 1800 a fifth from 83 to 85 %, 3600
# 0.4 of the way from 85 to 86 %, 5400 0.6 of the way from 86 to 84 %; 7200 is beyond the last column, 84 %.
@pytest.mark.check_value
def test_inlet_mach_worked_by_hand() -> None:
    computed = compute(mach())
    expected = [85.0 - 2.0 * 160 / 700, 83.4, 85.4, 84.8, 84.0]
    np.testing.assert_allclose(computed.table.new, np.broadcast_to(expected, (5, 5)), rtol=1e-12)
    np.testing.assert_array_equal(computed.table.marks[Mark.OUTSIDE][0], [False, False, False, False, True])
    # The donor was driven to 6000 rpm, which the target reaches at 5000.
    np.testing.assert_array_equal(computed.table.visited[0], [True, True, True, True, False])


@pytest.mark.law
def test_a_head_that_grows_with_the_cylinder_changes_nothing() -> None:
    alike, same = compute(mach(2.0, 2.0)), compute(replace(mach(2.0, 2.0), breathing=Breathing.SAME))
    np.testing.assert_allclose(alike.table.new, same.table.new, rtol=1e-12)
    assert same.table.breathing_factor is None
    assert Mark.BREATHING_ESTIMATED not in alike.table.marks


@pytest.mark.law
@pytest.mark.parametrize("job", [mach(1.0), residual(9.5, 9.5, np.array([30.0, 100.0]))], ids=["mach", "residual"])
def test_a_donor_that_is_the_target_is_left_alone(job: Job) -> None:
    computed = compute(job)
    np.testing.assert_allclose(computed.table.new, 100.0 * job.donor.table.values, rtol=1e-12)
    np.testing.assert_allclose(factor_of(computed), 1.0, rtol=1e-12)


@pytest.mark.law
@given(st.floats(7.0, 14.0), st.floats(7.0, 14.0), st.floats(80e3, 104e3))
def test_there_and_back_with_residual_gas(one: float, other: float, barometer_pa: float) -> None:
    job = with_target(residual(one, other, np.array([30.0, 60.0, 100.0])), "conditions", barometer_pa=barometer_pa)
    there = compute(job).table.new * job.target.shown.per_unit
    back = replace(
        job,
        donor=replace(job.donor, hardware=job.target.hardware, table=replace(job.donor.table, values=there)),
        target=replace(job.target, hardware=job.donor.hardware),
    )
    # Honest agreement 1e-14; the ratio of two such factors is taken and given back.
    np.testing.assert_allclose(compute(back).table.new, 100.0 * job.donor.table.values, rtol=1e-12)


@pytest.mark.law
def test_a_target_with_axes_of_its_own() -> None:
    job = mach()
    speeds = np.array([1250.0, 2500.0, 3750.0])  # 1500, 3000 and 4500 rpm of the donor
    own = replace(job.target.table, rpm=speeds, values=np.full((5, 3), np.nan),
                  intended_lambda=np.ones((5, 3)))  # fmt: skip
    computed = compute(
        replace(job, target=replace(job.target, table=own), donor=replace(job.donor, shown=job.target.shown))
    )
    np.testing.assert_allclose(computed.table.new, np.broadcast_to([83.0, 85.0, 86.0], (5, 3)), rtol=1e-12)
    assert Mark.OUTSIDE not in computed.table.marks
    on_donors = computed.on_donor_axes
    assert on_donors is not None
    np.testing.assert_allclose(on_donors.table.new, compute(job).table.new, rtol=1e-14)


@pytest.mark.law
def test_where_the_ideal_cycle_draws_nothing_the_cell_is_empty_and_says_why() -> None:
    computed = compute(residual(8.5, 10.5, np.array([8.0, 50.0, 100.0])))
    assert np.isnan(computed.table.new[0]).all()
    assert np.isfinite(computed.table.new[1:]).all()
    assert computed.table.marks[Mark.BREATHING_NOT_KNOWN][:, 0].tolist() == [True, False, False]
    assert Mark.DONOR_NO_FUEL not in computed.table.marks


@pytest.mark.law
def test_the_mach_index_is_as_unsure_as_it_is_large() -> None:
    job = mach()
    forward = Forward.of(job)
    computed = compute(job)
    cells = computed.table.new * job.target.shown.per_unit
    np.testing.assert_allclose(forward.lambda_ratio(forward.new(cells), nominal(job)), 1.0, rtol=1e-12)
    found = budget(job, forward, forward.new(cells))
    index = [entry.keys for entry in found.inputs].index(("options.breathing",))
    # Central differences: 1e-8 of the slope is cut off.
    np.testing.assert_allclose(found.contributions[index], (1.0 - 1.0 / factor_of(computed)) / 3**0.5, rtol=1e-6)


@pytest.mark.law
def test_residual_gas_is_the_mean_of_the_field_and_has_no_spread_of_its_own() -> None:
    job = residual(8.5, 10.5, np.array([50.0, 100.0]))
    forward = Forward.of(job)
    cells = compute(job).table.new * job.target.shown.per_unit
    np.testing.assert_allclose(forward.lambda_ratio(forward.new(cells), nominal(job)), 1.0, rtol=1e-12)
    assert ("options.breathing",) not in [entry.keys for entry in uncertain_inputs(job)]


@pytest.mark.law
def test_a_cells_chain_multiplies_to_its_air() -> None:
    for job in (mach(), residual(8.5, 10.5, np.array([50.0, 100.0]))):
        steps = {step.symbol: step for step in worked_cell(compute(job), 0, 2)}
        product = steps["m_air"].value * steps["V_t / V_d"].value * steps["T_d / T_t"].value * steps["b"].value
        assert steps["m_air,t"].value == pytest.approx(product, rel=1e-13)
        assert steps["m_air,t"].how == "m_air · V_t / V_d · T_d / T_t · b"
    assert "estimate" in steps["b"].name


@pytest.mark.law
def test_what_is_reported() -> None:
    result = adapt(residual(8.5, 10.5, np.array([50.0, 100.0])))
    assert breathing_in_words(result) == (
        "THIS TABLE IS AN ESTIMATE: breathing (residual gas) changes the air of the reachable cells by 0.0 % to +2.3 %."
    )
    table = as_json(result)["tables"]["fuel"]
    assert table["breathing"] == "residual gas"
    assert table["breathing_factor"][0] == pytest.approx([129.15 / 126.35] * RPM.size, rel=1e-13)
    same = as_json(adapt(make_job()))["tables"]["fuel"]
    assert (same["breathing"], same["breathing_factor"]) == ("same", None)
    assert breathing_in_words(adapt(make_job())) == ""


@pytest.mark.law
def test_what_an_estimate_needs_and_where_it_has_no_place() -> None:
    def refusal(job: Job) -> str:
        with pytest.raises(InputError) as caught:
            compute(job)
        return str(caught.value)

    assert refusal(with_target(mach(), "engine", inlet_valve_area_m2=None)) == (
        'target.engine.inlet_valve_area: missing: breathing = "inlet mach" needs the effective inlet valve area of one '
        'cylinder, such as "12.1 cm2"'
    )
    assert refusal(with_donor(residual(8.5, 10.5, np.array([50.0, 100.0])), "engine", compression_ratio=None)) == (
        'donor.engine.compression_ratio: missing: breathing = "residual gas" needs the compression ratio of both '
        "engines, such as 9.5"
    )
    assert refusal(with_both(mach(), "engine", cycle=Cycle.TWO_STROKE)) == (
        'options.breathing: "inlet mach" is only for four-stroke engines, whose inlet valves and exhaust strokes it '
        'describes: leave it "same"'
    )
    job, air = mach(), np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    points = LoadPoints(LoadAxis.AIR_MASS, lookup=air, similar=air, charge=air * 1e-4)
    job = replace(job, donor=replace(job.donor, table=replace(job.donor.table, own_points=points)))
    assert refusal(job) == (
        'options.breathing: "inlet mach" cannot be used with an air-mass axis, on which the ECU measures the air '
        'itself: leave it "same"'
    )


# By hand: the donor's data ends at 6000 rpm, which a target of 1.2 times the volume behind the same valves has at 5000.
@pytest.mark.check_value
def test_the_donors_speeds_end_where_the_target_reads_their_end() -> None:
    (finding,) = [one for one in adapt(mach()).findings if one.rule == "speed-beyond-donor"]
    assert finding.message == (
        "The target turns 6000 rpm, 20.0 % beyond the donor's data, which ends at 5000 rpm of the target, 6000 rpm of "
        "the donor at the same inlet Mach index (stop above 10 %): nothing is known there."
    )
    assert finding.limit_rpm == pytest.approx(5000.0, rel=1e-12)


@pytest.mark.law
def test_a_saturated_donor_is_looked_for_where_its_air_is_read() -> None:
    """One opening is 20 ms at 6000 rpm: the donor is open throughout there, and the target reads that at 5000 rpm."""
    job = mach(1.4)
    small = replace(
        job.donor.hardware.injectors, static=replace(job.donor.hardware.injectors.static, value=100e-6 / 60)
    )
    job = replace(job, donor=replace(job.donor, hardware=replace(job.donor.hardware, injectors=small)))
    saturated = compute(job).table.marks[Mark.DONOR_SATURATED]
    before = compute(replace(job, breathing=Breathing.SAME)).table.marks[Mark.DONOR_SATURATED]
    assert (before <= saturated).all()
    assert saturated.sum() > before.sum()
