"""Quantities of the conditions and of the engine."""

from __future__ import annotations

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

VOLTAGE = Range(Kind.VOLTAGE, "4 V", "32 V")
VOLTAGES_ARE = "batteries have 4 to 32 V"
MANIFOLD_PRESSURE = Range(Kind.ABSOLUTE_PRESSURE, "5 kPa", "600 kPa")
DISPLACEMENT = Range(Kind.VOLUME, "20 cc", "20 l")
CYLINDERS = Range(Kind.NUMBER, "1", "24")
COUNT = Range(Kind.NUMBER, "1", "48")
_SPEED = Range(Kind.SPEED, "100 rpm", "30000 rpm")
_BORE = Range(Kind.LENGTH, "10 mm", "300 mm")

CONDITIONS = (
    Quantity(
        "conditions.barometer",
        Range(Kind.BAROMETER, "45 kPa", "110 kPa"),
        words="Barometer",
        why="the air pressure at the place itself lies between 45 and 110 kPa on land",
        unit="kPa",
        held="conditions.barometer_pa",
        cell="barometer",
    ),
    Quantity(
        "conditions.altitude",
        Range(Kind.LENGTH, "-500 m", "6000 m"),
        words="Altitude (ISO 2533), for the barometer",
        why="altitudes on land lie between -500 and 6000 m",
        unit="m",
        cell="altitude",
    ),
    Quantity(
        "conditions.charge_temperature",
        Range(Kind.TEMPERATURE, "-60 degC", "150 degC"),
        words="Charge temperature",
        why="air in a manifold lies between -60 and 150 °C",
        unit="degC",
        held="conditions.charge_temperature_k",
        cell="charge_temperature",
    ),
    Quantity(
        "conditions.battery",
        VOLTAGE,
        words="Battery, for the table",
        why=VOLTAGES_ARE,
        unit="V",
        held="conditions.battery_v",
        cell="battery",
    ),
)

ENGINE = (
    Quantity(
        "engine.displacement",
        DISPLACEMENT,
        words="Displacement, whole engine",
        why="an engine has 20 cc to 20 l; give the whole engine's, not a cylinder's",
        unit="cc",
        held="engine.displacement_m3",
        cell="displacement",
    ),
    Quantity(
        "engine.cylinders",
        CYLINDERS,
        words="Cylinders",
        why="a whole number from 1 to 24",
        held="engine.cylinders",
        cell="cylinders",
    ),
    Quantity("engine.compression_ratio", Range(Kind.NUMBER, "4", "25"), held="engine.compression_ratio"),
    Quantity("engine.inlet_valve_area", Range(Kind.AREA, "0.2 cm2", "200 cm2"), held="engine.inlet_valve_area_m2"),
    Quantity("engine.rev_limit", _SPEED, held="engine.rev_limit_rpm"),
    Quantity("engine.peak_pressure", MANIFOLD_PRESSURE, held="engine.peak_pressure_pa"),
    Quantity("engine.rated_power", Range(Kind.POWER_AT_SPEED, "0.1 kW", "5000 kW"), held="engine.rated_power_w"),
    Quantity("engine.throttle_bore", _BORE, held="engine.throttles.bore_m"),
    Quantity("engine.throttles.count", COUNT, held="engine.throttles.count"),
    Quantity("engine.throttles.bore", _BORE, held="engine.throttles.bore_m"),
    Quantity("engine.throttles.feeds", CYLINDERS, held="engine.throttles.feeds"),
    Quantity("engine.load_cut", MANIFOLD_PRESSURE, held="engine.load_cut_pa"),
    Quantity("engine.rev_cut", _SPEED, held="engine.rev_cut_rpm"),
    Quantity("engine.idle", Range(Kind.SPEED_AT_PRESSURE, "100 rpm", "30000 rpm"), held="engine.idle_rpm"),
    Quantity("engine.cranking", Range(Kind.SPEED, "30 rpm", "1500 rpm"), held="engine.cranking_rpm"),
    Quantity("engine.coldest_start", Range(Kind.TEMPERATURE, "-60 degC", "60 degC"), held="engine.coldest_start_k"),
)
