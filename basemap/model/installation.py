"""The fitted hardware: engine, injectors, fuel and conditions, as plain numbers in SI.

Everything here is frozen and knows nothing of files or units. Pressures are absolute unless the name says
``rail_pressure`` (gauge against the atmosphere, pump running, regulator hose off).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from basemap.model.injectors import BatteryFactor, DeadTime, Injectors

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Cycle(StrEnum):
    """Working cycle of the engine."""

    FOUR_STROKE = "four-stroke"
    TWO_STROKE = "two-stroke"


class Induction(StrEnum):
    """How the engine breathes."""

    ATMOSPHERIC = "atmospheric"
    BOOSTED = "boosted"


class Regulator(StrEnum):
    """What the fuel-pressure regulator is referenced to."""

    MANIFOLD = "manifold"
    FIXED = "fixed"


class DonorState(StrEnum):
    """How far the donor's volumetric efficiency can be trusted."""

    TUNED = "tuned"
    GENERIC = "generic"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Conditions:
    """The air and the battery under which a table is used; `charge_range_k`, the coldest and the hottest charge."""

    barometer_pa: float
    charge_temperature_k: float
    battery_v: float
    charge_range_k: tuple[float, float] | None = None


@dataclass(frozen=True)
class Throttles:
    """The throttles of one engine, all alike.

    Parameters
    ----------
    count
        Blades of the whole engine.
    bore_m
        Bore at the blade, m.
    feeds
        Cylinders behind each.
    """

    count: int
    bore_m: float
    feeds: int

    @property
    def area_m2(self) -> float:
        """Bore area of all of them together, m²."""
        return self.count * math.pi / 4.0 * self.bore_m * self.bore_m


@dataclass(frozen=True)
class Engine:
    """One engine; `None` if the job does not state a value."""

    displacement_m3: float
    cylinders: int
    cycle: Cycle
    induction: Induction
    compression_ratio: float | None = None
    rev_limit_rpm: float | None = None
    peak_pressure_pa: float | None = None
    rated_power_w: float | None = None
    rated_speed_rpm: float | None = None
    peak_torque_nm: float | None = None
    peak_torque_speed_rpm: float | None = None
    load_cut_pa: float | None = None
    rev_cut_rpm: float | None = None
    idle_rpm: float = 900.0
    idle_pressure_pa: float = 35_000.0
    cranking_rpm: float = 200.0
    coldest_start_k: float = 273.15
    inlet_valve_area_m2: float | None = None
    firing_order: str | None = None
    trigger: str | None = None
    throttles: Throttles | None = None

    @property
    def cylinder_volume_m3(self) -> float:
        """Swept volume of one cylinder, m³."""
        return self.displacement_m3 / self.cylinders

    def cycle_time_s(self, rpm: FloatArray | float) -> FloatArray:
        """Time of one engine cycle at `rpm` rev/min, s: 120/N four-stroke, 60/N two-stroke."""
        revolutions = 2.0 if self.cycle is Cycle.FOUR_STROKE else 1.0
        return np.asarray(60.0 * revolutions / np.asarray(rpm, dtype=np.float64))


@dataclass(frozen=True)
class Fuel:
    """The fuel in the rail and how it is pressurised.

    Parameters
    ----------
    name
        As the job names it.
    stoichiometric
        Air to fuel by mass at λ = 1.
    density
        In the rail, kg/m³.
    density_15
        At 15 °C, kg/m³, where known.
    rail_pressure_pa
        Gauge, regulator hose off, pump on, Pa.
    regulator
        What the regulator is referenced to.
    temperature_k
        Of the fuel in the rail, K.
    parts
        Component → share by volume at 15 °C (sum 1), where the composition is known.
    octane, antiknock_index
        RON, where known; where the job states (R+M)/2 instead, that number, and RON estimated from it.
    pump_flow_m3_s, pump_pressure_pa
        What the pump gives, and at which gauge pressure, where the job says so.
    """

    name: str
    stoichiometric: float
    density: float
    rail_pressure_pa: float
    regulator: Regulator
    temperature_k: float
    density_15: float | None = None
    parts: tuple[tuple[str, float], ...] = ()
    octane: float | None = None
    antiknock_index: float | None = None
    pump_flow_m3_s: float | None = None
    pump_pressure_pa: float | None = None

    @property
    def ethanol(self) -> float | None:
        """Ethanol by volume, 0…1, or `None` if the composition is not known."""
        return dict(self.parts).get("ethanol", 0.0) if self.parts else None

    @property
    def alcohol(self) -> float | None:
        """Ethanol and methanol by volume, 0…1, or `None` if the composition is not known."""
        return None if self.ethanol is None else self.ethanol + dict(self.parts).get("methanol", 0.0)


@dataclass(frozen=True)
class Installation:
    """An engine with its injectors, fuel and conditions."""

    conditions: Conditions
    engine: Engine
    injectors: Injectors
    fuel: Fuel

    @property
    def peak_pressure_pa(self) -> float:
        """Highest manifold pressure it will see: as declared, else the barometer, Pa."""
        declared = self.engine.peak_pressure_pa
        return self.conditions.barometer_pa if declared is None else declared


@dataclass(frozen=True)
class Told:
    """What an ECU was told, if it differs from the fitted hardware; `None` means the true value.

    `flow` is in the unit kind of the donor's rating (m³/s, or kg/s where `flow_is_mass`), stated at the rail
    pressure on the donor's rating fluid. `dead_time_points_v` are the rising voltages at which the ECU takes its dead
    times, where it has its own; the times are then filled in. `bent_line` says whether it holds both slopes of the flow
    line, `added_time` whether it holds the time to add to short pulses. `fuel_density` is at 15 °C, kg/m³; `None` on
    the donor's side means an ECU that holds no such setting. `minimum_pulse_s` is the shortest pulse that it commands,
    0 where there is none. `battery_factor` is what it multiplies pulses by for the battery, where it adds no dead time;
    `correct_at_s` the time open for which that of the target is to be right.
    """

    displacement_m3: float | None = None
    flow: float | None = None
    flow_is_mass: bool = False
    stoichiometric: float | None = None
    openings_per_cycle: float | None = None
    dead_time: DeadTime | None = None
    dead_time_points_v: FloatArray | None = None
    fuel_density: float | None = None
    bent_line: bool = False
    corrects_rail_pressure: bool = False
    corrects_charge_temperature: bool = True
    formula_factor: float = 1.0
    minimum_pulse_s: float = 0.0
    added_time: bool = False
    battery_factor: BatteryFactor | None = None
    correct_at_s: float | None = None
