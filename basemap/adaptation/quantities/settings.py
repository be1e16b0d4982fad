"""Quantities that a controller was told. Where they can lie is where the thing itself can."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import DISPLACEMENT, VOLTAGE
from basemap.adaptation.quantities.fuel import STOICHIOMETRIC
from basemap.adaptation.quantities.injectors import (
    DEAD_TIME,
    FLOW,
    FLOW_BY_MASS,
    FLUID_DENSITY,
    OPENINGS,
    PULSE,
    RAIL_PRESSURE,
)
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

SETTINGS = (
    Quantity("settings.displacement", DISPLACEMENT),
    Quantity("settings.static_flow", FLOW, FLOW_BY_MASS),
    Quantity("settings.stoichiometric", STOICHIOMETRIC),
    Quantity("settings.openings_per_cycle", OPENINGS),
    Quantity("settings.dead_time.battery", VOLTAGE),
    Quantity("settings.dead_time.time", DEAD_TIME),
    Quantity("settings.dead_time.pressure", RAIL_PRESSURE),
    Quantity("settings.dead_time.percent", Range(Kind.PERCENT, "10", "1000")),
    Quantity("settings.dead_time.at_pulse", PULSE),
    Quantity("settings.formula_factor", Range(Kind.NUMBER, "0.2", "5")),
    Quantity("settings.fuel_density", FLUID_DENSITY),
    Quantity("settings.minimum_pulse", PULSE),
)
