"""Engines: how they breathe, and up to what pressure."""

from __future__ import annotations

import pytest

from basemap.model.installation import Cycle, Induction
from tests.builders.files import assumed, refusal, with_lines

DONOR = 'displacement = "1998 cc"'
TARGET = 'displacement = "2393 cc"'


def test_the_defaults_are_listed() -> None:
    job = with_lines()
    target = job.target.hardware.engine
    assert (target.idle_rpm, target.idle_pressure_pa, target.cranking_rpm) == (900.0, 35e3, 200.0)
    assert target.coldest_start_k == pytest.approx(273.15)
    assert (target.cycle, target.induction) == (Cycle.FOUR_STROKE, Induction.ATMOSPHERIC)
    listed = assumed(job)
    for key in ("cycle", "induction", "idle", "cranking", "coldest_start"):
        assert not listed[f"target.engine.{key}"].unknown
    assert "donor.engine.idle" not in listed  # nobody starts the donor


def test_what_is_not_said_is_not_known() -> None:
    engine = with_lines().donor.hardware.engine
    assert engine.compression_ratio is engine.rev_limit_rpm is engine.peak_pressure_pa is engine.rated_power_w is None


def test_the_peak_of_an_atmospheric_engine_may_pass_the_barometer_a_little() -> None:
    job = with_lines((TARGET, f'{TARGET}\ninduction = "atmospheric"\npeak_pressure = "106 kPa"'))
    assert job.target.hardware.engine.peak_pressure_pa == 106e3


@pytest.mark.parametrize("peak", ["101.325 kPa", "80 kPa", "0 psi gauge"])
def test_the_peak_of_a_boosted_engine_is_above_the_barometer(peak: str) -> None:
    message = refusal((TARGET, f'{TARGET}\ninduction = "boosted"\npeak_pressure = "{peak}"'))
    assert message.startswith("job.toml: target.engine.peak_pressure: ")
    assert message.endswith(
        "absolute is not above the barometer of 101.3 kPa, but the engine is boosted: if this is boost pressure, write "
        '"gauge" after it'
    )


def test_rows_up_to_the_barometer_need_no_word_on_induction() -> None:
    """Within 5 kPa of it: a table to 100 kPa serves at 96 kPa too."""
    at_altitude = ('barometer = "101.325 kPa"', 'barometer = "96 kPa"')
    assert with_lines(at_altitude).donor.hardware.engine.induction is Induction.ATMOSPHERIC
    assert refusal(('barometer = "101.325 kPa"', 'barometer = "94 kPa"')) == (
        "job.toml: donor.engine.induction: missing: the table has rows up to 100 kPa, above the barometer of "
        '94 kPa; say "atmospheric" or "boosted", or correct donor.tables.fuel.load_unit, which is "kPa"'
    )


def test_only_the_side_at_altitude_is_asked() -> None:
    append = '\n[target.conditions]\nbarometer = "80 kPa"\n'
    assert refusal(append=append) == (
        "job.toml: target.engine.induction: missing: the table has rows up to 100 kPa, above the barometer of 80 kPa; "
        'say "atmospheric" or "boosted", or correct donor.tables.fuel.load_unit, which is "kPa"'
    )


@pytest.mark.parametrize(
    ("unit", "own", "tops", "correct"),
    [
        ("kPa gauge", "", ("donor", 201.3), 'donor.tables.fuel.load_unit, which is "kPa gauge"'),
        (
            "kPa",
            'load_unit = "kPa gauge"\nload_points = [30, 60, 100]',
            ("target", 201.3),
            'target.tables.fuel.load_points, which are read in "kPa gauge"',
        ),
        (
            "kPa",
            "load_points = [30, 60, 200]",
            ("target", 200),
            'target.tables.fuel.load_points, which are read in "kPa"',
        ),
    ],
)
def test_the_unit_of_the_loads_may_be_what_is_wrong(unit: str, own: str, tops: tuple[str, float], correct: str) -> None:
    append = f"\n[target.tables.fuel]\n{own}\n"
    side, top = tops
    assert refusal(('load_unit = "kPa"', f'load_unit = "{unit}"'), append=append) == (
        f"job.toml: {side}.engine.induction: missing: the table has rows up to {top:g} kPa, above the barometer of "
        f'101.3 kPa; say "atmospheric" or "boosted", or correct {correct}'
    )


def test_a_change_of_cycle_is_refused_either_way() -> None:
    assert refusal((DONOR, f'{DONOR}\ncycle = "two-stroke"')) == (
        "job.toml: target.engine.cycle: a two-stroke donor's table cannot be carried over to a four-stroke engine: "
        "this program does not change between two-stroke and four-stroke"
    )


@pytest.mark.parametrize("text", ["20 cc", "20 l"])
def test_the_ends_of_the_plausible_range_are_in_it(text: str) -> None:
    assert with_lines((DONOR, f'displacement = "{text}"')).donor.hardware.engine.displacement_m3 > 0


@pytest.mark.parametrize("text", ["19.9 cc", "20.1 l", "-1998 cc", "0 cc"])
def test_what_is_outside_is_refused_with_it(text: str) -> None:
    assert refusal((DONOR, f'displacement = "{text}"')) == (
        f'job.toml: donor.engine.displacement: "{text}" is outside the plausible range 20 cc to 20 l'
    )


@pytest.mark.parametrize("value", ["0", "25", "-4", "4.0", "true"])
def test_cylinders_are_a_whole_number(value: str) -> None:
    assert refusal(("cylinders = 4", f"cylinders = {value}")) == (
        "job.toml: donor.engine.cylinders: must be a whole number from 1 to 24, without quotes"
    )


def test_idle_is_refused_where_its_pressure_is_impossible() -> None:
    assert refusal((TARGET, f'{TARGET}\nidle = "900 rpm @ 110 kPa vacuum"')) == (
        'job.toml: target.engine.idle: "110 kPa vacuum" is outside the plausible range 5 kPa to 600 kPa'
    )


@pytest.mark.parametrize("written", ["1-3-4-2", "1, 3, 4, 2", "3 4 2 1", " 4–2–1–3 "])
def test_a_firing_order_begins_anywhere(written: str) -> None:
    assert with_lines((DONOR, f'{DONOR}\nfiring_order = "{written}"')).donor.hardware.engine.firing_order == "1-3-4-2"


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        (
            '"front to rear"',
            'must be the cylinder numbers in firing order, such as "1-3-4-2"',
        ),
        ("1342", 'must be the cylinder numbers in firing order, such as "1-3-4-2"'),
        ('"1-3-4-3"', '"1-3-4-3" names cylinder 3 twice: each fires once in a cycle'),
        ('"1-3-4-5"', '"1-3-4-5" has 4 cylinders, but not every number from 1 to 4'),
        ('"1-3-2"', '"1-3-2" has 3 cylinders, but the engine has 4: correct one of them'),
    ],
)
def test_a_firing_order_names_every_cylinder_once(written: str, problem: str) -> None:
    message = refusal((DONOR, f"{DONOR}\nfiring_order = {written}"))
    assert message == f"job.toml: donor.engine.firing_order: {problem}"


@pytest.mark.parametrize(("written", "expected"), [("true", True), ("false", False), ('"unknown"', None)])
def test_trims_per_cylinder(written: str, expected: bool | None) -> None:
    job = with_lines(("[donor]\n", f"[donor]\ncylinder_trims = {written}\n"))
    assert job.cylinder_trims is expected


@pytest.mark.law
def test_makers_figures_that_one_engine_cannot_have_are_refused() -> None:
    """P = M·ω. By hand: 124 kW at 6000 rpm (628.3 rad/s) takes 197.4 Nm, so the peak is no less; 322 Nm at 5500 rpm
    (576.0 rad/s) makes 185.5 kW, more than the most; 300 lbft at 4500 rpm would be 192 kW (Nm typed as lbft).
    A flat boosted curve, 233 Nm from 2000 to 4500 rpm and 110 kW (233.4 Nm) from there, is sound."""

    def engine(power: str, torque: str) -> tuple[str, str]:
        return (TARGET, f'{TARGET}\nrated_power = "{power}"\npeak_torque = "{torque}"')

    assert refusal(engine("124 kW @ 6000 rpm", "190 Nm @ 4500 rpm")) == (
        'job.toml: target.engine.peak_torque: "190 Nm @ 4500 rpm" contradicts rated_power = "124 kW @ 6000 rpm", '
        "which takes 197 Nm: the peak cannot be less; correct the wrong one"
    )
    assert refusal(engine("124 kW @ 6000 rpm", "322 Nm @ 5500 rpm")) == (
        'job.toml: target.engine.peak_torque: "322 Nm @ 5500 rpm" contradicts rated_power = "124 kW @ 6000 rpm": it '
        "makes 185 kW there, and the rated power is the most that an engine makes; correct the wrong one"
    )
    assert "makes 192 kW there" in refusal(engine("124 kW @ 6000 rpm", "300 lbft @ 4500 rpm"))
    for sound in (("124 kW @ 6000 rpm", "222 Nm @ 4500 rpm"), ("110 kW @ 4500 rpm", "233 Nm @ 2000 rpm")):
        assert with_lines(engine(*sound)).target.hardware.engine.peak_torque_nm is not None


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('idle = "900 rpm @ 135 kPa"', "is 135 kPa absolute, which is not below the barometer of 101.3 kPa"),
        ('idle = "900 rpm @ 5 psi gauge"', "which is not below the barometer of 101.3 kPa"),
        ('idle = "300 rpm @ 35 kPa"\ncranking = "400 rpm"', 'is not above the cranking speed of "400 rpm"'),
    ],
)
def test_an_idle_at_which_no_engine_idles_is_refused(lines: str, said: str) -> None:
    message = refusal((TARGET, f"{TARGET}\n{lines}"))
    assert message.startswith("job.toml: target.engine.idle: ")
    assert said in message


@pytest.mark.parametrize(
    "limit", ['rev_limit = "680 rpm"', 'rev_cut = "620 rpm"', 'peak_pressure = "30 kPa"', 'load_cut = "16 kPa"']
)
def test_a_limit_below_idle_is_refused(limit: str) -> None:
    """Nothing beyond a limit is judged: 16 kPa typed for 160 would silence every rule at load."""
    key, _, value = limit.partition(" = ")
    assert refusal((TARGET, f"{TARGET}\n{limit}")) == (
        f'job.toml: target.engine.{key}: {value} is not above the assumed idle of "900 rpm @ 35 kPa", so the engine '
        "would never leave idle: correct it, or state engine.idle"
    )
    slow = f'{TARGET}\nidle = "400 rpm @ 12 kPa"\n{limit}'
    assert with_lines((TARGET, slow)).target.hardware.engine.idle_rpm == 400.0


def test_an_engine_that_is_not_the_same_is_not_called_the_same() -> None:
    """The band would be 3 % wide open, where two engines differ by 11 % (docs/physics.md)."""
    four, five = f"{TARGET}\ncylinders = 4", f"{TARGET}\ncylinders = 5"
    assert refusal((four, f'{five}\nlikeness = "same engine"')) == (
        'job.toml: target.engine.likeness: "same engine" contradicts the number of cylinders, 5 instead of 4: correct '
        'it, or write likeness = "same head and cams" or "another engine"'
    )
    assert with_lines((four, f'{five}\nlikeness = "same head and cams"')).target.hardware.engine.cylinders == 5
