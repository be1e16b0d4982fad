"""The kinds of quantity that a job holds, and how each is written."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Kind(StrEnum):
    """The kinds of value in a job file, in the words of error messages."""

    VOLUME = "a volume"
    ABSOLUTE_PRESSURE = "a pressure"
    RAIL_PRESSURE = "a rail pressure"
    BAROMETER = "a barometric pressure"
    TEMPERATURE = "a temperature"
    VOLTAGE = "a voltage"
    RESISTANCE = "a resistance"
    TIME = "a time"
    FLOW = "a flow"
    DENSITY = "a density"
    SPEED = "an engine speed"
    POWER_AT_SPEED = "a power at a speed"
    TORQUE_AT_SPEED = "a torque at a speed"
    SPEED_AT_PRESSURE = "a speed at a manifold pressure"
    LENGTH = "a length"
    AREA = "an area"
    MASS = "a mass"
    PRESSURE_DIFFERENCE = "a difference of pressures"
    TEMPERATURE_DIFFERENCE = "a difference of temperatures"
    FLOW_AT_PRESSURE = "a flow at a rail pressure"
    PERCENT = "a percentage"
    NUMBER = "a number"


class Form(NamedTuple):
    """How a kind is written.

    Parameters
    ----------
    si
        Its SI units; a flow is a volume or a mass per time.
    example
        For messages.
    second
        What stands after the @ in a pair such as ``900 rpm @ 35 kPa``.
    """

    si: tuple[str, ...]
    example: str
    second: Kind | None = None


PRESSURES = (Kind.ABSOLUTE_PRESSURE, Kind.RAIL_PRESSURE, Kind.BAROMETER)
FORMS = {
    Kind.VOLUME: Form(("m3",), "1998 cc"),
    Kind.ABSOLUTE_PRESSURE: Form(("Pa",), "180 kPa"),
    Kind.RAIL_PRESSURE: Form(("Pa",), "3.0 bar"),
    Kind.BAROMETER: Form(("Pa",), "101.3 kPa"),
    Kind.TEMPERATURE: Form(("K",), "40 degC"),
    Kind.VOLTAGE: Form(("V",), "13.8 V"),
    Kind.RESISTANCE: Form(("ohm",), "2490 ohm"),
    Kind.TIME: Form(("s",), "0.85 ms"),
    Kind.FLOW: Form(("m3/s", "kg/s"), "280 cc/min"),
    Kind.DENSITY: Form(("kg/m3",), "0.72 g/cc"),
    Kind.SPEED: Form(("rpm",), "7000 rpm"),
    Kind.POWER_AT_SPEED: Form(("W",), "104 kW @ 6500 rpm", Kind.SPEED),
    Kind.TORQUE_AT_SPEED: Form(("Nm",), "187 Nm @ 4500 rpm", Kind.SPEED),
    Kind.SPEED_AT_PRESSURE: Form(("rpm",), "900 rpm @ 35 kPa", Kind.ABSOLUTE_PRESSURE),
    Kind.LENGTH: Form(("m",), "350 m"),
    Kind.AREA: Form(("m2",), "12.1 cm2"),
    Kind.MASS: Form(("kg",), "4.2 mg"),
    Kind.PRESSURE_DIFFERENCE: Form(("Pa",), "1.5 kPa"),
    Kind.TEMPERATURE_DIFFERENCE: Form(("K",), "3 K"),
    Kind.FLOW_AT_PRESSURE: Form(("m3/s",), "120 l/h @ 3 bar", Kind.RAIL_PRESSURE),
    Kind.PERCENT: Form((), "78"),
    Kind.NUMBER: Form((), "14.6"),
}
