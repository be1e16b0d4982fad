"""What either ECU was told, and how it behaves."""

from __future__ import annotations

import numpy as np
import pytest

from tests.builders.cases import each
from tests.builders.files import assumed, refusal, valid, with_lines

PULSE = (
    ('"ve.csv"', '"pulse_short.csv"'),
    ('"volumetric efficiency"', '"pulse width"\necu_applies = ["dead time"]'),
)
COLDER = '\n[target.conditions]\ncharge_temperature = "20 degC"\n'
CHARGE, RAIL = "donor.settings.corrects_charge_temperature", "donor.settings.corrects_rail_pressure"


def test_only_what_the_settings_state_is_told() -> None:
    job = with_lines(append='\n[donor.settings]\ndisplacement = "2.0 l"\nstatic_flow = "180 g/min"\n')
    told = job.donor.told
    assert told.displacement_m3 == pytest.approx(2e-3)
    assert told.flow == pytest.approx(3e-3)
    assert told.flow_is_mass
    assert (told.stoichiometric, told.openings_per_cycle, told.dead_time) == (None, None, None)
    assert job.donor.hardware.engine.displacement_m3 == pytest.approx(1.998e-3)  # the hardware stays
    assert job.target.told.displacement_m3 is None


def test_the_target_is_told_nothing_unless_it_says_so() -> None:
    job = with_lines(
        append="\n[target.settings]\nstoichiometric = 14.7\nopenings_per_cycle = 2\n\n"
        '[target.settings.dead_time]\nbattery = ["12 V", "14 V"]\ntime = ["1.0 ms", "0.8 ms"]\n'
    )
    told = job.target.told
    assert (told.stoichiometric, told.openings_per_cycle, told.flow) == (14.7, 2.0, None)
    assert told.dead_time is not None
    np.testing.assert_allclose(told.dead_time.time_s, [[1e-3, 0.8e-3]])
    assert job.cannot_be_told == frozenset()


def test_behaviour_is_inherited_unless_the_target_says_otherwise() -> None:
    donor = (
        "\n[donor.settings]\ncorrects_rail_pressure = true\ncorrects_charge_temperature = false\n"
        "formula_factor = 1.02\n"
    )
    same = with_lines(append=donor)
    assert same.target.told.corrects_rail_pressure
    assert not same.target.told.corrects_charge_temperature
    assert same.target.told.formula_factor == 1.02
    target = (
        "\n[target.settings]\ncorrects_rail_pressure = false\n"
        "corrects_charge_temperature = true\nformula_factor = 1.0\n"
    )
    other = with_lines(append=donor + target)
    assert not other.target.told.corrects_rail_pressure
    assert other.target.told.corrects_charge_temperature
    assert other.target.told.formula_factor == 1.0


@pytest.mark.parametrize(("pairs", "corrects"), [((), True), (PULSE, False)])
def test_a_ve_formula_corrects_for_charge_temperature_and_a_pulse_does_not(
    pairs: tuple[tuple[str, str], ...], corrects: bool
) -> None:
    job = with_lines(*pairs, append=COLDER)
    assert job.donor.told.corrects_charge_temperature is corrects
    assert assumed(job)[CHARGE].value == str(corrects).lower()
    unknown = with_lines(*pairs, append='\n[donor.settings]\ncorrects_charge_temperature = "unknown"\n')
    assert unknown.donor.told.corrects_charge_temperature is corrects
    assert assumed(unknown)[CHARGE].unknown


def test_a_default_that_moves_nothing_is_not_listed() -> None:
    equal = ('rail_pressure = "3.5 bar"', 'rail_pressure = "3.0 bar"')
    assert not {CHARGE, RAIL} & set(assumed(with_lines(equal)))
    assert RAIL in assumed(with_lines())  # 3.0 and 3.5 bar
    assert RAIL in assumed(with_lines(equal, ('regulator = "manifold"', 'regulator = "fixed"')))
    assert CHARGE in assumed(with_lines(equal, append=COLDER))


def test_what_keeps_the_donors_value() -> None:
    assert valid("settings_only").cannot_be_told == {"stoichiometric", "dead_time"}


@each(
    ("append", "message"),
    [
        (
            '[target.settings]\ncorrects_charge_temperature = "unknown"\n',
            'target.settings.corrects_charge_temperature: must not be "unknown" here: leave the key out if the '
            "target's ECU behaves as the donor's",
        ),
        (
            '[donor.settings]\ncorrects_rail_pressure = "yes"\n',
            "donor.settings.corrects_rail_pressure: must be true or false, without quotes",
        ),
        (
            '[donor.settings]\ncorrects_charge_temperature = "yes"\n',
            'donor.settings.corrects_charge_temperature: must be true or false without quotes, or "unknown"',
        ),
        (
            '[donor.settings]\nstatic_flow = "24 lb/h = 252 cc/min"\n',
            'donor.settings.static_flow: "24 lb/h = 252 cc/min" states two flows: give the one that the ECU was told',
        ),
        (
            '[target.settings]\ncannot_be_told = "dead_time"\n',
            'target.settings.cannot_be_told: must be a list such as ["displacement", "static_flow"]',
        ),
        (
            '[target.settings]\ncannot_be_told = ["dead_time", "dead_time"]\n',
            'target.settings.cannot_be_told: "dead_time" is in the list twice',
        ),
        (
            "[donor.settings]\nformula_factor = 0\n",
            'donor.settings.formula_factor: "0" is outside the plausible range 0.2 to 5',
        ),
    ],
)
def test_refusals(append: str, message: str) -> None:
    assert refusal(append=f"\n{append}") == f"job.toml: {message}"
