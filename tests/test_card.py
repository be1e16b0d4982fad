"""What the first-start card predicts, by hand, and that it says everything it has to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from basemap.adapt import adapt
from basemap.card import first_start_card
from basemap.first_start import idle_point
from basemap.model.card import Basis, Card, Line
from basemap.model.companion import Companion, CompanionAxis, CompanionQuantity, CompanionSide
from basemap.model.installation import DeadTime
from basemap.model.job import Job, Source
from basemap.model.result import Result
from basemap.model.table import Inside, Shown, TableQuantity
from tests.rules.factory import make_job, with_donor, with_target

# The job's target: 1998 cc, 4 cylinders, 400 cc/min of n-heptane at 3 bar, fuel of L = 14.0 and
# 730 kg/m³, 40 °C; dead time 2.4, 1.7, 1.2, 0.8, 0.6 ms at 8, 10, 12, 14, 16 V; idle at 900 rpm and 35 kPa, λ 1.


def card_of(job: Job | None = None) -> Card:
    return first_start_card(adapt(make_job() if job is None else job))


def part(card: Card, key: str) -> dict[str, Line]:
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
    assert (line.value, line.low, line.high) == pytest.approx((1.0, 1.0 - band, 1.0 + band))
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
        job.donor_table, quantity=TableQuantity.PULSE_WIDTH, values=np.full(job.donor_table.values.shape, 3e-3),
        inside=Inside(pressure=True, intended_lambda=True, dead_time=True),
    )  # fmt: skip
    job = replace(job, donor_table=table, target_table=replace(table, values=np.full(table.values.shape, np.nan)))
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


def with_cranking_table(*, inside: bool, axis: str = "coolant temperature", fuel: float = 14.0) -> Card:
    """12 ms at −20 °C falling to 6 ms at 20 °C, made at 9 V; the coldest start is at 0 °C: 9 ms."""
    celsius = np.array([-20.0, 20.0])
    side = CompanionSide(Inside(pressure=True, intended_lambda=True, dead_time=inside), battery_v=9.0)
    table = Companion(
        "crank", CompanionQuantity.PULSE_WIDTH, np.array([12.0, 6.0]),
        (CompanionAxis(axis, "degC", celsius, celsius + 273.15 if "coolant" in axis else None),),
        Shown("ms", 1e-3, celsius, "degC", 1), donor=side, target=side,
    )  # fmt: skip
    job = with_target(replace(make_job(), companions=(table,)), "fuel", stoichiometric=fuel)
    return card_of(with_donor(job, "fuel", stoichiometric=14.0))


@pytest.mark.law
def test_the_cranking_pulse_follows_the_battery_where_the_controller_adds_the_dead_time() -> None:
    # The same engine, so that the cells stay: 9 ms beyond the dead time, which is 2.4, 2.05 and 1.7 ms.
    cranking = part(with_cranking_table(inside=False), "cranking")
    assert cranking["pulse"].words == "Pulse, 0 °C, 8, 9, 10 V"
    # Of the 6 ms at 20 degC, all of which deliver, in per cent: 3² + (2 · 9 + 2 · (0.25 + 2.25 + 0.49 + 1 + 0.25))/3
    # + 2 · 0.05²/3 · 1e4/6² = 18.29, twice its root is 8.55. The ECU follows
    # the battery but for ±0.2 V at the injectors, 0.07 ms on both sides: + 2 · 0.07²/3 · 1e4/6² = 19.20, 8.76.
    assert cranking["pulse"].expect == "11.40, 11.05, 10.70 ms, λ ±8.8 %"
    # 8 V read as 9 V: 0.35 of 9 ms are lost, 9/8.65 is 4.05 % lean, rounded away from none.
    assert cranking["dead_time_per_volt"].expect == "0.35 ms of every pulse: λ +4.1 %"


@pytest.mark.law
def test_the_cranking_pulse_stays_where_the_dead_time_is_inside_the_cells() -> None:
    cranking = part(with_cranking_table(inside=True), "cranking")
    # As above, with 3.95 ms that deliver and 0.35 ms for each of ±1.5 V of a starter:
    # 17.83 + 2 · (0.05² + 0.525²)/3 · 1e4/3.95² = 136.7, 23.38.
    assert cranking["pulse"].expect == "9.00, 9.00, 9.00 ms, λ ±23.4 %"
    # What is lost is lost by the battery itself: 6.95 ms deliver at 9 V and 6.6 ms at 8 V, 5.3 % less.
    assert cranking["dead_time_per_volt"].words == "Battery 8 V, not 9 V"
    assert cranking["dead_time_per_volt"].expect == "0.35 ms of every pulse: λ +5.4 %"


def test_a_cranking_pulse_on_another_fuel_is_to_be_calibrated() -> None:
    assert part(with_cranking_table(inside=False, fuel=9.0), "cranking")["pulse"].expect.endswith(" %, calibrate")


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
        "Fuel pressure seen on a gauge; no leaks",
        "Ignition timing checked with a light, at fixed advance",
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
            predicted = one.key == "idle" or line.key in ("pulse", "dead_time", "dead_time_per_volt")
            assert (line.basis is Basis.PREDICTED) is predicted, (one.key, line.key)
