"""A time to add to short pulses: what the injectors need, and what an ECU knows of it."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.model.result import Result, Setting
from basemap.model.table_result import LAMBDA_CASES
from basemap.report.json_file import as_json
from tests.builders.with_settings import adapted, built

OPEN, TIME = (0.5, 1.5, 3.0), (0.30, 0.10, 0.0)


def of(side: str, *, told: bool = False, open_ms: tuple[float, ...] = OPEN, time: tuple[float, ...] = TIME) -> str:
    lists = [", ".join(f'"{value!r} ms"' for value in values) for values in (open_ms, time)]
    knows = f"\n[{side}.settings]\nadded_time = true\n" if told else ""
    return f"\n[{side}.injectors.added_time]\nopen = [{lists[0]}]\ntime = [{lists[1]}]\n{knows}"


def row(result: Result, name: str) -> Setting:
    return next(one for one in result.settings if one.name == name)


@pytest.mark.check_value
def test_a_target_that_needs_more_and_is_not_told(tmp_path: Path) -> None:
    # By hand: what the flow line asks for is the pulse without it less the dead time. Half way between 0.5 and 1.5 ms
    # 0.2 ms are added, between 1.5 and 3 ms they fall by 1/15 for each ms, from 3 ms on there are none. The ECU adds
    # nothing, so the cells grow by as much.
    rows = "load,1000,3000\n15,40,45\n40,55,60\n100,80,90\n"
    free, held = adapted(tmp_path, rows=rows), adapted(tmp_path, of("target"), rows=rows)
    asked = (free.table.pulse_s - 0.885e-3) * 1e3
    assert asked.min() < 1.5 < asked.max()
    by_hand = np.array([[_added(one) for one in line] for line in asked])
    np.testing.assert_allclose(held.table.pulse_s * 1e3 - 0.885, asked + by_hand, rtol=1e-12)
    np.testing.assert_allclose(held.table.new / free.table.new, (asked + by_hand) / asked, rtol=1e-12)
    np.testing.assert_allclose(held.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    assert "added_time" not in {one.name for one in held.settings}


def _added(asked_ms: float) -> float:
    if asked_ms <= 0.5:
        return 0.30
    if asked_ms <= 1.5:
        return 0.30 - 0.20 * (asked_ms - 0.5)
    return max(0.10 - (asked_ms - 1.5) / 15.0, 0.0)


@pytest.mark.law
def test_an_ecu_that_knows_keeps_the_cells(tmp_path: Path) -> None:
    free, told = adapted(tmp_path), adapted(tmp_path, of("target", told=True))
    np.testing.assert_allclose(told.table.new, free.table.new, rtol=1e-12)
    np.testing.assert_allclose(told.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    enter = row(told, "added_time")
    assert (enter.unit, enter.open_ms, enter.enter) == ("ms", (500e-3, 1.5, 3.0), (0.3, 0.1, 0.0))
    entry = next(one for one in as_json(told)["settings"] if one["name"] == "added_time")
    assert entry["open_ms"] == [0.5, 1.5, 3.0]


@pytest.mark.law
@pytest.mark.parametrize("told", [False, True])
def test_donor_is_target_changes_nothing(told: bool, tmp_path: Path) -> None:
    same = (('displacement = "2400 cc"', 'displacement = "2000 cc"'), ('static_flow = "560', 'static_flow = "280'))
    result = adapted(tmp_path, of("donor", told=told), of("target", told=told), replaced=same)
    np.testing.assert_allclose(result.table.new, result.table.old, rtol=1e-12)
    for case in LAMBDA_CASES:
        np.testing.assert_allclose(result.table.lambda_ratio[case], 1.0, rtol=1e-9, err_msg=case)


@pytest.mark.law
@pytest.mark.parametrize("time", list(itertools.permutations((0.3, 0.1, -0.05))))
def test_closure_whatever_is_added_and_whoever_knows(time: tuple[float, ...], tmp_path: Path) -> None:
    for donor, target in itertools.product((False, True), repeat=2):
        result = adapted(
            tmp_path,
            of("donor", told=donor, time=time),
            of("target", told=True) if target else of("target") + "\n[target.settings]\nadded_time = false\n",
        )
        np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


@pytest.mark.check_value
def test_the_donors_is_taken_out_in_decoding(tmp_path: Path) -> None:
    # By hand: a donor's ECU that knows nothing of it opens for as long as its cell says, and 0.1 ms and more of a short
    # opening brought nothing: open for 2.4 ms it delivers what the line does in x with x + 0.1 - (x - 1.5)/15 = 2.4.
    rows = "load,1000,3000\n40,55,60\n100,80,90\n"
    free, held = adapted(tmp_path, rows=rows), adapted(tmp_path, of("donor"), rows=rows)
    open_ms = (free.table.donor.pulse_s - 0.885e-3) * 1e3
    x = (open_ms - 0.2) / (1.0 - 1.0 / 15.0)
    between = (x > 1.5) & (x < 3.0)
    above = open_ms >= 3.0
    assert (between | above).all()
    by_hand = np.where(above, open_ms, x)
    np.testing.assert_allclose(held.table.donor.fuel_kg / free.table.donor.fuel_kg, by_hand / open_ms, rtol=1e-12)


def test_kept_times_stay_the_donors(tmp_path: Path) -> None:
    stuck = '\n[target.settings]\ncannot_be_told = ["added_time"]\n'
    other = of("target", time=(0.2, 0.1, 0.0))
    result = adapted(tmp_path, of("donor", told=True), other, stuck)
    kept = row(result, "added_time")
    assert (kept.enter, kept.in_force) == (None, (0.3, 0.1, 0.0))
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


def test_the_worked_cell_multiplies_out(tmp_path: Path) -> None:
    result = adapted(tmp_path, of("donor", told=True), of("target"), "\n[target.settings]\nadded_time = false\n")
    steps = worked_cell(result, 0, 0)
    of_target = {step.symbol: step.value for step in steps[len(steps) // 2 :]}
    line = of_target["m_fuel,t"] / of_target["n·k"] / of_target["ṁ"]
    assert of_target["t"] == pytest.approx(of_target["τ"] + line + of_target["a"], rel=1e-9)
    of_donor = {step.symbol: step.value for step in steps[: len(steps) // 2]}
    fuel = of_donor["n·k"] * of_donor["ṁ"] * (of_donor["t"] - of_donor["τ"] - of_donor["a"])
    assert of_donor["m_fuel"] == pytest.approx(fuel, rel=1e-9)
    assert of_donor["a_set"] == pytest.approx(of_donor["a"], rel=1e-9)


@pytest.mark.parametrize(
    ("appended", "message"),
    [
        (
            of("target", time=(0.3, -0.9, 0.0)),
            "job.toml: target.injectors.added_time: between 0.5 and 1.5 ms the pulse with the added time goes from 0.8 "
            "to 0.6 ms, but a longer pulse must come out longer; correct the added times",
        ),
        (
            of("target", open_ms=(0.5, 0.4, 3.0)),
            "job.toml: target.injectors.added_time: the pulses of the table must rise, but after 0.5 ms comes 0.4 ms; "
            "sort them",
        ),
        (
            of("target", time=(0.3, 0.1)),
            "job.toml: target.injectors.added_time: 3 pulses and 2 added times do not make a table; give one time for "
            "every pulse",
        ),
        (
            '\n[target.injectors.added_time]\nopen = ["1 ms"]\n',
            "job.toml: target.injectors.added_time.time: missing: give the open times and the time to add to each, "
            'such as ["0.15 ms", "0 ms"]',
        ),
        (
            "\n[target.settings]\nadded_time = true\n",
            "job.toml: target.settings.added_time: is true, but the times are missing: add "
            "[target.injectors.added_time]",
        ),
    ],
)
def test_times_that_cannot_be(appended: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, appended)
    assert str(caught.value) == message


def test_not_beside_bent_lines(tmp_path: Path) -> None:
    both = 'bent_line = { below = "600 cc/min", above = "560 cc/min", at_mass = "4 mg" }'
    slopes = 'static_flow = "560 cc/min"', f'static_flow = "560 cc/min"\n{both}'
    with pytest.raises(InputError) as caught:
        built(tmp_path, of("target"), replaced=(slopes,))
    assert (
        "is given together with bent_line, and both describe the same short pulses: give only one of the two"
    ) in str(caught.value)
