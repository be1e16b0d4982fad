"""λ actual / λ intended with uncertain numbers in it, by the independent calculation and the `uncertainties` package.

The package carries derivatives through plain arithmetic by itself, so neither the program's model nor its
differences enter. What the boxes hold (cells, settings) is plain floats; what is truly fitted is uncertain.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import pytest
from uncertainties import ufloat, umath

from basemap.belief.uncertain import Uncertain
from tests.independent import calculation
from tests.independent.plain_numbers import Cells, Problem, Side


@dataclass
class Truth:
    """A problem with uncertain hardware, and what else is uncertain about it."""

    problem: Problem
    shift: dict[str, Any]
    battery: dict[str, Any]
    efficiency: Any
    field: Any
    pressure: Any


_SCALED = {
    "injector flow": ("value",),
    "rated pressure": ("pressure",),
    "density of the rating fluid": ("density",),
}
_OF_SIDE = {
    "rail pressure": "rail_pressure",
    "stoichiometric ratio of the petrol": "stoichiometric",
    "density of the petrol": "density",
    "displacement": "displacement",
}


@contextmanager
def arithmetic_of_uncertain_numbers() -> Iterator[None]:
    """Square roots that carry derivatives; questions about a number are about its central value."""
    with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
        # The package will one day refuse to compare uncertain numbers; here a comparison is of central values.
        warnings.simplefilter("ignore", FutureWarning)
        nominal = SimpleNamespace(
            sqrt=umath.sqrt,  # type: ignore[attr-defined]
            nan=math.nan,
            inf=math.inf,
            isnan=lambda x: math.isnan(x.nominal_value if hasattr(x, "nominal_value") else x),
        )
        patch.setattr(calculation, "math", nominal)
        yield


def truth(problem: Problem, inputs: tuple[Uncertain, ...]) -> Truth:
    """The problem with every input of the program's list uncertain, by its name and standard uncertainty."""
    sides = {"donor": problem.donor, "target": problem.target}
    shift: dict[str, Any] = {"donor": 0.0, "target": 0.0}
    battery: dict[str, Any] = {"donor": problem.old.battery, "target": problem.new.battery}
    efficiency: Any = 1.0
    field: Any = 0.0
    pressure: Any = 0.0
    for entry in inputs:
        what, _, whose = entry.name.rpartition(" of the ")
        names = [whose]
        if entry.name.endswith(" of both"):
            what, names = entry.name.removesuffix(" of both"), ["donor", "target"]
        off: Any = ufloat(0.0, entry.standard)  # type: ignore[no-untyped-call]
        if what == "pressure reading":
            pressure = pressure + off
            continue
        if what == "charge-temperature reading":
            # Read in excess is too much fuel on the donor, which its cells then call air, and too little on the target.
            efficiency = efficiency * (1.0 + off / sides[whose].charge_temperature)
            continue
        if entry.name.startswith("breathing"):
            field = off
            continue
        if entry.name.startswith(("volumetric efficiency", "air drawn")):
            efficiency = efficiency * (1.0 + off)
            continue
        if entry.name.startswith("discharge coefficient"):
            sides["target"] = _moved(sides["target"], "injector flow", off)
            continue
        if entry.name.startswith("formula factor"):
            sides = {name: replace(side, kappa=side.kappa * (1.0 + off)) for name, side in sides.items()}
            continue
        for name in names:
            if what == "dead time at its rail pressure":
                side = sides[name]
                shift[name] = shift[name] + off * (side.rail_pressure - (side.slope or side.static).pressure) / 1e5
            elif what == "dead time":
                shift[name] = shift[name] + off
            elif what == "battery voltage":
                battery[name] = battery[name] + off
            else:
                sides[name] = _moved(sides[name], what, off)
    return Truth(
        replace(problem, donor=sides["donor"], target=sides["target"]), shift, battery, efficiency, field, pressure
    )


def _moved(side: Side, what: str, off: Any) -> Side:
    if what in _OF_SIDE:
        field = _OF_SIDE[what]
        return replace(side, **{field: getattr(side, field) * (1.0 + off)})
    (field,) = _SCALED[what]
    static = replace(side.static, **{field: getattr(side.static, field) * (1.0 + off)})
    slope = side.slope and replace(side.slope, **{field: getattr(side.slope, field) * (1.0 + off)})
    low = side.low and replace(side.low, **{field: getattr(side.low, field) * (1.0 + off)})
    # The opening at a break stays: its mass goes with the flow of the rating fluid.
    flow = field == "value" or (field == "density" and slope is not None and not slope.is_mass)
    return replace(side, static=static, slope=slope, low=low, at_mass=side.at_mass * (1.0 + off if flow else 1.0))


def lambda_ratio(problem: Problem, true: Truth, cell: float, row: int, column: int) -> Any:
    """λ actual / λ intended of the new table's cell with the settings to enter, as an uncertain number."""
    breathing = 1.0 + true.field * another_engine(problem.new.load[row] / problem.target.barometer)
    air = _donor_air(problem, true, row, column) * _transfer(true) * true.efficiency * breathing
    air = air * (1.0 + true.pressure / problem.new.load[row])
    target, table = true.problem.target, true.problem.new
    held = calculation.target_settings(problem, problem.new.battery)
    told = _told_at(problem, table.battery)
    slope, _ = calculation.pulse_per_cell(problem, target, table, held, table.load[row], table.lambda_[row][column])
    pulse = calculation.commanded(held, slope * cell) + (0.0 if table.dead_time_inside else told)
    across = calculation.pressure_across(target, table.load[row])
    opening = calculation.window(target, table.rpm[column])
    if pulse >= opening:
        one = calculation.mass_flow(target.static, across, target.density) * opening
    else:
        dead = _never_below_zero(
            calculation.dead_time(target.dead, true.battery["target"], across) + true.shift["target"]
        )
        one = calculation.one_opening(target, across, _never_below_zero(pulse - dead))
    fuel = target.per_cylinder * target.openings * one
    return air / (target.stoichiometric * fuel) / problem.new.lambda_[row][column]


def another_engine(share: float) -> float:
    """Standard uncertainty of another engine's breathing at a share of its barometer: 8, 7.5 and 13 % per ln."""
    return math.hypot(0.08, 0.075, 0.13 * math.log(min(share, 1.0)))


def _donor_air(problem: Problem, true: Truth, row: int, column: int) -> Any:
    donor, table = true.problem.donor, true.problem.old
    held = calculation.donor_settings(problem, problem.old.battery, on_target=False)
    command = table.lambda_[row][column]
    slope, _ = calculation.pulse_per_cell(problem, donor, table, held, table.load[row], command)
    across = calculation.pressure_across(donor, table.load[row])
    told = calculation.dead_time(calculation.told_dead_points(donor), table.battery, problem.donor.rail_pressure)
    asked = calculation.commanded(held, slope * table.values[row][column])
    pulse = asked + (0.0 if table.dead_time_inside else told)
    dead = _never_below_zero(calculation.dead_time(donor.dead, true.battery["donor"], across) + true.shift["donor"])
    fuel = donor.per_cylinder * donor.openings * calculation.one_opening(donor, across, pulse - dead)
    return command * donor.stoichiometric * fuel


def _transfer(true: Truth) -> Any:
    donor, target = true.problem.donor, true.problem.target
    volumes = (target.displacement / target.cylinders) / (donor.displacement / donor.cylinders)
    return volumes * donor.charge_temperature / target.charge_temperature


def _told_at(problem: Problem, battery: float) -> float:
    """The dead time that the target's ECU holds, read at the battery voltage that it measures."""
    points, pressure = problem.target.dead, problem.target.rail_pressure
    if problem.target.told_dead is not None:
        points = problem.target.told_dead
    elif "dead_time" in problem.stuck:
        points, pressure = calculation.told_dead_points(problem.donor), problem.donor.rail_pressure
    return calculation.dead_time(points, battery, pressure)


def _never_below_zero(value: Any) -> Any:
    return value if value > 0.0 else 0.0 * value


def cells_of(table: Cells) -> Iterator[tuple[int, int]]:
    """Every (row, column) of a table."""
    for row in range(len(table.load)):
        for column in range(len(table.rpm)):
            yield row, column
