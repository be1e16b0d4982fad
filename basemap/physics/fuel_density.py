"""Density of liquid fuels over temperature. Plain floats and no numpy."""

from __future__ import annotations

import math
from collections.abc import Mapping

from basemap.constants import ZERO_CELSIUS
from basemap.errors import InputError

REFERENCE_C = 15.0
"""Temperature at which fuels are sold by volume and their densities stated, °C. EN 228."""

COLDEST_C, HOTTEST_C = -20.0, 80.0
"""Range in which a liquid's density is worked out, °C."""

LIGHTEST_PETROL, HEAVIEST_PETROL = 653.0, 787.5
"""Densities at 15 °C for which ASTM D1250 table 54B has a petrol or a transition branch, kg/m³."""

LOWEST_PETROL_RATIO = 13.5
"""With a lower stoichiometric ratio a fuel holds too much oxygen to expand as petrol. Common practice, no source."""

CELSIUS_SLACK = 1e-6
"""Room for the rounding of K to °C at the end of a range, K."""

PETROL_15 = 745.0
"""An ordinary petrol at 15 °C, kg/m³. EN 228 allows 720…775."""

# kg/m³ at TABULATED_C and 1 bar; ethanol and methanol, which boil below 80 °C, at 4.01325 bar there.
# CoolProp 8.0.0: ethanol Schroeder 2014, methanol de Reuck 1993, n-heptane Span-Wagner 2003, toluene Lemmon-Span 2006.
# iso-octane: thermo 0.6.1, HEOS_FIT.
TABULATED_C = (15.0, 20.0, 40.0, 80.0)
TABULATED: Mapping[str, tuple[float, float, float, float]] = {
    "ethanol": (793.68792, 789.42030, 772.08954, 735.22795),
    "methanol": (795.68956, 791.01115, 772.16712, 732.88775),
    "n-heptane": (688.01394, 683.81407, 666.82081, 631.42706),
    "iso-octane": (696.1159, 692.0161, 675.4071, 640.7549),
    "toluene": (871.53391, 866.89056, 848.19759, 809.86299),
}

N_HEPTANE_20 = TABULATED["n-heptane"][1]
"""The usual rating fluid of injectors, n-heptane at 20 °C, kg/m³. CoolProp 8.0.0; the fluid: SAE J1832, from memory."""


def _quadratic(densities: tuple[float, float, float, float]) -> tuple[float, float]:
    """Coefficients b and c of the quadratic: exact at 15 and 20 °C, c by least squares on 40 and 80 °C."""
    at_15, at_20, *further = densities
    span = TABULATED_C[1] - REFERENCE_C
    chord = (at_20 - at_15) / span
    # With b = chord − c·span, what the chord leaves at t is c·(t−15)·(t−20): one unknown.
    products = [(t - REFERENCE_C) * (t - TABULATED_C[1]) for t in TABULATED_C[2:]]
    left = [density - at_15 - chord * (t - REFERENCE_C) for density, t in zip(further, TABULATED_C[2:], strict=True)]
    c = sum(p * r for p, r in zip(products, left, strict=True)) / sum(p * p for p in products)
    return chord - c * span, c


_QUADRATIC = {name: _quadratic(densities) for name, densities in TABULATED.items()}


def _celsius(temperature_k: float) -> float:
    """°C, refused outside the range in which densities are worked out."""
    celsius = temperature_k - ZERO_CELSIUS
    if not COLDEST_C - CELSIUS_SLACK <= celsius <= HOTTEST_C + CELSIUS_SLACK:
        raise InputError(
            f"a fuel temperature of {celsius:.4g} °C is outside {COLDEST_C:g}…{HOTTEST_C:g} °C, "
            "where the density of liquid fuel is known; give the temperature in the rail, usually 30…60 °C"
        )
    return celsius


def petrol_density(density_15: float, temperature_k: float) -> float:
    """Density of petrol, ``ρ = ρ15·exp(−αΔ(1 + 0.8αΔ))`` with Δ = t − 15 °C.

    ``α = 346.4228/ρ15² + 0.4388/ρ15`` up to 770 kg/m³, ``α = −0.00336312 + 2680.3206/ρ15²`` above.

    Parameters
    ----------
    density_15
        ρ15: density at 15 °C, 653…787.5 [kg/m³].
    temperature_k
        Temperature, −20…80 °C [K].

    Returns
    -------
    float
        Density [kg/m³].

    Raises
    ------
    InputError
        Outside either range.

    Notes
    -----
    ASTM D1250-80 (API MPMS 11.1) table 54B. Within 3e-3 for petrol up to 80 °C; not for alcohols or pure compounds.
    The branches differ by 3.4e-6/K at 770 kg/m³: 2.5e-4 in density at 80 °C.
    """
    delta = _celsius(temperature_k) - REFERENCE_C
    if not LIGHTEST_PETROL <= density_15 <= HEAVIEST_PETROL:
        raise InputError(
            f"a petrol of {density_15:g} kg/m³ at 15 °C is outside {LIGHTEST_PETROL:g}…{HEAVIEST_PETROL:g} kg/m³, "
            "where its expansion is known (EN 228 petrol has 720…775); give the composition as blend or parts"
        )
    expansion = _petrol_expansion(density_15) * delta
    return density_15 * math.exp(-expansion * (1.0 + 0.8 * expansion))


def _petrol_expansion(density_15: float) -> float:
    """α at 15 °C, 1/K."""
    if density_15 <= 770.0:
        return 346.4228 / density_15**2 + 0.4388 / density_15
    return -0.00336312 + 2680.3206 / density_15**2


def component_density(name: str, temperature_k: float) -> float:
    """Density of one component; a pure liquid by ``ρ15 + b·(t−15) + c·(t−15)²``, petrol by `petrol_density`.

    Parameters
    ----------
    name
        ``petrol`` or a key of `TABULATED`.
    temperature_k
        Temperature, −20…80 °C [K].

    Returns
    -------
    float
        Density of the liquid [kg/m³].

    Raises
    ------
    InputError
        Outside −20…80 °C.
    KeyError
        Unknown component.

    Notes
    -----
    The quadratic is exact at 15 and 20 °C and fitted at 40 and 80 °C to the densities in the source. It agrees with
    the libraries that they come from within 3e-4 from 0 to 80 °C and within 1.1e-3 down to −20 °C. The 3 bar of a
    rail, which add up to 7e-4 (n-heptane at 80 °C), are not in it.
    """
    if name == "petrol":
        return petrol_density(PETROL_15, temperature_k)
    delta = _celsius(temperature_k) - REFERENCE_C
    b, c = _QUADRATIC[name]
    return TABULATED[name][0] + b * delta + c * delta**2


def expand_typed(density: float, at_k: float, stoichiometric: float, temperature_k: float) -> float:
    """Density in the rail of a fuel known only by its density at some temperature: it expands as petrol does.

    Parameters
    ----------
    density
        As typed [kg/m³].
    at_k
        Temperature at which that density holds, −20…80 °C [K].
    stoichiometric
        Stoichiometric air/fuel ratio by mass [-].
    temperature_k
        Temperature of the fuel in the rail, −20…80 °C [K].

    Returns
    -------
    float
        Density at `temperature_k` [kg/m³].

    Raises
    ------
    InputError
        If the density at 15 °C is not 653…787.5 kg/m³ or the ratio is 13.5 or less: not a petrol, so the
        composition is required.

    Notes
    -----
    ASTM D1250-80 table 54B, solved for the density at 15 °C where it was typed at another temperature.
    """
    lightest, heaviest = (petrol_density(end, at_k) for end in (LIGHTEST_PETROL, HEAVIEST_PETROL))
    if not (stoichiometric > LOWEST_PETROL_RATIO and lightest <= density <= heaviest):
        raise InputError(
            f"a fuel of {density:g} kg/m³ at {at_k - ZERO_CELSIUS:.4g} °C with a stoichiometric ratio of "
            f"{stoichiometric:g} is not a petrol ({LIGHTEST_PETROL:g}…{HEAVIEST_PETROL:g} kg/m³ at 15 °C, ratio above "
            f"{LOWEST_PETROL_RATIO:g}), so how it expands is not known; give the composition as blend or parts, or the "
            "density in the rail without density_at"
        )
    return petrol_density(_petrol_density_15(density, at_k), temperature_k)


def _petrol_density_15(density: float, at_k: float) -> float:
    """The density at 15 °C of a petrol that has `density` at `at_k`, by halving; exact at 15 °C."""
    if math.isclose(at_k, ZERO_CELSIUS + REFERENCE_C, abs_tol=CELSIUS_SLACK):
        return density
    low, high = LIGHTEST_PETROL, HEAVIEST_PETROL
    # The branch change at 770 kg/m³ steps by 2.5e-4 at most, so halving still ends beside the answer.
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if petrol_density(middle, at_k) < density else (low, middle)
    return 0.5 * (low + high)
