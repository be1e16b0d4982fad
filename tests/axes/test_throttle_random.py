"""Random jobs over throttle opening against a calculation of their own, cell by cell in plain floats.

Nothing of the package is used but to read and adapt the job. Both manifolds are found by halving an interval, the flow
past the blade from the enthalpy that the air gives up and the density that is left to it, as in a nozzle.
"""

from __future__ import annotations

import math
import random
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.jobfile.load import build_job

R_AIR, GAMMA, HEPTANE = 287.05287, 1.4, 683.81407
CP = GAMMA * R_AIR / (GAMMA - 1.0)
JOBS, SEED = 60, 20261126


@dataclass(frozen=True)
class Side:
    """One installation: SI."""

    displacement: float
    cylinders: int
    bore: float
    throttles: int
    barometer: float
    charge_k: float
    flow_cc: float
    rail: float
    fixed: bool
    density: float
    stoichiometric: float
    openings: int
    dead: tuple[float, float]

    @property
    def area(self) -> float:
        return self.throttles * math.pi * self.bore**2 / 4.0

    def across(self, manifold: float) -> float:
        return self.rail + (self.barometer - manifold if self.fixed else 0.0)

    def flow(self, manifold: float) -> float:
        rated = self.flow_cc * 1e-6 / 60.0 * HEPTANE
        return rated * math.sqrt(self.across(manifold) / 3e5) * math.sqrt(self.density / HEPTANE)

    def dead_time(self, manifold: float) -> float:
        """Rises by the second number for every bar above 3 bar."""
        return self.dead[0] + self.dead[1] * (self.across(manifold) - 3e5) / 1e5

    def text(self, word: str) -> str:
        at_3, per_bar = (1e3 * one for one in self.dead)
        return f"""
[{word}.conditions]
barometer = "{self.barometer / 1e3!r} kPa"
charge_temperature = "{self.charge_k - 273.15!r} degC"
battery = "13.8 V"
[{word}.engine]
displacement = "{self.displacement * 1e6!r} cc"
cylinders = {self.cylinders}
induction = "atmospheric"
throttles = {{ count = {self.throttles}, bore = "{self.bore * 1e3!r} mm", feeds = {self.cylinders} }}
[{word}.injectors]
static_flow = "{self.flow_cc!r} cc/min"
rated_pressure = "3 bar"
openings_per_cycle = {self.openings}
[{word}.injectors.dead_time]
battery = ["12 V", "14 V"]
pressure = ["3 bar", "4 bar"]
time = [["{at_3!r} ms", "{at_3!r} ms"], ["{at_3 + per_bar!r} ms", "{at_3 + per_bar!r} ms"]]
[{word}.fuel]
stoichiometric = {self.stoichiometric!r}
density = "{self.density!r} kg/m3"
rail_pressure = "{self.rail / 1e5!r} bar"
regulator = "{"fixed" if self.fixed else "manifold"}"
"""


def drawn(give: random.Random) -> Side:
    cylinders = give.choice([2, 3, 4, 6])
    throttles = give.choice([1, 2])
    displacement = cylinders * give.uniform(300e-6, 600e-6)
    # A bore that leaves the wide-open manifold near the barometer.
    bore = math.sqrt(displacement / 1.998e-3 / throttles) * give.uniform(0.052, 0.068)
    return Side(
        displacement, cylinders, bore, throttles, give.uniform(80e3, 102e3), give.uniform(280.0, 330.0),
        give.uniform(200.0, 500.0), give.uniform(2.5e5, 4e5), give.random() < 0.5, give.uniform(700.0, 780.0),
        give.uniform(9.5, 14.8), give.choice([1, 2]), (give.uniform(0.5e-3, 1.2e-3), give.uniform(0.0, 0.2e-3)),
    )  # fmt: skip


def halved(off: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function crosses zero, to the last digit."""
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if off(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def past_the_blade(ratio: float) -> float:
    """Mass flow over area, barometric pressure and 1/√(RT): velocity from the enthalpy, density as it expands."""
    throat: float = max(ratio ** ((GAMMA - 1.0) / GAMMA), 2.0 / (GAMMA + 1.0))  # temperature over that at rest
    velocity = math.sqrt(max(2.0 * CP * (1.0 - throat), 0.0))
    return float(throat ** (1.0 / (GAMMA - 1.0))) * velocity / math.sqrt(R_AIR)


@dataclass(frozen=True)
class Problem:
    """Two sides, the cells of the donor in s, and what the ECU applies."""

    donor: Side
    target: Side
    cells: list[list[float]]
    command: float
    wanted: float
    applies: tuple[str, ...]

    def beside_the_cell(self, side: Side, command: float) -> tuple[float, float]:
        """What the ECU multiplies a cell by, and what it adds: told the truth, its dead time at the rail."""
        times = (1.0 / command if "lambda" in self.applies else 1.0) * (
            side.barometer / 100e3 if "barometer" in self.applies else 1.0
        )
        at_rail = side.dead[0] + side.dead[1] * (side.rail - 3e5) / 1e5
        return times, at_rail if "dead time" in self.applies else 0.0

    def donor_air(self, row: int, column: int, manifold: float) -> float:
        times, plus = self.beside_the_cell(self.donor, self.command)
        open_s = self.cells[row][column] * times + plus - self.donor.dead_time(manifold)
        fuel = self.donor.openings * self.donor.flow(manifold) * open_s
        return self.command * self.donor.stoichiometric * fuel

    def new_cell(self, row: int, column: int) -> tuple[float, float]:
        """The new cell and the target's manifold over its barometer."""
        donor, target = self.donor, self.target
        wide_open = self.donor_air(-1, column, donor.barometer)
        throttled = halved(
            lambda ratio: self.donor_air(row, column, ratio * donor.barometer) / wide_open - ratio, 0.0, 3.0
        )
        # Volume that the donor's cylinders draw in a cycle over what passes the blade gives the blade's own area, but
        # for what both engines have in common.
        drawn = throttled * donor.displacement / math.sqrt(donor.charge_k)
        open_area = drawn / past_the_blade(throttled) / donor.area

        def surplus(ratio: float) -> float:
            inflow = open_area * target.area * past_the_blade(ratio)
            return inflow - ratio * target.displacement / math.sqrt(target.charge_k)

        ratio = halved(surplus, 1e-9, 1.0)
        density = ratio * target.barometer / target.charge_k / (donor.barometer / donor.charge_k)
        volumes = target.displacement / target.cylinders / (donor.displacement / donor.cylinders)
        air = wide_open * density * volumes
        manifold = ratio * target.barometer
        fuel = air / (target.stoichiometric * self.wanted) / target.openings
        pulse = fuel / target.flow(manifold) + target.dead_time(manifold)
        times, plus = self.beside_the_cell(target, self.wanted)
        return (pulse - plus) / times, ratio


def problem(give: random.Random) -> Problem:
    donor, target = drawn(give), drawn(give)
    columns, rows = give.randint(4, 8), give.randint(3, 5)  # of so many cells, half as many jobs do
    applies = tuple(word for word in ("lambda", "dead time", "barometer") if give.random() < 0.5)
    command, wanted = give.uniform(0.85, 1.05), give.uniform(0.85, 1.05)
    top = [give.uniform(8e-3, 14e-3) for _ in range(columns)]
    shares = sorted(give.uniform(0.25, 0.97) for _ in range(rows - 1))
    cells = [[share * most for most in top] for share in shares] + [top]
    return Problem(donor, target, cells, command, wanted, applies)


def text_of(given: Problem, openings: list[float], rpm: list[float]) -> str:
    words = ", ".join(f'"{word}"' for word in given.applies)
    return f"""{given.donor.text("donor")}
[donor.tables.fuel]
file = "t.csv"
unit = "ms"
quantity = "pulse width"
ecu_applies = [{words}]
load = "throttle"
lambda = {given.command!r}
{given.target.text("target")}
[target.tables.fuel]
lambda = {given.wanted!r}
"""


# Seen over 60 jobs, 1066 cells, and 120 jobs, 1121 cells: 3e-15.
@pytest.mark.check_value
def test_random_jobs(tmp_path: Path) -> None:
    give, compared = random.Random(SEED), 0
    for number in range(JOBS):
        given = problem(give)
        rows, columns = len(given.cells), len(given.cells[0])
        openings = [5.0 + 95.0 * row / (rows - 1) for row in range(rows)]
        rpm = [1000.0 * (column + 1) for column in range(columns)]
        lines = [["%", *map(repr, rpm)]]
        lines += [
            [repr(opening), *(repr(cell * 1e3) for cell in row)]
            for opening, row in zip(openings, given.cells, strict=True)
        ]
        (tmp_path / "t.csv").write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")
        job = build_job(tomllib.loads(text_of(given, openings, rpm)), tmp_path, "job.toml")
        found = compute(job)
        ratio = found.job.target.table.pressure_pa / given.target.barometer
        for row in range(rows - 1):
            for column in range(columns):
                cell, manifold = given.new_cell(row, column)
                assert ratio[row, column] == pytest.approx(manifold, rel=1e-9), f"job {number}"
                assert found.table.new[row, column] * 1e-3 == pytest.approx(cell, rel=1e-9), f"job {number}"
                compared += 1
        np.testing.assert_allclose(ratio[-1], 1.0, rtol=1e-12)
        # Without that its own dead time is told at the pressure it has, so closure holds to the last digits.
        closure = found.table.lambda_ratio["new_table_new_settings"]
        below = found.table.target.duty < 1.0
        np.testing.assert_allclose(closure[below], 1.0, rtol=1e-9)
    assert compared > 600
