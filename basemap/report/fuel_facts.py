"""Stoichiometric ratio, density and oxygen of a fuel: the answer of `basemap fuel`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from basemap.adaptation.quantities.kinds import Kind
from basemap.constants import ZERO_CELSIUS
from basemap.errors import InputError
from basemap.jobfile.quantities import parse_quantity
from basemap.physics.fuel import COMPONENTS, blend, find_blend
from basemap.report.facts import Answer, Fact


def of_name(name: str, kelvin: float) -> Answer:
    """The answer for a fuel by its name, at a temperature in the rail, K.

    Raises
    ------
    InputError
        Where no fuel is known by that name, or the temperature is out of range.
    """
    return _answer(f"{name} (nominal content)", find_blend(name), kelvin, _remarks(name, kelvin))


def of_parts(texts: Sequence[str], kelvin: float) -> Answer:
    """The answer for a measured fuel: texts such as ``ethanol=78``, volume %; one without a number takes the rest.

    Raises
    ------
    InputError
        Where a liquid is not known, or the shares do not add up.
    """
    shares = _shares(texts)
    title = " + ".join(f"{liquid} {share:.4g} %" for liquid, share in shares.items())
    parts = {liquid: share / 100 for liquid, share in shares.items()}
    return _answer(f"{title} by volume at 15 °C", parts, kelvin, [])


def _answer(title: str, parts: Mapping[str, float], kelvin: float, remarks: list[str]) -> Answer:
    mixture = blend(parts, kelvin)
    celsius = f"{kelvin - ZERO_CELSIUS:.4g} °C"
    facts = [
        Fact("stoichiometric", "stoichiometric air/fuel ratio", mixture.stoichiometric, "by mass"),
        Fact("density_15_kg_m3", "density at 15 °C", mixture.density_15, "kg/m3"),
        Fact("density_kg_m3", f"density in the rail at {celsius}", mixture.density, "kg/m3"),
        Fact("oxygen_percent", "oxygen", 100 * mixture.oxygen_mass_fraction, "% by mass", 3),
        *(_part(liquid, share, mixture.mass_fractions[liquid]) for liquid, share in parts.items()),
    ]
    return Answer(title, facts, remarks)


def _part(liquid: str, share: float, by_mass: float) -> Fact:
    key = liquid.replace("-", "_")
    return Fact(f"{key}_volume_percent", liquid, 100 * share, f"% by volume, {100 * by_mass:.3g} % by mass", 3)


def _shares(texts: Sequence[str]) -> dict[str, float]:
    """Texts such as ``ethanol=78`` → liquid → volume %."""
    shares: dict[str, float] = {}
    rest: list[str] = []
    for text in texts:
        liquid, equals, share = (piece.strip() for piece in text.partition("="))
        if liquid not in COMPONENTS:
            raise InputError(f'"{liquid}" is not a known liquid: write one of {", ".join(COMPONENTS)}', place="--part")
        if liquid in shares or liquid in rest:
            raise InputError(f'"{liquid}" is given twice', place="--part")
        if not equals:
            rest.append(liquid)
            continue
        shares[liquid] = 100 * parse_quantity(share, Kind.PERCENT, file=None, place="--part").value
        if not 0 <= shares[liquid] <= 100:
            raise InputError(f'"{text}": a share must be between 0 and 100 %', place="--part")
    total = sum(shares.values())
    if len(rest) == 1 and total <= 100:
        shares[rest[0]] = 100 - total
    elif rest or abs(total - 100) > 0.01:
        raise InputError(f"the shares add up to {total:.4g} %, but must add up to 100 %; give one liquid without a "
                         "share to take the rest", place="--part")  # fmt: skip
    return shares


def _remarks(name: str, kelvin: float) -> list[str]:
    """What the name of a fuel leaves open."""
    parts = find_blend(name)
    remarks = []
    if parts.get("ethanol", 0) >= 0.5 and "petrol" in parts:
        low, high = (_spread(ethanol, kelvin) for ethanol in (0.83, 0.51))
        remarks.append(
            "A name is not a composition: E85 may be sold with 51 to 83 % ethanol (ASTM D5798), which is a "
            f"stoichiometric ratio of {low[0]:.4g} to {high[0]:.4g} and {high[1]:.4g} to {low[1]:.4g} kg/m3 in the "
            "rail. Measure the content and give it with --part."
        )
    elif parts.get("petrol", 0) > 0.5:
        remarks.append("Petrol is sold with 720 to 775 kg/m3 at 15 °C (EN 228); 745 kg/m3 is used here.")
        if "ethanol" in parts:
            remarks.append("The name states the most ethanol that may be in it; the fuel may contain less.")
    return remarks


def _spread(ethanol: float, kelvin: float) -> tuple[float, float]:
    mixture = blend({"petrol": 1 - ethanol, "ethanol": ethanol}, kelvin)
    return mixture.stoichiometric, mixture.density
