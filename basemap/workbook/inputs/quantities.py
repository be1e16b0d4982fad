"""How the quantities of the registry become cells: their heading, their units and their limits."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range
from basemap.adaptation.quantities.registry import QUANTITIES


class Group(StrEnum):
    """The heading of a quantity on the sheet of inputs."""

    CONDITIONS = "Conditions"
    ENGINE = "Engine"
    INJECTORS = "Injectors"
    FUEL = "Fuel"
    SETTINGS = "ECU"
    TABLE = "Table"


class ShownUnit(NamedTuple):
    """A unit with its size and, for temperatures, its zero point in SI."""

    name: str
    size: float = 1.0
    zero: float = 0.0


KPA, CC, VOLT, GRAM_PER_CC, KG_M3 = (
    ShownUnit("kPa", 1e3), ShownUnit("cm³", 1e-6), ShownUnit("V"), ShownUnit("g/cc", 1e3), ShownUnit("kg/m³")
)  # fmt: skip
CELSIUS, KELVIN, NONE = ShownUnit("°C", 1.0, 273.15), ShownUnit("K"), ShownUnit("")
MILLIGRAM = ShownUnit("mg", 1e-6)
CC_MIN, CC_S = ShownUnit("cc/min", 1e-6 / 60.0), ShownUnit("cm³/s", 1e-6)
GRAM_MIN, GRAM_S = ShownUnit("g/min", 1e-3 / 60.0), ShownUnit("g/s", 1e-3)
TEMPERATURES = {
    "degC": ShownUnit("degC", 1.0, 273.15),
    "°C": CELSIUS,
    "degF": ShownUnit("degF", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    "°F": ShownUnit("°F", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    "K": KELVIN,
}


SHOWN = {
    "": NONE, "kPa": KPA, "bar": ShownUnit("bar", 1e5), "degC": CELSIUS, "cc": ShownUnit("cc", 1e-6), "cc/min": CC_MIN,
    "mg": MILLIGRAM, "g/cc": GRAM_PER_CC, "kg/m3": KG_M3, "V": VOLT, "m": ShownUnit("m"), "ms": ShownUnit("ms", 1e-3),
}  # fmt: skip
"""Unit of the registry → unit of the cell."""

_USED = {
    Kind.BAROMETER: KPA, Kind.ABSOLUTE_PRESSURE: KPA, Kind.RAIL_PRESSURE: KPA, Kind.TEMPERATURE: KELVIN, Kind.VOLTAGE: VOLT,
    Kind.VOLUME: CC, Kind.FLOW: CC_S, Kind.MASS: MILLIGRAM, Kind.DENSITY: KG_M3, Kind.NUMBER: NONE,
}  # fmt: skip
_SECTIONS = {
    "conditions": Group.CONDITIONS, "engine": Group.ENGINE, "injectors": Group.INJECTORS, "fuel": Group.FUEL,
    "settings": Group.SETTINGS, "tables": Group.TABLE,
}  # fmt: skip

HARDWARE = tuple(
    QUANTITIES[key]
    for key in (
        "conditions.barometer",
        "conditions.charge_temperature",
        "engine.displacement",
        "engine.cylinders",
        "injectors.static_flow",
        "injectors.slope",
        "injectors.bent_line.below",
        "injectors.bent_line.above",
        "injectors.bent_line.at_mass",
        "injectors.rated_pressure",
        "injectors.rated_fluid",
        "injectors.per_cylinder",
        "injectors.openings_per_cycle",
        "fuel.temperature",
        "fuel.rail_pressure",
    )
)
"""The quantities of each side's hardware; the cells for fuel, regulator and ECU are made elsewhere."""

WHOLE = ("engine.cylinders", "injectors.count")
"""Quantities that are whole numbers."""


def group_of(quantity: Quantity) -> Group:
    """The heading of a quantity."""
    return _SECTIONS[quantity.section]


def used_unit(quantity: Quantity) -> ShownUnit:
    """The unit of the formulas; °C for the fuel's temperature, since densities are polynomials in °C."""
    return CELSIUS if quantity.key == "fuel.temperature" else _USED[quantity.range.kind]


def shown(si: float, unit: ShownUnit) -> float:
    """A value in SI, converted to a unit."""
    return (si - unit.zero) / unit.size


def limits(within: Range, unit: ShownUnit) -> tuple[float, float]:
    """Both ends of a range in a unit."""
    low, high = within.limits
    return shown(low, unit), shown(high, unit)
