"""Injectors: ratings, counts, dead time."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from tests.builders.cases import each
from tests.builders.files import assumed, refusal, valid, with_lines

FLOW = 'static_flow = "280 cc/min"'
TIMES = 'time = ["1.75 ms", "1.20 ms", "0.85 ms"]'
VOLTS = 'battery = ["10 V", "12 V", "14 V"]'
DEAD_TIME = f"[donor.injectors.dead_time]\n{VOLTS}\n{TIMES}\n"


def test_the_defaults() -> None:
    job = with_lines()
    injectors = job.donor.hardware.injectors
    assert (injectors.per_cylinder, injectors.openings_per_cycle) == (1.0, 1.0)
    assert injectors.static.fluid_density == pytest.approx(683.81407)
    assert injectors.line == injectors.static
    listed = assumed(job)
    assert listed["donor.injectors.rated_fluid"].value == "n-heptane"
    assert not listed["donor.injectors.openings_per_cycle"].unknown


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("fluid", "density"),
    # n-heptane at 20 °C: CoolProp 8.0.0, Span-Wagner 2003; iso-octane: thermo 0.6.1, HEOS_FIT.
    [("n-heptane", 683.81407), ("iso-octane", 692.0161), ("0.72 g/cc", 720.0), ("720 kg/m3", 720.0)],
)
def test_the_rating_fluid(fluid: str, density: float) -> None:
    job = with_lines((FLOW, f'{FLOW}\nrated_fluid = "{fluid}"'))
    assert job.donor.hardware.injectors.static.fluid_density == pytest.approx(density, rel=1e-7)
    assert "donor.injectors.rated_fluid" not in assumed(job)


def test_the_unknowns() -> None:
    job = valid("unknowns")
    static = job.donor.hardware.injectors.static
    assert static.pressure_pa == pytest.approx(3e5)
    assert static.fluid_density == pytest.approx(700.0)
    assert job.inputs["donor.injectors.rated_fluid"].half_width == pytest.approx(40.0)
    assert assumed(job)["donor.injectors.openings_per_cycle"].unknown


@pytest.mark.law
@pytest.mark.parametrize(("battery_v", "time_ms"), [(8, 2.1), (12, 1.3), (14, 0.9), (16, 0.5)])
def test_an_unknown_dead_time_falls_by_0_2_ms_per_volt_through_0_9_ms_at_14_v(battery_v: float, time_ms: float) -> None:
    dead = valid("unknowns").donor.hardware.injectors.dead_time
    assert np.interp(battery_v, dead.battery_v, dead.time_s[0]) == pytest.approx(time_ms * 1e-3)


def test_its_spread_is_an_input() -> None:
    job = valid("unknowns")
    written = job.inputs["donor.injectors.dead_time.time"]
    assert written.value == pytest.approx(0.9e-3)
    assert written.half_width == pytest.approx(0.4e-3)
    assert written.origin == "assumed"
    listed = assumed(job)["donor.injectors.dead_time"]
    assert (listed.value, listed.half_width, listed.unknown) == ("0.9 ms", "0.4 ms", True)


def test_two_flows_state_the_density() -> None:
    static = with_lines((FLOW, 'static_flow = "24 lb/h = 252 cc/min"')).donor.hardware.injectors.static
    assert static.is_mass
    assert static.fluid_density == pytest.approx(24 * 0.45359237 / 60 / 252 * 1e6)
    turned = with_lines((FLOW, 'static_flow = "252 cc/min = 24 lb/h"')).donor.hardware.injectors.static
    assert not turned.is_mass
    assert turned.mass_flow == pytest.approx(static.mass_flow)


def test_a_slope_is_rated_as_the_static_flow_is() -> None:
    injectors = with_lines((FLOW, f'{FLOW}\nslope = "270 cc/min"')).donor.hardware.injectors
    assert injectors.slope is not None
    assert injectors.line is injectors.slope
    assert injectors.slope.value == pytest.approx(270e-6 / 60)
    assert injectors.slope.pressure_pa == injectors.static.pressure_pa
    assert refusal((FLOW, f'{FLOW}\nslope = "24 lb/h = 252 cc/min"')) == (
        'job.toml: donor.injectors.slope: "24 lb/h = 252 cc/min" states two flows: give only one'
    )


def test_a_flow_line_far_from_the_flow_fully_open_is_refused() -> None:
    """280 cc/min fully open. Twice that as the slope would halve every pulse: lean by a factor of two.

    Slope and static flow are some per cent apart in SAE J1832's examples (from memory); 1.25 is common practice, no
    source. By hand: 280 · 1.25 = 350 and 280/1.25 = 224 are taken, 351 and 223 are not. A mass counts as a mass:
    280 cc/min of n-heptane are 280e-6 · 683.8 kg = 191.5 g/min.
    """
    for near in ("350 cc/min", "224 cc/min", "191 g/min"):
        assert with_lines((FLOW, f'{FLOW}\nslope = "{near}"')).donor.hardware.injectors.slope is not None
    for far in ("351 cc/min", "223 cc/min", "280 g/min", "560 cc/min"):
        assert "times the static_flow of" in refusal((FLOW, f'{FLOW}\nslope = "{far}"'))
    assert refusal((FLOW, f'{FLOW}\nslope = "560 cc/min"')) == (
        'job.toml: donor.injectors.slope: "560 cc/min" is 2 times the static_flow of "280 cc/min": the two differ by '
        "some per cent, by a factor of 1.25 at most; correct the one that is wrong"
    )
    bent = '\n[donor.injectors.bent_line]\nbelow = "600 cc/min"\nabove = "560 cc/min"\nat_mass = "4 mg"\n'
    assert refusal(append=bent).startswith(
        'job.toml: donor.injectors.bent_line.above: "560 cc/min" is 2 times the static_flow of "280 cc/min": '
    )


@pytest.mark.parametrize(("line", "each"), [("count = 2", 0.5), ("count = 8", 2.0), ("per_cylinder = 2", 2.0)])
def test_injectors_per_cylinder(line: str, each: float) -> None:
    assert with_lines((FLOW, f"{FLOW}\n{line}")).donor.hardware.injectors.per_cylinder == each


@pytest.mark.law
def test_the_order_of_the_points_does_not_matter() -> None:
    turned = with_lines(
        (VOLTS, 'battery = ["14 V", "10 V", "12 V"]'), (TIMES, 'time = ["0.85 ms", "1.75 ms", "1.20 ms"]')
    )
    np.testing.assert_array_equal(
        turned.donor.hardware.injectors.dead_time.time_s, with_lines().donor.hardware.injectors.dead_time.time_s
    )


def test_one_point_alone_may_stand_without_brackets() -> None:
    dead = with_lines((VOLTS, 'battery = "14 V"'), (TIMES, 'time = "0.85 ms"')).donor.hardware.injectors.dead_time
    np.testing.assert_allclose(dead.time_s, [[0.85e-3]])


def test_equal_neighbours_are_taken() -> None:
    """Data sheets round: the last two points are often the same."""
    dead = with_lines((TIMES, 'time = ["1.75 ms", "0.85 ms", "0.85 ms"]')).donor.hardware.injectors.dead_time
    assert dead.time_s[0, 1] == dead.time_s[0, 2]


@each(
    ("pairs", "message"),
    [
        (
            [(TIMES, 'time = ["1.75 ms", "1200 ms", "0.85 ms"]')],
            'donor.injectors.dead_time.time: entry 2 of the list: "1200 ms" is outside the plausible range 0 ms to 10 '
            "ms; the unit is the likeliest mistake: microseconds typed as milliseconds",
        ),
        (
            [(TIMES, 'time = ["1.75 ms", "-1.20 ms", "0.85 ms"]')],
            'donor.injectors.dead_time.time: entry 2 of the list: "-1.20 ms" is outside the plausible range '
            "0 ms to 10 ms",
        ),
        (
            [(TIMES, 'time = ["1.75 ms", "1.20", "0.85 ms"]')],
            'donor.injectors.dead_time.time: entry 2 of the list: "1.20" has no unit: write it with one, '
            'such as "0.85 ms"',
        ),
        ([(TIMES, "time = []")], "donor.injectors.dead_time.time: the list is empty"),
        (
            [(TIMES, "")],
            'donor.injectors.dead_time.time: missing: give the dead time as times at voltages, such as ["1.75 ms", '
            '"1.20 ms", "0.85 ms"]',
        ),
        (
            [(TIMES, 'time = [["1.75 ms", "1.20 ms", "0.85 ms"], ["2.0 ms"]]\npressure = ["3 bar", "4 bar"]')],
            "donor.injectors.dead_time.time: expected one list for each of the 2 pressures, each with one "
            "time for each of "
            "the 3 voltages, found 3 and 1",
        ),
        (
            [(TIMES, TIMES + '\npressure = ["3 bar", "4 bar"]')],
            "donor.injectors.dead_time.time: expected one list for each of the 2 pressures, each with one "
            "time for each of "
            "the 3 voltages, found 3",
        ),
        (
            [(DEAD_TIME, ""), (FLOW, f'{FLOW}\ndead_time = "short"')],
            'donor.injectors.dead_time: must be a section with keys of its own, not "short"',
        ),
    ],
)
def test_dead_times_that_are_refused(pairs: list[tuple[str, str]], message: str) -> None:
    assert refusal(*pairs) == f"job.toml: {message}"


def test_where_only_the_settings_are_known_they_are_the_hardware() -> None:
    job = valid("settings_only")
    donor, listed = job.donor.hardware, assumed(job)
    assert donor.engine.displacement_m3 == pytest.approx(1.998e-3)
    assert donor.injectors.static.mass_flow == pytest.approx(24 * 0.45359237 / 3600)
    assert donor.injectors.static.pressure_pa == donor.fuel.rail_pressure_pa
    assert donor.injectors.static.fluid_density == pytest.approx(720.0)
    assert donor.injectors.openings_per_cycle == 2.0
    np.testing.assert_allclose(donor.injectors.dead_time.time_s, [[1.75e-3, 1.20e-3, 0.85e-3]])
    assert job.donor.flow_known
    assert job.donor.dead_time_known
    assert listed["donor.injectors.static_flow"].value == "24 lb/h, as the settings, at the rail pressure"
    assert listed["donor.injectors.dead_time"].half_width == "0.3 ms"
    assert not listed["donor.injectors.dead_time"].unknown
    assert job.inputs["donor.injectors.dead_time.time"].half_width == pytest.approx(0.3e-3)
    assert job.inputs["donor.injectors.dead_time.time"].value == pytest.approx(0.85e-3)


@pytest.mark.law
def test_settings_taken_for_the_hardware_are_truthful() -> None:
    """Then the donor's cells are its VE."""
    job = with_lines(
        (DEAD_TIME, ""),
        (f'{FLOW}\nrated_pressure = "3.0 bar"', ""),
        append=f"\n[donor.settings]\n{FLOW}\n\n[donor.settings.dead_time]\n{VOLTS}\n{TIMES}\n",
    )
    np.testing.assert_allclose(compute(job).table.implied_ve, job.donor.table.values, rtol=1e-12)


def test_an_unknown_dead_time_beside_told_ones_is_the_told_ones() -> None:
    job = with_lines(
        (DEAD_TIME, ""),
        (FLOW, f'{FLOW}\ndead_time = "unknown"'),
        append=f"\n[donor.settings.dead_time]\n{VOLTS}\n{TIMES}\n",
    )
    np.testing.assert_allclose(job.donor.hardware.injectors.dead_time.time_s, [[1.75e-3, 1.20e-3, 0.85e-3]])
    listed = assumed(job)["donor.injectors.dead_time"]
    assert (listed.unknown, listed.half_width) == (True, "0.3 ms")
