"""``[conditions]``: barometer, charge temperature, battery."""

from __future__ import annotations

from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_TEMPERATURE
from basemap.errors import InputError
from basemap.jobfile.defaults import DEFAULTS
from basemap.jobfile.quantities import Measured
from basemap.jobfile.record import Record, default_quantity
from basemap.jobfile.schema import ConditionsSection as Section
from basemap.jobfile.side import StatedSide
from basemap.model.installation import Conditions
from basemap.physics.air import standard_pressure

AGREEMENT_PA = 4000.0
"""How far a barometer may be from the altitude's own: more is a sea-level figure rather than weather."""


def build_conditions(side: StatedSide, shared: Section) -> Conditions:
    """Conditions of one side: its own keys, else those of the whole job, else the defaults."""
    return Conditions(
        barometer_pa=_barometer(side, shared),
        charge_temperature_k=_value(side, shared, "charge_temperature", "charge temperature"),
        battery_v=_value(side, shared, "battery", "battery"),
    )


def _value(side: StatedSide, shared: Section, key: str, default: str) -> float:
    own: Measured | None = getattr(side.conditions, key)
    both: Measured | None = getattr(shared, key)
    measured = own or both or _default(side.record, default, f"conditions.{key}")
    return measured.value


def _default(record: Record, name: str, key: str) -> Measured:
    """A default for both sides is listed once."""
    listed = any(assumption.key == key for assumption in record.assumed)
    measured = default_quantity(DEFAULTS[name]) if listed else record.assume(name, key)
    assert measured is not None
    return measured


def _barometer(side: StatedSide, shared: Section) -> float:
    own = side.conditions.barometer is not None or side.conditions.altitude is not None
    section, place = (side.conditions, side.place("conditions")) if own else (shared, "conditions")
    if section.altitude is None:
        measured = section.barometer or _default(side.record, "barometer", "conditions.barometer")
        return measured.value
    standard = standard_pressure(section.altitude.value)
    if section.barometer is None:
        _keep_standard(side.record, f"{place}.barometer", section.altitude, standard)
        return standard
    if abs(section.barometer.value - standard) > AGREEMENT_PA:
        raise InputError(
            f'"{section.barometer.text}" does not go with altitude "{section.altitude.text}", where the barometer '
            f"stands at about {standard / 1e3:.1f} kPa: that looks like a sea-level figure; give the station pressure, "
            "or leave one of the two out",
            file=side.record.file,
            place=f"{place}.barometer",
        )
    return section.barometer.value


def _keep_standard(record: Record, key: str, altitude: Measured, standard_pa: float) -> None:
    """The barometer that follows from an altitude, as an input with the altitude's spread."""
    temperature_k = STANDARD_TEMPERATURE - LAPSE_RATE * altitude.value
    pascal_per_m = standard_pa * STANDARD_GRAVITY / (R_DRY_AIR * temperature_k)
    spread = None if altitude.half_width is None else altitude.half_width * pascal_per_m
    measured = Measured(
        text=f"{standard_pa / 1e3:.5g} kPa at {altitude.text}",
        value=standard_pa,
        shown=standard_pa / 1e3,
        unit="kPa",
        half_width=spread,
        k2=altitude.k2,
    )
    record.keep(key, measured, record.origin(key))
