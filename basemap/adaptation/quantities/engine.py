"""Quantities of the conditions and of the engine."""

from __future__ import annotations

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Default, Quantity, Range, UsualSpread

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
        why="on land the actual air pressure is between 45 and 110 kPa",
        unit="kPa",
        path="conditions.barometer_pa",
        cell="barometer",
        defaults=(
            Default(
                "barometer",
                "101.325 kPa",
                None,
                "left out",
                "sea level, ISO 2533",
                "the highest load of an atmospheric engine; the flow on a fixed rail",
            ),
        ),
    ),
    Quantity(
        "conditions.altitude",
        Range(Kind.LENGTH, "-500 m", "6000 m"),
        words="Altitude (ISO 2533), for the barometer",
        why="altitudes on land are between -500 and 6000 m",
        unit="m",
        cell="altitude",
    ),
    Quantity(
        "conditions.charge_temperature",
        Range(Kind.TEMPERATURE, "-60 degC", "150 degC"),
        words="Charge temperature",
        why="air in a manifold is between -60 and 150 °C",
        unit="degC",
        path="conditions.charge_temperature_k",
        cell="charge_temperature",
        defaults=(
            Default(
                "charge temperature",
                "40 degC",
                None,
                "left out",
                "a warm engine on a mild day, common practice",
                "the air in the cylinder, 0.3 % per degree of difference between the two sides",
            ),
        ),
    ),
    Quantity(
        "conditions.charge_temperature_range",
        Range(Kind.TEMPERATURE, "-60 degC", "150 degC"),
        words="Coldest and hottest charge",
    ),
    Quantity(
        "conditions.battery",
        VOLTAGE,
        words="Battery, for the table",
        why=VOLTAGES_ARE,
        unit="V",
        path="conditions.battery_v",
        cell="battery",
        defaults=(
            Default("battery", "13.8 V", None, "left out", "a charging alternator, common practice", "the dead time"),
        ),
        spreads=(
            UsualSpread(
                "battery",
                0.2,
                False,
                "V",
                "voltage at the injector compared with the ECU's reading (common practice)",
                0.05,
            ),
        ),
    ),
)

ENGINE = (
    Quantity(
        "engine.displacement",
        DISPLACEMENT,
        words="Displacement, whole engine",
        why="an engine has 20 cc to 20 l; give the whole engine's, not a cylinder's",
        unit="cc",
        path="engine.displacement_m3",
        cell="displacement",
        spreads=(
            UsualSpread(
                "displacement",
                0.005,
                True,
                "%",
                "nominal compared with actual bore and stroke (common practice)",
                0.001,
            ),
        ),
        question="Displacement of all cylinders together",
    ),
    Quantity(
        "engine.cylinders",
        CYLINDERS,
        words="Cylinders",
        why="a whole number from 1 to 24",
        path="engine.cylinders",
        cell="cylinders",
        question="Cylinders",
    ),
    Quantity(
        "engine.compression_ratio",
        Range(Kind.NUMBER, "4", "25"),
        words="Compression ratio",
        path="engine.compression_ratio",
    ),
    Quantity(
        "engine.inlet_valve_area",
        Range(Kind.AREA, "0.2 cm2", "200 cm2"),
        words="Inlet valve area of a cylinder",
        path="engine.inlet_valve_area_m2",
    ),
    Quantity(
        "engine.rev_limit",
        _SPEED,
        words="Rev limit",
        path="engine.rev_limit_rpm",
        question="Rev limit",
    ),
    Quantity(
        "engine.peak_pressure",
        MANIFOLD_PRESSURE,
        words="Highest manifold pressure",
        path="engine.peak_pressure_pa",
        question="Highest manifold pressure",
    ),
    Quantity(
        "engine.rated_power",
        Range(Kind.POWER_AT_SPEED, "0.1 kW", "5000 kW"),
        words="Rated power",
        path="engine.rated_power_w",
        question="Rated power",
    ),
    Quantity(
        "engine.peak_torque",
        Range(Kind.TORQUE_AT_SPEED, "0.5 Nm", "10000 Nm"),
        words="Peak torque",
        path="engine.peak_torque_nm",
        question="Peak torque",
    ),
    Quantity(
        "engine.throttle_bore",
        _BORE,
        words="Throttle bore",
        path="engine.throttles.bore_m",
        spreads=(
            UsualSpread(
                "throttle bore",
                0.01,
                True,
                "%",
                "bore, blade and stop of one throttle to the next (common practice)",
                0.002,
            ),
        ),
    ),
    Quantity("engine.throttles.count", COUNT, words="Throttles", path="engine.throttles.count"),
    Quantity("engine.throttles.bore", _BORE, words="Throttle bore", path="engine.throttles.bore_m"),
    Quantity("engine.throttles.feeds", CYLINDERS, words="Cylinders per throttle", path="engine.throttles.feeds"),
    Quantity("engine.load_cut", MANIFOLD_PRESSURE, words="Load cut", path="engine.load_cut_pa"),
    Quantity("engine.rev_cut", _SPEED, words="Rev cut", path="engine.rev_cut_rpm"),
    Quantity(
        "engine.idle",
        Range(Kind.SPEED_AT_PRESSURE, "100 rpm", "30000 rpm"),
        words="Idle",
        path="engine.idle_rpm",
        defaults=(
            Default(
                "idle", "900 rpm @ 35 kPa", None, "left out", "a usual idle, common practice", "where idle is judged"
            ),
        ),
    ),
    Quantity(
        "engine.cranking",
        Range(Kind.SPEED, "30 rpm", "1500 rpm"),
        words="Cranking speed",
        path="engine.cranking_rpm",
        defaults=(
            Default(
                "cranking", "200 rpm", None, "left out", "a usual starter, common practice", "where starting is judged"
            ),
        ),
    ),
    Quantity(
        "engine.coldest_start",
        Range(Kind.TEMPERATURE, "-60 degC", "60 degC"),
        words="Coldest start",
        path="engine.coldest_start_k",
        defaults=(
            Default(
                "coldest start",
                "0 degC",
                None,
                "left out",
                "a mild winter",
                "whether there is a warning about cold fuelling",
            ),
        ),
    ),
)
