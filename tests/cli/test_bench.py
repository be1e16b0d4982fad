"""The single calculations for a question at the bench: fuel, injector, dead time."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import basemap
from basemap.adaptation.pipeline import compute
from basemap.report.dead_times import nothing_left
from tests.cli.program import SAMPLES, Ended, run


def answered(*arguments: str) -> dict[str, Any]:
    ended = run(*arguments, "--json")
    assert (ended.stderr, ended.status) == ("", 0)
    read: dict[str, Any] = json.loads(ended.stdout)
    return read


@pytest.mark.check_value
def test_ethanol() -> None:
    # Heywood, Internal Combustion Engine Fundamentals, table D.4: stoichiometric air/fuel ratio of ethanol 9.00.
    # Printed to 0.01; with 28.96 g/mol for air it is 8.995.
    assert answered("fuel", "E100")["stoichiometric"] == pytest.approx(9.00, abs=0.01)


@pytest.mark.law
def test_a_name_and_its_content_are_the_same_fuel() -> None:
    named, mixed = answered("fuel", "E85"), answered("fuel", "--part", "ethanol=85", "--part", "petrol")
    for key in ("stoichiometric", "density_15_kg_m3", "density_kg_m3", "oxygen_percent"):
        assert named[key] == pytest.approx(mixed[key], rel=1e-12)


@pytest.mark.law
def test_fuel_in_the_rail_is_lighter_when_it_is_hot() -> None:
    cold, hot = (answered("fuel", "E10", "--temperature", at) for at in ("15 degC", "60 degC"))
    assert cold["density_kg_m3"] == pytest.approx(cold["density_15_kg_m3"], rel=1e-12)
    assert hot["density_kg_m3"] < cold["density_kg_m3"]


def test_the_spread_of_a_name_is_said() -> None:
    text = " ".join(run("fuel", "E85").stdout.split())
    assert "E85 may be sold with 51 to 83 % ethanol (ASTM D5798)" in text


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("fuel",), "give either a fuel's name or its composition with --part, as in: basemap fuel E85"),
        (
            ("fuel", "E85", "--part", "ethanol"),
            "give either a fuel's name or its composition with --part, as in: basemap fuel E85",
        ),
        (
            ("fuel", "--part", "etanol=5"),
            '--part: "etanol" is not a known liquid: write one of petrol, ethanol, methanol, n-heptane, iso-octane, '
            "toluene",
        ),
        (("fuel", "--part", "ethanol=5", "--part", "ethanol=95"), '--part: "ethanol" is given twice'),
        (("fuel", "--part", "ethanol=105"), '--part: "ethanol=105": a share must be between 0 and 100 %'),
        (
            ("fuel", "--part", "ethanol=60", "--part", "petrol=30"),
            "--part: the shares add up to 90 %, but must add up to 100 %; give one liquid without a share to take the "
            "rest",
        ),
        (
            ("injector", "--flow", "280 cc"),
            '--flow: "280 cc" is a volume, not a flow such as "280 cc/min"',
        ),
        (("injector", "--flow", "0 cc/min"), '--flow: "0 cc/min" must be above zero'),
        (("injector", "--flow", "280 cc/min", "--pressure", "-1 bar"), '--pressure: "-1 bar" must be above zero'),
        (
            ("injector", "--flow", "280 cc/min", "--pulse", "8 ms"),
            '--dead-time: is needed with --pulse or --mass, such as "0.9 ms": without it the result would be wrong by '
            "just that time",
        ),
    ],
)
def test_bad_input(arguments: tuple[str, ...], message: str) -> None:
    assert run(*arguments) == Ended("", f"basemap: {message}\n", 2)


@pytest.mark.law
def test_an_injector_at_its_rating_passes_its_rating() -> None:
    found = answered("injector", "--flow", "280 cc/min", "--fuel", "n-heptane", "--temperature", "20 degC")
    assert found["volume_flow_cc_min"] == pytest.approx(280.0, rel=1e-12)
    assert found["rating_at_pressure_cc_min"] == pytest.approx(280.0, rel=1e-12)


@pytest.mark.law
def test_flow_goes_with_the_root_of_the_pressure() -> None:
    one, four = (answered("injector", "--flow", "280 cc/min", "--pressure", at) for at in ("3 bar", "12 bar"))
    assert four["mass_flow_g_min"] == pytest.approx(2.0 * one["mass_flow_g_min"], rel=1e-12)


@pytest.mark.law
def test_a_rating_by_mass_and_volume_states_its_fluid() -> None:
    """The density follows from both, and a fuel of that density passes the volume that was rated."""
    found = answered("injector", "--flow", "24 lb/h = 252 cc/min")
    fluid = 24 * 453.59237 / 60 / 252
    scale = math.sqrt(found["density_kg_m3"] / 1e3 / fluid)
    assert found["mass_flow_lb_h"] == pytest.approx(24 * scale, rel=1e-12)
    assert found["volume_flow_cc_min"] == pytest.approx(252 / scale, rel=1e-12)


@pytest.mark.law
def test_a_pulse_and_the_mass_it_gives_lead_back_to_each_other() -> None:
    rated = ("injector", "--flow", "550 cc/min", "--fuel", "E85", "--dead-time", "0.9 ms")
    mass = answered(*rated, "--pulse", "8 ms")["delivered_mg"]
    assert answered(*rated, "--mass", f"{mass!r} mg")["pulse_ms"] == pytest.approx(8.0, rel=1e-12)
    assert answered(*rated, "--pulse", "0.8 ms")["delivered_mg"] == 0.0


def test_dead_times_at_their_points(jobs: Path) -> None:
    found = answered("dead-time", "ferry_van.toml")
    volts = found["dead_time_sweep"]["battery_v"]
    assert (volts[0], volts[-1], len(volts)) == (8.0, 16.0, 17)
    at = {v: (d, t) for v, d, t in zip(volts, found["donor"]["hardware_ms"], found["target"]["told_ms"], strict=True)}
    assert at[8.0] == pytest.approx((2.60, 2.95))
    assert at[14.0] == pytest.approx((0.85, 1.02))
    assert "None from 8 to 16 V: the target's controller holds the injectors' own dead times." in " ".join(
        run("dead-time", "ferry_van.toml").stdout.split()
    )


@pytest.mark.law
@pytest.mark.parametrize(
    ("leanest", "says"),
    [
        (1.0, "None from 8 to 16 V: the target's controller holds the injectors' own dead times."),
        (1.0 + 1e-12, "None from 8 to 16 V: the target's controller holds the injectors' own dead times."),
        (1.0004, "Less than 0.1 % from 8 to 16 V: the controller's dead times are nearly the injectors' own."),
        (1.001, ""),
        (math.inf, ""),
    ],
)
def test_only_no_error_is_called_none(leanest: float, says: str) -> None:
    """0.04 % lean is less than the last digit, not nothing; a cell without fuel at one voltage is never nothing."""
    job = basemap.load_job(SAMPLES / "ferry_van.toml")
    sweep = compute(job).sweep
    at_8_v = np.where(sweep.battery_v == 8.0, leanest, 1.0)
    assert nothing_left(job, replace(sweep, richest=np.ones(at_8_v.size), leanest=at_8_v)) == says


def test_nothing_is_claimed_of_voltages_that_nobody_measured(jobs: Path) -> None:
    """Data from 10 to 14 V say nothing of a cranking battery, whatever a straight line through them says."""
    text = (jobs / "ferry_van.toml").read_text(encoding="utf-8")
    whole = ('["8 V", "10 V", "12 V", "14 V", "16 V"]', '["2.95 ms", "2.05 ms", "1.42 ms", "1.02 ms", "0.80 ms"]')
    short = ('["10 V", "12 V", "14 V"]', '["2.05 ms", "1.42 ms", "1.02 ms"]')
    head, target = text.split("[target.injectors.dead_time]")
    for before, after in zip(whole, short, strict=True):
        assert before in target
        target = target.replace(before, after, 1)
    (jobs / "short.toml").write_text(f"{head}[target.injectors.dead_time]{target}", encoding="utf-8")
    for command in (("dead-time", "short.toml"), ("check", "short.toml", "--all")):
        said = " ".join(run(*command).stdout.split())
        assert "None from 10 to 14 V: the target's controller holds the injectors' own dead times." in said
        assert (
            "The data of the target's injectors runs from 10 to 14 V: beyond that nobody has measured them and a "
            "straight line stands in."
        ) in said
    assert "nobody has measured" not in run("dead-time", "ferry_van.toml").stdout


def test_a_dead_time_that_cannot_be_told_leaves_an_error_over_voltage(jobs: Path) -> None:
    text = (jobs / "ferry_van.toml").read_text(encoding="utf-8")
    (jobs / "stuck.toml").write_text(text + '\n[target.settings]\ncannot_be_told = ["dead_time"]\n', encoding="utf-8")
    found = answered("dead-time", "stuck.toml")
    assert found["target"]["told_ms"] == pytest.approx(found["donor"]["told_ms"])
    sweep = found["dead_time_sweep"]
    # The target's dead time rises faster than the donor's as the battery falls: told the donor's, it runs lean there.
    assert sweep["leanest"][0] > 1.0 > sweep["richest"][-1]
    ended = run("dead-time", "stuck.toml")
    assert max(len(line) for line in ended.stdout.splitlines()) <= 80
    row = next(line for line in ended.stdout.splitlines() if line.split()[:1] == ["8"] and "#" in line)
    # Lean in every cell: the bar lies to the right of the line that stands for no error, and reaches the end.
    assert row.endswith(" |############")
