"""Installations, settings and outcomes in a few plain words."""

from __future__ import annotations

from basemap.model.installation import Cycle, Installation
from basemap.model.result import LambdaCase

OUTCOMES: dict[LambdaCase, str] = {
    "old_table_old_settings": "Old table, old settings",
    "old_table_new_settings": "Old table, new settings",
    "new_table_old_settings": "New table, old settings",
    "new_table_new_settings": "New table, new settings",
}
OUTCOME_MEANS: dict[LambdaCase, str] = {
    "old_table_old_settings": "loaded as it is",
    "old_table_new_settings": "settings entered, table forgotten",
    "new_table_old_settings": "table loaded, settings forgotten",
    "new_table_new_settings": "both entered: as intended",
}
_SETTING_NAMES = {
    "displacement": "Displacement",
    "static_flow": "Injector flow",
    "fuel_density": "Fuel density",
    "low_flow": "Injector flow below the break",
    "break_mass": "Fuel of one opening at the break",
    "stoichiometric": "Stoichiometric ratio",
    "openings_per_cycle": "Openings per cycle",
    "dead_time": "Dead time",
    "intended_lambda": "Intended lambda",
    "cylinders": "Cylinders",
    "injectors": "Injectors, all together",
}


def setting_name(name: str) -> str:
    """A setting as a person calls it."""
    return _SETTING_NAMES.get(name, name.replace("_", " "))


def described(installation: Installation) -> str:
    """An installation in one line."""
    engine, fuel = installation.engine, installation.fuel
    stroke = "" if engine.cycle is Cycle.FOUR_STROKE else "two-stroke, "
    regulator = "follows the manifold" if fuel.regulator == "manifold" else "fixed"
    name = f"fuel {fuel.name}, " if fuel.name else ""
    return (
        f"{engine.displacement_m3 * 1e6:.5g} cc, {engine.cylinders} cylinders, {stroke}{engine.induction.value} · "
        f"{name}{fuel.rail_pressure_pa / 1e5:.4g} bar rail, regulator {regulator}"
    )
