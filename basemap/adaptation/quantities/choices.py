"""Defaults for inputs that are not quantities: a choice, a name, a whole section."""

from __future__ import annotations

from basemap.adaptation.quantities.quantity import Default

CHOICES = (
    Default(
        "state",
        "unknown",
        None,
        "left out",
        "the job does not say how the donor's table was made",
        "how well it describes its own engine: ±10 % instead of ±3 % for a tuned map",
        key="donor.state",
    ),
    Default(
        "likeness",
        "another engine",
        None,
        "left out",
        "the job does not say what the two engines share",
        "how differently the target may breathe: 11 % wide open instead of 5 or 3 %",
        key="target.engine.likeness",
    ),
    Default("cycle", "four-stroke", None, "left out", "nearly every engine", "the duty, by 2", key="engine.cycle"),
    Default(
        "induction",
        "atmospheric",
        None,
        "left out",
        "the table has no row well above the barometer",
        "which cells are reached",
        key="engine.induction",
    ),
    Default(
        "blend",
        "petrol with 5 % ethanol",
        "5 %",
        "unknown",
        "pump petrol contains 0 to 10 % by volume",
        "the mixture, 2 %",
        key="fuel.blend",
    ),
    Default(
        "corrects rail pressure",
        "false",
        None,
        "left out",
        "few ECUs measure it",
        "the mixture over load on a fixed rail, or if the rail pressures differ",
        key="settings.corrects_rail_pressure",
    ),
    Default(
        "corrects charge temperature, VE",
        "true",
        None,
        "either",
        "a VE formula includes the charge temperature",
        "the mixture, by the ratio of the two charge temperatures",
        key="settings.corrects_charge_temperature",
    ),
    Default(
        "corrects charge temperature, pulse width",
        "false",
        None,
        "either",
        "a pulse-width table holds the pulse itself",
        "the mixture, by the ratio of the two charge temperatures",
        key="settings.corrects_charge_temperature",
    ),
    Default(
        "hardware as told",
        "as the settings",
        None,
        "left out",
        "the fitted parts are assumed to be what the ECU was told",
        "everything that depends on it",
        key="",
    ),
    Default(
        "ecu applies, VE",
        '["pressure", "lambda", "dead time"]',
        None,
        "left out",
        "volumetric efficiency remains once these are applied",
        "everything",
        key="tables.fuel.ecu_applies",
    ),
    Default(
        "ecu applies, unknown",
        "the only interpretation with a plausible implied VE",
        None,
        "unknown",
        "0.60 to 1.20 wide open, 0.35 to 0.95 from 30 to 60 kPa; refused if none or several are plausible",
        "everything",
        key="tables.fuel.ecu_applies",
    ),
)

WORDS = {
    "cylinder_trims": "answer on cylinder trims",
    "engine.trigger": "trigger",
    "engine.firing_order": "firing order",
    "engine.cycle": "cycle",
    "engine.induction": "induction",
    "engine.likeness": "likeness",
    "fuel.blend": "fuel",
    "injectors.dead_time": "dead time",
    "settings.dead_time": "dead time told",
    "tables.fuel.ecu_applies": "what the ECU applies",
}
"""Words for each of these inputs, by its key without the side."""
