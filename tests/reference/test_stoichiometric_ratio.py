"""Stoichiometric ratios held against a chemistry library and a textbook.

The composition of "air" is the trap: with bare O2 and N2 a library gives every ratio 0.4 % lower, for the nitrogen of
the textbooks' air has the argon in it. That is a different air and not an error on either side.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from basemap.physics import fuel
from tests.builders.cases import each

REAL_AIR = "O2:20.95,N2:78.09,AR:0.93,CO2:0.03"
AIR_WITHOUT_ARGON = "O2:20.95,N2:79.05"

Atoms = tuple[float, float, float]

FORMULAS: dict[str, Atoms] = {
    "petrol": (1, 1.87, 0),
    "iso-octane": (8, 18, 0),
    "n-heptane": (7, 16, 0),
    "toluene": (7, 8, 0),
    "ethanol": (2, 6, 1),
    "methanol": (1, 4, 1),
    "ETBE": (6, 14, 1),
    "butanol": (4, 10, 1),
    "propane": (3, 8, 0),
    "methane": (1, 4, 0),
}


@cache
def air() -> list[Any]:
    """The species of air."""
    import cantera as ct  # a quarter of a second, which only the process that runs these tests spends

    known = {species.name: species for species in ct.Species.list_from_file("gri30.yaml")}
    return [known[name] for name in ("O2", "N2", "AR", "CO2", "H2O")]


def solution(**atoms: Atoms) -> Any:
    """Air and fuels of any formula; their heat capacities are dummies, the balance does not need them."""
    import cantera as ct

    fuels = []
    for name, (carbon, hydrogen, oxygen) in atoms.items():
        present = {"C": carbon, "H": hydrogen, "O": oxygen}
        species = ct.Species(name, {symbol: number for symbol, number in present.items() if number})
        species.thermo = ct.ConstantCp(200.0, 5000.0, 101_325.0, (298.15, 0.0, 0.0, 33_258.0))
        fuels.append(species)
    return ct.Solution(thermo="ideal-gas", species=air() + fuels)


# Cantera 3.2.0 with real air. Agreement 1.54e-4 throughout: 28.96 g/mol against 28.9644 and the CO2 in its air.
@pytest.mark.check_value
@each("name", FORMULAS)
def test_ratios_of_a_library_in_real_air(name: str) -> None:
    theirs = solution(FUEL=FORMULAS[name]).stoich_air_fuel_ratio("FUEL", REAL_AIR, basis="mole")
    assert fuel.stoichiometric_ratio(*FORMULAS[name]) == pytest.approx(theirs, rel=3e-4)


# The same library with bare O2 and N2: 0.385 % lower, whatever the fuel.
@pytest.mark.check_value
@each("name", FORMULAS)
def test_ratios_of_a_library_in_air_without_argon(name: str) -> None:
    theirs = solution(FUEL=FORMULAS[name]).stoich_air_fuel_ratio("FUEL", AIR_WITHOUT_ARGON, basis="mole")
    assert theirs / fuel.stoichiometric_ratio(*FORMULAS[name]) - 1.0 == pytest.approx(-0.00385, abs=5e-5)


# Heywood, Internal Combustion Engine Fundamentals, table D.4, from memory, two decimals. Agreement 4e-4 (n-heptane,
# whose last digit is 3e-4 of it).
@pytest.mark.check_value
@each(
    ("name", "printed"),
    [
        ("iso-octane", 15.13),
        ("n-heptane", 15.18),
        ("ethanol", 9.00),
        ("methanol", 6.47),
        ("petrol", 14.6),
        ("propane", 15.67),
        ("methane", 17.23),
    ],
)
def test_ratios_of_a_textbook(name: str, printed: float) -> None:
    assert fuel.stoichiometric_ratio(*FORMULAS[name]) == pytest.approx(printed, rel=5e-4)


# Heywood, section 3.4, for hydrocarbons: L = 34.56·(4 + y)/(12.011 + 1.008·y); constants from memory.
# Agreement 4.4e-5.
@pytest.mark.check_value
@each("hydrogen_per_carbon", [8 / 7, 1.80, 1.87, 1.95, 2.25, 4.0])
def test_the_closed_form_of_a_textbook(hydrogen_per_carbon: float) -> None:
    closed = 34.56 * (4.0 + hydrogen_per_carbon) / (12.011 + 1.008 * hydrogen_per_carbon)
    assert fuel.stoichiometric_ratio(1.0, hydrogen_per_carbon, 0.0) == pytest.approx(closed, rel=1e-4)


# The components have the formulas that their names mean: the same library again, from the component's own atoms.
@pytest.mark.check_value
@each("name", sorted(fuel.COMPONENTS))
def test_components_have_the_formulas_of_their_names(name: str) -> None:
    theirs = solution(FUEL=FORMULAS[name]).stoich_air_fuel_ratio("FUEL", REAL_AIR, basis="mole")
    assert fuel.COMPONENTS[name].stoichiometric == pytest.approx(theirs, rel=3e-4)


# Molar masses of CoolProp 8.0.0; iso-octane 114.2285 g/mol, NIST, from memory. Agreement 3.1e-5 (older atomic
# weights).
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("name", "fluid"),
    [("ethanol", "Ethanol"), ("methanol", "Methanol"), ("n-heptane", "n-Heptane"), ("toluene", "Toluene")],
)
def test_molar_masses_of_a_library(coolprop: Any, name: str, fluid: str) -> None:
    assert fuel.COMPONENTS[name].molar_mass == pytest.approx(1e3 * coolprop.PropsSI("M", fluid), rel=4e-5)


@pytest.mark.check_value
def test_molar_mass_of_iso_octane() -> None:
    assert fuel.COMPONENTS["iso-octane"].molar_mass == pytest.approx(114.2285, rel=4e-5)


# Cantera 3.2.0 is told the blend by mass and works out one ratio for the mixture. Agreement 1.54e-4, as for each
# component alone: blending by mass is exact.
@pytest.mark.check_value
@each("name", ["E5", "E10", "E85"])
def test_ratios_of_blends_of_a_library(name: str) -> None:
    mixed = fuel.blend(fuel.BLENDS[name], 288.15)
    both = solution(PETROL=FORMULAS["petrol"], ETHANOL=FORMULAS["ethanol"])
    both.X = REAL_AIR
    air_by_mass = both.mass_fraction_dict()
    shares = {component.upper(): share for component, share in mixed.mass_fractions.items()}
    theirs = both.stoich_air_fuel_ratio(shares, air_by_mass, basis="mass")
    assert mixed.stoichiometric == pytest.approx(theirs, rel=3e-4)
