"""Injectors: flow ratings, dead time, and what short pulses need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.physics import added_time, injector
from basemap.physics.bent_line import BentLine

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class DeadTime:
    """Dead time of an injector over battery voltage and, where known, over the pressure across it.

    The time offset of the linear flow line (SAE J1832).

    Parameters
    ----------
    battery_v
        Rising voltages, shape (n,).
    time_s
        Shape (m, n): one row per pressure, m = 1 where the data has no pressure.
    pressure_pa
        Rising pressures across the injector, shape (m,), or `None`.
    shift_s, shift_v
        How far the part is off its data, s, and the voltage at the injector off the battery's, V; both are 0 except
        while an error band is worked out.
    """

    battery_v: FloatArray
    time_s: FloatArray
    pressure_pa: FloatArray | None = None
    shift_s: float = 0.0
    shift_v: float = 0.0

    def at(self, battery_v: FloatArray | float, pressure_across_pa: FloatArray | float) -> FloatArray:
        """Dead time at voltages and pressures that broadcast, never below zero, s."""
        read = injector.dead_time(
            battery_v + self.shift_v, pressure_across_pa, self.battery_v, self.time_s, self.pressure_pa
        )
        return np.maximum(read + self.shift_s, 0.0)


@dataclass(frozen=True)
class AddedTime:
    """Extra open time that an injector needs, over the time from its flow line.

    Parameters
    ----------
    open_s
        Rising times open by the flow line, dead time apart, shape (n,).
    time_s
        Time to add at each; held beyond the first and the last.
    """

    open_s: FloatArray
    time_s: FloatArray

    def longer(self, open_s: FloatArray) -> FloatArray:
        """The open time that it needs where the flow line gives `open_s`, s."""
        return added_time.lengthened(open_s, self.open_s, self.time_s)

    def by_line(self, open_s: FloatArray) -> FloatArray:
        """The time by the flow line from an open time: the exact inverse, s."""
        return added_time.before_lengthening(open_s, self.open_s, self.time_s)


@dataclass(frozen=True)
class BatteryFactor:
    """The factor that an ECU multiplies every pulse by for the battery, instead of adding a dead time.

    Parameters
    ----------
    battery_v
        Rising voltages, shape (n,).
    factor
        Shape (n,).
    """

    battery_v: FloatArray
    factor: FloatArray

    def at(self, battery_v: FloatArray | float) -> FloatArray:
        """The factor at voltages: linear between the points, the first and the last held beyond them."""
        return np.asarray(np.interp(battery_v, self.battery_v, self.factor))


@dataclass(frozen=True)
class FlowRating:
    """A flow as a maker states it: of a fluid, at a pressure.

    Parameters
    ----------
    value
        m³/s, or kg/s where `is_mass`.
    is_mass
        Whether the rating is mass per time.
    pressure_pa
        Pressure across the injector at which it was rated, Pa.
    fluid_density
        Density of the rating fluid, kg/m³.
    """

    value: float
    is_mass: bool
    pressure_pa: float
    fluid_density: float

    @property
    def mass_flow(self) -> float:
        """Mass flow of the rating fluid at the rated pressure, kg/s."""
        return self.value if self.is_mass else self.value * self.fluid_density


@dataclass(frozen=True)
class RatedBentLine:
    """A flow line with one slope below a bend and another above it, as its maker states it.

    Parameters
    ----------
    below, above
        Slope below the bend and above it, as flows.
    at_mass_kg
        Fuel of one opening at the bend, at the rated pressure and of the rating fluid, kg.
    """

    below: FlowRating
    above: FlowRating
    at_mass_kg: float

    @property
    def rated(self) -> BentLine:
        """The slopes as rated, kg/s and kg."""
        return BentLine(self.below.mass_flow, self.above.mass_flow, self.at_mass_kg)

    @property
    def relative(self) -> BentLine:
        """The same over the slope above the bend: the bend is then a time, s, the same at every pressure and fluid."""
        above = self.above.mass_flow
        return BentLine(self.below.mass_flow / above, 1.0, self.at_mass_kg / above)


@dataclass(frozen=True)
class Injectors:
    """The injectors of one installation.

    Parameters
    ----------
    static
        Static flow: fully open.
    dead_time
        Time offset of the flow line.
    per_cylinder
        Injectors per cylinder; a fraction for throttle bodies.
    openings_per_cycle
        Openings of one injector per engine cycle, as wired.
    added_time
        What short pulses need besides what the flow line asks for.
    slope
        Slope of the linear range as a flow, where it is known apart from the static flow.
    bent_line
        Both slopes in its place, where the flow line has a bend.
    shortest_pulse_s
        End of the linear range, s.
    highest_pressure_pa
        Rail pressure up to which their maker lets them be used, Pa gauge.
    """

    static: FlowRating
    dead_time: DeadTime
    per_cylinder: float = 1.0
    openings_per_cycle: float = 1.0
    slope: FlowRating | None = None
    shortest_pulse_s: float | None = None
    highest_pressure_pa: float | None = None
    bent_line: RatedBentLine | None = None
    added_time: AddedTime | None = None

    @property
    def line(self) -> FlowRating:
        """The rating that the flow line follows: the slope, or that above the bend, if stated, else the static flow."""
        return self.bent_line.above if self.bent_line else self.slope or self.static

    @property
    def line_key(self) -> str:
        """Job-file key of that rating, within the injectors' section."""
        if self.bent_line is not None:
            return "bent_line.above"
        return "static_flow" if self.slope is None else "slope"
