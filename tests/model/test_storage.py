"""How a cell is stored: decimals, steps and limits, in decimal arithmetic."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.adaptation.between_cells import between_cells
from basemap.adaptation.hardware import delivery
from basemap.adaptation.outcomes import OnTarget
from basemap.adaptation.pipeline import compute
from basemap.adaptation.setting_fields import in_force
from basemap.model.job import Job
from basemap.model.settings import Settings
from basemap.model.storage import grain, limits, stored, stored_decimals
from basemap.model.table import Inside, Shown, Storage, TableQuantity
from basemap.model.table_result import CommonFactor
from tests.builders.cases import each
from tests.builders.computed import BREATHING, LOAD_KPA, make_job
from tests.builders.with_settings import adapted

MS = Shown("ms", 1e-3, np.array([100.0]), "kPa", 2)
PERCENT = Shown("%", 0.01, np.array([100.0]), "kPa", 1)


@pytest.mark.check_value
@each(
    # By hand. In binary 2.036/0.008 is 254.49999999999997: half way all the same, and away from zero.
    ("value", "step", "expected"),
    [(0.012, 0.008, 0.016), (2.036, 0.008, 2.04), (2.0359, 0.008, 2.032), (72.25, 0.5, 72.5), (72.24, 0.5, 72.0)],
)
def test_steps_round_half_away_from_zero(value: float, step: float, expected: float) -> None:
    assert stored(np.array([value]), Storage(step=step), MS).tolist() == [expected]


@pytest.mark.law
@given(st.integers(0, 20_000), st.sampled_from(["0.008", "0.5", "0.004", "0.25", "0.1", "3"]))
def test_half_a_step_goes_up_whatever_the_step(count: int, step: str) -> None:
    # Python's decimals know what half is; the cell is the nearest binary number to it.
    half = (Decimal(count) + Decimal("0.5")) * Decimal(step)
    above = (Decimal(count) + 1) * Decimal(step)
    assert stored(np.array([float(half)]), Storage(step=float(step)), MS).tolist() == [float(above)]


@pytest.mark.law
def test_an_empty_cell_stays_empty() -> None:
    assert np.isnan(stored(np.array([np.nan]), Storage(step=0.5, minimum=1.0, maximum=9.0), PERCENT)).all()


@pytest.mark.check_value
@each(
    # A table of whole numbers up to 99.6 holds 99 at most, and one in steps of 0.4 from 0.5 holds 0.8 at least.
    ("storage", "ends", "decimals", "apart"),
    [
        (Storage(decimals=0, minimum=0.5, maximum=99.6), (1.0, 99.0), 0, 1.0),
        (Storage(minimum=0.5, step=0.4), (0.8, None), 1, 0.4),
        (Storage(step=0.008, maximum=20.4), (None, 20.4), 3, 0.008),
        (Storage(step=5.0), (None, None), 0, 5.0),
        (Storage(), (None, None), 1, 0.1),
    ],
)
def test_limits_are_drawn_in_to_what_can_be_written(
    storage: Storage, ends: tuple[float | None, float | None], decimals: int, apart: float
) -> None:
    assert (limits(storage, PERCENT), stored_decimals(storage, PERCENT)) == (ends, decimals)
    assert grain(storage, PERCENT) == apart


def pulse_job(**changes: object) -> Job:
    """The invented map as pulses that hold everything, at dead time 0.84 ms: 4 ms for each 100 kPa of full charge."""
    job = make_job(storage=Storage(decimals=9))
    charge = np.array([0.4, 0.6, 0.7, 0.8, 0.9])[:, np.newaxis] * LOAD_KPA[:, np.newaxis] / 100.0
    values = 0.84e-3 + 4e-3 * charge * np.ones_like(BREATHING)
    inside = Inside(pressure=True, intended_lambda=True, dead_time=True)
    donor = replace(job.donor.table, quantity=TableQuantity.PULSE_WIDTH, values=values, inside=inside)
    target = replace(donor, values=np.full_like(values, np.nan))
    return replace(
        job,
        donor=replace(job.donor, table=donor),
        target=replace(job.target, table=target, shown=Shown("ms", 1e-3, LOAD_KPA, "kPa", 2)),
    )


@pytest.mark.check_value
def test_half_way_between_two_pulses_by_hand() -> None:
    # VE 0.4 at 20 kPa and 0.6 at 40 kPa (times what the 0.84 ms are short of the true dead time, which is 0.84 ms:
    # 1.2 ms at 12 V, 0.8 ms at 14 V, so 1.2 - 0.4·1.8/2 at 13.8 V). Charges 8 and 24, so the ECU reads 16; the engine
    # has VE 0.5 at 30 kPa, which is 15. λ = 15/16.
    between = compute(pulse_job()).table.between
    assert between.load.tolist() == [20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0]
    assert between.lambda_ratio[1, 4] == pytest.approx(15.0 / 16.0, rel=1e-6)


@pytest.mark.law
def test_half_way_at_a_cell_is_the_cell() -> None:
    for job in (make_job(), pulse_job()):
        table = compute(job).table
        np.testing.assert_allclose(table.between.lambda_ratio[::2, ::2], table.stored_lambda_ratio, rtol=1e-12)


@pytest.mark.law
def test_a_table_that_is_a_straight_line_has_no_error_between_its_cells() -> None:
    # VE times pressure in the ECU's sum: what is interpolated is what the engine has.
    job = make_job(storage=Storage(decimals=9))
    slanted = replace(job.donor.table, values=job.donor.table.values * np.linspace(0.6, 1.0, LOAD_KPA.size)[:, None])
    job = replace(job, donor=replace(job.donor, table=replace(slanted, intended_lambda=np.ones_like(slanted.values))))
    job = replace(
        job, target=replace(job.target, table=replace(job.target.table, intended_lambda=np.ones_like(slanted.values)))
    )
    np.testing.assert_allclose(compute(job).table.between.lambda_ratio, 1.0, rtol=1e-8)


@pytest.mark.law
def test_an_empty_cell_empties_only_what_touches_it() -> None:
    job = pulse_job()
    table = compute(job).table
    cells = table.new * 1e-3
    cells[0, 0] = np.nan
    found = between_cells(job, table.target.air_kg, cells, in_force(job).new, table.reachable).lambda_ratio
    empty = np.isnan(found)
    assert empty[:2, :2].all()
    assert int(empty.sum()) == 4


def fitted(storage: Storage, **changes: object) -> tuple[Job, float, str, float]:
    job = replace(make_job(storage=storage), **changes)  # type: ignore[arg-type]
    offer = compute(job).table.common_factor
    assert offer is not None
    return job, offer.factor, offer.setting, offer.enter


@pytest.mark.check_value
def test_a_common_factor_by_hand() -> None:
    # The highest cell is 86 %, the maximum 80 %: 1998 cc · 86/80 = 2147.85 cc, entered as 2148 cc; 1998/2148 is left.
    _, factor, setting, enter = fitted(Storage(maximum=80.0))
    assert (setting, enter) == ("displacement", 2148.0)
    assert factor == pytest.approx(1998.0 / 2148.0, rel=1e-15)
    # The lowest is 83 %, the minimum 84 %: 1998 cc · 83/84 = 1974.21 cc, entered as 1974 cc.
    _, factor, _, enter = fitted(Storage(minimum=84.0))
    assert enter == 1974.0
    assert factor == pytest.approx(1998.0 / 1974.0, rel=1e-15)


STUCK = [
    (frozenset[str](), "displacement"),
    (frozenset({"displacement"}), "static_flow"),
    (frozenset({"displacement", "static_flow"}), "stoichiometric"),
]


@pytest.mark.law
@each("storage", [Storage(maximum=80.0), Storage(minimum=84.0, maximum=95.0)])
@each("inside", [Inside(), Inside(dead_time=True), Inside(True, True, True)])
@each(("stuck", "name"), STUCK)
def test_the_setting_takes_the_factor_back(storage: Storage, inside: Inside, stuck: frozenset[str], name: str) -> None:
    job = make_job(storage=storage, cannot_be_told=stuck)
    if inside.pressure:
        # Without the pressure in the ECU's sum the cells of the lower rows are far below any minimum.
        job = replace(job, storage=Storage(maximum=80.0))
    job = replace(job, target=replace(job.target, table=replace(job.target.table, inside=inside)))
    if inside.dead_time:
        highest = float(np.nanmax(compute(job).table.new))
        job = replace(job, storage=Storage(maximum=round(0.9 * highest, 1)))
    computed = compute(job)
    offer, table, settings = computed.table.common_factor, computed.table, in_force(job).new
    assert offer is not None
    assert offer.setting == name
    entered = _with_entry(settings, offer, job)
    at = delivery(job.target.hardware, job.target.table.pressure_pa, job.target.table.rpm, job.target.table.battery_v)
    on = OnTarget(job, table.target.air_kg, at)
    scaled = offer.factor * table.new * job.target.shown.per_unit
    ratio = on.lambda_ratio(scaled, job.target.table.intended_lambda, entered)
    np.testing.assert_allclose(ratio, 1.0, rtol=1e-9)
    low, high = limits(job.storage, job.target.shown)
    shown = scaled / job.target.shown.per_unit
    assert high is None or shown.max() <= high * (1 + 1e-12)
    assert low is None or shown.min() >= low * (1 - 1e-12)


def _with_entry(settings: Settings, offer: CommonFactor, job: Job) -> Settings:
    """The settings in force once the number offered is typed."""
    if offer.setting == "displacement":
        volume = offer.enter * 1e-6
        return replace(
            settings, displacement_m3=volume, cylinder_volume_m3=volume / job.target.hardware.engine.cylinders
        )
    if offer.setting == "stoichiometric":
        return replace(settings, stoichiometric=offer.enter)
    return replace(settings, flow_kg_s=settings.flow_kg_s * offer.enter / 400.0)  # the invented map's own: 400 cc/min


@pytest.mark.law
def test_the_number_stated_in_the_job_makes_every_cell_fit() -> None:
    job, factor, _, enter = fitted(Storage(maximum=80.0, decimals=3))
    before = compute(job).table.new
    told = replace(job.target.told, displacement_m3=enter * 1e-6)
    after = compute(replace(job, target=replace(job.target, told=told))).table
    np.testing.assert_allclose(after.new, factor * before, rtol=1e-12)
    # Three decimals of at least 76 %: 0.0005/76 is the most that rounding can be off.
    np.testing.assert_allclose(after.stored_lambda_ratio, 1.0, rtol=7e-6)
    assert after.common_factor is None


@pytest.mark.law
@pytest.mark.parametrize(
    "job",
    [
        make_job(storage=Storage(maximum=95.0)),
        make_job(storage=Storage(minimum=84.5, maximum=85.5)),  # passed at both ends: no one factor helps
        make_job(storage=Storage(minimum=82.0, maximum=84.0)),  # 86/83 is more than 84/82
        make_job(
            storage=Storage(maximum=80.0),
            cannot_be_told=frozenset({"displacement", "static_flow", "stoichiometric"}),
        ),
        replace(pulse_job(), storage=Storage(maximum=3.0)),
    ],
    ids=["fits", "both ends", "range too small", "nothing can be told", "pulse width"],
)  # fmt: skip
def test_no_factor_where_none_is_needed_or_helps(job: Job) -> None:
    assert compute(job).table.common_factor is None


@pytest.mark.law
def test_the_old_cells_are_those_of_the_file_to_the_last_digit(tmp_path: Path) -> None:
    # 59.7 % is 0.597, and 0.597/0.01 is 59.7 and a last bit.
    assert 0.597 / 0.01 != 59.7
    result = adapted(tmp_path, rows="load,1000,3000\n40,59.7,60.1\n100,80.3,90\n")
    assert result.table.old.tolist() == [[59.7, 60.1], [80.3, 90.0]]
