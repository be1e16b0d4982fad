"""Quantities that a controller was told. Where they can lie is where the thing itself can."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import DISPLACEMENT, VOLTAGE, VOLTAGES_ARE
from basemap.adaptation.quantities.fuel import STOICHIOMETRIC
from basemap.adaptation.quantities.injectors import (
    DEAD_TIME,
    DEAD_TIMES_ARE,
    FLOW,
    FLOW_BY_MASS,
    FLUID_DENSITY,
    OPENINGS,
    PULSE,
    RAIL_PRESSURE,
)
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity, Range

_AS_HELD = "what the ECU holds; it lies where the quantity itself can lie"

SETTINGS = (
    Quantity(
        "settings.displacement",
        DISPLACEMENT,
        words="Displacement told",
        why=_AS_HELD,
        unit="cc",
        held="displacement_m3",
        cell="settings_displacement",
    ),
    Quantity(
        "settings.static_flow",
        FLOW,
        FLOW_BY_MASS,
        words="Injector flow told",
        why=_AS_HELD,
        unit="cc/min",
        held="flow",
        cell="settings_static_flow",
    ),
    Quantity(
        "settings.stoichiometric",
        STOICHIOMETRIC,
        words="Stoichiometric ratio told",
        why=_AS_HELD,
        held="stoichiometric",
        cell="settings_stoichiometric",
    ),
    Quantity(
        "settings.fuel_density",
        FLUID_DENSITY,
        words="Fuel density told",
        why=_AS_HELD,
        unit="kg/m3",
        held="fuel_density",
        cell="settings_fuel_density",
    ),
    Quantity(
        "settings.openings_per_cycle",
        OPENINGS,
        words="Openings per cycle told",
        why=_AS_HELD,
        held="openings_per_cycle",
        cell="settings_openings",
    ),
    Quantity("settings.dead_time.battery", VOLTAGE, why=VOLTAGES_ARE, unit="V"),
    Quantity("settings.dead_time.time", DEAD_TIME, why=DEAD_TIMES_ARE, unit="ms"),
    Quantity("settings.dead_time.pressure", RAIL_PRESSURE),
    Quantity("settings.dead_time.percent", Range(Kind.PERCENT, "10", "1000")),
    Quantity("settings.dead_time.at_pulse", PULSE),
    Quantity(
        "settings.formula_factor",
        Range(Kind.NUMBER, "0.2", "5"),
        words="Formula factor κ",
        why="1 where the ECU's own constants are those of physics; 0.2 to 5",
        held="formula_factor",
        cell="formula_factor",
    ),
    Quantity("settings.minimum_pulse", PULSE, held="minimum_pulse_s"),
)
