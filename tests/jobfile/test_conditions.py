"""Barometer, altitude, charge temperature and battery of either side."""

from __future__ import annotations

import pytest

from tests.builders.files import assumed, refusal, with_lines

SHARED = ('barometer = "101.325 kPa"', "")
# The table reaches 100 kPa: above the barometer of a high place an engine must say how it breathes.
ATMOSPHERIC = tuple(
    (line, f'{line}\ninduction = "atmospheric"') for line in ('displacement = "1998 cc"', 'displacement = "2393 cc"')
)


def test_the_defaults() -> None:
    job = with_lines(SHARED)
    for side in (job.donor.hardware, job.target.hardware):
        assert side.conditions.barometer_pa == 101_325.0
        assert side.conditions.charge_temperature_k == pytest.approx(313.15)
        assert side.conditions.battery_v == 13.8
    assert {"conditions.barometer", "conditions.charge_temperature", "conditions.battery"} <= set(assumed(job))


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("altitude", "pascal"),
    # US Standard Atmosphere 1976 over geopotential height (ISO 2533 is the same): 95460.8, 89874.6, 79495.2 Pa.
    [("0 m", 101_325.0), ("500 m", 95_460.8), ("1 km", 89_874.6), ("6561.68 ft", 79_495.2)],
)
def test_a_barometer_from_an_altitude(altitude: str, pascal: float) -> None:
    # Five to six printed digits.
    job = with_lines((SHARED[0], f'altitude = "{altitude}"'), *ATMOSPHERIC)
    assert job.donor.hardware.conditions.barometer_pa == pytest.approx(pascal, abs=0.06)
    assert "conditions.barometer" not in assumed(job)


@pytest.mark.parametrize("unit", ["100 kPa", "1 bar", "29.53 inHg", "29.53 inHg absolute", "750.06 mmHg"])
def test_a_barometer_needs_no_word(unit: str) -> None:
    assert with_lines((SHARED[0], f'barometer = "{unit}"')).donor.hardware.conditions.barometer_pa == pytest.approx(
        1e5, rel=1e-4
    )


def test_a_side_overrides_key_by_key() -> None:
    job = with_lines(
        *ATMOSPHERIC, append='\n[donor.conditions]\nbattery = "12.5 V"\n\n[target.conditions]\naltitude = "1000 m"\n'
    )
    assert (job.donor.hardware.conditions.battery_v, job.target.hardware.conditions.battery_v) == (12.5, 13.8)
    assert job.donor.hardware.conditions.barometer_pa == 101_325.0
    # Its own altitude is not held against the barometer of the whole job: they are different places.
    assert job.target.hardware.conditions.barometer_pa == pytest.approx(89_874.6, abs=0.06)
    assert "conditions.battery" in assumed(job)


@pytest.mark.parametrize(("altitude", "agrees"), [("300 m", True), ("340 m", False), ("-300 m", True)])
def test_barometer_and_altitude_agree_within_4_kpa(altitude: str, agrees: bool) -> None:
    lines = (SHARED[0], f'barometer = "101.325 kPa"\naltitude = "{altitude}"')
    if agrees:
        assert with_lines(lines).donor.hardware.conditions.barometer_pa == 101_325.0
    else:
        assert refusal(lines) == (
            'job.toml: conditions.barometer: "101.325 kPa" contradicts altitude "340 m", where the barometer reads '
            "about 97.3 kPa: it looks like a figure reduced to sea level; give the station pressure, or leave one of "
            "the two out"
        )


def test_a_disagreement_names_the_side() -> None:
    append = '\n[target.conditions]\nbarometer = "1013 hPa"\naltitude = "2000 m"\n'
    assert refusal(append=append).startswith('job.toml: target.conditions.barometer: "1013 hPa" contradicts')


def test_copied_conditions_are_the_donors() -> None:
    job = with_lines(
        ("[target.engine]", '[target]\nsame_as_donor = ["conditions"]\n\n[target.engine]'),
        *ATMOSPHERIC,
        append='\n[donor.conditions]\nbattery = "12.5 V"\naltitude = "1000 m"\n\n'
        '[target.conditions]\nbattery = "13 V"\n',
    )
    assert job.target.hardware.conditions.barometer_pa == job.donor.hardware.conditions.barometer_pa
    assert job.target.hardware.conditions.battery_v == 13.0
