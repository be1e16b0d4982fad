"""Quantities of the injectors."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import COUNT, VOLTAGE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

FLOW = Range(Kind.FLOW, "5 cc/min", "20000 cc/min")
FLOW_BY_MASS = Range(Kind.FLOW, "3 g/min", "15000 g/min")
FLUID_DENSITY = Range(Kind.DENSITY, "0.6 g/cc", "0.9 g/cc")
RAIL_PRESSURE = Range(Kind.RAIL_PRESSURE, "0.3 bar", "15 bar")
OPENINGS = Range(Kind.NUMBER, "0.25", "16")
PULSE = Range(Kind.TIME, "0.05 ms", "10 ms")
DEAD_TIME = Range(Kind.TIME, "0 ms", "10 ms")
_ADDED_TIME = Range(Kind.TIME, "-5 ms", "20 ms")

INJECTORS = (
    Quantity("injectors.static_flow", FLOW, FLOW_BY_MASS),
    Quantity("injectors.rated_pressure", RAIL_PRESSURE),
    Quantity("injectors.rated_fluid", FLUID_DENSITY),
    Quantity("injectors.per_cylinder", Range(Kind.NUMBER, "0.05", "8")),
    Quantity("injectors.count", COUNT),
    Quantity("injectors.openings_per_cycle", OPENINGS),
    Quantity("injectors.shortest_pulse", PULSE),
    Quantity("injectors.highest_pressure", RAIL_PRESSURE),
    Quantity("injectors.slope", FLOW, FLOW_BY_MASS),
    Quantity("injectors.dead_time.battery", VOLTAGE),
    Quantity("injectors.dead_time.time", DEAD_TIME),
    Quantity("injectors.dead_time.pressure", RAIL_PRESSURE),
    Quantity("injectors.two_slope.low_flow", FLOW, FLOW_BY_MASS),
    Quantity("injectors.two_slope.high_flow", FLOW, FLOW_BY_MASS),
    Quantity("injectors.two_slope.break_mass", Range(Kind.MASS, "0.01 mg", "200 mg")),
    Quantity("injectors.added_time.open", _ADDED_TIME),
    Quantity("injectors.added_time.time", _ADDED_TIME),
)
