"""Quantities of the conditions and of the engine."""

from __future__ import annotations

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

VOLTAGE = Range(Kind.VOLTAGE, "4 V", "32 V")
MANIFOLD_PRESSURE = Range(Kind.ABSOLUTE_PRESSURE, "5 kPa", "600 kPa")
DISPLACEMENT = Range(Kind.VOLUME, "20 cc", "20 l")
CYLINDERS = Range(Kind.NUMBER, "1", "24")
COUNT = Range(Kind.NUMBER, "1", "48")
_SPEED = Range(Kind.SPEED, "100 rpm", "30000 rpm")
_BORE = Range(Kind.LENGTH, "10 mm", "300 mm")

CONDITIONS = (
    Quantity("conditions.barometer", Range(Kind.BAROMETER, "45 kPa", "110 kPa")),
    Quantity("conditions.altitude", Range(Kind.LENGTH, "-500 m", "6000 m")),
    Quantity("conditions.charge_temperature", Range(Kind.TEMPERATURE, "-60 degC", "150 degC")),
    Quantity("conditions.battery", VOLTAGE),
)

ENGINE = (
    Quantity("engine.displacement", DISPLACEMENT),
    Quantity("engine.cylinders", CYLINDERS),
    Quantity("engine.compression_ratio", Range(Kind.NUMBER, "4", "25")),
    Quantity("engine.inlet_valve_area", Range(Kind.AREA, "0.2 cm2", "200 cm2")),
    Quantity("engine.rev_limit", _SPEED),
    Quantity("engine.peak_pressure", MANIFOLD_PRESSURE),
    Quantity("engine.rated_power", Range(Kind.POWER_AT_SPEED, "0.1 kW", "5000 kW")),
    Quantity("engine.throttle_bore", _BORE),
    Quantity("engine.throttles.count", COUNT),
    Quantity("engine.throttles.bore", _BORE),
    Quantity("engine.throttles.feeds", CYLINDERS),
    Quantity("engine.load_cut", MANIFOLD_PRESSURE),
    Quantity("engine.rev_cut", _SPEED),
    Quantity("engine.idle", Range(Kind.SPEED_AT_PRESSURE, "100 rpm", "30000 rpm")),
    Quantity("engine.cranking", Range(Kind.SPEED, "30 rpm", "1500 rpm")),
    Quantity("engine.coldest_start", Range(Kind.TEMPERATURE, "-60 degC", "60 degC")),
)
