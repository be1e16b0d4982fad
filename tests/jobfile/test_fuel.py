"""Fuel: by name, by parts, by its numbers."""

from __future__ import annotations

import pytest

from tests.builders.files import assumed, refusal, valid, with_lines

BLEND = 'blend = "E85"'


def test_a_blend_by_name_in_any_case() -> None:
    fuel = with_lines((BLEND, 'blend = "e85"')).target.hardware.fuel
    assert fuel.name == "e85"
    assert dict(fuel.parts) == pytest.approx({"petrol": 0.15, "ethanol": 0.85})


@pytest.mark.check_value
def test_a_blend_in_the_rail() -> None:
    # E85 of petrol 745 and CoolProp's ethanol: L 9.7958 with L_petrol 14.6 (14.5984 here: 1e-4), ρ15 786.385 kg/m³;
    # at 60 °C 746.468 kg/m³ (petrol by ASTM D1250 table 54B, ethanol CoolProp). Agreement there 1.6e-4, which is the
    # parabola that stands for ethanol's density between 40 and 80 °C.
    fuel = with_lines((BLEND, f'{BLEND}\ntemperature = "60 degC"')).target.hardware.fuel
    assert fuel.stoichiometric == pytest.approx(9.7958, rel=1.5e-4)
    assert fuel.density_15 == pytest.approx(786.385, rel=1e-6)
    assert fuel.density == pytest.approx(746.468, rel=2e-4)
    assert fuel.temperature_k == pytest.approx(333.15)


def test_parts_are_scaled_to_one_where_they_are_only_rounded() -> None:
    fuel = with_lines((BLEND, 'parts = { petrol = 22.3, ethanol = "78 ± 3" }')).target.hardware.fuel
    assert dict(fuel.parts) == pytest.approx({"petrol": 22.3 / 100.3, "ethanol": 78 / 100.3})
    assert fuel.name == "petrol 22.3 %, ethanol 78 %"
    assert refusal((BLEND, "parts = { petrol = 22.6, ethanol = 78 }")) == (
        "job.toml: target.fuel.parts: must add up to 100 % by volume, but adds up to 100.6 %"
    )


def test_numbers_are_the_rails_unless_a_temperature_stands_beside_them() -> None:
    job = with_lines((BLEND, 'stoichiometric = 14.6\ndensity = "745 kg/m3"\ntemperature = "60 degC"'))
    fuel = job.target.hardware.fuel
    assert (fuel.stoichiometric, fuel.density, fuel.density_15, fuel.parts) == (14.6, 745.0, None, ())
    assert fuel.ethanol is None
    assert fuel.name == "stoichiometric 14.6, 745 kg/m3"


@pytest.mark.check_value
def test_a_density_with_its_temperature_expands_as_petrol() -> None:
    # API MPMS 11.1 / ASTM D1250-80 table 54B: 745 kg/m³ at 15 °C is 703.7395 at 60 °C.
    lines = 'stoichiometric = 14.6\ndensity = "745 kg/m3"\ndensity_at = "15 degC"\ntemperature = "60 degC"'
    fuel = with_lines((BLEND, lines)).target.hardware.fuel
    assert fuel.density == pytest.approx(703.7395, rel=1e-6)
    assert fuel.density_15 == pytest.approx(745.0, rel=1e-12)


def test_its_temperature_is_assumed_only_where_something_expands() -> None:
    key = "target.fuel.temperature"
    assert assumed(with_lines())[key].half_width == "20 degC"
    typed = with_lines((BLEND, 'stoichiometric = 14.6\ndensity = "745 kg/m3"'))
    assert key not in assumed(typed)
    assert typed.target.hardware.fuel.temperature_k == pytest.approx(313.15)


@pytest.mark.parametrize("line", ['blend = "unknown"', ""])
def test_an_unknown_fuel_is_petrol_with_a_little_ethanol(line: str) -> None:
    """Said of the blend, or of the whole section, which then still lacks what is not the fuel's."""
    if line:
        job = valid("unknowns")
        assert dict(job.donor.hardware.fuel.parts) == pytest.approx({"petrol": 0.95, "ethanol": 0.05})
        written = job.inputs["donor.fuel.parts.ethanol"]
        assert written.value == pytest.approx(0.05)
        assert written.half_width == pytest.approx(0.05)
        assert written.origin == "assumed"
        assert assumed(job)["donor.fuel.blend"].unknown
    else:
        section = '[target.fuel]\nblend = "E85"\nrail_pressure = "3.5 bar"\nregulator = "manifold"\n'
        assert refusal((section, ""), ("[target.engine]", '[target]\nfuel = "unknown"\n\n[target.engine]')) == (
            'job.toml: target.fuel.regulator: missing: say "manifold" if a hose connects the regulator to the '
            'manifold, or "fixed" if not'
        )


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            'blend = "E85"\nparts = { ethanol = 100 }',
            "parts: is given together with blend: state the fuel in one way only",
        ),
        (
            'blend = "E85"\ndensity = "780 kg/m3"',
            "density: is given together with blend, which already gives it: leave it out",
        ),
        (
            'density = "780 kg/m3"',
            "stoichiometric: missing: give it together with density, such as 14.6, or give a blend instead of both",
        ),
        (
            'blend = "E85"\ndensity_at = "15 degC"',
            "density_at: is the temperature of density, but density is missing",
        ),
        (
            "parts = { petrol = -15, ethanol = 115 }",
            'parts.petrol: "-15" is outside the plausible range 0 to 100',
        ),
        ("parts = {}", "parts: must add up to 100 % by volume, but adds up to 0 %"),
        ('parts = "E85"', 'parts: must be a section with keys of its own, not "E85"'),
        (
            'stoichiometric = 14.6\ndensity = "7450 kg/m3"',
            'density: "7450 kg/m3" is outside the plausible range 0.6 g/cc to 0.9 g/cc',
        ),
    ],
)
def test_refusals(lines: str, message: str) -> None:
    assert refusal((BLEND, lines)) == f"job.toml: target.fuel.{message}"


def test_a_fuel_outside_the_known_temperatures_is_refused() -> None:
    assert refusal((BLEND, f'{BLEND}\ntemperature = "95 degC"')) == (
        'job.toml: target.fuel.temperature: "95 degC" is outside the plausible range -20 degC to 80 degC'
    )
