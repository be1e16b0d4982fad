"""What the first-start card predicts, by hand, and that it says everything it has to."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from basemap.adaptation.first_start import cranking, idle_point
from basemap.adaptation.first_start_card import first_start_card
from basemap.adaptation.pipeline import adapt
from basemap.model.card import Basis, Card, CardLine
from basemap.model.further_table import FurtherAxis, FurtherQuantity, FurtherSide, FurtherTable
from basemap.model.injectors import BatteryFactor, DeadTime
from basemap.model.installation import Regulator, Told
from basemap.model.job import Job, Source
from basemap.model.result import Result
from basemap.model.table import Inside, Shown, Storage, TableQuantity
from tests.builders.cases import each
from tests.builders.computed import make_job, with_donor, with_donor_side, with_target, with_target_side

# The job's target: 1998 cc, 4 cylinders, 400 cc/min of n-heptane at 3 bar, fuel of L = 14.0 and
# 730 kg/m³, 40 °C; dead time 2.4, 1.7, 1.2, 0.8, 0.6 ms at 8, 10, 12, 14, 16 V; idle at 900 rpm and 35 kPa, λ 1.


def card_of(job: Job | None = None) -> Card:
    return first_start_card(adapt(make_job() if job is None else job))


def part(card: Card, key: str) -> dict[str, CardLine]:
    (one,) = (one for one in card.parts if one.key == key)
    return {line.key: line for line in one.lines}


@pytest.mark.law
def test_the_pulse_at_idle_by_hand() -> None:
    result = adapt(make_job())
    # Between 20 and 40 kPa, and between 800 and 1500 rpm; the loaded table is rounded to 0.1 %.
    corners = result.table.stored[:2, :2] / 100.0
    efficiency = np.array([0.25, 0.75]) @ corners @ np.array([6 / 7, 1 / 7])
    air = efficiency * 35e3 * 499.5e-6 / (287.05287 * 313.15)
    flow = 400e-6 / 60 * 683.81407 * (730.0 / 683.81407) ** 0.5
    # 13.8 V lies a tenth of the way from 14 V to 12 V: 0.8 + 0.1 · 0.4 ms.
    pulse_ms = 0.84 + 1e3 * air / 14.0 / flow
    idle = part(first_start_card(result), "idle")
    assert idle["pulse"].value == pytest.approx(pulse_ms, rel=1e-6)
    assert idle["pulse"].expect == f"{pulse_ms:.2f} ms"
    assert idle["duty"].value == pytest.approx(100 * pulse_ms / (120e3 / 900), rel=1e-6)
    assert idle["map"].expect == "35 kPa"


@pytest.mark.law
def test_the_mixture_at_idle_carries_its_band() -> None:
    result: Result = adapt(make_job())
    band = idle_point(result).relative_band
    line = part(first_start_card(result), "idle")["lambda"]
    assert 0.02 < band < 0.5
    # The band is one of ln λ, as the brief has it: the lean end is the wider one.
    # The donor's own cells on its own engine are whole tenths of a per cent: nothing is rounded.
    assert (line.value, line.low, line.high) == pytest.approx((1.0, math.exp(-band), math.exp(band)))
    assert line.intended == 1.0
    assert line.expect.startswith("1.00, 0.")
    assert line.expect.endswith(" (k = 2)")


@pytest.mark.law
def test_a_band_is_never_printed_narrower_than_it_is() -> None:
    line = part(card_of(), "idle")["lambda"]
    low, high = line.expect.removeprefix("1.00, ").removesuffix(" (k = 2)").split(" to ")
    assert line.low is not None
    assert line.high is not None
    assert float(low) <= line.low
    assert float(high) >= line.high


@pytest.mark.law
def test_a_volt_read_wrong_at_idle_by_hand() -> None:
    idle = idle_point(adapt(make_job()))
    effective_ms = idle.pulse_s * 1e3 - 0.84
    # At 14.8 V the ECU adds 0.72 ms, at 12.8 V 1.04 ms, where the injector takes 0.84 ms.
    assert idle.read_high == pytest.approx(effective_ms / (effective_ms - 0.12), rel=1e-9)
    assert idle.read_low == pytest.approx(effective_ms / (effective_ms + 0.20), rel=1e-9)


@pytest.mark.law
def test_a_volt_of_the_battery_where_the_controller_adds_no_dead_time() -> None:
    job = make_job()
    table = replace(
        job.donor.table, quantity=TableQuantity.PULSE_WIDTH, values=np.full(job.donor.table.values.shape, 3e-3),
        inside=Inside(pressure=True, intended_lambda=True, dead_time=True),
    )  # fmt: skip
    job = replace(
        job,
        donor=replace(job.donor, table=table),
        target=replace(job.target, table=replace(table, values=np.full(table.values.shape, np.nan))),
    )
    result = adapt(job)
    idle = idle_point(result)
    # The battery 1 V lower: the injector takes 1.04 ms instead of 0.84 ms of the 3 ms.
    assert idle.read_high == pytest.approx(2.16 / 1.96, rel=1e-9)
    assert part(first_start_card(result), "idle")["lambda_per_volt"].words == "Battery 1 V low / high"


@pytest.mark.law
def test_a_pulse_with_nothing_left_says_no_fuel() -> None:
    dead = DeadTime(np.array([8.0, 13.8, 14.8]), np.array([[9.0e-3, 4.0e-3, 1.0e-3]]))
    line = part(card_of(with_target(make_job(), "injectors", dead_time=dead)), "idle")["lambda_per_volt"]
    assert line.expect.startswith("λ no fuel / -")
    assert line.value is None


@pytest.mark.law
def test_cranking_says_what_can_be_said_without_a_table() -> None:
    cranking = part(card_of(), "cranking")
    assert cranking["pulse"].expect == "not predicted: the job has no cranking table"
    assert cranking["pulse"].value is None
    assert cranking["dead_time"].expect == "2.40, 2.05, 1.70 ms"
    assert cranking["dead_time_per_volt"].value == pytest.approx(0.35)
    assert cranking["dead_time_per_volt"].expect == "0.35 ms of every pulse"


def cranking_job(job: Job, *, inside: bool, axis: str = "coolant temperature", storage: Storage | None = None) -> Job:
    """12 ms at −20 °C falling to 6 ms at 20 °C, made at 9 V; the coldest start is at 0 °C: 9 ms."""
    celsius = np.array([-20.0, 20.0])
    side = FurtherSide(Inside(pressure=True, intended_lambda=True, dead_time=inside), battery_v=9.0)
    table = FurtherTable(
        "crank", FurtherQuantity.PULSE_WIDTH, np.array([12.0, 6.0]),
        (FurtherAxis(axis, "degC", celsius, celsius + 273.15 if "coolant" in axis else None),),
        Shown("ms", 1e-3, celsius, "degC", 1), donor=side, target=side, storage=storage or Storage(),
    )  # fmt: skip
    return replace(job, further_tables=(table,))


def with_cranking_table(*, inside: bool, axis: str = "coolant temperature", fuel: float = 14.0) -> Card:
    """The card of a job with that table."""
    job = with_target(cranking_job(make_job(), inside=inside, axis=axis), "fuel", stoichiometric=fuel)
    return card_of(with_donor(job, "fuel", stoichiometric=14.0))


@pytest.mark.law
def test_the_cranking_pulse_follows_the_battery_where_the_controller_adds_the_dead_time() -> None:
    # The same engine, so that the cells stay: 9 ms beyond the dead time, which is 2.4, 2.05 and 1.7 ms.
    cranking = part(with_cranking_table(inside=False), "cranking")
    assert cranking["pulse"].words == "Pulse, 0 degC, 8, 9, 10 V"
    # Of the 6 ms at 20 degC, all of which deliver, in per cent: 3² + (2 · 9 + 2 · (0.25 + 2.25 + 0.49 + 1 + 0.25))/3
    # + 2 · 0.05²/3 · 1e4/6² = 18.29, twice its root is 8.55. The ECU follows
    # the battery but for ±0.2 V at the injectors, 0.07 ms on both sides: + 2 · 0.07²/3 · 1e4/6² = 19.20. The same
    # engine breathes alike to 2² + 2.2² = 8.84: 28.04, 10.59 of ln λ, whose lean end is 11.2.
    assert cranking["pulse"].expect == "11.40, 11.05, 10.70 ms"
    assert cranking["lambda"].expect == "0.0 %, 0.0 %, 0.0 %, ±11.2 % (k = 2)"
    # 8 V read as 9 V: 0.35 of 9 ms are lost, 9/8.65 is 4.05 % lean, rounded away from none.
    assert cranking["dead_time_per_volt"].expect == "0.35 ms of every pulse: λ +4.1 %"


@pytest.mark.law
def test_the_cranking_pulse_stays_where_the_dead_time_is_inside_the_cells() -> None:
    cranking = part(with_cranking_table(inside=True), "cranking")
    # As above, with 3.95 ms that deliver and 0.35 ms for each of ±1.5 V of a starter:
    # 26.67 + 2 · (0.05² + 0.525²)/3 · 1e4/3.95² = 145.5, 24.13 to first order. The two pulses are uncertain by 10.9 %,
    # so that it comes from Monte Carlo; two rectangles make most of it, so 95 % lie closer: 22.9 of ln λ, our own
    # number, whose lean end is 25.7.
    assert cranking["pulse"].expect == "9.00, 9.00, 9.00 ms"
    # Made at 9 V, where 6.95 ms deliver: 6.6 ms do at 8 V and 7.3 ms at 10 V, λ 5.303 % leaner and 4.795 % richer.
    assert cranking["lambda"].expect == "+5.4 %, 0.0 %, -4.8 %, ±25.7 % (k = 2)"
    # What is lost is lost by the battery itself: 6.95 ms deliver at 9 V and 6.6 ms at 8 V, 5.3 % less.
    assert cranking["dead_time_per_volt"].words == "Battery 8 V, not 9 V"
    assert cranking["dead_time_per_volt"].expect == "0.35 ms of every pulse: λ +5.4 %"


@pytest.mark.law
@each("inside", [False, True])
def test_a_cranking_pulse_that_the_table_cannot_hold(inside: bool) -> None:
    # A coldest start at −20 °C needs 12 ms, the table holds 8 ms. With the dead time outside 8 ms of 12 deliver, a half
    # more λ; inside, at 9 V, 5.95 of 9.95 ms, at 8 V 5.6 and at 10 V 6.3 ms: 67.227, 77.679 and 57.937 %.
    job = cranking_job(make_job(), inside=inside, storage=Storage(decimals=1, maximum=8.0))
    result = adapt(with_target(job, "engine", coldest_start_k=253.15))
    lines = part(first_start_card(result), "cranking")
    assert lines["pulse"].expect == ("8.00, 8.00, 8.00 ms" if inside else "10.40, 10.05, 9.70 ms")
    off = "+77.7 %, +67.3 %, +58.0 %" if inside else "+50.0 %, +50.0 %, +50.0 %"
    assert lines["lambda"].expect.rpartition(", ±")[0] == off
    # The rule on starting says the same of the cell, at the table's own 9 V.
    (stop,) = [one for one in result.findings if one.rule == "will-not-run" and one.table == "crank"]
    assert stop.value == pytest.approx(9.95 / 5.95 if inside else 1.5, rel=1e-9)


@pytest.mark.law
def test_a_cranking_pulse_is_read_between_the_cells_as_they_are_stored() -> None:
    # In steps of 2.5 ms 12 ms are 12.5 and 6 ms are 5: 8.75 ms at 0 °C for 9 ms that are needed, 2.857 % lean.
    lines = part(card_of(cranking_job(make_job(), inside=False, storage=Storage(step=2.5))), "cranking")
    assert lines["pulse"].expect == "11.15, 10.80, 10.45 ms"
    assert lines["lambda"].expect.startswith("+2.9 %, +2.9 %, +2.9 %, ±")


@pytest.mark.law
def test_a_shortest_pulse_is_kept_to_after_reading_between_cells_and_voltages() -> None:
    # At 0 °C 9 ms and the dead times of 2.4, 2.05 and 1.7 ms: 11.4, 11.05 and 10.7 ms, none below 11 ms but the last.
    # Of the cells themselves the one at 20 °C, 6 + 2.05 ms, is; it must not lift what lies between.
    told = Told(minimum_pulse_s=11e-3)
    lines = part(card_of(cranking_job(with_target_side(make_job(), told=told), inside=False)), "cranking")
    assert lines["pulse"].expect == "11.40, 11.05, 11.00 ms"
    # At 10 V 9.3 instead of 9 ms deliver: 3.226 % richer. 8 V read as 9 V costs its 0.35 ms, as without a minimum.
    assert lines["lambda"].expect.startswith("0.0 %, 0.0 %, -3.3 %, ±")
    assert lines["dead_time_per_volt"].expect == "0.35 ms of every pulse: λ +4.1 %"


TOLD = DeadTime(np.array([8.0, 10.0, 12.0, 14.0, 16.0]), np.array([[5.0e-3, 3.2e-3, 2.0e-3, 1.3e-3, 0.9e-3]]))


@pytest.mark.law
def test_a_battery_that_is_misread_costs_what_the_controller_holds() -> None:
    """It keeps the donor's dead times, 5.0, 4.1, 3.2 ms at 8, 9, 10 V, where the target's are 2.4, 2.05, 1.7 ms."""
    job = with_donor(make_job(cannot_be_told=frozenset({"dead_time"})), "injectors", dead_time=TOLD)
    lines = part(card_of(cranking_job(job, inside=False, storage=Storage(decimals=2))), "cranking")
    # 9 ms deliver at 9 V, as the donor's did: 11.05 ms, of which the cell is 6.95 ms. At 8 V 11.95 ms, of which 9.55
    # deliver, at 10 V 10.15 ms and 8.45: −5.759 and +6.509 %.
    assert lines["pulse"].expect == "11.95, 11.05, 10.15 ms"
    assert lines["lambda"].expect.startswith("-5.8 %, 0.0 %, +6.6 %, ±")
    # 8 V read as 9 V: 0.9 of the 9.55 ms are lost, 10.405 %.
    assert lines["dead_time_per_volt"].expect == "0.90 ms of every pulse: λ +10.5 %"
    assert lines["dead_time"].expect == "2.40, 2.05, 1.70 ms"


@pytest.mark.law
def test_without_a_cranking_table_a_misread_battery_costs_what_the_controller_holds() -> None:
    job = with_donor(make_job(cannot_be_told=frozenset({"dead_time"})), "injectors", dead_time=TOLD)
    assert part(card_of(job), "cranking")["dead_time_per_volt"].expect == "0.90 ms of every pulse"


@pytest.mark.law
def test_what_a_volt_costs_is_never_printed_lower_than_it_is() -> None:
    # From 2.3 ms at 8 V to 1.75 ms at 10 V: 0.275 ms for a volt.
    dead = DeadTime(np.array([8.0, 10.0, 14.0]), np.array([[2.3e-3, 1.75e-3, 0.85e-3]]))
    job = with_donor(with_target(make_job(), "injectors", dead_time=dead), "injectors", dead_time=dead)
    assert part(card_of(job), "cranking")["dead_time_per_volt"].expect == "0.28 ms of every pulse"


@pytest.mark.law
def test_a_battery_that_is_misread_by_a_controller_that_multiplies() -> None:
    # 150 % at 8 V and 140 % at 9 V: a fifteenth is missing, 6.67 %.
    factor = BatteryFactor(np.array([8.0, 10.0, 14.0]), np.array([1.5, 1.3, 1.0]))
    told = Told(battery_factor=factor)
    line = part(card_of(with_target_side(with_donor_side(make_job(), told=told), told=told)), "cranking")[
        "dead_time_per_volt"
    ]
    assert (line.words, line.expect) == ("8 V read as 9 V", "6.7 % of every pulse")
    assert line.value == pytest.approx(100 / 15)
    assert line.unit == "%/V"


def test_an_empty_cell_of_the_cranking_table_predicts_nothing() -> None:
    """The target's controller keeps a dead time longer than the pulse: there is no cell."""
    long = DeadTime(np.array([8.0, 16.0]), np.array([[30e-3, 30e-3]]))
    job = with_donor(make_job(cannot_be_told=frozenset({"dead_time"})), "injectors", dead_time=long)
    job = replace(job, target=replace(job.target, told=Told(dead_time=long)))
    lines = part(card_of(cranking_job(with_donor(job, "injectors", dead_time=TOLD), inside=False)), "cranking")
    assert (lines["pulse"].expect, lines["pulse"].value, lines["pulse"].low) == ("not known", None, None)
    assert lines["lambda"].expect.startswith("not known, not known, not known")


@pytest.mark.law
@each("inside", [False, True])
def test_at_a_cell_the_mixture_is_that_of_the_result(inside: bool) -> None:
    job = cranking_job(make_job(), inside=inside, storage=Storage(step=0.7))
    result = adapt(with_target(job, "engine", coldest_start_k=293.15))
    found = cranking(result)
    assert found is not None
    assert found.lambda_ratio[1] == pytest.approx(result.further_tables[0].stored_lambda_ratio[1], rel=1e-12)


@pytest.mark.law
@each("step", [0.1, 8.0])
def test_the_mixture_at_idle_is_that_of_the_table_as_stored(step: float) -> None:
    # Half way between four cells, which the result works out too.
    job = with_target(make_job(storage=Storage(step=step)), "engine", idle_rpm=1150.0, idle_pressure_pa=30e3)
    result = adapt(job)
    point, between = idle_point(result), result.table.between
    assert (between.rpm[1], between.load_pa[1]) == (1150.0, 30e3)
    assert point.intended_lambda == 1.0
    assert point.predicted_lambda == pytest.approx(between.lambda_ratio[1, 1], rel=1e-12)


@pytest.mark.law
def test_a_coarse_table_says_what_comes_at_idle_and_what_was_wanted() -> None:
    # In steps of 8 %: 85 is 88 and 83 is 80. At 900 rpm, a seventh of the way from 800 to 1500: 86.857 for 84.714.
    result = adapt(make_job(storage=Storage(step=8.0)))
    line = part(first_start_card(result), "idle")["lambda"]
    assert line.value == pytest.approx((85 * 6 + 83) / (88 * 6 + 80), rel=1e-12)
    assert line.intended == 1.0
    assert line.expect.startswith("0.98, 0.")
    assert line.expect.endswith(" (k = 2), not 1.00")


@pytest.mark.law
def test_a_shortest_pulse_drowns_the_idle_and_hides_the_battery() -> None:
    free = idle_point(adapt(make_job()))
    job = with_target_side(make_job(), told=Told(minimum_pulse_s=free.pulse_s + 2e-3))
    held = idle_point(adapt(job))
    # 0.84 ms at 13.8 V do not deliver.
    needed = free.pulse_s - 0.84e-3
    assert held.pulse_s == pytest.approx(free.pulse_s + 2e-3, rel=1e-12)
    assert held.predicted_lambda / free.predicted_lambda == pytest.approx(needed / (needed + 2e-3), rel=1e-9)
    # Whatever the battery is taken for, the pulse is the shortest.
    assert (held.read_high, held.read_low) == (1.0, 1.0)


def test_a_cranking_pulse_on_another_fuel_is_to_be_calibrated() -> None:
    assert part(with_cranking_table(inside=False, fuel=9.0), "cranking")["pulse"].expect.endswith(" ms, calibrate")


def test_a_cranking_table_over_something_else_predicts_nothing() -> None:
    cranking = part(with_cranking_table(inside=False, axis="oil temperature"), "cranking")
    assert cranking["pulse"].expect == "not predicted: the job has no cranking table over coolant temperature"


@pytest.mark.law
def test_dead_times_below_their_data_are_marked() -> None:
    dead = DeadTime(np.array([10.0, 12.0, 14.0]), np.array([[1.7e-3, 1.2e-3, 0.8e-3]]))
    cranking = part(card_of(with_target(make_job(), "injectors", dead_time=dead)), "cranking")
    assert cranking["dead_time"].expect == "2.20, 1.95, 1.70 ms (extrapolated)"


def test_key_on() -> None:
    lines = part(card_of(), "key_on")
    assert {key: (line.expect, line.caution, line.stop) for key, line in lines.items()} == {
        "map": ("101.3 kPa ± 3", "outside", ""),
        "cold_soaked": ("± 3 K, cold-soaked 8 h", "outside", ""),
        "battery_at_rest": ("12.2 V or more", "< 12.2 V", "< 11.5 V"),
        "tp": ("0 and 100 %, end stops learnt", "other", ""),
        "wideband": ("right at two points", "one point only", ""),
    }


def test_cranking_and_charging_limits() -> None:
    card = card_of()
    battery = part(card, "cranking")["battery"]
    assert (battery.expect, battery.caution, battery.stop) == ("8 to 11 V", "< 9.0 V", "< 8.0 V")
    charging = part(card, "charging")
    assert [(line.expect, line.caution, line.stop) for line in charging.values()] == [
        ("13.2 to 14.8 V", "< 13.0 V after 30 s, > 15.0 V for 2 s", "> 15.5 V for 1 s: engine off"),
        ("never above 16 V", "", "> 16.0 V: off now"),
        ("Ask. A donor map that never used it proves nothing.", "not known", ""),
    ]
    assert charging["overvoltage"].basis is Basis.MEMORY


def test_what_is_to_be_ticked() -> None:
    job = replace(make_job(), sources=(Source("job.toml", "0" * 64), Source("fuel.csv", "0123456789abcdef" * 4)))
    before = [line.words for line in part(card_of(job), "before").values()]
    assert before == [
        "Original file saved, its SHA-256 noted (0123456789ab…)",
        "New table and settings entered together, engine off; both read back",
        "Pump on, engine off: 3.00 bar (44 psi) on a gauge; no leaks",
        "Ignition timing checked with a light, at fixed advance; begin retarded",
        "Extinguisher at hand",
        "Adaptive trims cleared; closed loop off until the wideband is proved",
    ]


@pytest.mark.law
def test_cold_fuelling_is_to_be_set_where_the_fuel_changes() -> None:
    same = list(part(card_of(), "not_adapted"))
    assert same == ["ignition", "idle_air", "boost", "cams", "trigger", "afterstart", "acceleration"]
    other = part(card_of(with_target(make_job(), "fuel", stoichiometric=9.0)), "not_adapted")
    assert list(other) == [*same, "cold_fuelling"]


@pytest.mark.law
def test_a_stop_stands_above_everything() -> None:
    assert card_of().warning == ""
    stopped = card_of(with_target(make_job(), "injectors", per_cylinder=0.2))
    assert stopped.warning.startswith("STOP: do not start the engine on this map (")


@pytest.mark.law
def test_every_line_says_where_it_comes_from() -> None:
    for one in card_of().parts:
        for line in one.lines:
            worked_out = ("pulse", "lambda", "dead_time", "dead_time_per_volt", "fuel_pressure")
            predicted = one.key == "idle" or line.key in worked_out
            assert (line.basis is Basis.PREDICTED) is predicted, (one.key, line.key)


@pytest.mark.check_value
@each(
    # 3 bar; a regulator on the manifold takes off what idle is below the air outside, 101.325 − 35 kPa.
    # A bar is 14.5038 psi (NIST SP 811).
    ("regulator", "kpa", "words"),
    [(Regulator.MANIFOLD, 300.0 - 66.325, "2.34 bar (34 psi)"), (Regulator.FIXED, 300.0, "3.00 bar (44 psi)")],
)
def test_the_gauge_at_idle(regulator: Regulator, kpa: float, words: str) -> None:
    card = card_of(with_target(make_job(), "fuel", regulator=regulator))
    assert part(card, "before")["fuel_pressure"].value == pytest.approx(300.0)
    line = part(card, "idle")["fuel_pressure"]
    assert (line.expect, line.stop) == (words, "10 % low")
    assert line.value == pytest.approx(kpa)
    assert line.low == pytest.approx(0.9 * kpa)


@pytest.mark.law
def test_the_stop_for_fuel_pressure_comes_before_the_stop_for_lambda() -> None:
    """λ goes as 1/√Δp (orifice equation): at full rail pressure the share that is left gives less than 10 % lean."""
    line = part(card_of(with_target(make_job(), "fuel", regulator=Regulator.FIXED)), "idle")["fuel_pressure"]
    assert line.low is not None
    assert line.value is not None
    assert np.sqrt(line.value / line.low) < 1.10


@pytest.mark.law
def test_when_to_stop_for_lambda() -> None:
    assert part(card_of(), "idle")["lambda"].stop == "> 1.3, < 0.65"
    load = part(card_of(), "load")["lambda"]
    # Intended 0.88 wide open: 5 and 10 % leaner are 0.924 and 0.968.
    assert (load.words, load.expect) == ("λ wide open", "0.88 as intended")
    assert (load.caution, load.stop) == ("> 0.92", "> 0.96")


@pytest.mark.law
@each(
    ("intended", "expect", "caution", "stop"),
    [
        ([1.0, 1.0, 1.0, 0.9, 0.97], "0.97 as intended", "> 0.98", "> 1.00"),
        ([1.0, 1.0, 1.0, 1.0, 1.0], "1.00 as intended", "", "> 1.00"),
        ([1.0, 1.0, 1.0, 0.9, 0.88], "0.88 as intended", "> 0.92", "> 0.96"),
    ],
)
def test_a_first_load_never_goes_beyond_stoichiometric(
    intended: list[float], expect: str, caution: str, stop: str
) -> None:
    job = make_job()
    mixture = np.repeat(np.array(intended)[:, np.newaxis], job.rpm.size, axis=1)
    load = part(
        card_of(replace(job, target=replace(job.target, table=replace(job.target.table, intended_lambda=mixture)))),
        "load",
    )
    assert (load["lambda"].expect, load["lambda"].caution, load["lambda"].stop) == (expect, caution, stop)


@pytest.mark.law
@each(
    # Intended wide open at the lowest speed, and at the others: 10 % above 0.97 or 0.96 is leaner than λ 1.
    ("first", "rest", "stop"),
    [(0.97, 0.88, "> 10 % lean, > 1.00"), (0.88, 0.96, "> 10 % lean, > 1.00"), (0.88, 0.90, "> 10 % lean")],
)
def test_nor_does_one_whose_mixture_differs_over_speed(first: float, rest: float, stop: str) -> None:
    job = make_job()
    mixture = np.full((job.target.table.load_pa.size, job.rpm.size), rest)
    mixture[:, 0] = first
    target = replace(job.target, table=replace(job.target.table, intended_lambda=mixture))
    load = part(card_of(replace(job, target=target)), "load")["lambda"]
    assert (load.caution, load.stop) == ("> 5 % lean", stop)


@pytest.mark.law
def test_a_load_cut_stands_on_the_card() -> None:
    job = with_target(make_job(), "engine", load_cut_pa=70e3)
    card = card_of(job)
    assert card.limits == adapt(job).limits
    assert "70 kPa" in card.limits[0]
    assert part(card, "load")["lambda"].words == "λ at load"
