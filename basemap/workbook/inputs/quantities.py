"""The quantities of the registry as cells of a workbook: under which heading, in which units, within which limits."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range
from basemap.adaptation.quantities.registry import QUANTITIES


class Group(StrEnum):
    """Under which heading a quantity stands."""

    CONDITIONS = "Conditions"
    ENGINE = "Engine"
    INJECTORS = "Injectors"
    FUEL = "Fuel"
    SETTINGS = "ECU"
    TABLE = "Table"


class ShownUnit(NamedTuple):
    """A unit and its size in SI; `zero` is what its zero point is in SI (temperatures)."""

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
"""How a unit of the registry is shown."""

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
"""What either side is made of. Fuel, regulator and what an ECU was told are choices or come with conditions of their own."""

WHOLE = ("engine.cylinders", "injectors.count")
"""Of which only whole numbers will do."""


def group_of(quantity: Quantity) -> Group:
    """The heading under which it stands."""
    return _SECTIONS[quantity.section]


def used_unit(quantity: Quantity) -> ShownUnit:
    """The unit that the formulas work in: the densities of liquids are polynomials in °C."""
    return CELSIUS if quantity.key == "fuel.temperature" else _USED[quantity.range.kind]


def shown(si: float, unit: ShownUnit) -> float:
    """An SI value in a unit."""
    return (si - unit.zero) / unit.size


def limits(within: Range, unit: ShownUnit) -> tuple[float, float]:
    """Both ends of a range in a unit."""
    low, high = within.limits
    return shown(low, unit), shown(high, unit)
