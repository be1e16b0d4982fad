"""Quantities that an ECU was told; each has the range of the quantity itself."""

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
from basemap.adaptation.quantities.quantity import Default, Quantity, Range, UsualSpread

_AS_HELD = "what the ECU holds; the range is that of the quantity itself"

SETTINGS = (
    Quantity(
        "settings.displacement",
        DISPLACEMENT,
        words="Displacement told",
        why=_AS_HELD,
        unit="cc",
        path="displacement_m3",
        cell="settings_displacement",
        defaults=(
            Default(
                "told displacement",
                "as the donor's engine",
                "2 %",
                "left out",
                "its page was not read; often entered rounded, 2.0 l for 1998 cc (practice)",
                "every pulse, in proportion",
            ),
        ),
        spreads=(
            UsualSpread(
                "displacement on a page not read",
                0.02,
                True,
                "%",
                "often entered rounded, 2.0 l for 1998 cc (practice)",
                0.0,
            ),
        ),
        question="Displacement told",
    ),
    Quantity(
        "settings.static_flow",
        FLOW,
        FLOW_BY_MASS,
        words="Injector flow told",
        why=_AS_HELD,
        unit="cc/min",
        path="flow",
        cell="settings_static_flow",
        defaults=(
            Default(
                "told flow",
                "as the donor's injectors",
                "10 %",
                "left out",
                "nobody read the settings page; flows are often entered at another pressure, or adjusted until a "
                "table fits (practice)",
                "every pulse, in proportion",
            ),
        ),
        spreads=(
            UsualSpread(
                "flow on a page not read",
                0.10,
                True,
                "%",
                "often entered at another pressure, or adjusted until a table fits (common practice)",
                0.0,
            ),
        ),
        question="Injector flow told",
    ),
    Quantity(
        "settings.stoichiometric",
        STOICHIOMETRIC,
        words="Stoichiometric ratio told",
        why=_AS_HELD,
        path="stoichiometric",
        cell="settings_stoichiometric",
        defaults=(
            Default(
                "told ratio",
                "as the donor's fuel",
                "3 %",
                "left out",
                "its page was not read; 14.7 is often entered whatever the petrol contains (practice)",
                "every pulse, in proportion",
            ),
        ),
        spreads=(
            UsualSpread(
                "stoichiometric ratio on a page not read",
                0.03,
                True,
                "%",
                "14.7 is often entered whatever the petrol contains (common practice)",
                0.0,
            ),
        ),
        question="Stoichiometric ratio told",
    ),
    Quantity(
        "settings.fuel_density",
        FLUID_DENSITY,
        words="Fuel density told",
        why=_AS_HELD,
        unit="kg/m3",
        path="fuel_density",
        cell="settings_fuel_density",
    ),
    Quantity(
        "settings.openings_per_cycle",
        OPENINGS,
        words="Openings per cycle told",
        why=_AS_HELD,
        path="openings_per_cycle",
        cell="settings_openings",
    ),
    Quantity("settings.dead_time.battery", VOLTAGE, why=VOLTAGES_ARE, unit="V"),
    Quantity(
        "settings.dead_time.time",
        DEAD_TIME,
        why=DEAD_TIMES_ARE,
        unit="ms",
        defaults=(
            Default(
                "told dead time",
                "as the donor's injectors",
                "0.15 ms",
                "left out",
                "its page was not read; those of similar injectors are often entered (practice)",
                "short pulses, at idle and light load: 8 % of one of 2 ms",
                key="settings.dead_time",
            ),
        ),
        spreads=(
            UsualSpread(
                "dead time on a page not read",
                0.15e-3,
                False,
                "ms",
                "the dead times of similar injectors are often entered (common practice)",
                0.0,
            ),
        ),
    ),
    Quantity("settings.dead_time.pressure", RAIL_PRESSURE),
    Quantity("settings.dead_time.percent", Range(Kind.PERCENT, "10", "1000")),
    Quantity("settings.dead_time.at_pulse", PULSE),
    Quantity(
        "settings.formula_factor",
        Range(Kind.NUMBER, "0.2", "5"),
        words="Formula factor κ",
        why="1 if the ECU's constants are those of physics; 0.2 to 5",
        path="formula_factor",
        cell="formula_factor",
        defaults=(
            Default(
                "formula factor",
                "1",
                "5 %",
                "left out",
                "the ECU's constants are those of physics, within 5 %",
                "absolute pulses only: it cancels in the new table if every setting is true",
            ),
        ),
        spreads=(
            UsualSpread(
                "formula factor", 0.05, True, "%", "how far an ECU's constants are from physics (practice)", 0.05
            ),
        ),
    ),
    Quantity("settings.minimum_pulse", PULSE, path="minimum_pulse_s"),
)

OPTIONS = (Quantity("options.richer_at_load", Range(Kind.PERCENT, "0", "15")),)
