"""Quantities of the tables and of the sensors."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import MANIFOLD_PRESSURE, VOLTAGE, VOLTAGES_ARE
from basemap.adaptation.quantities.fuel import STOICHIOMETRIC
from basemap.adaptation.quantities.injectors import OPENINGS, RAIL_PRESSURE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Default, Quantity, Range, UsualSpread
from basemap.model.sensor import SensorKind

TABLES = (
    Quantity(
        "tables.fuel.lambda",
        Range(Kind.NUMBER, "0.5", "1.5"),
        words="Intended lambda",
        why="a mixture that burns is between 0.5 and 1.5",
        cell="intended_lambda",
        defaults=(
            Default(
                "intended lambda",
                "0.95",
                "0.10",
                "unknown",
                "between cruise and full load",
                "the air that the cells stand for, 11 %",
            ),
        ),
        question="Intended lambda",
    ),
    Quantity("tables.fuel.lambda.basis", STOICHIOMETRIC),
    Quantity(
        "tables.fuel.reference_pressure",
        MANIFOLD_PRESSURE,
        words="Reference pressure of a cell",
        why="a manifold pressure, absolute, 5 to 600 kPa",
        unit="kPa",
        path="reference_pressure_pa",
        cell="reference_pressure",
        defaults=(
            Default(
                "reference pressure",
                "100 kPa",
                None,
                "left out",
                "the pressure at which a cell is the pulse",
                "every pulse, in proportion",
            ),
        ),
    ),
    Quantity("tables.fuel.basis", STOICHIOMETRIC),
    Quantity("tables.fuel.battery", VOLTAGE, why=VOLTAGES_ARE, unit="V", path="battery_v", cell="battery"),
    Quantity("tables.NAME.reference_pressure", MANIFOLD_PRESSURE, words="Reference pressure of a cell"),
    Quantity("tables.NAME.basis", STOICHIOMETRIC),
    Quantity(
        "tables.NAME.battery",
        VOLTAGE,
        words="Battery",
        defaults=(
            Default(
                "battery of a cranking table",
                "9.5 V",
                None,
                "left out",
                "the name contains crank or start, and a starter pulls the battery down to 8 to 11 V (common practice)",
                "the dead time in its cells",
            ),
            Default(
                "battery of a further table",
                "as the conditions",
                None,
                "left out",
                "the job does not say at which voltage this table of pulses is used",
                "the dead time in its cells",
            ),
        ),
        spreads=(
            UsualSpread(
                "battery while the starter turns",
                1.5,
                False,
                "V",
                "dead time inside the cell: a starter pulls the battery down to 8 to 11 V (practice)",
                0.2,
            ),
        ),
    ),
    Quantity("tables.NAME.openings_per_cycle", OPENINGS),
    Quantity("tables.NAME.rail_pressure", RAIL_PRESSURE),
)

SENSORS = (
    Quantity(
        "sensors.NAME.volts",
        Range(Kind.VOLTAGE, "0 V", "16 V"),
        spreads=(
            UsualSpread(
                "pressure reading",
                1.5e3,
                False,
                "kPa",
                "k = 2: 1.5 % of the span of 115 kPa sensors (data sheets)",
                500.0,
            ),
            UsualSpread(
                "charge-temperature reading",
                3.0,
                False,
                "K",
                "if the ECU corrects for it: the sensor, and heat where it sits (common practice)",
                1.0,
            ),
            UsualSpread(
                "throttle-position reading",
                0.01,
                False,
                "%",
                "k = 2, of its travel, where it alone tells the air: how shut and open were set (common practice)",
                0.0025,
            ),
        ),
    ),
    Quantity("sensors.NAME.basis", STOICHIOMETRIC),
    Quantity("sensors.NAME.resistance", Range(Kind.RESISTANCE, "0.1 ohm", "10000 kohm")),
    Quantity("sensors.NAME.pull_up", Range(Kind.RESISTANCE, "1 ohm", "10000 kohm")),
    Quantity("sensors.NAME.supply", Range(Kind.VOLTAGE, "1 V", "16 V")),
)

SENSOR_ERRORS = {
    "map": Range(Kind.PRESSURE_DIFFERENCE, "0 kPa", "20 kPa"),
    "iat": Range(Kind.TEMPERATURE_DIFFERENCE, "0 K", "30 K"),
    "tps": Range(Kind.PERCENT, "0", "10"),
}
"""Plausible ``sensors.NAME.error`` of the sensors by which fuel is metered."""

SENSOR_VALUES = {
    SensorKind.LAMBDA: Range(Kind.NUMBER, "0.3", "20"),
    SensorKind.AIR_FUEL_RATIO: Range(Kind.NUMBER, "3", "300"),
    SensorKind.PRESSURE: Range(Kind.ABSOLUTE_PRESSURE, "-100 kPa", "1000 kPa"),
    SensorKind.TEMPERATURE: Range(Kind.TEMPERATURE, "-80 degC", "1300 degC"),
    SensorKind.POSITION: Range(Kind.PERCENT, "-50", "150"),
}
"""Plausible ``sensors.NAME.value`` by the sensor's kind; a scale may say absurd values at 0 V or 5 V."""
