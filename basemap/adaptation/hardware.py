"""Hardware: a pulse becomes a mixture, and the reverse."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from basemap.model.injectors import AddedTime, FlowRating
from basemap.model.installation import FloatArray, Installation, Regulator
from basemap.physics import bent_line, injector
from basemap.physics.bent_line import BentLine


def rated_flow(rating: FlowRating, pressure_across_pa: FloatArray | float, fuel_density: float) -> FloatArray:
    """Mass flow of a rating at another pressure and with another fluid, kg/s (the orifice equation)."""
    return np.asarray(
        injector.mass_flow(
            rating.mass_flow, rating.pressure_pa, rating.fluid_density, np.asarray(pressure_across_pa), fuel_density
        )
    )


def rail_flow(installation: Installation) -> float:
    """Mass flow of one injector's flow line at the full rail pressure, kg/s: what an ECU is told."""
    fuel = installation.fuel
    return float(rated_flow(installation.injectors.line, fuel.rail_pressure_pa, fuel.density))


@dataclass(frozen=True)
class Delivery:
    """What one installation's injectors do in every cell.

    Arrays broadcast to (loads, speeds).

    Parameters
    ----------
    pressure_across_pa
        Δp, Pa.
    line_flow_kg_s, static_flow_kg_s
        ṁ of the flow line, and fully open, one injector, kg/s.
    dead_time_s
        τ at the battery voltage and Δp, s.
    window_s
        Tc/k: the time between the starts of two openings, s.
    openings
        n·k: openings of all injectors of one cylinder in one cycle.
    slopes
        Both slopes, at Δp and with the fuel in the rail, if the flow line has a bend; ṁ is then the one above it.
    added
        How much longer short pulses must be than the flow line says.
    """

    pressure_across_pa: FloatArray
    line_flow_kg_s: FloatArray
    static_flow_kg_s: FloatArray
    dead_time_s: FloatArray
    window_s: FloatArray
    openings: float
    slopes: BentLine | None = None
    added: AddedTime | None = None

    def rows(self, rows: slice, loads: int) -> Delivery:
        """The same for some rows out of `loads`."""

        def part(values: FloatArray) -> FloatArray:
            return values[..., rows, :] if values.ndim > 1 and values.shape[-2] == loads else values

        slopes = self.slopes
        if slopes is not None:
            slopes = replace(
                slopes,
                **{name: part(np.asarray(getattr(slopes, name))) for name in ("below", "above", "at_mass")},
            )
        return replace(
            self,
            pressure_across_pa=part(self.pressure_across_pa),
            line_flow_kg_s=part(self.line_flow_kg_s),
            static_flow_kg_s=part(self.static_flow_kg_s),
            dead_time_s=part(self.dead_time_s),
            window_s=part(self.window_s),
            slopes=slopes,
        )

    def fuel_kg(self, pulse_s: FloatArray) -> FloatArray:
        """Fuel that a pulse delivers to one cylinder in one cycle, kg.

        Nothing up to the dead time, the flow line up to the window, the static flow throughout from there on. NaN
        where the flow is not known.
        """
        # An ECU that corrects for zero pressure across the injector commands an infinite pulse, which delivers nothing.
        with np.errstate(invalid="ignore"):
            per_opening = injector.delivered(
                pulse_s, self.dead_time_s, self.line_flow_kg_s, self.static_flow_kg_s, self.window_s
            )
            if self.slopes is not None:
                by_line = bent_line.mass_for(pulse_s, self.dead_time_s, self.slopes)
                per_opening = np.where(pulse_s >= self.window_s, per_opening, by_line)
            if self.added is not None:
                by_line = self.line_flow_kg_s * np.maximum(self.added.by_line(pulse_s - self.dead_time_s), 0.0)
                per_opening = np.where(pulse_s >= self.window_s, per_opening, by_line)
        fuel = self.openings * per_opening
        # An unknown flow stays unknown; only a flow of zero delivers nothing.
        return np.asarray(fuel if self.flows_everywhere else np.where(self.line_flow_kg_s <= 0, 0.0, fuel))

    @cached_property
    def flows_everywhere(self) -> bool:
        """Whether fuel flows in every cell, because there is pressure across the injector."""
        return bool((self.line_flow_kg_s > 0).all())

    def line_fuel_kg(self, pulse_s: FloatArray) -> FloatArray:
        """Fuel by the flow line at every duty, kg; NaN where the pulse is shorter than the dead time.

        A tuned cell is decoded with this: the static flow of a saturated donor does not depend on its cell, so only the
        line gives the cell a meaning, and the cell is marked.
        """
        effective = pulse_s - self.dead_time_s
        if self.added is not None:
            effective = self.added.by_line(effective)
        with np.errstate(invalid="ignore"):  # the pulse is infinite where there is no pressure across the injector
            fuel = self.openings * self.line_flow_kg_s * effective
            if self.slopes is not None:
                fuel = self.openings * bent_line.mass_for(pulse_s, self.dead_time_s, self.slopes)
        return np.asarray(np.where(effective < 0, np.nan, fuel))

    def pulse_s(self, fuel_kg: FloatArray) -> FloatArray:
        """Pulse for an amount of fuel by the flow line, s; NaN where the injector delivers nothing."""
        per_opening = fuel_kg / self.openings
        if self.slopes is not None:
            return bent_line.pulse_for(per_opening, self.dead_time_s, self.slopes)
        if self.added is not None:
            by_line = np.asarray(injector.pulse_for(per_opening, 0.0, self.line_flow_kg_s))
            return np.asarray(self.dead_time_s + self.added.longer(by_line))
        return np.asarray(injector.pulse_for(per_opening, self.dead_time_s, self.line_flow_kg_s))


def delivery(
    installation: Installation, pressure_pa: FloatArray, rpm: FloatArray, battery_v: FloatArray | float
) -> Delivery:
    """The injectors of an installation at manifold pressures and speeds.

    Parameters
    ----------
    pressure_pa
        Manifold absolute pressure, shape (loads, 1), Pa.
    rpm
        Engine speed, shape (speeds,), rev/min.
    battery_v
        Battery voltage, V; a leading axis may be added, (voltages, 1, 1).
    """
    injectors, fuel = installation.injectors, installation.fuel
    across = np.asarray(
        injector.pressure_across(
            fuel.rail_pressure_pa,
            pressure_pa,
            installation.conditions.barometer_pa,
            fixed=fuel.regulator is Regulator.FIXED,
        )
    )
    return Delivery(
        pressure_across_pa=across,
        line_flow_kg_s=rated_flow(injectors.line, across, fuel.density),
        static_flow_kg_s=rated_flow(injectors.static, across, fuel.density),
        dead_time_s=injectors.dead_time.at(battery_v, across),
        window_s=installation.engine.cycle_time_s(rpm) / injectors.openings_per_cycle,
        openings=injectors.per_cylinder * injectors.openings_per_cycle,
        slopes=_slopes(installation, across),
        added=injectors.added_time,
    )


def _slopes(installation: Installation, across_pa: FloatArray) -> BentLine | None:
    stated = installation.injectors.bent_line
    if stated is None:
        return None
    above = stated.above
    return bent_line.at_state(
        stated.rated, above.pressure_pa, above.fluid_density, across_pa, installation.fuel.density
    )
