"""Plain words for settings and outcomes."""

from __future__ import annotations

from basemap.model.result import Setting
from basemap.model.table_result import LambdaCase

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
    "flow_below_bend": "Injector flow below the bend",
    "mass_at_bend": "Fuel of one opening at the bend",
    "stoichiometric": "Stoichiometric ratio",
    "openings_per_cycle": "Openings per cycle",
    "dead_time": "Dead time",
    "intended_lambda": "Intended lambda",
    "cylinders": "Cylinders",
    "injectors": "Injectors, all together",
}


def setting_name(setting: Setting) -> str:
    """What a person calls a setting."""
    return _SETTING_NAMES.get(setting.name, setting.words)
