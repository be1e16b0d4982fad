"""Densities of liquid fuels held against reference equations and against the published petroleum tables."""

from __future__ import annotations

import math
from typing import Any

import pytest

from basemap.physics import fuel
from tests.builders.cases import each

BAR = 1e5
LIQUID_AT_80_C = 4.01325e5
FLUIDS = {"n-heptane": "n-Heptane", "toluene": "Toluene", "ethanol": "Ethanol", "methanol": "Methanol"}

# kg/m³ at 1 bar, thermo 0.6.1 with chemicals 1.5.2, VolumeLiquid(CASRN='540-84-1'), method HEOS_FIT; frozen, for
# those two packages serve nothing else. At 20 °C another correlation of theirs (DIPPR) has 694.40: 3.4e-3.
ISO_OCTANE = {-20: 724.4395, 0: 708.3239, 15: 696.1159, 20: 692.0161, 40: 675.4071, 60: 658.3724, 80: 640.7549}


def kelvin(celsius: float) -> float:
    return celsius + 273.15


def pressure_of_the_data(name: str, celsius: float) -> float:
    """1 bar; the alcohols boil at 78 and 65 °C, so their hot point is at the pressure of a rail."""
    return LIQUID_AT_80_C if name.endswith("anol") and celsius > 60 else BAR


# CoolProp 8.0.0 (n-heptane Span-Wagner 2003, toluene Lemmon-Span 2006, ethanol Schroeder 2014, methanol de Reuck
# 1993). The four points that the table in the source is made of, to its five decimals.
@pytest.mark.check_value
@pytest.mark.parametrize("name", FLUIDS)
def test_the_table_is_that_of_the_library(coolprop: Any, name: str) -> None:
    from basemap.physics.fuel_density import TABULATED, TABULATED_C

    theirs = [
        coolprop.PropsSI("D", "T", kelvin(t), "P", pressure_of_the_data(name, t), FLUIDS[name]) for t in TABULATED_C
    ]
    assert list(TABULATED[name]) == pytest.approx(theirs, abs=0.6e-5)


# The same library between and beyond those points. Agreement, worst of the four fluids: 2.3e-4 from 0 to 60 °C (the
# alcohols at 50 °C), 1.1e-3 at −20 °C, where the quadratic is too flat.
@pytest.mark.check_value
@pytest.mark.parametrize("name", FLUIDS)
@pytest.mark.parametrize(
    ("celsius", "tolerance"),
    [(-20, 1.1e-3), (-10, 6e-4), (0, 3e-4), (10, 3e-4), (25, 3e-4), (30, 3e-4), (50, 3e-4), (60, 3e-4)],
)
def test_pure_liquids_of_a_library(coolprop: Any, name: str, celsius: float, tolerance: float) -> None:
    theirs = coolprop.PropsSI("D", "T", kelvin(celsius), "P", BAR, FLUIDS[name])
    assert fuel.component_density(name, kelvin(celsius)) == pytest.approx(theirs, rel=tolerance)


# The pressure of a rail, which the density leaves out: at most 7.2e-4 (n-heptane, 80 °C, 4 bar absolute).
@pytest.mark.check_value
@pytest.mark.parametrize("name", FLUIDS)
def test_the_pressure_of_a_rail_adds_little(coolprop: Any, name: str) -> None:
    theirs = coolprop.PropsSI("D", "T", kelvin(80), "P", LIQUID_AT_80_C, FLUIDS[name])
    assert fuel.component_density(name, kelvin(80)) == pytest.approx(theirs, rel=8e-4)


# Agreement 1.6e-4 at 60 °C, 5e-4 at −20 °C.
@pytest.mark.check_value
@each("celsius", ISO_OCTANE)
def test_iso_octane_of_a_library(celsius: int) -> None:
    tolerance = 6e-4 if celsius < 0 else 3e-4
    assert fuel.component_density("iso-octane", kelvin(celsius)) == pytest.approx(ISO_OCTANE[celsius], rel=tolerance)


# J. Chem. Eng. Data 2005, 50, 455: toluene at 25 °C, 862.2 ± 0.1 kg/m³.
@pytest.mark.check_value
def test_toluene_as_measured() -> None:
    assert fuel.component_density("toluene", kelvin(25)) == pytest.approx(862.2, abs=0.1)


# An encyclopaedia's 692 kg/m³ at 20 °C for iso-octane.
@pytest.mark.check_value
def test_iso_octane_as_printed() -> None:
    assert fuel.component_density("iso-octane", kelvin(20)) == pytest.approx(692.0, abs=0.5)


# The rating fluid of injectors: CoolProp 8.0.0. That it is n-heptane: SAE J1832, from memory; 25 °C instead of 20 °C
# would be 0.62 % in density.
@pytest.mark.check_value
def test_the_rating_fluid(coolprop: Any) -> None:
    assert fuel.N_HEPTANE_20 == 683.81407
    assert coolprop.PropsSI("D", "T", kelvin(20), "P", BAR, "n-Heptane") == pytest.approx(fuel.N_HEPTANE_20, abs=1e-5)
    assert fuel.component_density("n-heptane", kelvin(25)) / fuel.N_HEPTANE_20 - 1 == pytest.approx(-6.2e-3, abs=1e-4)


def table_54b_in_fahrenheit(density_15: float, celsius: float) -> float:
    """The gasoline group as a tank gauge's manual prints it: constants per °F, so the arithmetic is in °F."""
    per_fahrenheit = 192.4571 / density_15**2 + 0.2438 / density_15
    rise = per_fahrenheit * (1.8 * celsius + 32.0 - 59.0)
    return density_15 * math.exp(-rise * (1.0 + 0.8 * rise))


# ASTM D1250-80 table 54B by the constants per °F of a tank-gauge maker's manual. They have four decimals of 0.2438,
# which is 2e-4 of the expansion: agreement 5e-6 over −18…80 °C.
@pytest.mark.check_value
@each("density_15", [653.0, 680.0, 720.0, 745.0, 770.0])
@each("celsius", [-18.0, 0.0, 20.0, 40.0, 60.0, 80.0])
def test_petrol_by_the_constants_in_fahrenheit(density_15: float, celsius: float) -> None:
    ours = fuel.petrol_density(density_15, kelvin(celsius))
    assert ours == pytest.approx(table_54b_in_fahrenheit(density_15, celsius), rel=1e-5)


# The same with the transition group, 770.5…787.5 kg/m³: −0.0018684 and 1489.0670 per °F, which times
# 1.8 are exactly the constants in the source.
@pytest.mark.check_value
@each("density_15", [770.5, 775.0, 787.5])
@each("celsius", [-18.0, 40.0, 80.0])
def test_heavy_petrol_by_the_constants_in_fahrenheit(density_15: float, celsius: float) -> None:
    rise = (-0.0018684 + 1489.0670 / density_15**2) * (1.8 * celsius + 32.0 - 59.0)
    printed = density_15 * math.exp(-rise * (1.0 + 0.8 * rise))
    assert fuel.petrol_density(density_15, kelvin(celsius)) == pytest.approx(printed, rel=1e-12)


# Worked by hand from the published constants of table 54B, four decimals.
@pytest.mark.check_value
@each(
    ("density_15", "expected"),
    [
        (720.0, (733.7166, 715.3916, 710.7663, 696.7959, 677.9748, 658.9732)),
        (745.0, (758.4801, 740.4729, 735.9300, 722.2126, 703.7395, 685.0933)),
        (770.0, (783.2587, 765.5489, 761.0830, 747.6019, 729.4535, 711.1391)),
    ],
)
def test_petrol_worked_from_the_published_constants(density_15: float, expected: tuple[float, ...]) -> None:
    ours = [fuel.petrol_density(density_15, kelvin(t)) for t in (0, 20, 25, 40, 60, 80)]
    assert ours == pytest.approx(expected, abs=0.6e-4)


# A petrol made of reference fluids: 50 iso-octane, 17 n-heptane, 33 toluene by volume at 15 °C, its volumes adding up
# (CoolProp 8.0.0 and the frozen iso-octane). The table expands 1.2e-3, 1.95e-3, 2.2e-3 more at 40, 60, 80 °C: 3e-3 is
# what it is good for.
@pytest.mark.check_value
@pytest.mark.parametrize(("celsius", "deviation"), [(40, -1.2e-3), (60, -1.95e-3), (80, -2.2e-3)])
def test_petrol_made_of_reference_fluids(coolprop: Any, celsius: int, deviation: float) -> None:
    def density(name: str, at_c: int) -> float:
        if name == "iso-octane":
            return ISO_OCTANE[at_c]
        return float(coolprop.PropsSI("D", "T", kelvin(at_c), "P", BAR, FLUIDS[name]))

    shares = {"iso-octane": 0.50, "n-heptane": 0.17, "toluene": 0.33}
    masses = {name: share * density(name, 15) for name, share in shares.items()}
    volume = sum(mass / density(name, celsius) for name, mass in masses.items())
    reference = sum(masses.values()) / volume
    assert fuel.petrol_density(sum(masses.values()), kelvin(celsius)) / reference - 1.0 == pytest.approx(
        deviation, abs=0.05e-3
    )


# The published table is for petrol only: for pure liquids of petrol's density it is 7e-3 out at 60 °C (CoolProp 8.0.0
# at 1 bar; the frozen iso-octane), which is why they have densities of their own.
@pytest.mark.check_value
def test_pure_liquids_do_not_expand_as_petrol(coolprop: Any) -> None:
    heptane = coolprop.PropsSI("D", "T", kelvin(60), "P", BAR, "n-Heptane")
    assert fuel.petrol_density(688.01394, kelvin(60)) / heptane - 1.0 == pytest.approx(-6.9e-3, abs=0.05e-3)
    assert fuel.petrol_density(696.1159, kelvin(60)) / ISO_OCTANE[60] - 1.0 == pytest.approx(-7.7e-3, abs=0.05e-3)


# E85 at 60 °C, mass per component, each expanded by itself: 746.468 with ethanol of CoolProp 8.0.0. Agreement 1.6e-4,
# what the quadratic of ethanol leaves.
@pytest.mark.check_value
def test_e85_when_hot() -> None:
    assert fuel.blend(fuel.BLENDS["E85"], kelvin(60)).density == pytest.approx(746.468, rel=3e-4)
