"""A table carried into an ECU whose cells are another quantity: cells by hand, there and back, λ as intended."""

from __future__ import annotations

import copy
import itertools
import random
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from basemap.adaptation.pipeline import adapt, compute
from basemap.model.finding import Severity
from basemap.model.installation import Regulator
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.model.table import Inside, Shown, TableQuantity
from tests.independent.laws import SEED
from tests.independent.strategies import STICKABLE, random_problem, to_job
from tests.independent.worked import installation_a, installation_b, problem, pulse_cells, ve_cells

FULL, PART = (1, 0), (0, 0)  # 100 and 30 kPa, both at 3000 rev/min
WHOLE = Inside(pressure=True, intended_lambda=True, dead_time=True)
ADDED = Inside()
SHOWN = {TableQuantity.VOLUMETRIC_EFFICIENCY: ("%", 0.01), TableQuantity.PULSE_WIDTH: ("ms", 1e-3)}


def into(job: Job, inside: Inside, reference_pa: float = 100_000.0) -> Job:
    """The job with a target's table of the other quantity."""
    quantity = next(one for one in TableQuantity if one is not job.donor.table.quantity)
    unit, per_unit = SHOWN[quantity]
    was = job.target.shown
    table = replace(job.target.table, quantity=quantity, inside=inside, reference_pressure_pa=reference_pa)
    target = replace(job.target, table=table, shown=Shown(unit, per_unit, was.load, was.load_unit, 9))
    return replace(job, cannot_be_told=frozenset(), target=target, donor=replace(job.donor, shown=was))


def exactly(value: float) -> object:
    return pytest.approx(value, rel=1e-9, abs=0.0)


@pytest.mark.check_value
def test_from_efficiency_to_pulses_by_hand() -> None:
    # Installation A at VE 0.85 and 100 kPa: 4.723241034e-4 kg of air, /14.6 fuel, over 3.330841243e-3 kg/s: open for
    # 9.712551161819152 ms, and 0.85 ms of dead time (worked outside this project, see test_worked_chains.py).
    job = to_job(problem(installation_a(), installation_a(), ve_cells(0.85)))
    whole = compute(into(job, WHOLE)).table
    assert whole.new[FULL] == exactly(10.562551161819152)
    # At 30 kPa 3/10 of the air: 2.913765348545746 ms open.
    assert whole.new[PART] == exactly(3.763765348545746)
    assert whole.old[FULL] == 85.0
    # An ECU that adds its dead time and multiplies by p/p_ref: at 30 kPa 2.913765348545746 / 0.3 again; with p_ref
    # 95 kPa 9.712551161819152 · 0.95.
    added = compute(into(job, ADDED)).table
    assert added.new[FULL] == exactly(9.712551161819152)
    assert added.new[PART] == exactly(9.712551161819152)
    assert compute(into(job, ADDED, 95_000.0)).table.new[FULL] == exactly(9.2269236037281944)


@pytest.mark.check_value
def test_from_efficiency_to_pulses_on_another_engine_by_hand() -> None:
    # A's map on B: open for 6.730163894895447 ms at 100 kPa (same source); λ 0.9 commanded and 1.0 intended before:
    # 6.730163894895447 / 0.9 = 7.477959883217163 with λ inside, and the same cell as before where the ECU divides.
    job = to_job(problem(installation_a(), installation_b(), ve_cells(0.85)))
    richer = np.full((2, 2), 0.9)
    job = replace(job, target=replace(job.target, table=replace(job.target.table, intended_lambda=richer)))
    inside = Inside(pressure=True, intended_lambda=True)
    assert compute(into(job, inside)).table.new[FULL] == exactly(7.477959883217163)
    assert compute(into(job, Inside(pressure=True))).table.new[FULL] == exactly(6.730163894895447)
    # 330 K instead of 313.15: 0.9489393939… of the air, 6.386517683883559 ms, and the cell stands for 330 K, the
    # target's own: whether its ECU corrects for the charge temperature then does not matter.
    warm = replace(job.target.hardware, conditions=replace(job.target.hardware.conditions, charge_temperature_k=330.0))
    for corrects in (True, False):
        told = replace(job.target.told, corrects_charge_temperature=corrects)
        found = compute(
            into(replace(job, target=replace(job.target, hardware=warm, told=told)), Inside(pressure=True))
        ).table
        assert found.new[FULL] == exactly(6.730163894895447 * 313.15 / 330.0)
    # A fixed rail of 350 kPa at 30 kPa of manifold: 350 + 101.325 - 30 = 421.325 kPa over the injector. An ECU that
    # corrects for it, from its own 350 kPa, needs the cell of 350 kPa: 3/10 of 6.730163894895447.
    fixed = replace(job.target.hardware, fuel=replace(job.target.hardware.fuel, regulator=Regulator.FIXED))
    told = replace(job.target.told, corrects_rail_pressure=True)
    found = compute(
        into(replace(job, target=replace(job.target, hardware=fixed, told=told)), Inside(pressure=True))
    ).table
    assert found.new[PART] == exactly(2.0190491684686341)
    # One that does not needs √(350/421.325) = 0.911431… of it.
    told = replace(job.target.told, corrects_rail_pressure=False)
    found = compute(
        into(replace(job, target=replace(job.target, hardware=fixed, told=told)), Inside(pressure=True))
    ).table
    assert found.new[PART] == exactly(2.0190491684686341 * (350.0 / 421.325) ** 0.5)


@pytest.mark.check_value
def test_from_pulses_to_efficiency_by_hand() -> None:
    # The other way round: A's whole pulse of 10.562551161819152 ms is VE 0.85, on B too; 3.763765348545746 ms at
    # 30 kPa as well. Dead time inside the VE cell: B's pulse is 7.580163894895447 ms instead of 6.730163894895447, so
    # 85 · 7.580163894895447/6.730163894895447 = 95.73533773872...
    job = to_job(problem(installation_a(), installation_b(), pulse_cells(10.562551161819152)))
    found = compute(into(job, ADDED)).table
    assert found.new[FULL] == exactly(85.0)
    assert found.old[FULL] == exactly(10.562551161819152)
    donor = replace(job.donor.table, values=np.full((2, 2), 3.763765348545746e-3))
    assert compute(into(replace(job, donor=replace(job.donor, table=donor)), ADDED)).table.new[PART] == exactly(85.0)
    whole = compute(into(job, Inside(dead_time=True))).table
    assert whole.new[FULL] == exactly(85.0 * 7.580163894895447 / 6.730163894895447)


@pytest.mark.check_value
@pytest.mark.parametrize("factor", [0.96, 1.03])
def test_the_formula_factor_counts_once_if_only_one_ecu_has_a_formula(factor: float) -> None:
    # κ multiplies the pulse of the VE ECU alone: 1.03 · 9.712551161819152 ms, and 85 % / 1.03.
    job = to_job(problem(installation_a(), installation_a(), ve_cells(0.85)))
    job = replace(job, donor=replace(job.donor, told=replace(job.donor.told, formula_factor=factor)))
    assert compute(into(job, ADDED)).table.new[FULL] == exactly(factor * 9.712551161819152)
    job = to_job(problem(installation_a(), installation_a(), pulse_cells(10.562551161819152)))
    job = replace(job, target=replace(job.target, told=replace(job.target.told, formula_factor=factor)))
    assert compute(into(job, ADDED)).table.new[FULL] == exactly(85.0 / factor)


def random_jobs(count: int) -> list[Job]:
    """Random jobs, most with wrong settings, whose target's table has the other quantity and any meaning."""
    generator = random.Random(SEED + 77)
    meanings = itertools.cycle(itertools.product((False, True), repeat=3))
    jobs = []
    for _ in range(count):
        given = random_problem(generator)
        given.stuck -= set(STICKABLE)
        given.new.pressure_inside, given.new.lambda_inside = given.old.pressure_inside, given.old.lambda_inside
        given.new.is_ve = given.old.is_ve
        reference = generator.choice([100_000.0, 95_000.0])
        jobs.append(into(to_job(copy.deepcopy(given)), Inside(*next(meanings)), reference))
    return jobs


def back(there: Computed) -> Job:
    """The job back: it carries the new table from the target to the donor."""
    job = there.job
    came = replace(job.target.table, values=there.table.new * job.target.shown.per_unit)
    return replace(
        job,
        donor=replace(
            job.donor, hardware=job.target.hardware, told=job.target.told, table=came, shown=job.target.shown
        ),
        target=replace(
            job.target,
            hardware=job.donor.hardware,
            told=job.donor.told,
            table=replace(job.donor.table, values=np.full_like(came.values, np.nan)),
            shown=job.donor.shown,
        ),
    )


@pytest.mark.law
def test_there_and_back_returns_the_table() -> None:
    compared = 0
    for job in random_jobs(60):
        there = compute(job)
        came_back = compute(back(there)).table
        known = np.isfinite(there.table.new)
        compared += int(known.sum())
        # They agree to 9e-16 here; the law asks for 1e-9.
        assert_allclose(came_back.new[known], there.table.old[known], rtol=1e-9)
    assert compared > 700


@pytest.mark.law
def test_it_closes_and_the_old_table_says_nothing() -> None:
    for job in random_jobs(40):
        table = compute(job).table
        closed = np.isfinite(table.new) & (table.duty < 1.0)
        assert_allclose(table.lambda_ratio["new_table_new_settings"][closed], 1.0, rtol=1e-9)
        for corner in ("old_table_old_settings", "old_table_new_settings"):
            assert np.isnan(table.lambda_ratio[corner]).all()
        assert np.isnan(table.change_percent).all()


@pytest.mark.law
def test_the_band_has_the_formula_factor_of_the_one_ecu() -> None:
    for cells, side in ((ve_cells(0.85), "donor"), (pulse_cells(10.562551161819152), "target")):
        result = adapt(into(to_job(problem(installation_a(), installation_b(), cells)), ADDED))
        (share,) = [one for one in result.band.shares if one.name == "formula factor of the ECU"]
        assert share.keys == (f"{side}.settings.formula_factor",)
        # ± 5 %, rectangular: 2.887 % standard; at full slope, for nothing takes it back.
        assert share.standard == pytest.approx(5.0 / 3.0**0.5)
        assert abs(share.slopes["worst cell"]) == pytest.approx(0.01, rel=0.05)
        assert np.isnan(result.band.as_loaded).all()


@pytest.mark.pin
def test_a_note_says_what_it_assumes() -> None:
    job = into(to_job(problem(installation_a(), installation_b(), ve_cells(0.85))), ADDED)
    (finding,) = [one for one in adapt(job).findings if one.rule == "another-quantity"]
    assert finding.severity is Severity.NOTE
    assert finding.message == (
        "The donor's cells are volumetric efficiency in %, the target's pulse width in ms: two different ECUs. The "
        "donor's table cannot be loaded as it is. The formula factor of the ECU that works in efficiency is taken as "
        "1, which is an assumption; a cell of the target is for the target's own charge temperature, 40.0 °C, and "
        "rail pressure, 3.50 bar."
    )
