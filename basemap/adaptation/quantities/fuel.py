"""Quantities of the fuel."""

from __future__ import annotations

from basemap.adaptation.quantities.injectors import FLUID_DENSITY, RAIL_PRESSURE, RAIL_PRESSURES_ARE
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Default, Quantity, Range, UsualSpread

STOICHIOMETRIC = Range(Kind.NUMBER, "5", "20")
_LIQUID_TEMPERATURE = Range(Kind.TEMPERATURE, "-20 degC", "80 degC")

FUEL = (
    Quantity(
        "fuel.parts",
        Range(Kind.PERCENT, "0", "100"),
        why="a share by volume, 0 to 100 %",
        spreads=(
            UsualSpread(
                "ethanol or methanol",
                0.025,
                False,
                "vol %",
                "E5 and E10 may contain less than the name says (EN 228: upper limits)",
                0.01,
            ),
            UsualSpread(
                "ethanol in E85", 0.16, False, "vol %", "51 to 83 % may be sold under that name (ASTM D5798)", 0.01
            ),
        ),
    ),
    Quantity(
        "fuel.stoichiometric",
        STOICHIOMETRIC,
        words="… stoichiometric ratio, for “as typed”",
        why="liquid fuels have 5 to 20",
        path="fuel.stoichiometric",
        cell="typed_stoichiometric",
        spreads=(
            UsualSpread("stoichiometric", 0.007, True, "%", "CH1.80 to CH1.95 changes petrol by −0.7 to +0.8 %", 0.003),
        ),
    ),
    Quantity(
        "fuel.density",
        FLUID_DENSITY,
        words="Fuel density",
        why="liquid fuels have 0.6 to 0.9 g/cc",
        unit="kg/m3",
        path="fuel.density",
        cell="typed_density",
        defaults=(
            Default(
                "fuel density", "as the target's", None, "left out", "only the ratio is stated; the density cancels", ""
            ),
        ),
        spreads=(UsualSpread("density", 0.02, True, "%", "most of the 720 to 775 kg/m³ that EN 228 allows", 0.002),),
    ),
    Quantity("fuel.density_at", _LIQUID_TEMPERATURE),
    Quantity(
        "fuel.pump",
        Range(Kind.FLOW_AT_PRESSURE, "2 l/h", "3000 l/h"),
        words="Fuel pump",
        path="fuel.pump_flow_m3_s",
    ),
    Quantity("fuel.octane", Range(Kind.NUMBER, "40", "150"), words="Octane", path="fuel.octane"),
    Quantity(
        "fuel.temperature",
        _LIQUID_TEMPERATURE,
        words="Fuel temperature in the rail",
        why="the density of liquid fuel is known from -20 to 80 °C",
        unit="degC",
        path="fuel.temperature_k",
        cell="fuel_temperature",
        defaults=(
            Default(
                "fuel temperature",
                "40 degC",
                "20 degC",
                "either",
                "fuel rails run at 30 to 60 degC",
                "the fuel's density, 0.12 % per degree",
            ),
        ),
        spreads=(
            UsualSpread(
                "fuel temperature",
                20.0,
                False,
                "K",
                "fuel rails run at 30 to 60 °C; 10 K change the flow by 0.6 %",
                2.0,
            ),
        ),
    ),
    Quantity(
        "fuel.rail_pressure",
        RAIL_PRESSURE,
        words="Rail pressure, gauge",
        why=f"{RAIL_PRESSURES_ARE}; give it with the regulator's hose off",
        unit="bar",
        path="fuel.rail_pressure_pa",
        cell="rail_pressure",
        spreads=(
            UsualSpread(
                "rail pressure", 0.03, True, "%", "a regulator's spread, ±0.1 bar at 3 bar (common practice)", 0.01
            ),
        ),
        question="Rail pressure, gauge, pump on, hose off",
    ),
)
