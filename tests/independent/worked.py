"""The two installations of the worked chains, A and B, as plain numbers."""

from __future__ import annotations

from dataclasses import replace

from tests.independent.plain_numbers import Cells, DeadPoints, Problem, Rating, Side

N_HEPTANE = 683.81407  # kg/m³ at 20 °C, CoolProp 8.0.0 (Span and Wagner 2003)
CC = 1e-6
CC_PER_MIN = 1e-6 / 60.0
CONSTANT_DEAD_TIME = DeadPoints([8.0, 16.0], [[0.85e-3, 0.85e-3]])


def installation_a() -> Side:
    """1998 cc, four cylinders, 280 cc/min of n-heptane at 3 bar, petrol of 745 kg/m³ with L 14.6, 3 bar rail."""
    return Side(
        displacement=1998 * CC,
        cylinders=4,
        revolutions=2,
        barometer=101_325.0,
        charge_temperature=313.15,
        static=Rating(280 * CC_PER_MIN, False, 300_000.0, N_HEPTANE),
        dead=CONSTANT_DEAD_TIME,
        stoichiometric=14.6,
        density=745.0,
        rail_pressure=300_000.0,
    )


def installation_b() -> Side:
    """2393 cc, four cylinders, 650 cc/min of n-heptane at 3 bar, E85, 3.5 bar rail."""
    return replace(
        installation_a(),
        displacement=2393 * CC,
        static=Rating(650 * CC_PER_MIN, False, 300_000.0, N_HEPTANE),
        stoichiometric=9.795793680,
        density=786.384732,
        rail_pressure=350_000.0,
    )


def ve_cells(ve: float, *, lambda_: float = 1.0, rpm: tuple[float, float] = (3000.0, 6000.0)) -> Cells:
    """The same volumetric efficiency everywhere, at 30 and 100 kPa."""
    return Cells(
        is_ve=True,
        values=[[ve, ve], [ve, ve]],
        rpm=list(rpm),
        load=[30_000.0, 100_000.0],
        lambda_=[[lambda_, lambda_], [lambda_, lambda_]],
        battery=13.8,
    )


def pulse_cells(milliseconds: float) -> Cells:
    """The same pulse everywhere; pressure, mixture and dead time are inside the cells."""
    return replace(
        ve_cells(milliseconds * 1e-3),
        is_ve=False,
        pressure_inside=True,
        lambda_inside=True,
        dead_time_inside=True,
    )


def problem(donor: Side, target: Side, cells: Cells, *, stuck: tuple[str, ...] = ()) -> Problem:
    """A job whose target's table has the same meaning as the donor's."""
    return Problem(donor, target, cells, replace(cells), set(stuck))
