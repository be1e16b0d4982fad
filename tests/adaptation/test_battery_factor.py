"""An ECU that multiplies its pulses for the battery instead of adding a dead time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.setting_fields import in_force
from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.model.result import Result, Setting
from basemap.rounding import excess
from tests.builders.with_settings import adapted, built

PERCENT = '\n[donor.settings.dead_time]\nbattery = ["10 V", "12 V", "14 V"]\npercent = ["150 %", "120 %", "100 %"]\n'
AT = '\n[target.settings.dead_time]\nat_pulse = "3 ms"\n'
BATTERY = '\n[conditions]\nbattery = "14 V"\n'
SAME = (('displacement = "2400 cc"', 'displacement = "2000 cc"'), ('static_flow = "560', 'static_flow = "280'))


def row(result: Result, name: str) -> Setting:
    return next(one for one in result.settings if one.name == name)


@pytest.mark.check_value
def test_the_donor_is_read_through_its_factor(tmp_path: Path) -> None:
    # By hand, everything at 12 V, donor = target in all parts: the ECU multiplies by 1.2 and adds nothing, so a cell
    # whose pulse would be 5 ms without the battery opens for 6 ms and delivers 4.8 ms' worth.
    result = adapted(tmp_path, PERCENT, '\n[conditions]\nbattery = "12 V"\n', replaced=SAME)
    plain = adapted(tmp_path, '\n[conditions]\nbattery = "12 V"\n', replaced=SAME)
    by_cell = plain.table.donor.pulse_s - 1.2e-3
    np.testing.assert_allclose(result.table.donor.pulse_s, 1.2 * by_cell, rtol=1e-12)
    np.testing.assert_allclose(
        result.table.donor.fuel_kg / plain.table.donor.fuel_kg, (1.2 * by_cell - 1.2e-3) / by_cell, rtol=1e-12
    )
    # The same box on the same engine: the cells stay.
    np.testing.assert_allclose(result.table.new, result.table.old, rtol=1e-12)


@pytest.mark.check_value
def test_the_factors_to_enter_are_right_for_one_pulse(tmp_path: Path) -> None:
    # By hand: open for 3 ms the target's injectors need 4.75, 4.20 and 3.85 ms at 10, 12 and 14 V. At the table's 14 V
    # the donor's 100 % stay, so 4.75/3.85 = 123.377 %, 109.091 %, 100 %.
    result = adapted(tmp_path, PERCENT, AT, BATTERY)
    correction = row(result, "battery_correction")
    assert (correction.unit, correction.battery_v, correction.old) == ("%", (10.0, 12.0, 14.0), (150.0, 120.0, 100.0))
    assert correction.enter == pytest.approx((123.3766, 109.0909, 100.0), rel=1e-6)
    assert "dead_time" not in {one.name for one in result.settings}
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


@pytest.mark.check_value
def test_what_the_battery_leaves_of_other_pulses(tmp_path: Path) -> None:
    # By hand, wide open: open for x ms at 14 V, its pulse is x + 0.85; at 10 V the ECU makes
    # 1.233766 times that, of which 1.75 ms are lost: λ ratio x / (1.233766 (x + 0.85) - 1.75), 1 for x = 3.
    result = adapted(tmp_path, PERCENT, AT, BATTERY)
    rpm, load_pa, ratio = result.sweep.places["wide open"]
    assert load_pa == 100e3
    x = result.table.pulse_s[1, result.job.rpm.tolist().index(rpm)] * 1e3 - 0.85
    at_10 = ratio[list(result.sweep.battery_v).index(10.0)]
    assert at_10 == pytest.approx(x / (4.75 / 3.85 * (x + 0.85) - 1.75), rel=1e-9)
    assert ratio[list(result.sweep.battery_v).index(14.0)] == pytest.approx(1.0, rel=1e-9)


@pytest.mark.check_value
def test_without_a_pulse_it_is_right_at_an_ordinary_idle(tmp_path: Path) -> None:
    # By hand: 0.65 · 35 kPa · 600 cm³ at 40 °C is 151.8 mg of air, 10.62 mg of fuel; 560 cc/min of n-heptane at 3 bar
    # are 6.382 mg/ms, of petrol at 40 °C √(ρ/683.8) times that.
    result = adapted(tmp_path, PERCENT, BATTERY)
    density = result.job.target.hardware.fuel.density
    flow = 560.0 / 60.0 * 683.81407e-3 * np.sqrt(density / 683.81407)
    open_ms = 0.65 * 35e3 * 600e-6 / (287.05287 * 313.15) * 1e6 / 14.3 / flow
    factors = [(open_ms + dead) / (open_ms + 0.85) for dead in (1.75, 1.20, 0.85)]
    assert row(result, "battery_correction").enter == pytest.approx([100.0 * one for one in factors], rel=1e-9)


@pytest.mark.law
def test_kept_factors_stay_the_donors(tmp_path: Path) -> None:
    job = built(tmp_path, PERCENT, BATTERY, '\n[target.settings]\ncannot_be_told = ["dead_time"]\n')
    settings = in_force(job)
    assert settings.new.battery_factor is settings.donor.battery_factor
    assert (
        row(
            adapted(tmp_path, PERCENT, BATTERY, '\n[target.settings]\ncannot_be_told = ["dead_time"]\n'),
            "battery_correction",
        ).enter
        is None
    )


@pytest.mark.law
def test_points_of_the_targets_own(tmp_path: Path) -> None:
    own = '\n[target.settings.dead_time]\nbattery = ["9 V", "14 V"]\nat_pulse = "3 ms"\n'
    correction = row(adapted(tmp_path, PERCENT, own, BATTERY), "battery_correction")
    assert correction.battery_v == (9.0, 14.0)
    assert correction.enter == pytest.approx((100.0 * (3.0 + 2.025) / 3.85, 100.0), rel=1e-9)


def test_the_worked_cell_multiplies_out(tmp_path: Path) -> None:
    result = adapted(tmp_path, PERCENT, AT, BATTERY)
    steps = list(worked_cell(result, 1, 0))
    assert [step.value for step in steps if step.symbol == "f_U"] == [1.0, 1.0]
    assert "τ_set" not in {step.symbol for step in steps}


@pytest.mark.parametrize(
    ("appended", "message"),
    [
        (
            PERCENT + 'time = ["1 ms", "1 ms", "1 ms"]\n',
            "job.toml: donor.settings.dead_time.percent: is given together with time: an ECU either adds a time or "
            "multiplies by a percentage; give only one",
        ),
        (
            PERCENT.replace('"150 %", ', ""),
            "job.toml: donor.settings.dead_time.percent: expected one percentage for each of the 3 voltages, found 2",
        ),
        (
            PERCENT.replace('"150 %"', '"110 %"'),
            "job.toml: donor.settings.dead_time.percent: rises from 110 % at 10 V to 120 % at 12 V: an injector opens "
            "more slowly at a lower voltage; are the lists in one order?",
        ),
        (
            '\n[donor.settings.dead_time]\npercent = ["120 %", "100 %"]\n',
            'job.toml: donor.settings.dead_time.battery: missing: the voltages of percent, such as ["10 V", "12 V", '
            '"14 V"]',
        ),
        (
            PERCENT.replace("donor", "target"),
            "job.toml: target.settings.dead_time.percent: is for an ECU that multiplies its pulses for the battery, "
            "but the donor's, which is the same ECU, adds a dead time: give percent in donor.settings.dead_time as "
            "well, or leave it out",
        ),
        (
            PERCENT + '\n[target.settings.dead_time]\nbattery = ["10 V", "14 V"]\ntime = ["2 ms", "1 ms"]\n',
            "job.toml: target.settings.dead_time.time: is a time to add, but the donor's ECU, which is the same ECU, "
            "multiplies its pulses for the battery: give percent, or battery alone",
        ),
        (
            PERCENT + '\n[target.tables.fuel]\nquantity = "pulse width"\necu_applies = []\n',
            "job.toml: donor.settings.dead_time.percent: not supported yet: the map of an ECU that multiplies its "
            "pulses for the battery keeps its quantity; leave out target.tables.fuel.quantity",
        ),
    ],
)
def test_factors_that_cannot_be(appended: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, appended)
    assert str(caught.value) == message


@pytest.mark.parametrize(("pulse", "severity"), [('"3 ms"', "caution"), ('"9 ms"', "caution")])
def test_what_is_left_is_a_finding(pulse: str, severity: str, tmp_path: Path) -> None:
    result = adapted(tmp_path, PERCENT, AT.replace('"3 ms"', pulse), BATTERY)
    (found,) = [one for one in result.findings if one.rule == "battery-multiplied"]
    assert found.severity == severity
    running = (result.sweep.battery_v >= 12.0) & (result.sweep.battery_v <= 15.0)
    worst = max((np.abs(ratio[running] - 1.0).max() for _, _, ratio in result.sweep.places.values()))
    assert abs(found.value or 0.0) == pytest.approx(100.0 * worst, rel=1e-9)


def test_little_is_a_note_and_an_ecu_that_adds_has_none(tmp_path: Path) -> None:
    # A dead time that hardly changes with voltage leaves hardly anything.
    flat = ('time = ["1.75 ms", "1.20 ms", "0.85 ms"]\n', 'time = ["0.90 ms", "0.87 ms", "0.85 ms"]\n')
    both = (flat, ('static_flow = "560', 'static_flow = "561'))
    text = PERCENT.replace('"150 %", "120 %"', '"101 %", "101 %"')
    note = adapted(tmp_path, text, AT, BATTERY, replaced=(flat, flat, both[1]))
    assert [one.severity for one in note.findings if one.rule == "battery-multiplied"] == ["note"]
    assert not [one for one in adapted(tmp_path).findings if one.rule == "battery-multiplied"]


@pytest.mark.check_value
def test_a_dead_time_that_the_ecu_cannot_be_told(tmp_path: Path) -> None:
    """By hand: donor and target alike but for the dead times, 1.75, 1.20 and 0.85 ms at 10, 12 and 14 V on the donor,
    3.50, 2.40 and 1.70 ms on the target, and the battery at 14 V. The cells carry the 0.85 ms that the ECU lacks at
    14 V; at 12 V it lacks 1.20 ms, so 0.35 ms of the opening are lost. Idle stands at 1000 rpm and 40 kPa.
    """
    twice = '[target.injectors.dead_time]\nbattery = ["10 V", "12 V", "14 V"]\ntime = ["1.75 ms", "1.20 ms", "0.85 ms"]'
    slow = twice.replace("1.75", "3.50").replace("1.20", "2.40").replace("0.85", "1.70")
    stuck = '\n[target.settings]\ncannot_be_told = ["dead_time"]\n'
    result = adapted(tmp_path, stuck, BATTERY, replaced=(*SAME, (twice, slow)))
    (found,) = [one for one in result.findings if one.rule == "battery-not-followed"]
    opening = result.table.pulse_s[0, 0] - 1.70e-3
    lean = opening / (opening - 0.35e-3) - 1.0
    assert found.value == pytest.approx(100 * lean, rel=1e-6)
    assert found.message == (
        "The dead time that the ECU adds does not follow the battery as the injectors' own dead time does. From 12 to "
        f"15 V the new table is at worst {excess(1 + lean)} % lean at idle, at 12 V (caution above 5 %)."
    )
    told = adapted(tmp_path, BATTERY, replaced=(*SAME, (twice, slow)))
    assert "battery-not-followed" not in {one.rule for one in told.findings}
