"""What of the donor may be left out, and what stands in."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from tests.builders.cases import each
from tests.builders.files import assumed, refusal, valid, with_lines

DONOR_INJECTORS = """[donor.injectors]
static_flow = "280 cc/min"
rated_pressure = "3.0 bar"

[donor.injectors.dead_time]
battery = ["10 V", "12 V", "14 V"]
time = ["1.75 ms", "1.20 ms", "0.85 ms"]
"""
DEAD_TIME = DONOR_INJECTORS.split("\n\n")[1]
FUEL = ('blend = "E5"\nrail_pressure = "3.0 bar"\n', "")


def test_what_cancels_is_marked_as_not_known() -> None:
    job = valid("cancelled")
    assert (job.donor.flow_known, job.donor.fuel_known, job.donor.dead_time_known) == (False, False, False)
    assert job.donor.hardware.fuel.name == ""
    assert (job.donor.hardware.fuel.stoichiometric, job.donor.hardware.fuel.density) == (
        job.target.hardware.fuel.stoichiometric,
        job.target.hardware.fuel.density,
    )


@pytest.mark.law
def test_what_is_left_out_cancels() -> None:
    """The new table is the same whatever the donor's injectors and fuel were: with them, without them, with others."""
    whole = compute(with_lines()).table.new
    without = compute(with_lines((DONOR_INJECTORS, ""), FUEL)).table.new
    others = compute(
        with_lines(("280 cc/min", "900 cc/min"), ('blend = "E5"', 'blend = "M100"'), ("1.75 ms", "2.75 ms"))
    ).table.new
    np.testing.assert_allclose(without, whole, rtol=1e-12)
    np.testing.assert_allclose(others, whole, rtol=1e-12)


@pytest.mark.law
def test_a_fixed_rail_does_not_cancel_but_its_flow_does() -> None:
    fixed = ('regulator = "manifold"', 'regulator = "fixed"')
    whole = compute(with_lines(fixed)).table.new
    without = compute(with_lines(fixed, (DONOR_INJECTORS, ""), ('blend = "E5"\n', ""))).table.new
    np.testing.assert_allclose(without, whole, rtol=1e-12)
    assert not np.allclose(whole, compute(with_lines()).table.new, rtol=1e-3)


def test_the_ratio_that_was_told_is_the_fuels() -> None:
    job = valid("stoichiometric_as_told")
    assert job.donor.fuel_known
    assert job.donor.hardware.fuel.stoichiometric == 14.7
    assert job.donor.hardware.fuel.density == job.target.hardware.fuel.density
    assert assumed(job)["donor.fuel.stoichiometric"].value == "14.7, as the settings"
    entered = {setting.name: setting.enter for setting in compute(job).settings}
    assert entered["stoichiometric"] == pytest.approx(14.6)


def test_a_dead_time_that_the_ecu_applies_may_be_left_out_of_a_pulse_width_table() -> None:
    job = with_lines(
        (DEAD_TIME, ""),
        ('"ve.csv"', '"pulse_short.csv"'),
        ('"volumetric efficiency"', '"pulse width"\necu_applies = ["lambda", "dead time"]'),
    )
    assert not job.donor.dead_time_known
    assert job.donor.flow_known


REST_NEEDED = "the flow to enter follows from the donor's static_flow"


@each(
    ("pairs", "append", "message"),
    [
        (
            [FUEL],
            "",
            'job.toml: donor.fuel.rail_pressure: missing: the gauge pressure of the rail, such as "3.0 bar"; '
            f"{REST_NEEDED} at its rail pressure",
        ),
        (
            [(DONOR_INJECTORS, ""), FUEL],
            "\n[donor.settings]\ncorrects_rail_pressure = true\n",
            'job.toml: donor.fuel.rail_pressure: missing: the gauge pressure of the rail, such as "3.0 bar"; an ECU '
            "that corrects for the rail pressure needs it as its reference",
        ),
        (
            [(DEAD_TIME, "")],
            '\n[target.settings]\ncannot_be_told = ["dead_time"]\n',
            'job.toml: donor.injectors.dead_time: missing: give times at voltages, such as battery = ["12 V", "14 V"] '
            'with time = ["1.20 ms", "0.85 ms"], or dead_time = "unknown"; the '
            "target's ECU keeps the donor's value (cannot_be_told names dead_time)",
        ),
        (
            [(DONOR_INJECTORS, ""), ('blend = "E5"\n', "")],
            '\n[target.settings]\ncannot_be_told = ["stoichiometric"]\n',
            'job.toml: donor.fuel: missing: the fuel, as a blend such as "E10", as parts, or as stoichiometric and '
            "density; the target's ECU keeps the donor's value (cannot_be_told names stoichiometric)",
        ),
        (
            [(DONOR_INJECTORS, ""), ('blend = "E5"\n', "")],
            '\n[donor.settings]\nstatic_flow = "280 cc/min"\nstoichiometric = 14.7\n',
            'job.toml: donor.fuel.density: missing: the density of the fuel in the rail, such as "745 kg/m3", or a '
            f"blend; {REST_NEEDED} and its fuel; give both, or leave both out",
        ),
        (
            [(DONOR_INJECTORS, ""), ("lambda = 1.0", 'ecu_applies = "unknown"\nlambda = 1.0')],
            "",
            'job.toml: donor.injectors.static_flow: missing: give the flow fully open, such as "280 cc/min"; '
            'ecu_applies = "unknown" is settled by the volumetric efficiency that the cells imply',
        ),
    ],
)
def test_why_something_is_needed(pairs: list[tuple[str, str]], append: str, message: str) -> None:
    assert refusal(*pairs, append=append) == message
