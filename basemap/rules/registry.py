"""Every rule, the most dangerous first: the order in which findings of the same severity are listed."""

from __future__ import annotations

from basemap.rules import coverage, delivery, donor, installation, loading, mixture, storage, supply
from basemap.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    delivery.NO_PULSE,
    mixture.LEAN_AT_LOAD,
    mixture.INTENDED_MIXTURE,
    supply.FIXED_RAIL,
    delivery.DUTY_RULE,
    donor.DONOR_SATURATED,
    donor.LOAD_BEYOND_DONOR,
    donor.SPEED_BEYOND_DONOR,
    storage.STORED_TABLE,
    donor.IMPLIED_VE,
    installation.IGNITION,
    supply.BATTERY,
    delivery.SHORT_PULSE,
    loading.HALF_LOADED_RULE,
    mixture.RICH_AT_LOAD,
    installation.FUEL_RULE,
    installation.INJECTION_MODE,
    installation.UNKNOWN_INPUTS,
    installation.CYLINDER_COUNT,
    delivery.DONOR_GIVES_NO_FUEL,
    coverage.OUTSIDE_DONOR,
    loading.AS_LOADED,
)


def all_rules() -> tuple[Rule, ...]:
    """Every rule, the most dangerous first."""
    return RULES
