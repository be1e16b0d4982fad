from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.physics import fuel
from basemap.physics.fuel_density import TABULATED
from tests.builders.cases import each

LIQUIDS = sorted(fuel.COMPONENTS)
TEMPERATURES_C = range(-20, 81, 5)


def kelvin(celsius: float) -> float:
    return celsius + 273.15


@pytest.mark.law
@each("name", LIQUIDS)
def test_liquids_expand_and_faster_when_hot(name: str) -> None:
    densities = [fuel.component_density(name, kelvin(t)) for t in TEMPERATURES_C]
    steps = [after - before for before, after in pairwise(densities)]
    assert max(steps) < 0.0
    assert steps == sorted(steps, reverse=True)


@pytest.mark.law
@each("name", sorted(TABULATED))
def test_the_quadratic_meets_the_table_at_15_and_20_degrees(name: str) -> None:
    assert fuel.component_density(name, kelvin(15)) == pytest.approx(TABULATED[name][0], rel=1e-12)
    assert fuel.component_density(name, kelvin(20)) == pytest.approx(TABULATED[name][1], rel=1e-12)


@pytest.mark.law
@each("name", sorted(TABULATED))
def test_no_other_curvature_fits_40_and_80_degrees_better(name: str) -> None:
    # A quadratic through the points at 15 and 20 °C moves by c·(t−15)·(t−20); the chosen one is the least of squares.
    errors = {t: fuel.component_density(name, kelvin(t)) - TABULATED[name][i] for i, t in ((2, 40), (3, 80))}

    def squares(extra: float) -> float:
        return sum((error + extra * (t - 15) * (t - 20)) ** 2 for t, error in errors.items())

    assert squares(0.0) < squares(1e-6)
    assert squares(0.0) < squares(-1e-6)


@pytest.mark.law
def test_petrol_at_15_degrees_has_its_density_at_15_degrees() -> None:
    for density in (653.0, 720.0, 745.0, 770.0, 770.1, 787.5):
        assert fuel.petrol_density(density, kelvin(15)) == pytest.approx(density, rel=1e-15)


@pytest.mark.law
def test_light_petrol_expands_more_than_heavy() -> None:
    expansions = [fuel.petrol_density(density, kelvin(60)) / density for density in range(655, 788, 5)]
    # From one branch to the other, at 770 kg/m³, the order turns by 1.7e-4: that step is the standard's own.
    petrol, transition = expansions[:24], expansions[24:]
    assert petrol == sorted(petrol)
    assert transition == sorted(transition)


@pytest.mark.law
def test_the_branches_meet_within_what_the_model_is_good_for() -> None:
    # 2.5e-4 at 80 °C; petrol is good to 3e-3.
    below, above = (fuel.petrol_density(770.0 + step, kelvin(80)) for step in (0.0, 1e-9))
    assert above / below - 1.0 == pytest.approx(-2.5e-4, abs=0.05e-4)


@pytest.mark.law
@each("density", [652.9, 787.6, 0.745, float("nan")])
def test_a_density_that_is_no_petrol_is_refused(density: float) -> None:
    with pytest.raises(InputError) as caught:
        fuel.petrol_density(density, kelvin(40))
    assert str(caught.value) == (
        f"a petrol of {density:g} kg/m³ at 15 °C is outside 653…787.5 kg/m³, where its expansion is known "
        "(EN 228 petrol has 720…775); give the composition as blend or parts"
    )


@pytest.mark.law
@each("name", LIQUIDS)
@each(("celsius", "shown"), [(-20.1, "-20.1"), (80.1, "80.1"), (-273.15, "-273.1")])
def test_a_temperature_outside_the_data_is_refused(name: str, celsius: float, shown: str) -> None:
    with pytest.raises(InputError) as caught:
        fuel.component_density(name, kelvin(celsius))
    assert str(caught.value) == (
        f"a fuel temperature of {shown} °C is outside -20…80 °C, where the density of liquid fuel is known; "
        "give the temperature in the rail, usually 30…60 °C"
    )


@pytest.mark.law
@each("name", LIQUIDS)
def test_the_ends_of_the_range_are_in_it(name: str) -> None:
    assert fuel.component_density(name, 253.15) > fuel.component_density(name, 353.15)


@pytest.mark.law
# Within the ends of petrol by more than their own rounding: at an end itself the last bit decides whether it is one.
@given(st.floats(653.0 + 1e-9, 787.5 - 1e-9), st.floats(-20.0, 80.0), st.floats(-20.0, 80.0))
def test_a_typed_density_comes_back_at_its_own_temperature_and_from_any_other(
    density_15: float, at_c: float, rail_c: float
) -> None:
    typed = fuel.petrol_density(density_15, kelvin(at_c))
    rail = fuel.petrol_density(density_15, kelvin(rail_c))
    # At the change of branch, two petrols 2.5e-4 apart share a density when warm and none has it when cold.
    near_the_step = abs(density_15 - 770.0) < 0.5
    tolerance = 5e-4 if near_the_step else 1e-9
    assert fuel.expand_typed(typed, kelvin(at_c), 14.6, kelvin(rail_c)) == pytest.approx(rail, rel=tolerance)


@pytest.mark.law
def test_a_density_typed_at_15_degrees_expands_as_petrol_of_it() -> None:
    assert fuel.expand_typed(745.0, 288.15, 14.6, 313.15) == fuel.petrol_density(745.0, 313.15)


@pytest.mark.law
@each(
    ("density", "ratio", "shown"),
    [(786.4, 9.8, "9.8"), (745.0, 13.5, "13.5"), (640.0, 15.2, "15.2"), (790.0, 14.6, "14.6")],
)
def test_a_typed_density_that_is_no_petrol_needs_its_composition(density: float, ratio: float, shown: str) -> None:
    with pytest.raises(InputError) as caught:
        fuel.expand_typed(density, 288.15, ratio, 313.15)
    assert str(caught.value) == (
        f"a fuel of {density:g} kg/m³ at 15 °C with a stoichiometric ratio of {shown} is not a petrol (653…787.5 kg/m³ "
        "at 15 °C, ratio above 13.5), so how it expands is not known; give the composition as blend or parts, or the "
        "density in the rail without density_at"
    )


@pytest.mark.law
def test_the_limits_of_petrol_are_those_at_15_degrees_and_not_at_the_typed_temperature() -> None:
    # 640 kg/m³ at 40 °C is 663.9 at 15 °C: a petrol. 787 kg/m³ at 40 °C is not.
    assert fuel.expand_typed(640.0, 313.15, 14.9, 288.15) == pytest.approx(663.9, abs=0.5)
    with pytest.raises(InputError, match=r"^a fuel of 787 kg/m³ at 40 °C"):
        fuel.expand_typed(787.0, 313.15, 14.6, 288.15)
