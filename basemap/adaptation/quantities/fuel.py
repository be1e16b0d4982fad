"""Quantities of the fuel."""

from __future__ import annotations

from basemap.adaptation.quantities.injectors import FLUID_DENSITY, RAIL_PRESSURE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

STOICHIOMETRIC = Range(Kind.NUMBER, "5", "20")
_LIQUID_TEMPERATURE = Range(Kind.TEMPERATURE, "-20 degC", "80 degC")

FUEL = (
    Quantity("fuel.parts", Range(Kind.PERCENT, "0", "100")),
    Quantity("fuel.stoichiometric", STOICHIOMETRIC),
    Quantity("fuel.density", FLUID_DENSITY),
    Quantity("fuel.density_at", _LIQUID_TEMPERATURE),
    Quantity("fuel.octane", Range(Kind.NUMBER, "40", "150")),
    Quantity("fuel.rail_pressure", RAIL_PRESSURE),
    Quantity("fuel.temperature", _LIQUID_TEMPERATURE),
)
