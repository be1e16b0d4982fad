"""Liquid fuels: stoichiometric ratio, components, blends by volume.

Plain floats and no numpy, so that a question about a fuel starts fast. Molar masses are in g/mol, as tabulated.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from basemap.constants import AIR_MOLAR_MASS, ATOMIC_MASS, OXYGEN_IN_AIR, ZERO_CELSIUS
from basemap.errors import InputError
from basemap.physics.fuel_density import (
    N_HEPTANE_20,
    PETROL_15,
    REFERENCE_C,
    TABULATED,
    component_density,
    expand_typed,
    petrol_density,
)

__all__ = [
    "BLENDS",
    "COMPONENTS",
    "N_HEPTANE_20",
    "Blend",
    "Component",
    "blend",
    "component_density",
    "expand_typed",
    "find_blend",
    "petrol_density",
    "stoichiometric_ratio",
    "volume_displaced",
]


def stoichiometric_ratio(carbon: float, hydrogen: float, oxygen: float) -> float:
    """Air to fuel by mass for complete combustion, ``L = (a + b/4 − c/2)/x_O2 · M_air/M_fuel``.

    Parameters
    ----------
    carbon
        Atoms of C in the formula, fractions allowed [-].
    hydrogen
        Atoms of H [-].
    oxygen
        Atoms of O [-].

    Returns
    -------
    float
        Stoichiometric air/fuel ratio by mass [-].

    Notes
    -----
    Balance of C, H and O with air of 20.95 % O2 by volume and 28.96 g/mol, Heywood, section 3.4.
    """
    oxygen_needed = carbon + hydrogen / 4.0 - oxygen / 2.0
    return oxygen_needed / OXYGEN_IN_AIR * AIR_MOLAR_MASS / _formula_mass(carbon, hydrogen, oxygen)


def _formula_mass(carbon: float, hydrogen: float, oxygen: float) -> float:
    return ATOMIC_MASS["C"] * carbon + ATOMIC_MASS["H"] * hydrogen + ATOMIC_MASS["O"] * oxygen


class Component(NamedTuple):
    """One liquid that fuels are blended from.

    Parameters
    ----------
    carbon, hydrogen, oxygen
        Atoms in the formula; petrol is CH1.87 per carbon.
    density_15
        At 15 °C [kg/m³].
    molar_mass
        Of the vapour; for a pure liquid that of its formula [g/mol].
    """

    carbon: float
    hydrogen: float
    oxygen: float
    density_15: float
    molar_mass: float

    @property
    def stoichiometric(self) -> float:
        """Stoichiometric air/fuel ratio by mass."""
        return stoichiometric_ratio(self.carbon, self.hydrogen, self.oxygen)

    @property
    def oxygen_mass_fraction(self) -> float:
        """Oxygen in the fuel by mass, 0…1."""
        return ATOMIC_MASS["O"] * self.oxygen / _formula_mass(self.carbon, self.hydrogen, self.oxygen)


def _pure(name: str, carbon: float, hydrogen: float, oxygen: float) -> Component:
    mass = _formula_mass(carbon, hydrogen, oxygen)
    return Component(carbon, hydrogen, oxygen, density_15=TABULATED[name][0], molar_mass=mass)


COMPONENTS: Mapping[str, Component] = MappingProxyType(
    {
        # CH1.87 and 105 g/mol: an ordinary petrol. Common practice, no source.
        "petrol": Component(1.0, 1.87, 0.0, density_15=PETROL_15, molar_mass=105.0),
        "ethanol": _pure("ethanol", 2, 6, 1),
        "methanol": _pure("methanol", 1, 4, 1),
        "n-heptane": _pure("n-heptane", 7, 16, 0),
        "iso-octane": _pure("iso-octane", 8, 18, 0),
        "toluene": _pure("toluene", 7, 8, 0),
    }
)
"""What fuels are blended from."""

BLENDS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "E5": {"petrol": 0.95, "ethanol": 0.05},
        "E10": {"petrol": 0.90, "ethanol": 0.10},
        "E85": {"petrol": 0.15, "ethanol": 0.85},
        "E100": {"ethanol": 1.0},
        "M100": {"methanol": 1.0},
        **{name: {name: 1.0} for name in COMPONENTS},
    }
)
"""Fuels by name: component → share by volume at 15 °C. The name is the nominal content, not a measured one."""


_OTHER_NAMES = {"gasoline": "petrol", "ethyl alcohol": "ethanol", "methyl alcohol": "methanol", "toluol": "toluene"}
_GASES = frozenset(
    {"lpg", "autogas", "propane", "butane", "cng", "lng", "natural gas", "methane", "hydrogen", "biogas"}
)
_DIESELS = frozenset({"diesel", "gas oil", "biodiesel", "kerosene"})


def _component(name: str) -> Component:
    if name not in COMPONENTS:
        raise InputError(f"{name!r} is not a component of a fuel; {_nearest(name)}known: {', '.join(COMPONENTS)}")
    return COMPONENTS[name]


def _nearest(name: str) -> str:
    """The known fuel that is spelt most like `name`, as a part of a sentence."""
    known = {entry.casefold(): entry for entry in BLENDS}
    close = difflib.get_close_matches(name.strip().casefold(), known, n=1)
    return f"nearest is {known[close[0]]!r}; " if close else ""


def find_blend(name: str) -> Mapping[str, float]:
    """Composition of a fuel known by name, upper or lower case.

    Parameters
    ----------
    name
        Such as ``E85`` or ``iso-octane``.

    Returns
    -------
    mapping
        Component → share by volume at 15 °C, sum 1 [-].

    Raises
    ------
    InputError
        Unknown name; the message has the known ones and the nearest.

    Notes
    -----
    A name is not a measured composition. E5 and E10 stand for the most ethanol that EN 228 lets them hold, E85 for
    its nominal content: what is sold under that name in the US may hold 51…83 % (ASTM D5798).
    """
    wanted = name.strip().casefold()
    wanted = _OTHER_NAMES.get(wanted, wanted)
    if wanted in _GASES:
        raise InputError(
            f"{name!r} is not covered: a gas passes an injector by other equations than a liquid, and displaces air"
        )
    if wanted in _DIESELS:
        raise InputError(f"{name!r} is not covered: a diesel engine meters fuel alone, not fuel for the air it draws")
    for known, parts in BLENDS.items():
        if known.casefold() == wanted:
            return parts
    raise InputError(
        f"no fuel is known as {name!r}; {_nearest(name)}known: {', '.join(BLENDS)}; "
        "any other mixture can be given as parts, in volume %"
    )


class Blend(NamedTuple):
    """A fuel mixed from components.

    Parameters
    ----------
    parts
        Component → share by volume at 15 °C, sum 1 [-].
    mass_fractions
        Component → share by mass, sum 1 [-].
    stoichiometric
        Stoichiometric air/fuel ratio by mass [-].
    density_15
        At 15 °C [kg/m³].
    density
        At `temperature_k` [kg/m³].
    temperature_k
        Of the fuel [K].
    oxygen_mass_fraction
        Oxygen in the fuel by mass [-].
    """

    parts: Mapping[str, float]
    mass_fractions: Mapping[str, float]
    stoichiometric: float
    density_15: float
    density: float
    temperature_k: float
    oxygen_mass_fraction: float


def blend(parts: Mapping[str, float], temperature_k: float) -> Blend:
    """Mix components by volume: ``ρ15 = Σφρ``, ``w = φρ/ρ15``, ``L = Σw·L``, ``1/ρ(t) = Σw/ρ(t)``.

    Parameters
    ----------
    parts
        φ: component → share by volume at 15 °C, sum 1 [-].
    temperature_k
        Temperature of the fuel, −20…80 °C [K].

    Returns
    -------
    Blend
        Density, stoichiometric ratio and shares by mass.

    Raises
    ------
    ValueError
        Shares that are negative or do not sum to 1: the caller normalises.
    InputError
        Unknown component, or a temperature outside the range.

    Notes
    -----
    The stoichiometric ratio is exact: the oxygen that components need adds up by mass. Volumes are taken to add up;
    alcohols in hydrocarbons swell by up to 0.4 % (n-heptane, from memory). Volume shares are at 15 °C, so each
    component's mass is expanded on its own.
    """
    if not math.isclose(math.fsum(parts.values()), 1.0, abs_tol=1e-9) or min(parts.values()) < 0.0:
        raise ValueError(f"shares must be positive and sum to 1: {dict(parts)}")
    mixed = mixture(parts, temperature_k)
    oxygen = (w * COMPONENTS[name].oxygen_mass_fraction for name, w in mixed.mass_fractions.items())
    return Blend(
        parts=MappingProxyType(dict(parts)),
        mass_fractions=MappingProxyType(dict(mixed.mass_fractions)),
        stoichiometric=mixed.stoichiometric,
        density_15=mixed.density_15,
        density=mixed.density,
        temperature_k=temperature_k,
        oxygen_mass_fraction=math.fsum(oxygen),
    )


class Mixture(NamedTuple):
    """A mixture by volume: shares by mass, stoichiometric ratio, densities at 15 °C and in the rail."""

    mass_fractions: Mapping[str, float]
    stoichiometric: float
    density_15: float
    density: float


def mixture(parts: Mapping[str, float], temperature_k: float) -> Mixture:
    """The arithmetic of `blend` alone: shares may also be arrays, many mixtures at once, and are not checked.

    Parameters
    ----------
    parts
        φ: component → share by volume at 15 °C [-].
    temperature_k
        Temperature of the fuel, −20…80 °C [K].

    Returns
    -------
    Mixture
        Of the shapes of the shares.

    Notes
    -----
    As `blend`, and as exact.
    """
    masses = {name: share * _component(name).density_15 for name, share in parts.items()}
    density_15 = sum(masses.values())
    fractions = {name: mass / density_15 for name, mass in masses.items()}
    volume = sum(fraction / component_density(name, temperature_k) for name, fraction in fractions.items())
    ratio = sum(w * COMPONENTS[name].stoichiometric for name, w in fractions.items())
    return Mixture(fractions, ratio, density_15, 1.0 / volume)


def volume_displaced(parts: Mapping[str, float], lambda_: float) -> float:
    """Share of the charge that evaporated fuel takes from the air, ``1 − 1/(1 + (F/A)·(Ma/Mf))``.

    Parameters
    ----------
    parts
        Component → share by volume at 15 °C, sum 1 [-].
    lambda_
        Relative air/fuel ratio; F/A = 1/(λL) [-].

    Returns
    -------
    float
        Share of the air's volume lost if all fuel evaporates before the valve closes, 0…1 [-].

    Notes
    -----
    Equal moles take equal volumes; Heywood, section 6.2. Evaporation also cools the charge, the other way.
    """
    mixed = blend(parts, REFERENCE_C + ZERO_CELSIUS)
    fuel_moles = math.fsum(w / COMPONENTS[name].molar_mass for name, w in mixed.mass_fractions.items())
    ratio = fuel_moles * AIR_MOLAR_MASS / (lambda_ * mixed.stoichiometric)
    return ratio / (1.0 + ratio)
