"""Input and output of the independent calculation as plain numbers, in SI units."""

from __future__ import annotations

from dataclasses import dataclass, field

Grid = list[list[float]]


@dataclass
class Rating:
    """A flow of a fluid (m³/s, or kg/s if `is_mass`) at a pressure."""

    value: float
    is_mass: bool
    pressure: float
    density: float


@dataclass
class DeadPoints:
    """Dead times: `seconds` has one row per pressure, or one row if there are no pressures."""

    volts: list[float]
    seconds: Grid
    pressures: list[float] | None = None


@dataclass
class Side:
    """One installation and what its ECU was told; `None` means that it was told the truth.

    If there is a slope `low` below the bend, `slope` is the one above it, and `at_mass` is the mass of one opening at
    the bend, as rated.
    """

    displacement: float
    cylinders: int
    revolutions: int
    barometer: float
    charge_temperature: float
    static: Rating
    dead: DeadPoints
    stoichiometric: float
    density: float
    rail_pressure: float
    fixed_regulator: bool = False
    slope: Rating | None = None
    low: Rating | None = None
    at_mass: float = 0.0
    per_cylinder: float = 1.0
    openings: float = 1.0
    told_displacement: float | None = None
    told_flow: float | None = None
    told_flow_is_mass: bool = False
    told_stoichiometric: float | None = None
    told_openings: float | None = None
    told_dead: DeadPoints | None = None
    told_bent_line: bool = False
    corrects_rail_pressure: bool = False
    corrects_charge_temperature: bool = True
    kappa: float = 1.0
    compression_ratio: float = 10.0
    valve_area: float = 1.2e-3


@dataclass
class Cells:
    """A table of volumetric efficiency (`is_ve`) or pulse width, what its cells include, and its intended λ."""

    is_ve: bool
    values: Grid
    rpm: list[float]
    load: list[float]
    lambda_: Grid
    battery: float
    pressure_inside: bool = False
    lambda_inside: bool = False
    dead_time_inside: bool = False
    reference_pressure: float = 100_000.0


@dataclass(eq=False)
class Problem:
    """A job: donor, target, the donor's table, the target's (its values are not used), and what cannot be told."""

    donor: Side
    target: Side
    old: Cells
    new: Cells
    stuck: set[str] = field(default_factory=set)
    breathing: str = "same"


@dataclass
class InForce:
    """The settings that an ECU works with."""

    cylinder_volume: float
    flow: float
    flow_pressure: float
    stoichiometric: float
    per_cylinder: float
    openings: float
    dead_time: float
    below: float | None = None
    at_mass: float = 0.0


@dataclass
class Answer:
    """Results of the calculation; the grids have one row per load."""

    new: Grid
    pulse: Grid
    duty: Grid
    air: Grid
    outcomes: dict[str, Grid]
    enter: dict[str, float]
    enter_dead_time: list[float]
