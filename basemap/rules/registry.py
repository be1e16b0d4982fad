"""Every rule, the most dangerous first: the order in which findings of the same severity are listed."""

from __future__ import annotations

from basemap.rules import (
    certainty,
    companions,
    cylinders,
    delivery,
    donor,
    health,
    installation,
    loading,
    mixture,
    plausible,
    sensors,
    similarity,
    starting,
    storage,
    supply,
    throttle,
)
from basemap.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    delivery.NO_PULSE,
    mixture.LEAN_AT_LOAD,
    mixture.INTENDED_MIXTURE,
    donor.BOOSTED_DONOR,
    throttle.THROTTLE_LAYOUT,
    supply.FIXED_RAIL,
    supply.ESTIMATED_PRESSURE,
    sensors.MAP_SCALE,
    sensors.WIDEBAND_SCALE,
    sensors.MAP_RANGE,
    delivery.DUTY_RULE,
    donor.DONOR_SATURATED,
    donor.LOAD_BEYOND_DONOR,
    donor.SPEED_BEYOND_DONOR,
    storage.STORED_TABLE,
    storage.BETWEEN_BREAKPOINTS,
    certainty.UNCERTAINTY_AT_LOAD,
    plausible.IMPLIED_VE,
    plausible.IMPLIED_POWER,
    companions.FURTHER_TABLES,
    installation.IGNITION,
    cylinders.CYLINDER_TRIMS,
    similarity.CYLINDER_SIZE,
    throttle.SMALL_THROTTLE,
    similarity.BREATHING_ESTIMATE,
    starting.WILL_NOT_RUN,
    plausible.IMPLIED_VE_PART_LOAD,
    health.TABLE_HEALTH,
    supply.BATTERY,
    delivery.SHORT_PULSE,
    supply.RAIL_PRESSURE,
    loading.HALF_LOADED_RULE,
    mixture.RICH_AT_LOAD,
    plausible.TARGET_POWER,
    installation.FUEL_RULE,
    starting.NO_CRANKING_TABLE,
    starting.ETHANOL_COLD_START,
    donor.OUTSIDE_DONOR_DATA,
    throttle.NEARLY_SHUT_RULE,
    installation.INJECTION_MODE,
    installation.UNKNOWN_INPUTS,
    cylinders.CYLINDER_COUNT,
    cylinders.FIRING,
    delivery.DONOR_GIVES_NO_FUEL,
    sensors.TEMPERATURE_SENSOR,
    similarity.FUEL_VAPOUR,
    loading.ANOTHER_QUANTITY,
    loading.AS_LOADED,
)


def all_rules() -> tuple[Rule, ...]:
    """Every rule, the most dangerous first."""
    return RULES
