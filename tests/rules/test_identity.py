"""One wrong input, planted in a good job, is found; the good job is an invented engine worked outside the package."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from basemap.model.finding import Severity
from basemap.model.injectors import DeadTime
from basemap.model.installation import FloatArray, Induction, Told
from basemap.model.job import Input, Job
from basemap.model.table import Inside, TableQuantity
from basemap.rules.identity import Explanation, explanations
from basemap.rules.implied_numbers import Anchor
from tests.builders.cases import each
from tests.builders.computed import RPM, found, make_computed, make_job, with_donor, with_donor_side, with_target_side
from tests.samples.invented import Breathing, Injection

LOAD_KPA = np.array([30.0, 40.0, 50.0, 60.0, 80.0, 100.0])
BOOST_KPA = np.array([30.0, 45.0, 60.0, 100.0, 150.0, 200.0])
ENGINE = Breathing(base=0.68, gain=0.24, peak_rpm=4600, width_rpm=2900)
WHOLE = Inside(pressure=True, intended_lambda=True, dead_time=True)
NO_DEAD_TIME = Inside(pressure=True, intended_lambda=True)
DEAD_MS = 0.84  # at 13.8 V, between 1.2 ms at 12 V and 0.8 ms at 14 V
LAMBDA = 0.92
FLOW_KEY, RAIL_KEY = "donor.injectors.static_flow", "donor.fuel.rail_pressure"
SIZE_KEY, APPLIES_KEY = "donor.engine.displacement", "donor.tables.fuel.ecu_applies"


def power_w(engine: Breathing, displacement_cc: float, lambda_: float = LAMBDA) -> float:
    """What the maker would have stated of the invented engine, in ISO 1585 air at 5500 rpm."""
    air = engine.ve(5500.0, 99.0) * 99e3 * displacement_cc * 1e-6 / (287.05287 * 298.15) * 5500.0 / 120.0
    return 1e3 * air * 3600.0 / (0.305 * 14.6 * lambda_)


def pulses(
    load_kpa: FloatArray, engine: Breathing = ENGINE, dead_ms: float = 0.0, lambda_: float = LAMBDA, **true: float
) -> FloatArray:
    """Pulses of the invented engine with what is truly fitted, s."""
    injection = Injection(
        cylinder_cc=true.get("displacement_cc", 1998.0) / 4.0,
        static_flow_cc_min=true.get("flow_cc_min", 400.0),
        fuel_density=730.0,
        stoichiometric=14.0,
        lambda_=lambda_,
        charge_c=40.0,
        dead_time_ms=dead_ms,
    )
    return 1e-3 * np.array(
        [[injection.pulse_ms(engine.ve(float(rpm), float(load)), float(load)) for rpm in RPM] for load in load_kpa]
    )


def claimed(values: FloatArray, load_kpa: FloatArray = LOAD_KPA, inside: Inside = NO_DEAD_TIME, **table: Any) -> Job:
    """The job as its papers say: 1998 cc on 400 cc/min at 3 bar, unless changed further."""
    job = make_job(load_kpa)
    changes = {
        "quantity": TableQuantity.PULSE_WIDTH,
        "values": values,
        "inside": inside,
        "intended_lambda": np.full(values.shape, LAMBDA),
        **table,
    }
    own = replace(job.target.table, quantity=changes["quantity"], inside=changes["inside"])
    powered = with_donor(job, "engine", rated_power_w=power_w(ENGINE, 1998.0))
    return with_target_side(with_donor_side(powered, table=replace(job.donor.table, **changes)), table=own)


def without_power(job: Job) -> Job:
    """The maker's power not stated."""
    return with_donor(job, "engine", rated_power_w=None, rated_speed_rpm=None)


def place(job: Job, key: str) -> tuple[int, Explanation]:
    """Where an input stands in the list, from 1, and what is said of it."""
    _, listed = explanations(job)
    keys = [each.key for each in listed]
    assert key in keys
    return keys.index(key) + 1, listed[keys.index(key)]


@pytest.mark.law
def test_the_good_job_needs_no_explanation() -> None:
    assert explanations(claimed(pulses(LOAD_KPA))) == (None, ())


@pytest.mark.law
@each("true_flow", [180.0, 220.0, 750.0, 1000.0])
@each("with_power", [True, False])
def test_an_injector_of_another_size(true_flow: float, with_power: bool) -> None:
    job = claimed(pulses(LOAD_KPA, flow_cc_min=true_flow))
    rank, explanation = place(job if with_power else without_power(job), FLOW_KEY)
    assert rank == 1
    assert explanation.value is not None
    assert explanation.value * 60e6 == pytest.approx(true_flow, rel=0.10)


@pytest.mark.law
@each("true_bar", [1.0, 1.2, 8.0])
@each("with_power", [True, False])
def test_another_fuel_pressure(true_bar: float, with_power: bool) -> None:
    # The orifice equation: 400 cc/min at 3 bar are so much at another pressure.
    job = claimed(pulses(LOAD_KPA, flow_cc_min=400.0 * math.sqrt(true_bar / 3.0)))
    rank, explanation = place(job if with_power else without_power(job), RAIL_KEY)
    assert rank <= 2
    # 0.85 stands for a breathing of 0.86, and the pressure goes with its square: still within 10 %.
    assert explanation.value == pytest.approx(true_bar * 1e5, rel=0.10)


@pytest.mark.law
@each("true_cc", [1000.0, 1200.0, 3000.0, 3500.0])
def test_another_displacement(true_cc: float) -> None:
    job = claimed(pulses(LOAD_KPA, displacement_cc=true_cc))
    job = with_donor(job, "engine", rated_power_w=power_w(ENGINE, true_cc))
    rank, explanation = place(job, SIZE_KEY)
    # The papers' power belongs to the engine, so injectors of another size would not agree with it.
    assert rank == 1
    assert explanation.value == pytest.approx(true_cc * 1e-6, rel=0.10)


@pytest.mark.law
@each("claimed_cc", [1200.0, 3500.0])
def test_another_displacement_of_a_table_of_efficiency_shows_in_the_power(claimed_cc: float) -> None:
    efficiency = np.array([[ENGINE.ve(float(rpm), float(load)) for rpm in RPM] for load in LOAD_KPA])
    job = claimed(efficiency, quantity=TableQuantity.VOLUMETRIC_EFFICIENCY, inside=Inside())
    job = with_donor(job, "engine", displacement_m3=claimed_cc * 1e-6)
    anchor, listed = explanations(job)
    assert anchor is Anchor.POWER
    assert [each.key for each in listed] == [SIZE_KEY]
    # 1.3 %: 5500 rpm lies between two columns, and the line between them below the engine's curve.
    assert listed[0].value == pytest.approx(1998e-6, rel=0.02)


def big_injectors(job: Job, flow_cc_min: float = 1800.0) -> Job:
    """So large that the dead time is half of a full-load pulse."""
    static = replace(job.donor.hardware.injectors.static, value=flow_cc_min * 1e-6 / 60.0)
    return with_donor(job, "injectors", static=static)


@pytest.mark.law
@each("with_power", [True, False])
@each(
    ("truly_inside", "said_inside", "words"),
    [
        (True, False, "the dead time inside the cells already (donor.tables.fuel.ecu_applies)"),
        (False, True, "the dead time applied by the ECU (donor.tables.fuel.ecu_applies)"),
    ],
)
def test_dead_time_on_the_wrong_side(truly_inside: bool, said_inside: bool, words: str, with_power: bool) -> None:
    cells = pulses(LOAD_KPA, flow_cc_min=1800.0, dead_ms=DEAD_MS if truly_inside else 0.0)
    job = big_injectors(claimed(cells, inside=WHOLE if said_inside else NO_DEAD_TIME))
    rank, explanation = place(job if with_power else without_power(job), APPLIES_KEY)
    assert (rank, explanation.words) == (1, words)


@pytest.mark.law
@each("with_power", [True, False])
@each(("truly", "said"), [(2, 1), (1, 2)])
def test_openings_miscounted(truly: int, said: int, with_power: bool) -> None:
    """A pulse of two openings is half as long, but for the dead time of each."""
    cells = pulses(LOAD_KPA, flow_cc_min=400.0 * truly)
    job = with_donor(claimed(cells), "injectors", openings_per_cycle=float(said))
    rank, explanation = place(job if with_power else without_power(job), "donor.injectors.openings_per_cycle")
    words = f"{truly} instead of {said} openings a cycle (donor.injectors.openings_per_cycle)"
    assert (rank, explanation.value, explanation.words) == (1, float(truly), words)


def boosted_donor(job: Job) -> Job:
    return with_donor(job, "engine", induction=Induction.BOOSTED, peak_pressure_pa=200e3, rated_power_w=None)


@pytest.mark.law
@each(
    ("truly_inside", "words"),
    [
        (False, "the manifold pressure applied by the ECU (donor.tables.fuel.ecu_applies)"),
        (True, "the manifold pressure inside the cells already (donor.tables.fuel.ecu_applies)"),
    ],
)
def test_pressure_on_the_wrong_side_of_a_boosted_map(truly_inside: bool, words: str) -> None:
    whole = pulses(BOOST_KPA)
    cells = whole if truly_inside else whole / (BOOST_KPA[:, np.newaxis] / 100.0)
    inside = replace(NO_DEAD_TIME, pressure=not truly_inside)
    anchor, _ = explanations(boosted_donor(claimed(cells, BOOST_KPA, inside)))
    rank, explanation = place(boosted_donor(claimed(cells, BOOST_KPA, inside)), APPLIES_KEY)
    assert (anchor, rank, explanation.words) == (Anchor.WIDE_OPEN, 1, words)


@pytest.mark.law
def test_pressure_on_the_wrong_side_of_an_atmospheric_map_shows_at_part_load() -> None:
    cells = pulses(LOAD_KPA) / (LOAD_KPA[:, np.newaxis] / 100.0)
    job = claimed(cells)
    anchor, listed = explanations(job)
    assert anchor is Anchor.PART_LOAD
    assert [each.words for each in listed] == [
        "the manifold pressure applied by the ECU (donor.tables.fuel.ecu_applies)"
    ]
    (finding,) = found(make_computed(job), "implied-ve-part-load")
    assert finding.message == (
        "At 30 kPa, part load, the donor's cells imply a volumetric efficiency of 221.6 % (median over the middle of "
        "its speeds; caution above 95 %). One wrong input alone would explain it, the likeliest first: 1. the manifold "
        "pressure applied by the ECU (donor.tables.fuel.ecu_applies)."
    )


@pytest.mark.law
@each("with_power", [True, False])
@each(
    ("truly_inside", "base", "words"),
    [
        (True, 0.82, "the intended λ inside the cells already (donor.tables.fuel.ecu_applies)"),
        (False, 0.56, "the intended λ applied by the ECU (donor.tables.fuel.ecu_applies)"),
    ],
)
def test_lambda_on_the_wrong_side(truly_inside: bool, base: float, words: str, with_power: bool) -> None:
    # λ 0.78 wide open is 28 %: it shows on an engine that breathes well, or badly.
    engine, lambda_ = replace(ENGINE, base=base, gain=0.20), 0.78
    cells = pulses(LOAD_KPA, engine, lambda_=lambda_ if truly_inside else 1.0)
    inside = replace(NO_DEAD_TIME, intended_lambda=not truly_inside)
    job = claimed(cells, inside=inside, intended_lambda=np.full(cells.shape, lambda_))
    job = with_donor(job, "engine", rated_power_w=power_w(engine, 1998.0, lambda_))
    rank, explanation = place(job if with_power else without_power(job), APPLIES_KEY)
    assert rank <= 2
    assert explanation.words == words


@pytest.mark.law
def test_an_injector_that_the_ecu_was_told_of_and_the_papers_were_not() -> None:
    # The ECU held 400 cc/min, which were fitted; the job says that 900 cc/min were.
    efficiency = np.array([[ENGINE.ve(float(rpm), float(load)) for rpm in RPM] for load in LOAD_KPA])
    job = claimed(efficiency, quantity=TableQuantity.VOLUMETRIC_EFFICIENCY, inside=Inside())
    job = big_injectors(replace(job, donor=replace(job.donor, told=Told(flow=400e-6 / 60.0))), 900.0)
    rank, explanation = place(job, FLOW_KEY)
    assert rank == 1
    assert explanation.value is not None
    assert explanation.value * 60e6 == pytest.approx(400.0, rel=0.10)


@pytest.mark.law
def test_inputs_that_cancel_explain_nothing() -> None:
    # Cells of 1.5 as a volumetric efficiency with truthful settings: neither injectors nor pressure move it.
    job = claimed(np.full((6, 5), 1.5), quantity=TableQuantity.VOLUMETRIC_EFFICIENCY, inside=Inside())
    job = replace(job, donor=replace(job.donor, flow_known=False, dead_time_known=False))
    anchor, listed = explanations(job)
    assert (anchor, listed) == (Anchor.WIDE_OPEN, ())
    stop = found(make_computed(job), "implied-ve-wide-open")[0]
    assert stop.severity is Severity.STOP
    assert stop.message.endswith(" No single input explains it.")


@pytest.mark.law
def test_what_contradicts_an_explanation_is_said() -> None:
    job = claimed(pulses(LOAD_KPA, flow_cc_min=200.0))
    _, listed = explanations(job)
    words = {each.key: each.words for each in listed}
    # Twice the air, solved for 0.85 where the engine breathes 0.87: 1998 cc · 1.74/0.85, and twice the power but for
    # the line between two columns.
    assert words[SIZE_KEY] == (
        "a displacement of 4090 cc instead of 1998 cc (donor.engine.displacement), but then its power is 197 % of the "
        "declared one"
    )


@pytest.mark.pin
def test_the_whole_finding_with_values_in_the_jobs_own_units() -> None:
    job = without_power(claimed(pulses(LOAD_KPA, flow_cc_min=200.0)))
    rail = Input(RAIL_KEY, "43.5 psi", 3e5, 43.5, "psi")
    (stop, *_) = found(make_computed(replace(job, inputs={RAIL_KEY: rail})), "implied-ve-wide-open")
    assert stop.message == (
        "At 100 kPa the donor's cells imply a volumetric efficiency of 174.0 % (median over the middle of its speeds; "
        "stop above 120 %; 70 to 105 % is normal). One wrong input alone would explain it, the likeliest first: 1. "
        "injectors of 195 cc/min instead of 400 cc/min (donor.injectors.static_flow); 2. a rail pressure of 10.4 psi "
        "instead of 43.5 psi (donor.fuel.rail_pressure); 3. a displacement of 4090 cc instead of 1998 cc "
        "(donor.engine.displacement)."
    )
    assert stop.remedy == (
        "Find out which input is wrong, first of all donor.injectors.static_flow, donor.fuel.rail_pressure, "
        "donor.engine.displacement. Nothing has been changed. Then: Check, in this order: what the cells are (quantity "
        "and unit), what the ECU still applies to them (ecu_applies), the load axis and its unit, the donor's flow at "
        "its rail pressure, displacement and cylinders, openings per cycle, the intended λ."
    )


@pytest.mark.law
def test_a_rating_by_mass_is_shown_as_one() -> None:
    job = without_power(claimed(pulses(LOAD_KPA, flow_cc_min=200.0)))
    static = job.donor.hardware.injectors.static
    by_mass = replace(static, is_mass=True, value=static.mass_flow)
    _, explanation = place(with_donor(job, "injectors", static=by_mass), FLOW_KEY)
    # 400 cc/min of 683.814 kg/m³ are 273.5 g/min.
    assert explanation.words == "injectors of 134 g/min instead of 273.5 g/min (donor.injectors.static_flow)"


@pytest.mark.law
def test_a_slope_goes_with_the_injector() -> None:
    job = without_power(claimed(pulses(LOAD_KPA, flow_cc_min=200.0)))
    slope = replace(job.donor.hardware.injectors.static, value=job.donor.hardware.injectors.static.value * 1.02)
    _, explanation = place(with_donor(job, "injectors", slope=slope), FLOW_KEY)
    assert explanation.value is not None
    assert explanation.value * 60e6 == pytest.approx(200.0, rel=0.10)


@pytest.mark.law
def test_the_dead_time_may_depend_on_pressure() -> None:
    # Then the pressure moves flow and dead time, and no ratio would do: the table is decoded anew.
    curve = np.array([[2.4e-3, 0.8e-3], [3.0e-3, 1.2e-3]])
    dead = DeadTime(np.array([8.0, 14.0]), curve, np.array([1e5, 4e5]))
    cells = pulses(LOAD_KPA, flow_cc_min=400.0 * math.sqrt(1.0 / 3.0), dead_ms=1e3 * float(dead.at(13.8, 1e5)))
    job = with_donor(claimed(cells, inside=WHOLE), "injectors", dead_time=dead)
    rank, explanation = place(job, RAIL_KEY)
    assert rank <= 2
    assert explanation.value == pytest.approx(1e5, rel=0.10)
