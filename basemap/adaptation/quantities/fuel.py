"""Quantities of the fuel."""

from __future__ import annotations

from basemap.adaptation.quantities.injectors import FLUID_DENSITY, RAIL_PRESSURE, RAIL_PRESSURES_ARE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

STOICHIOMETRIC = Range(Kind.NUMBER, "5", "20")
_LIQUID_TEMPERATURE = Range(Kind.TEMPERATURE, "-20 degC", "80 degC")

FUEL = (
    Quantity("fuel.parts", Range(Kind.PERCENT, "0", "100"), why="a share by volume, 0 to 100 %"),
    Quantity(
        "fuel.stoichiometric",
        STOICHIOMETRIC,
        words="… stoichiometric ratio, if as typed",
        why="liquid fuels have 5 to 20",
        held="fuel.stoichiometric",
        cell="typed_stoichiometric",
    ),
    Quantity(
        "fuel.density",
        FLUID_DENSITY,
        why="liquid fuels have 0.6 to 0.9 g/cc",
        unit="kg/m3",
        held="fuel.density",
        cell="typed_density",
    ),
    Quantity("fuel.density_at", _LIQUID_TEMPERATURE),
    Quantity("fuel.octane", Range(Kind.NUMBER, "40", "150"), held="fuel.octane"),
    Quantity(
        "fuel.temperature",
        _LIQUID_TEMPERATURE,
        words="Fuel temperature in the rail",
        why="the density of liquid fuel is known from -20 to 80 °C",
        unit="degC",
        held="fuel.temperature_k",
        cell="fuel_temperature",
    ),
    Quantity(
        "fuel.rail_pressure",
        RAIL_PRESSURE,
        words="Rail pressure, gauge",
        why=f"{RAIL_PRESSURES_ARE}; give it with the regulator's hose off",
        unit="bar",
        held="fuel.rail_pressure_pa",
        cell="rail_pressure",
    ),
)
