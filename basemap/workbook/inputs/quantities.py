"""The quantities that a workbook lets a tuner change: their cells' names, units, limits and the reason for the limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from basemap.model.installation import Installation


class Group(StrEnum):
    """Under which heading a quantity stands."""

    CONDITIONS = "Conditions"
    ENGINE = "Engine"
    INJECTORS = "Injectors"
    FUEL = "Fuel"
    SETTINGS = "ECU"
    TABLE = "Table"


@dataclass(frozen=True)
class ShownUnit:
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


@dataclass(frozen=True)
class SideQuantity:
    """One quantity of either side.

    Parameters
    ----------
    stem
        Of the cell's name, behind ``donor_`` or ``target_``.
    key
        Job-file key behind ``donor.`` or ``target.``.
    unit, used
        Unit where the job states none, and the unit that the formulas work in.
    low, high, why
        Limits in SI, and the reason that a refused entry is given.
    value
        SI, from an installation; `None` where the job does not say.
    whole
        Whether only whole numbers will do.
    """

    stem: str
    key: str
    label: str
    group: Group
    unit: ShownUnit
    used: ShownUnit
    low: float
    high: float
    why: str
    value: Callable[[Installation], float | None]
    whole: bool = False


QUANTITIES = (
    SideQuantity(
        "barometer", "conditions.barometer", "Barometer", Group.CONDITIONS, KPA, KPA, 45e3, 110e3,
        "the air pressure at the place itself lies between 45 and 110 kPa on land", lambda side: side.conditions.barometer_pa,
    ),
    SideQuantity(
        "charge_temperature", "conditions.charge_temperature", "Charge temperature", Group.CONDITIONS, CELSIUS, KELVIN,
        213.15, 423.15, "air in a manifold lies between -60 and 150 °C", lambda side: side.conditions.charge_temperature_k,
    ),
    SideQuantity(
        "displacement", "engine.displacement", "Displacement, whole engine", Group.ENGINE, ShownUnit("cc", 1e-6), CC, 20e-6, 20e-3,
        "an engine has 20 cc to 20 l; give the whole engine's, not a cylinder's", lambda side: side.engine.displacement_m3,
    ),
    SideQuantity(
        "cylinders", "engine.cylinders", "Cylinders", Group.ENGINE, NONE, NONE, 1, 24,
        "a whole number from 1 to 24", lambda side: float(side.engine.cylinders), whole=True,
    ),
    SideQuantity(
        "static_flow", "injectors.static_flow", "Static flow", Group.INJECTORS, CC_MIN, CC_S, 5e-6 / 60, 20000e-6 / 60,
        "port and throttle-body injectors pass 5 to 20000 cc/min", lambda side: side.injectors.static.value,
    ),
    SideQuantity(
        "slope", "injectors.slope", "Slope of the flow line", Group.INJECTORS, CC_MIN, CC_S, 5e-6 / 60, 20000e-6 / 60,
        "port and throttle-body injectors pass 5 to 20000 cc/min",
        lambda side: None if side.injectors.slope is None else side.injectors.slope.value,
    ),
    SideQuantity(
        "low_flow", "injectors.two_slope.low_flow", "Slope below the break", Group.INJECTORS, CC_MIN, CC_S, 5e-6 / 60,
        20000e-6 / 60, "port and throttle-body injectors pass 5 to 20000 cc/min",
        lambda side: None if side.injectors.two_slope is None else side.injectors.two_slope.low.value,
    ),
    SideQuantity(
        "high_flow", "injectors.two_slope.high_flow", "Slope above the break", Group.INJECTORS, CC_MIN, CC_S, 5e-6 / 60,
        20000e-6 / 60, "port and throttle-body injectors pass 5 to 20000 cc/min",
        lambda side: None if side.injectors.two_slope is None else side.injectors.two_slope.high.value,
    ),
    SideQuantity(
        "break_mass", "injectors.two_slope.break_mass", "Fuel of one opening at the break", Group.INJECTORS, MILLIGRAM,
        MILLIGRAM, 1e-8, 2e-4, "an injector's flow line breaks between 0.01 and 200 mg",
        lambda side: None if side.injectors.two_slope is None else side.injectors.two_slope.break_mass_kg,
    ),
    SideQuantity(
        "rated_pressure", "injectors.rated_pressure", "Rated at", Group.INJECTORS, ShownUnit("bar", 1e5), KPA, 0.3e5, 15e5,
        "injectors of this kind are rated at 0.3 to 15 bar", lambda side: side.injectors.static.pressure_pa,
    ),
    SideQuantity(
        "rated_density", "injectors.rated_fluid", "Density of the rating fluid", Group.INJECTORS, GRAM_PER_CC, KG_M3,
        600.0, 900.0, "test fluids and fuels have 0.6 to 0.9 g/cc", lambda side: side.injectors.static.fluid_density,
    ),
    SideQuantity(
        "per_cylinder", "injectors.per_cylinder", "Injectors per cylinder", Group.INJECTORS, NONE, NONE, 0.05, 8,
        "from 0.05 (one throttle-body injector for many cylinders) to 8", lambda side: side.injectors.per_cylinder,
    ),
    SideQuantity(
        "openings", "injectors.openings_per_cycle", "Openings per engine cycle", Group.INJECTORS, NONE, NONE, 0.25, 16,
        "as wired: 1 sequential, 2 twice a cycle; from 0.25 to 16", lambda side: side.injectors.openings_per_cycle,
    ),
    SideQuantity(
        "fuel_temperature", "fuel.temperature", "Fuel temperature in the rail", Group.FUEL, CELSIUS, CELSIUS, 253.15, 353.15,
        "the density of liquid fuel is known from -20 to 80 °C", lambda side: side.fuel.temperature_k,
    ),
    SideQuantity(
        "rail_pressure", "fuel.rail_pressure", "Rail pressure, gauge", Group.FUEL, ShownUnit("bar", 1e5), KPA, 0.3e5, 15e5,
        "port and throttle-body injection run at 0.3 to 15 bar; give it with the regulator's hose off",
        lambda side: side.fuel.rail_pressure_pa,
    ),
)  # fmt: skip
"""What either side is made of. Fuel, regulator and what an ECU was told are choices or come with conditions of their own."""
