from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.physics import fuel
from tests.builders.cases import each

KNOWN = "E5, E10, E85, E100, M100, petrol, ethanol, methanol, n-heptane, iso-octane, toluene"


@st.composite
def mixtures(draw: st.DrawFn) -> dict[str, float]:
    """Any two or more components in any shares."""
    names = draw(st.lists(st.sampled_from(sorted(fuel.COMPONENTS)), min_size=2, max_size=6, unique=True))
    weights = [draw(st.floats(0.01, 1.0)) for _ in names]
    return {name: weight / sum(weights) for name, weight in zip(names, weights, strict=True)}


@pytest.mark.law
def test_ratio_depends_on_the_composition_and_not_on_the_size_of_the_molecule() -> None:
    assert fuel.stoichiometric_ratio(2, 6, 1) == pytest.approx(fuel.stoichiometric_ratio(1, 3, 0.5), rel=1e-15)


@pytest.mark.law
def test_oxygen_in_the_fuel_lowers_the_ratio_and_hydrogen_raises_it() -> None:
    assert fuel.stoichiometric_ratio(2, 6, 1) < fuel.stoichiometric_ratio(2, 6, 0)
    assert fuel.stoichiometric_ratio(1, 1.95, 0) > fuel.stoichiometric_ratio(1, 1.80, 0)


@pytest.mark.law
def test_what_is_burnt_already_needs_no_air() -> None:
    assert fuel.stoichiometric_ratio(1, 0, 2) == 0.0
    assert fuel.stoichiometric_ratio(0, 2, 1) == 0.0


@pytest.mark.law
@each("name", sorted(fuel.COMPONENTS))
def test_a_blend_of_one_is_the_component(name: str) -> None:
    one = fuel.blend({name: 1.0}, 313.15)
    component = fuel.COMPONENTS[name]
    assert one.mass_fractions == {name: 1.0}
    assert one.stoichiometric == component.stoichiometric
    assert one.oxygen_mass_fraction == component.oxygen_mass_fraction
    assert one.density_15 == component.density_15
    assert one.density == pytest.approx(fuel.component_density(name, 313.15), rel=1e-15)


@pytest.mark.law
@given(mixtures())
def test_a_blend_lies_between_its_components(parts: dict[str, float]) -> None:
    mixed = fuel.blend(parts, 313.15)
    for value, every in (
        (mixed.stoichiometric, [fuel.COMPONENTS[name].stoichiometric for name in parts]),
        (mixed.density_15, [fuel.COMPONENTS[name].density_15 for name in parts]),
        (mixed.density, [fuel.component_density(name, 313.15) for name in parts]),
    ):
        assert min(every) * (1 - 1e-12) <= value <= max(every) * (1 + 1e-12)


@pytest.mark.law
@given(mixtures())
def test_atoms_are_kept_in_a_blend(parts: dict[str, float]) -> None:
    # The blend as ONE molecule, its atoms counted from the moles of each component, needs the same air.
    moles = {
        name: parts[name] * fuel.COMPONENTS[name].density_15 / mass_of_formula(fuel.COMPONENTS[name]) for name in parts
    }
    carbon, hydrogen, oxygen = (
        sum(moles[name] * getattr(fuel.COMPONENTS[name], atom) for name in parts)
        for atom in ("carbon", "hydrogen", "oxygen")
    )
    as_one = fuel.stoichiometric_ratio(carbon, hydrogen, oxygen)
    assert fuel.blend(parts, 293.15).stoichiometric == pytest.approx(as_one, rel=1e-12)


def mass_of_formula(component: fuel.Component) -> float:
    return 12.011 * component.carbon + 1.008 * component.hydrogen + 15.999 * component.oxygen


@pytest.mark.law
@given(mixtures(), st.floats(253.15, 353.15))
def test_mass_is_kept_when_a_blend_expands(parts: dict[str, float], temperature_k: float) -> None:
    # One cubic metre at 15 °C becomes Σφ·ρ15/ρ(t), whatever it is mixed from.
    mixed = fuel.blend(parts, temperature_k)
    volume = sum(
        share * fuel.COMPONENTS[name].density_15 / fuel.component_density(name, temperature_k)
        for name, share in parts.items()
    )
    assert sum(mixed.mass_fractions.values()) == pytest.approx(1.0, abs=1e-14)
    assert mixed.density * volume == pytest.approx(mixed.density_15, rel=1e-13)


@pytest.mark.law
def test_at_15_degrees_a_blend_has_its_density_at_15_degrees() -> None:
    mixed = fuel.blend(fuel.BLENDS["E85"], 288.15)
    assert mixed.density == pytest.approx(mixed.density_15, rel=1e-15)
    assert mixed.temperature_k == 288.15


@pytest.mark.law
def test_more_ethanol_means_less_air_and_more_density() -> None:
    ladder = [fuel.blend(fuel.find_blend(name), 313.15) for name in ("petrol", "E5", "E10", "E85", "E100")]
    for less, more in pairwise(ladder):
        assert more.stoichiometric < less.stoichiometric
        assert more.density > less.density
        assert more.oxygen_mass_fraction > less.oxygen_mass_fraction


@pytest.mark.law
@each("parts", [{"petrol": 0.9}, {"petrol": 0.6, "ethanol": 0.5}, {"petrol": 1.2, "ethanol": -0.2}, {}])
def test_shares_that_are_not_shares_are_the_callers_mistake(parts: Mapping[str, float]) -> None:
    with pytest.raises(ValueError, match=r"^shares must be positive and sum to 1: "):
        fuel.blend(parts, 293.15)


@pytest.mark.law
def test_many_mixtures_at_once_are_those_mixtures() -> None:
    ethanol = np.array([0.0, 0.05, 0.85, 1.0])
    shares: dict[str, Any] = {"petrol": 1.0 - ethanol, "ethanol": ethanol}
    many = fuel.mixture(shares, 313.15)
    each = [fuel.blend({"petrol": 1.0 - share, "ethanol": share}, 313.15) for share in ethanol.tolist()]
    np.testing.assert_allclose(many.stoichiometric, [one.stoichiometric for one in each], rtol=1e-15)
    np.testing.assert_allclose(many.density_15, [one.density_15 for one in each], rtol=1e-15)
    np.testing.assert_allclose(many.density, [one.density for one in each], rtol=1e-15)


@pytest.mark.law
@each("name", [*fuel.BLENDS, "e10", "PETROL", " Iso-Octane "])
def test_a_fuel_is_found_in_upper_or_lower_case(name: str) -> None:
    parts = fuel.find_blend(name)
    assert sum(parts.values()) == pytest.approx(1.0, abs=1e-15)
    assert parts == next(v for k, v in fuel.BLENDS.items() if k.lower() == name.strip().lower())


@pytest.mark.law
@each(("name", "nearest"), [("E84", "E85"), ("isooctane", "iso-octane"), ("etanol", "ethanol"), ("Petroll", "petrol")])
def test_an_unknown_fuel_is_answered_with_the_nearest(name: str, nearest: str) -> None:
    with pytest.raises(InputError) as caught:
        fuel.find_blend(name)
    assert str(caught.value) == (
        f"no fuel is known as '{name}'; nearest is '{nearest}'; known: {KNOWN}; "
        "any other mixture can be given as parts, in volume %"
    )


@pytest.mark.law
def test_a_fuel_like_none_is_answered_with_the_list() -> None:
    with pytest.raises(InputError) as caught:
        fuel.find_blend("paraffin")
    assert str(caught.value) == (
        f"no fuel is known as 'paraffin'; known: {KNOWN}; any other mixture can be given as parts, in volume %"
    )


@pytest.mark.law
def test_gasoline_is_petrol() -> None:
    assert fuel.find_blend("Gasoline") == {"petrol": 1.0}


@pytest.mark.law
@each(("name", "why"), [("LPG", "displaces air"), ("diesel", "meters fuel alone")])
def test_gas_and_diesel_are_not_covered_and_it_is_said_why(name: str, why: str) -> None:
    with pytest.raises(InputError, match=f"'{name}' is not covered: .*{why}"):
        fuel.find_blend(name)


@pytest.mark.law
def test_an_unknown_component_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        fuel.blend({"petrol": 0.9, "methanoll": 0.1}, 293.15)
    assert str(caught.value) == (
        "'methanoll' is not a component of a fuel; nearest is 'methanol'; "
        "known: petrol, ethanol, methanol, n-heptane, iso-octane, toluene"
    )


@pytest.mark.law
def test_lean_mixtures_displace_less_air_and_no_fuel_none() -> None:
    shares = [fuel.volume_displaced(fuel.BLENDS["E85"], lambda_) for lambda_ in (0.8, 1.0, 1.2, 1e9)]
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.law
def test_small_molecules_displace_more_air() -> None:
    shares = [fuel.volume_displaced({name: 1.0}, 1.0) for name in ("iso-octane", "n-heptane", "ethanol", "methanol")]
    assert shares == sorted(shares)


@pytest.mark.law
def test_a_question_about_a_fuel_does_not_load_numpy() -> None:
    code = "import sys, basemap.physics.fuel; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
