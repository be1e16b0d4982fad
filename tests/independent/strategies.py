"""Random whole jobs, as plain numbers for the independent calculation and as a `Job` for the program."""

from __future__ import annotations

import copy
import random

import numpy as np
from hypothesis import strategies as st

from basemap.model.injectors import DeadTime, FlowRating, Injectors, RatedBentLine
from basemap.model.installation import Conditions, Cycle, Engine, Fuel, Induction, Installation, Regulator, Told
from basemap.model.job import Job
from basemap.model.job import Side as JobSide
from basemap.model.likeness import Breathing
from basemap.model.table import FuelTable, Inside, Shown, TableQuantity
from tests.independent.plain_numbers import Cells, DeadPoints, Grid, Problem, Rating, Side

STICKABLE = ("displacement", "static_flow", "stoichiometric", "openings_per_cycle", "dead_time")
ATMOSPHERIC_PEAK_PA = 108_000.0


def problems() -> st.SearchStrategy[Problem]:
    """Random problems, from a random generator that Hypothesis can shrink."""
    return st.randoms(use_true_random=False).map(random_problem)


def seeded_problems(count: int, seed: int) -> list[Problem]:
    """Random problems, the same every time."""
    generator = random.Random(seed)
    return [random_problem(generator) for _ in range(count)]


def random_problem(rng: random.Random) -> Problem:
    """One random job: two different installations, what their ECUs know and do, and a table."""
    boosted = rng.random() < 0.3
    revolutions = rng.choice([2, 2, 2, 1])
    kappa = rng.choice([1.0, rng.uniform(0.9, 1.1)])
    donor = random_side(rng, revolutions, kappa)
    target = random_side(rng, revolutions, kappa)
    tell_donor(rng, donor)
    if rng.random() < 0.7:
        target.corrects_rail_pressure = donor.corrects_rail_pressure
        target.corrects_charge_temperature = donor.corrects_charge_temperature
    old = random_table(rng, boosted=boosted)
    new = copy.deepcopy(old)
    if rng.random() < 0.5:
        new.lambda_ = random_mixture(rng, len(old.load), len(old.rpm))
    if rng.random() < 0.5:
        new.battery = rng.uniform(6.5, 18.0)
    if rng.random() < 0.2:
        new.pressure_inside = rng.random() < 0.5
        new.lambda_inside = rng.random() < 0.5
        new.dead_time_inside = rng.random() < 0.5
        new.reference_pressure = rng.uniform(80_000.0, 120_000.0)
    problem = Problem(donor, target, old, new)
    stick_target(rng, problem)
    return problem


def bent_line_problem(rng: random.Random) -> Problem:
    """A random job with a bend in one or both flow lines; the ECUs may know of it or not."""
    problem = random_problem(rng)
    both = rng.random()
    if both < 0.7:
        bend(rng, problem.donor)
    if both > 0.3:
        bend(rng, problem.target)
    if problem.old.is_ve and not problem.old.dead_time_inside and not problem.new.dead_time_inside:
        problem.donor.told_bent_line = rng.random() < 0.6
        problem.target.told_bent_line = rng.random() < 0.6
        if rng.random() < 0.2:
            problem.stuck.add("bent_line")
    return problem


def bend(rng: random.Random, side: Side) -> None:
    """Give an installation a flow line with a bend that lies within the range of its pulses."""
    side.slope = side.slope or copy.deepcopy(side.static)
    side.low = copy.deepcopy(side.slope)
    side.low.value *= rng.uniform(0.7, 1.4)
    rated = side.slope.value * (1.0 if side.slope.is_mass else side.slope.density)
    side.at_mass = rated * rng.uniform(0.5e-3, 5e-3)


def seeded_bent_line_problems(count: int, seed: int) -> list[Problem]:
    """Random jobs with a bend, the same every time."""
    generator = random.Random(seed)
    return [bent_line_problem(generator) for _ in range(count)]


def breathing_problem(rng: random.Random) -> Problem:
    """A random job of four-stroke engines with an estimate of how differently the target breathes."""
    problem = random_problem(rng)
    problem.breathing = rng.choice(["inlet mach", "residual gas"])
    for side in (problem.donor, problem.target):
        side.revolutions = 2
        side.compression_ratio = rng.uniform(6.5, 14.0)
        side.valve_area = side.displacement / side.cylinders * rng.uniform(1.6, 3.2)
    return problem


def seeded_breathing_problems(count: int, seed: int) -> list[Problem]:
    """Random jobs with an estimate of the breathing, the same every time."""
    generator = random.Random(seed)
    return [breathing_problem(generator) for _ in range(count)]


def random_side(rng: random.Random, revolutions: int, kappa: float) -> Side:
    """One installation, whose ECU was told the truth."""
    static = random_rating(rng)
    slope = None
    if rng.random() < 0.3:
        slope = copy.deepcopy(static)
        slope.value *= rng.uniform(0.93, 1.05)
        if rng.random() < 0.3:
            slope.pressure = rng.choice([250_000.0, 300_000.0, 400_000.0])
    cylinders = rng.choice([1, 2, 3, 4, 5, 6, 8])
    feeble = rng.random() < 0.04
    return Side(
        displacement=cylinders * rng.uniform(1.5e-4, 8e-4),
        cylinders=cylinders,
        revolutions=revolutions,
        barometer=rng.uniform(70_000.0, 103_000.0),
        charge_temperature=rng.uniform(258.0, 345.0),
        static=static,
        dead=random_dead_time(rng),
        stoichiometric=rng.uniform(6.4, 15.2),
        density=rng.uniform(690.0, 800.0),
        rail_pressure=rng.uniform(60_000.0, 140_000.0) if feeble else rng.uniform(200_000.0, 500_000.0),
        fixed_regulator=rng.random() < 0.45,
        slope=slope,
        per_cylinder=rng.choice([1.0, 1.0, 2.0, 0.5]),
        openings=rng.choice([1.0, 1.0, 2.0]),
        corrects_rail_pressure=rng.random() < 0.5,
        corrects_charge_temperature=rng.random() < 0.6,
        kappa=kappa,
    )


def random_rating(rng: random.Random) -> Rating:
    """A static flow as a maker states it, 150 to 1200 cc/min, by volume or by mass."""
    density = rng.choice([683.81407, rng.uniform(650.0, 790.0)])
    volume = rng.uniform(150.0, 1200.0) * 1e-6 / 60.0
    is_mass = rng.random() < 0.3
    return Rating(
        volume * density if is_mass else volume, is_mass, rng.choice([270_000.0, 300_000.0, 400_000.0]), density
    )


def random_dead_time(rng: random.Random) -> DeadPoints:
    """Dead times that fall with voltage and rise with pressure."""
    volts = sorted(rng.sample([7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0], rng.randint(2, 6)))
    time = rng.uniform(0.05e-3, 0.7e-3)
    row = [time]
    for _ in volts[1:]:
        row.insert(0, row[0] + rng.uniform(0.05e-3, 0.35e-3))
    if rng.random() < 0.6:
        return DeadPoints(volts, [row])
    pressures = sorted(rng.sample([200_000.0, 250_000.0, 300_000.0, 400_000.0, 500_000.0], rng.randint(2, 4)))
    rows = [row]
    for _ in pressures[1:]:
        rows.append([value + rng.uniform(0.01e-3, 0.12e-3) for value in rows[-1]])
    for line in rows:  # keep every row falling with voltage, whatever was added to it
        line.sort(reverse=True)
    return DeadPoints(volts, rows, pressures)


def tell_donor(rng: random.Random, donor: Side) -> None:
    """Give the donor's ECU some wrong settings."""
    if rng.random() < 0.3:
        donor.told_displacement = donor.displacement * rng.uniform(0.85, 1.15)
    if rng.random() < 0.3:
        rating = donor.static if donor.slope is None else donor.slope
        donor.told_flow = rating.value * rng.uniform(0.7, 1.3)
        donor.told_flow_is_mass = rating.is_mass
    if rng.random() < 0.3:
        donor.told_stoichiometric = donor.stoichiometric * rng.uniform(0.9, 1.1)
    if rng.random() < 0.15:
        donor.told_openings = 3.0 - donor.openings
    if rng.random() < 0.3:
        donor.told_dead = random_dead_time(rng)


def stick_target(rng: random.Random, problem: Problem) -> None:
    """Let the target's ECU keep some settings: the donor's value, or a value of its own."""
    donor, target = problem.donor, problem.target
    for name in STICKABLE:
        draw = rng.random()
        if draw < 0.15:
            problem.stuck.add(name)
        elif draw < 0.3 and name == "displacement":
            target.told_displacement = target.displacement * rng.uniform(0.8, 1.2)
        elif draw < 0.3 and name == "static_flow":
            rating = donor.static if donor.slope is None else donor.slope
            target.told_flow = rating.value * rng.uniform(0.7, 1.3)
            target.told_flow_is_mass = rating.is_mass
        elif draw < 0.3 and name == "stoichiometric":
            target.told_stoichiometric = target.stoichiometric * rng.uniform(0.8, 1.2)
        elif draw < 0.22 and name == "openings_per_cycle":
            target.told_openings = 3.0 - target.openings
        elif draw < 0.3 and name == "dead_time":
            target.told_dead = random_dead_time(rng)


def random_table(rng: random.Random, *, boosted: bool) -> Cells:
    """A table of 2 by 2 to 6 by 6 cells."""
    rows, columns = rng.randint(2, 6), rng.randint(2, 6)
    top = 260_000.0 if boosted else ATMOSPHERIC_PEAK_PA
    load = rising(rng, rows, 18_000.0, top)
    rpm = rising(rng, columns, 500.0, 9000.0)
    is_ve = rng.random() < 0.6
    pressure_inside, lambda_inside, dead_inside = (rng.random() < 0.35 for _ in range(3))
    reference = rng.choice([100_000.0, rng.uniform(80_000.0, 120_000.0)])
    low, high = (0.3, 1.15) if is_ve else (1.2e-3, 9e-3)
    values = [
        [rng.uniform(low, high) * (pressure / reference if pressure_inside and is_ve else 1.0) for _ in rpm]
        for pressure in load
    ]
    return Cells(
        is_ve=is_ve,
        values=values,
        rpm=rpm,
        load=load,
        lambda_=random_mixture(rng, rows, columns),
        battery=rng.uniform(6.5, 18.0),
        pressure_inside=pressure_inside,
        lambda_inside=lambda_inside,
        dead_time_inside=dead_inside,
        reference_pressure=reference,
    )


def rising(rng: random.Random, count: int, low: float, high: float) -> list[float]:
    """A rising axis with points well apart."""
    step = (high - low) / count
    return [low + step * (index + rng.uniform(0.0, 0.8)) for index in range(count)]


def random_mixture(rng: random.Random, rows: int, columns: int) -> Grid:
    """Intended λ: 1 in every cell, or a random value in each."""
    if rng.random() < 0.3:
        return [[1.0] * columns for _ in range(rows)]
    return [[rng.uniform(0.75, 1.08) for _ in range(columns)] for _ in range(rows)]


def to_job(problem: Problem) -> Job:
    """The same problem as a `Job` of the program."""
    old = problem.old
    unit, per_unit, decimals = ("%", 0.01, 1) if old.is_ve else ("ms", 0.001, 3)
    shown = Shown(unit, per_unit, np.array(old.load) / 1000.0, "kPa", decimals)
    return Job(
        title="a random job",
        donor=JobSide(
            to_installation(problem.donor, max(old.load)), to_told(problem.donor), to_table(old, old.values), shown
        ),
        target=JobSide(
            to_installation(problem.target, max(old.load)),
            to_told(problem.target),
            to_table(problem.new, [[float("nan")] * len(old.rpm) for _ in old.load]),
            shown,
        ),
        cannot_be_told=frozenset(problem.stuck),
        breathing=Breathing(problem.breathing),
    )


def to_installation(side: Side, highest: float) -> Installation:
    """The hardware of one side."""
    return Installation(
        conditions=Conditions(side.barometer, side.charge_temperature, 13.8),
        engine=Engine(
            displacement_m3=side.displacement,
            cylinders=side.cylinders,
            cycle=Cycle.FOUR_STROKE if side.revolutions == 2 else Cycle.TWO_STROKE,
            induction=Induction.BOOSTED if highest > ATMOSPHERIC_PEAK_PA else Induction.ATMOSPHERIC,
            peak_pressure_pa=highest,
            compression_ratio=side.compression_ratio,
            inlet_valve_area_m2=side.valve_area,
        ),
        injectors=Injectors(
            static=to_rating(side.static),
            dead_time=to_dead_time(side.dead),
            per_cylinder=side.per_cylinder,
            openings_per_cycle=side.openings,
            slope=None if side.slope is None or side.low is not None else to_rating(side.slope),
            bent_line=to_bent_line(side),
        ),
        fuel=Fuel(
            name="a random fuel",
            stoichiometric=side.stoichiometric,
            density=side.density,
            rail_pressure_pa=side.rail_pressure,
            regulator=Regulator.FIXED if side.fixed_regulator else Regulator.MANIFOLD,
            temperature_k=313.15,
        ),
    )


def to_bent_line(side: Side) -> RatedBentLine | None:
    """Both slopes and the bend of a flow line; `None` if it has no bend."""
    if side.low is None or side.slope is None:
        return None
    return RatedBentLine(to_rating(side.low), to_rating(side.slope), side.at_mass)


def to_rating(rating: Rating) -> FlowRating:
    """A flow rating."""
    return FlowRating(rating.value, rating.is_mass, rating.pressure, rating.density)


def to_dead_time(points: DeadPoints) -> DeadTime:
    """Dead-time points."""
    pressures = None if points.pressures is None else np.array(points.pressures)
    return DeadTime(np.array(points.volts), np.array(points.seconds), pressures)


def to_told(side: Side) -> Told:
    """What an ECU was told and what it corrects for."""
    return Told(
        displacement_m3=side.told_displacement,
        flow=side.told_flow,
        flow_is_mass=side.told_flow_is_mass,
        stoichiometric=side.told_stoichiometric,
        openings_per_cycle=side.told_openings,
        dead_time=None if side.told_dead is None else to_dead_time(side.told_dead),
        bent_line=side.told_bent_line,
        corrects_rail_pressure=side.corrects_rail_pressure,
        corrects_charge_temperature=side.corrects_charge_temperature,
        formula_factor=side.kappa,
    )


def to_table(cells: Cells, values: Grid) -> FuelTable:
    """A fuel table with these values."""
    return FuelTable(
        name="fuel",
        quantity=TableQuantity.VOLUMETRIC_EFFICIENCY if cells.is_ve else TableQuantity.PULSE_WIDTH,
        values=np.array(values),
        rpm=np.array(cells.rpm),
        load_pa=np.array(cells.load),
        inside=Inside(cells.pressure_inside, cells.lambda_inside, cells.dead_time_inside),
        intended_lambda=np.array(cells.lambda_),
        battery_v=cells.battery,
        reference_pressure_pa=cells.reference_pressure,
    )
