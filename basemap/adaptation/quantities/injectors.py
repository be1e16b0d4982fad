"""Quantities of the injectors."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import COUNT, VOLTAGE, VOLTAGES_ARE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Default, Quantity, Range, UsualSpread

FLOW = Range(Kind.FLOW, "5 cc/min", "20000 cc/min")
FLOW_BY_MASS = Range(Kind.FLOW, "3 g/min", "15000 g/min")
_FLOWS_ARE = "port and throttle-body injectors flow 5 to 20000 cc/min"
FLUID_DENSITY = Range(Kind.DENSITY, "0.6 g/cc", "0.9 g/cc")
RAIL_PRESSURE = Range(Kind.RAIL_PRESSURE, "0.3 bar", "15 bar")
RAIL_PRESSURES_ARE = "port and throttle-body injection run at 0.3 to 15 bar"
OPENINGS = Range(Kind.NUMBER, "0.25", "16")
PULSE = Range(Kind.TIME, "0.05 ms", "10 ms")
DEAD_TIME = Range(Kind.TIME, "0 ms", "10 ms")
DEAD_TIMES_ARE = "a dead time is between 0 and 10 ms"
_ADDED_TIME = Range(Kind.TIME, "-5 ms", "20 ms")

INJECTORS = (
    Quantity(
        "injectors.static_flow",
        FLOW,
        FLOW_BY_MASS,
        words="Static flow",
        why=_FLOWS_ARE,
        unit="cc/min",
        path="injectors.static.value",
        cell="static_flow",
        spreads=(
            UsualSpread("flow", 0.03, True, "%", "sets are sold matched to about ±3 % (common practice)", 0.01),
            UsualSpread(
                "flow of an untuned donor",
                0.05,
                True,
                "%",
                "nobody knows for sure which injectors it had (common practice)",
                0.01,
            ),
            UsualSpread(
                "discharge coefficient",
                0.01,
                True,
                "%",
                "viscosity and temperature of a different kind of fuel (common practice)",
                0.01,
            ),
        ),
        question="Flow of one injector",
    ),
    Quantity(
        "injectors.slope",
        FLOW,
        FLOW_BY_MASS,
        words="Slope of the flow line",
        why=_FLOWS_ARE,
        unit="cc/min",
        path="injectors.slope.value",
        cell="slope",
    ),
    Quantity(
        "injectors.bent_line.below",
        FLOW,
        FLOW_BY_MASS,
        words="Slope below the bend",
        why=_FLOWS_ARE,
        unit="cc/min",
        path="injectors.bent_line.below.value",
        cell="flow_below_bend",
    ),
    Quantity(
        "injectors.bent_line.above",
        FLOW,
        FLOW_BY_MASS,
        words="Slope above the bend",
        why=_FLOWS_ARE,
        unit="cc/min",
        path="injectors.bent_line.above.value",
        cell="flow_above_bend",
    ),
    Quantity(
        "injectors.bent_line.at_mass",
        Range(Kind.MASS, "0.01 mg", "200 mg"),
        words="Fuel of one opening at the bend",
        why="an injector's flow line bends between 0.01 and 200 mg",
        unit="mg",
        path="injectors.bent_line.at_mass_kg",
        cell="mass_at_bend",
    ),
    Quantity(
        "injectors.rated_pressure",
        RAIL_PRESSURE,
        words="Rated at",
        why="injectors of this kind are rated at 0.3 to 15 bar",
        unit="bar",
        path="injectors.static.pressure_pa",
        cell="rated_pressure",
        defaults=(
            Default("rated pressure", "3.0 bar", "0.5 bar", "unknown", "the usual rating pressure", "the flow, 8 %"),
        ),
        spreads=(UsualSpread("rated pressure", 0.01, True, "%", "a flow bench's gauge (common practice)", 0.005),),
        question="Pressure at which that flow was rated",
    ),
    Quantity(
        "injectors.rated_fluid",
        FLUID_DENSITY,
        words="Density of the rating fluid",
        why="test fluids and fuels have 0.6 to 0.9 g/cc",
        unit="g/cc",
        path="injectors.static.fluid_density",
        cell="rated_density",
        defaults=(
            Default(
                "rated fluid",
                "n-heptane",
                None,
                "left out",
                "the usual test fluid, at 20 degC, 683.8 kg/m3",
                "the flow, half as far as the density",
            ),
            Default(
                "rated fluid unknown",
                "0.70 g/cc",
                "0.04 g/cc",
                "unknown",
                "spans n-heptane and the usual test fluids",
                "the flow, 3 %",
            ),
        ),
        spreads=(
            UsualSpread(
                "rating fluid",
                0.01,
                True,
                "%",
                "the difference between 20 and 25 °C is 0.6 % in n-heptane, and more in other fluids",
                0.002,
            ),
        ),
    ),
    Quantity(
        "injectors.per_cylinder",
        Range(Kind.NUMBER, "0.05", "8"),
        words="Injectors per cylinder",
        why="from 0.05 (one throttle-body injector for many cylinders) to 8",
        path="injectors.per_cylinder",
        cell="per_cylinder",
        defaults=(Default("per cylinder", "1", None, "left out", "port injection", "the fuel, in proportion"),),
    ),
    Quantity(
        "injectors.count",
        COUNT,
        words="Injectors, whole engine",
        why="a whole number from 1 to 48",
        cell="injector_count",
    ),
    Quantity(
        "injectors.openings_per_cycle",
        OPENINGS,
        words="Openings per engine cycle",
        why="as wired: 1 sequential, 2 twice a cycle; from 0.25 to 16",
        path="injectors.openings_per_cycle",
        cell="openings",
        defaults=(
            Default(
                "openings",
                "1",
                None,
                "either",
                "sequential injection",
                "the fuel, in proportion: twice a cycle delivers twice as much",
            ),
        ),
    ),
    Quantity("injectors.dead_time.battery", VOLTAGE, why=VOLTAGES_ARE, unit="V"),
    Quantity(
        "injectors.dead_time.time",
        DEAD_TIME,
        words="Dead time",
        why=DEAD_TIMES_ARE,
        unit="ms",
        defaults=(
            Default(
                "dead time",
                "0.9 ms",
                "0.4 ms",
                "unknown",
                "at 14 V, falling by 0.2 ms/V; common practice",
                "short pulses, at idle and light load: 20 % of one of 2 ms",
                key="injectors.dead_time",
            ),
            Default(
                "dead time of the settings",
                "as the settings",
                "0.3 ms",
                "either",
                "the injectors are assumed to have the dead time that the ECU was told",
                "short pulses, at idle and light load: 15 % of one of 2 ms",
                key="injectors.dead_time",
            ),
        ),
        spreads=(
            UsualSpread("dead time", 0.05e-3, False, "ms", "part to part and bench to car (common practice)", 0.02e-3),
        ),
        question="Dead time",
    ),
    Quantity(
        "injectors.dead_time.pressure",
        RAIL_PRESSURE,
        spreads=(
            UsualSpread(
                "dead time at its rail pressure",
                0.05e-3,
                False,
                "ms/bar",
                "data without a pressure, per bar between the rail and the rated pressure (common practice)",
                0.01e-3,
            ),
        ),
    ),
    Quantity("injectors.shortest_pulse", PULSE, words="Shortest pulse", path="injectors.shortest_pulse_s"),
    Quantity(
        "injectors.highest_pressure",
        RAIL_PRESSURE,
        words="Injector pressure limit",
        path="injectors.highest_pressure_pa",
    ),
    Quantity("injectors.added_time.open", _ADDED_TIME),
    Quantity("injectors.added_time.time", _ADDED_TIME),
)
