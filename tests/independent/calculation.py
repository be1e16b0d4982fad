"""A second, independent calculation of an adapted table, cell by cell in plain Python floats.

Nothing of the program is imported here: not its model, not its constants. It is handed plain numbers and works
from the equations alone, so that an error of the program is not repeated here.
SI throughout. NaN stands for what cannot be; +∞ is the mixture of a cylinder that gets no fuel.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Literal

from tests.independent.plain_numbers import Answer, Cells, DeadPoints, InForce, Problem, Rating, Side

R_AIR = 287.05287  # J/(kg K), dry air, ISO 2533

Basis = Literal["old", "new"]
_once = lru_cache(maxsize=1000)
"""A cell is worked out once for all that follows from it. A problem is never changed once it has been asked about."""


def pressure_across(side: Side, manifold: float) -> float:
    """Pressure across the injector, Pa."""
    return side.rail_pressure + side.barometer - manifold if side.fixed_regulator else side.rail_pressure


def rated_mass_flow(rating: Rating) -> float:
    """Mass per second of the rating fluid."""
    return rating.value if rating.is_mass else rating.value * rating.density


def mass_flow(rating: Rating, across: float, density: float) -> float:
    """Mass flow of the fuel by the orifice equation, kg/s; NaN if there is no pressure across the injector."""
    if across <= 0.0:
        return math.nan
    return rated_mass_flow(rating) * math.sqrt(across / rating.pressure) * math.sqrt(density / rating.density)


def flow_line(side: Side) -> Rating:
    """The rating of the flow line: the slope if it is known, else the static flow."""
    return side.static if side.slope is None else side.slope


def line_flow(side: Side, across: float) -> float:
    """Mass flow of the flow line, kg/s."""
    return mass_flow(flow_line(side), across, side.density)


def mass_at_bend(side: Side, across: float) -> float:
    """The mass of one opening at which the slope changes; it scales with pressure and density as a flow does."""
    rated = flow_line(side)
    return side.at_mass * math.sqrt(across / rated.pressure) * math.sqrt(side.density / rated.density)


def one_opening(side: Side, across: float, open_time: float) -> float:
    """Mass of one opening by the flow line, kg; negative for a negative time."""
    if side.low is None:
        return line_flow(side, across) * open_time
    low, bend_mass = mass_flow(side.low, across, side.density), mass_at_bend(side, across)
    if low * open_time <= bend_mass:
        return low * open_time
    return bend_mass + line_flow(side, across) * (open_time - bend_mass / low)


def time_open(side: Side, across: float, mass: float) -> float:
    """How long one opening must last to deliver a mass, s."""
    if side.low is None:
        return mass / line_flow(side, across)
    low, bend_mass = mass_flow(side.low, across, side.density), mass_at_bend(side, across)
    return mass / low if mass <= bend_mass else bend_mass / low + (mass - bend_mass) / line_flow(side, across)


def slopes_in_ecu(side: Side, flow: float) -> tuple[float | None, float]:
    """Slope below the bend and mass at the bend in an ECU, wrong by the same factor as its flow."""
    if side.low is None or not side.told_bent_line:
        return None, 0.0
    off = flow / line_flow(side, side.rail_pressure)
    low = mass_flow(side.low, side.rail_pressure, side.density)
    return off * low, off * mass_at_bend(side, side.rail_pressure)


def target_slopes(problem: Problem, flow: float) -> tuple[float | None, float]:
    """Slope below the bend and mass at the bend that the target's ECU holds."""
    if "bent_line" in problem.stuck:
        return slopes_in_ecu(problem.donor, donor_flow_setting(problem.donor))
    return slopes_in_ecu(problem.target, flow)


def commanded(settings: InForce, by_flow: float) -> float:
    """The open time that an ECU commands if its flow alone would ask for `by_flow`, s."""
    if settings.below is None:
        return by_flow
    mass = by_flow * settings.flow
    if mass <= settings.at_mass:
        return mass / settings.below
    return settings.at_mass / settings.below + (mass - settings.at_mass) / settings.flow


def asked_for(settings: InForce, time: float) -> float:
    """The open time that the flow alone would ask for if an ECU commands `time`, s."""
    if settings.below is None:
        return time
    at_bend = settings.at_mass / settings.below
    if time <= at_bend:
        return time * settings.below / settings.flow
    return (settings.at_mass + (time - at_bend) * settings.flow) / settings.flow


def straight(xs: list[float], ys: list[float], x: float) -> float:
    """Linear between the points; the end segments are continued."""
    if len(xs) == 1:
        return ys[0]
    last = len(xs) - 2
    place = 0
    while place < last and x > xs[place + 1]:
        place += 1
    share = (x - xs[place]) / (xs[place + 1] - xs[place])
    return ys[place] + share * (ys[place + 1] - ys[place])


def dead_time(points: DeadPoints, battery: float, across: float) -> float:
    """Dead time at a voltage and a pressure, never below zero."""
    rows = [straight(points.volts, row, battery) for row in points.seconds]
    found = rows[0] if points.pressures is None else straight(points.pressures, rows, across)
    return max(0.0, found)


def told_dead_points(side: Side) -> DeadPoints:
    """The dead time that the ECU holds."""
    return side.dead if side.told_dead is None else side.told_dead


def donor_flow_setting(donor: Side) -> float:
    """The mass flow of its own fuel that the donor's ECU was told."""
    if donor.told_flow is None:
        return line_flow(donor, donor.rail_pressure)
    fluid = flow_line(donor).density
    told = donor.told_flow if donor.told_flow_is_mass else donor.told_flow * fluid
    return told * math.sqrt(donor.density / fluid)


def donor_flow_entry(donor: Side) -> float:
    """The flow typed into the donor's ECU: that of its rating fluid at its rail pressure."""
    if donor.told_flow is not None:
        return donor.told_flow
    rating = flow_line(donor)
    return rating.value * math.sqrt(donor.rail_pressure / rating.pressure)


def donor_settings(problem: Problem, battery: float, *, on_target: bool) -> InForce:
    """The donor's settings, in the donor's own ECU or left in the target's."""
    donor, target = problem.donor, problem.target
    displacement = donor.displacement if donor.told_displacement is None else donor.told_displacement
    openings = donor.openings if donor.told_openings is None else donor.told_openings
    low, bend_mass = slopes_in_ecu(donor, donor_flow_setting(donor))
    return InForce(
        below=low,
        at_mass=bend_mass,
        cylinder_volume=displacement / (target.cylinders if on_target else donor.cylinders),
        flow=donor_flow_setting(donor),
        flow_pressure=donor.rail_pressure,
        stoichiometric=donor.stoichiometric if donor.told_stoichiometric is None else donor.told_stoichiometric,
        per_cylinder=target.per_cylinder if on_target else donor.per_cylinder,
        openings=target_openings(problem) if on_target else openings,
        dead_time=dead_time(told_dead_points(donor), battery, donor.rail_pressure),
    )


def target_openings(problem: Problem) -> float:
    """Openings per cycle that the target's ECU works with."""
    donor, target = problem.donor, problem.target
    if target.told_openings is not None:
        return target.told_openings
    if "openings_per_cycle" in problem.stuck:
        return donor.openings if donor.told_openings is None else donor.told_openings
    return target.openings


def target_displacement(problem: Problem) -> float:
    """Displacement that the target's ECU works with."""
    donor, target = problem.donor, problem.target
    if target.told_displacement is not None:
        return target.told_displacement
    old = donor.displacement if donor.told_displacement is None else donor.told_displacement
    if "displacement" in problem.stuck:
        return old
    return old * target.displacement / donor.displacement


def target_stoichiometric(problem: Problem) -> float:
    """Stoichiometric ratio that the target's ECU works with."""
    donor, target = problem.donor, problem.target
    if target.told_stoichiometric is not None:
        return target.told_stoichiometric
    old = donor.stoichiometric if donor.told_stoichiometric is None else donor.told_stoichiometric
    if "stoichiometric" in problem.stuck:
        return old
    return old * target.stoichiometric / donor.stoichiometric


def flow_ratio(problem: Problem) -> float:
    """The target's mass flow at its rail pressure over the donor's at its own."""
    donor, target = problem.donor, problem.target
    return line_flow(target, target.rail_pressure) / line_flow(donor, donor.rail_pressure)


def target_flow_setting(problem: Problem) -> tuple[float, float]:
    """The mass flow that the target's ECU works with, and the rail pressure at which that value is stated."""
    donor, target = problem.donor, problem.target
    old = donor_flow_setting(donor)
    if target.told_flow is not None:
        return old * target.told_flow / donor_flow_entry(donor), donor.rail_pressure
    if "static_flow" in problem.stuck:
        return old, donor.rail_pressure
    return old * flow_ratio(problem), target.rail_pressure


def target_dead_time(problem: Problem, battery: float) -> float:
    """The dead time that the target's ECU works with."""
    donor, target = problem.donor, problem.target
    if target.told_dead is not None:
        return dead_time(target.told_dead, battery, target.rail_pressure)
    if "dead_time" in problem.stuck:
        return dead_time(told_dead_points(donor), battery, donor.rail_pressure)
    return dead_time(target.dead, battery, target.rail_pressure)


def target_settings(problem: Problem, battery: float) -> InForce:
    """The settings of the target's ECU once everything that can be entered is entered."""
    flow, flow_pressure = target_flow_setting(problem)
    low, bend_mass = target_slopes(problem, flow)
    return InForce(
        below=low,
        at_mass=bend_mass,
        cylinder_volume=target_displacement(problem) / problem.target.cylinders,
        flow=flow,
        flow_pressure=flow_pressure,
        stoichiometric=target_stoichiometric(problem),
        per_cylinder=problem.target.per_cylinder,
        openings=target_openings(problem),
        dead_time=target_dead_time(problem, battery),
    )


def rail_pressure_factor(side: Side, across: float, reference: float) -> float:
    """The flow that the ECU works with over the flow that it was told."""
    if not side.corrects_rail_pressure:
        return 1.0
    return math.sqrt(across / reference) if across > 0.0 else math.nan


def pulse_per_cell(
    problem: Problem, side: Side, table: Cells, settings: InForce, manifold: float, command: float
) -> tuple[float, float]:
    """Slope and offset of the ECU's straight line: pulse = slope · cell + offset.

    An ECU that was told two slopes bends `slope · cell` before it adds the offset.
    """
    reference_temperature = problem.donor.charge_temperature
    believed = side.charge_temperature if side.corrects_charge_temperature else reference_temperature
    mixture = 1.0 if table.lambda_inside else 1.0 / command
    offset = 0.0 if table.dead_time_inside else settings.dead_time
    across = pressure_across(side, manifold)
    if table.is_ve:
        pressure = table.reference_pressure if table.pressure_inside else manifold
        charge = pressure * settings.cylinder_volume / (R_AIR * believed)
        flow = settings.flow * rail_pressure_factor(side, across, settings.flow_pressure)
        fuel = charge * mixture / settings.stoichiometric
        return side.kappa * fuel / (settings.per_cylinder * settings.openings * flow), offset
    pressure = 1.0 if table.pressure_inside else manifold / table.reference_pressure
    temperature = reference_temperature / believed
    flow_factor = rail_pressure_factor(side, across, problem.donor.rail_pressure)
    return pressure * mixture * temperature / flow_factor, offset


def donor_air(problem: Problem, row: int, column: int) -> float:
    """Air per cylinder and cycle of the donor, from its cell; NaN if the cell's fuel is unknown."""
    donor, table = problem.donor, problem.old
    manifold, command = table.load[row], table.lambda_[row][column]
    settings = donor_settings(problem, table.battery, on_target=False)
    slope, offset = pulse_per_cell(problem, donor, table, settings, manifold, command)
    across = pressure_across(donor, manifold)
    if across <= 0.0:
        return math.nan
    asked = commanded(settings, slope * table.values[row][column])
    open_time = asked + offset - dead_time(donor.dead, table.battery, across)
    if open_time < 0.0:
        return math.nan
    fuel = donor.per_cylinder * donor.openings * one_opening(donor, across, open_time)
    return command * donor.stoichiometric * fuel


@_once
def target_air(problem: Problem, row: int, column: int) -> float:
    """Air per cylinder and cycle of the target: the same filling of another volume at another temperature."""
    donor, target = problem.donor, problem.target
    volume_ratio = (target.displacement / target.cylinders) / (donor.displacement / donor.cylinders)
    air = breathed(problem, row, column)
    return air * volume_ratio * donor.charge_temperature / target.charge_temperature


def breathed(problem: Problem, row: int, column: int) -> float:
    """Air of the donor's cylinder if it breathed as the target is estimated to; NaN if a cell it needs is empty."""
    donor, target, own = problem.donor, problem.target, donor_air(problem, row, column)
    if problem.breathing == "same" or math.isnan(own):
        return own
    if problem.breathing == "residual gas":
        manifold = problem.new.load[row]
        return own * fresh_charge(target, manifold) / fresh_charge(donor, manifold)
    # The donor at the speed with the same inlet Mach index: higher if the target has less valve area for its volume.
    load_of_valves = [side.displacement / side.cylinders / side.valve_area for side in (target, donor)]
    speeds = problem.old.rpm
    at = min(max(problem.new.rpm[column] * load_of_valves[0] / load_of_valves[1], speeds[0]), speeds[-1])
    right = next(index for index, speed in enumerate(speeds) if speed >= at)
    if speeds[right] == at:
        found = donor_air(problem, row, right)
    else:
        share = (at - speeds[right - 1]) / (speeds[right] - speeds[right - 1])
        left_air, right_air = (donor_air(problem, row, index) for index in (right - 1, right))
        found = left_air + share * (right_air - left_air)
    return math.nan if own == 0.0 and found != 0.0 else found


def fresh_charge(side: Side, manifold: float) -> float:
    """Share of the swept volume that fresh charge takes in an ideal cycle, at manifold pressure.

    Residual gas in the clearance volume expands from exhaust to manifold pressure: the first law on the filling of the
    cylinder. If the manifold is above the barometer, the exhaust is assumed to be at manifold pressure: such a manifold
    pushes residual gas out while both valves are open, and no ideal cycle says how much.
    """
    gamma, clearance = 1.4, 1.0 / (side.compression_ratio - 1.0)
    back = max(side.barometer / manifold, 1.0)
    found = 1.0 - clearance * (back - 1.0) / gamma
    return found if found > 0.0 else math.nan


def window(side: Side, rpm: float) -> float:
    """Time between the starts of two openings, s."""
    return 60.0 * side.revolutions / rpm / side.openings


def delivered(problem: Problem, row: int, column: int, pulse: float) -> float:
    """Fuel per cylinder and cycle that the target's injectors deliver for a pulse, kg."""
    target, table = problem.target, problem.new
    across = pressure_across(target, table.load[row])
    if across <= 0.0:
        return 0.0
    if math.isnan(pulse):
        return math.nan
    opening = window(target, table.rpm[column])
    if pulse >= opening:
        one = mass_flow(target.static, across, target.density) * opening
    else:
        one = one_opening(target, across, max(0.0, pulse - dead_time(target.dead, table.battery, across)))
    return target.per_cylinder * target.openings * one


@_once
def new_cell(problem: Problem, row: int, column: int) -> tuple[float, float]:
    """The cell that makes the target's ECU command the pulse that its hardware needs, and that pulse."""
    target, table = problem.target, problem.new
    manifold, intended = table.load[row], table.lambda_[row][column]
    across = pressure_across(target, manifold)
    if across <= 0.0:
        return math.nan, math.nan
    fuel = target_air(problem, row, column) / (target.stoichiometric * intended)
    open_time = time_open(target, across, fuel / (target.per_cylinder * target.openings))
    pulse = dead_time(target.dead, table.battery, across) + open_time
    settings = target_settings(problem, table.battery)
    slope, offset = pulse_per_cell(problem, target, table, settings, manifold, intended)
    cell = asked_for(settings, pulse - offset) / slope
    if math.isnan(cell) or (fuel > 0.0 and cell <= 0.0):
        return math.nan, math.nan
    return cell, pulse


def outcome(problem: Problem, row: int, column: int, table_is: Basis, settings_are: Basis) -> float:
    """Actual over intended λ on the target, for either table with either settings."""
    target, new = problem.target, problem.new
    settings = (
        target_settings(problem, new.battery)
        if settings_are == "new"
        else donor_settings(problem, new.battery, on_target=True)
    )
    loaded = problem.old if table_is == "old" else new
    cell = loaded.values[row][column] if table_is == "old" else new_cell(problem, row, column)[0]
    slope, offset = pulse_per_cell(problem, target, new, settings, new.load[row], loaded.lambda_[row][column])
    if math.isnan(cell):
        return math.nan
    fuel = delivered(problem, row, column, commanded(settings, slope * cell) + offset)
    if fuel == 0.0:
        return math.inf
    return target_air(problem, row, column) / (target.stoichiometric * fuel) / new.lambda_[row][column]


def at_voltage(problem: Problem, row: int, column: int, battery: float) -> float:
    """Actual over intended λ at another battery voltage, with the cell made for the table's own voltage."""
    cell = new_cell(problem, row, column)[0]
    loaded = replace(problem.new, values=[[cell] * len(problem.new.rpm)] * len(problem.new.load), battery=battery)
    settings = target_settings(problem, battery)
    command = loaded.lambda_[row][column]
    slope, offset = pulse_per_cell(problem, problem.target, loaded, settings, loaded.load[row], command)
    other = Problem(problem.donor, problem.target, problem.old, loaded, problem.stuck)
    fuel = delivered(other, row, column, commanded(settings, slope * cell) + offset)
    if fuel == 0.0:
        return math.inf
    return target_air(problem, row, column) / (problem.target.stoichiometric * fuel) / command


def extremes(problem: Problem, battery: float) -> tuple[float, float]:
    """Leanest and richest λ ratio of all cells at a battery voltage; NaN if there are no cells."""
    rows, columns = range(len(problem.new.load)), range(len(problem.new.rpm))
    there = [(i, j) for i in rows for j in columns if not math.isnan(new_cell(problem, i, j)[0])]
    found = [at_voltage(problem, row, column, battery) for row, column in there]
    return (max(found), min(found)) if found else (math.nan, math.nan)


def answer(problem: Problem) -> Answer:
    """Everything that the program is compared with, cell by cell."""
    rows, columns = range(len(problem.new.load)), range(len(problem.new.rpm))
    chains = [[new_cell(problem, row, column) for column in columns] for row in rows]
    bases: tuple[Basis, Basis] = ("old", "new")
    return Answer(
        new=[[cell for cell, _ in line] for line in chains],
        pulse=[[pulse for _, pulse in line] for line in chains],
        duty=[[chains[i][j][1] / window(problem.target, problem.new.rpm[j]) for j in columns] for i in rows],
        air=[[target_air(problem, row, column) for column in columns] for row in rows],
        outcomes={
            f"{table}_table_{settings}_settings": [
                [outcome(problem, row, column, table, settings) for column in columns] for row in rows
            ]
            for table in bases
            for settings in bases
        },
        enter=to_enter(problem),
        enter_dead_time=[
            dead_time(problem.target.dead, volts, problem.target.rail_pressure) for volts in problem.target.dead.volts
        ],
    )


def slope_entry(problem: Problem, name: str) -> float:
    """Slope below the bend or mass at the bend as typed: on the same basis as the donor's flow entry."""
    donor = problem.donor
    flow, _ = target_flow_setting(problem)
    low, bend_mass = target_slopes(problem, flow)
    assert low is not None
    # The ECU works with fuel in the rail; the number typed is a flow or a mass of the rating fluid.
    if name == "flow_below_bend":
        return low * donor_flow_entry(donor) / donor_flow_setting(donor)
    is_mass = flow_line(donor).is_mass if donor.told_flow is None else donor.told_flow_is_mass
    fluid = 1.0 if is_mass else flow_line(donor).density
    return bend_mass * donor_flow_entry(donor) * fluid / donor_flow_setting(donor)


def to_enter(problem: Problem) -> dict[str, float]:
    """The numbers to type, on the donor's basis, as if all of them could be typed."""
    donor, target = problem.donor, problem.target
    displacement = donor.displacement if donor.told_displacement is None else donor.told_displacement
    stoichiometric = donor.stoichiometric if donor.told_stoichiometric is None else donor.told_stoichiometric
    return {
        "displacement": displacement * target.displacement / donor.displacement,
        "static_flow": donor_flow_entry(donor) * flow_ratio(problem),
        "stoichiometric": stoichiometric * target.stoichiometric / donor.stoichiometric,
        "openings_per_cycle": target.openings,
    }
