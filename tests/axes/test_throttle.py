"""Tables over throttle opening, from the job to the new cells: simulated engines, limits, laws, cells by hand."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from basemap.adaptation.pipeline import compute
from basemap.explain.cell import worked_cell
from basemap.jobfile.load import build_job
from basemap.model.finding import Verdict
from basemap.model.marks import Mark
from basemap.report.json_file import as_json
from tests.builders.over_throttle import (
    DONOR,
    FIXED,
    OF_TARGET,
    OPENINGS,
    RPM,
    TEXT,
    Engine,
    adapted,
    computed,
    job,
    opening_ms,
    target,
    to,
    write,
)
from tests.jobs import edited

OF_DONOR = 'displacement = "1998 cc"\ncylinders = 4\nthrottle_bore = "60 mm"'

TARGETS = {
    "bigger, same throttle": target(2.393),
    "1.4 times": target(1.4 * 1.998),
    "half": target(0.999),
    "six cylinders, two bores": target(2.8, 48.0, cylinders=6, bores=2),
    "three cylinders, small throttle": target(1.4, 45.0, cylinders=3),
}


# scipy's brentq on the balance of either manifold. The donor's wide-open manifold stands at 0.9923 or more. Seen over
# the five: -0.58 … +0.74 %, on a fixed rail -0.67 … +0.86 %, of the pulse without its dead time; plain scaling is
# 10 … 52 % off.
@pytest.mark.check_value
@pytest.mark.parametrize("fixed", [False, True], ids=["manifold", "fixed rail"])
@pytest.mark.parametrize("name", TARGETS)
def test_the_new_table_is_that_of_the_simulated_target(name: str, fixed: bool, tmp_path: Path) -> None:
    engine = TARGETS[name]
    result = computed(tmp_path, to(engine), *([FIXED] if fixed else []))
    true = opening_ms(engine.simulated, fixed=fixed)
    assert np.max(np.abs(result.table.new / true - 1.0)) <= 0.015
    plain = opening_ms(DONOR, fixed=fixed) * (engine.simulated.litres / engine.simulated.cylinders) / (1.998 / 4)
    assert np.max(np.abs(plain / true - 1.0)) > 0.09
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


# The same simulation. Seen: up to 1.495 % of the barometer, wide open at 1.4 times: it is taken for the barometer.
@pytest.mark.check_value
@pytest.mark.parametrize("name", TARGETS)
def test_the_manifold_is_that_of_the_simulated_target(name: str, tmp_path: Path) -> None:
    engine = TARGETS[name].simulated
    _, ratio = engine.tables(OPENINGS / 100.0, RPM)
    found = computed(tmp_path, to(TARGETS[name])).job.target.table.pressure_pa / engine.barometer_pa
    assert np.max(np.abs(found - ratio)) <= 0.015


@pytest.mark.check_value
def test_a_hand_worked_cell(tmp_path: Path) -> None:
    # By pocket calculator. Wide open 10 ms, at 20 % 6.9 ms: Π_d = 0.69, u = 0.69^(-2/7) = 1.111842, Ψ/Π =
    # √(7 · u(u - 1)) = 0.932982. Target 1.2 times the displacement behind 54 mm for 60 mm, (60/54)² = 1.234568:
    # c = 1.2 · 1.234568 · 0.932982 = 1.382195; y = (1 + √(1 + 4c²/7))/2 = 1.223134; y^-3.5 = 0.494129, below 0.528282,
    # so Π_t = 0.684731/c = 0.495394; 10 ms · 1.2 · 0.495394 = 5.944729 ms.
    cells = np.full((12, 11), 6.9)
    cells[-1] = 10.0
    engine = target(1.998 * 1.2, 54.0)
    result = computed(tmp_path, to(engine), cells=cells)
    np.testing.assert_allclose(result.table.new[:-1], 5.944729, rtol=1e-6)
    np.testing.assert_allclose(result.table.new[-1], 12.0, rtol=1e-12)
    # The worked cell shows the same numbers.
    steps = {step.symbol: step.value for step in worked_cell(result, 5, 3)}
    assert steps["Π_d"] == pytest.approx(0.69, rel=1e-12)
    assert steps["c"] == pytest.approx(1.382195, rel=1e-6)
    assert steps["Π_t"] == pytest.approx(0.495394, rel=1e-6)


@pytest.mark.check_value
def test_a_hand_worked_cell_on_a_fixed_rail(tmp_path: Path) -> None:
    # By hand: wide open 10 ms, at part throttle 4 ms: a = 0.4, b = 101.325/300 = 0.33775. Π² + 0.05404 Π - 0.214040 = 0
    # gives Π_d = (-0.05404 + √(0.0029203 + 0.856160))/2 = 0.436413. Donor = target: the cell stays.
    cells = np.full((12, 11), 4.0)
    cells[-1] = 10.0
    result = computed(tmp_path, to(target(1.998)), FIXED, cells=cells)
    ratio = result.job.donor.table.pressure_pa / 101_325.0
    np.testing.assert_allclose(ratio[:-1], 0.436413, rtol=1e-6)
    np.testing.assert_array_equal(ratio[-1], 1.0)
    np.testing.assert_allclose(result.table.new, cells, rtol=1e-12)


@pytest.mark.law
@pytest.mark.parametrize("pairs", [(), (FIXED,)], ids=["manifold", "fixed rail"])
def test_donor_is_target_changes_nothing(pairs: tuple[tuple[str, str], ...], tmp_path: Path) -> None:
    result = computed(tmp_path, to(target(1.998)), *pairs)
    np.testing.assert_allclose(result.table.new, result.table.old, rtol=1e-12)


@pytest.mark.law
@pytest.mark.parametrize("pairs", [(), (FIXED,)], ids=["manifold", "fixed rail"])
def test_there_and_back_again_returns_the_table(pairs: tuple[tuple[str, str], ...], tmp_path: Path) -> None:
    there = computed(tmp_path, to(target(2.393, 52.0)), *pairs)
    bigger = 'displacement = "2393 cc"\ncylinders = 4\nthrottle_bore = "52 mm"'
    back = computed(
        tmp_path,
        (OF_DONOR, bigger),
        to(target(1.998)),
        *pairs,
        cells=there.table.new,
    )  # fmt: skip
    # Seen: 3e-15.
    np.testing.assert_allclose(back.table.new, there.table.old, rtol=1e-12)


@pytest.mark.law
def test_wide_open_the_cylinders_count_and_choked_the_bores(tmp_path: Path) -> None:
    result = computed(tmp_path, to(target(1.4 * 1.998, 66.0)))
    np.testing.assert_allclose(result.table.new[-1], 1.4 * result.table.old[-1], rtol=1e-12)
    # At 2 % and 6800 rpm both are far below 0.528: air of all cylinders per second by the bores, 1.21.
    assert result.job.target.table.pressure_pa[1, -1] < 0.3 * 101_325.0
    np.testing.assert_allclose(result.table.new[1, -1], 1.21 * result.table.old[1, -1], rtol=1e-12)


# The dead time here rises with the pressure across it, so that air and pressure of the donor are found by repetition:
# at 3 bar 0.885 ms, at 4 bar 1.085 ms. Held against scipy's brentq, cell by cell.
@pytest.mark.check_value
def test_a_dead_time_that_changes_with_pressure_on_a_fixed_rail(tmp_path: Path) -> None:
    from scipy.optimize import brentq

    dead = (
        'time = ["1.75 ms", "1.20 ms", "0.85 ms"]',
        'pressure = ["3 bar", "4 bar"]\ntime = [["1.75 ms", "1.20 ms", "0.85 ms"], ["1.95 ms", "1.40 ms", "1.05 ms"]]',
    )
    inside = ('ecu_applies = ["lambda", "dead time"]', 'ecu_applies = ["lambda"]')
    cells = opening_ms(DONOR, fixed=True) + 0.885
    result = computed(tmp_path, to(target(2.393)), FIXED, dead, inside, cells=cells)
    ratio = result.job.donor.table.pressure_pa / 101_325.0
    wide_open = cells[-1] - 0.885
    for row, column in ((5, 4), (3, 8), (6, 0), (8, 10)):

        def off(share: float, row: int = row, column: int = column) -> float:
            across = 3e5 + 101_325.0 * (1.0 - share)
            open_ms = float(cells[row, column]) - 0.885 - 0.2 * (across - 3e5) / 1e5
            return open_ms * float(np.sqrt(across / 3e5)) / float(wide_open[column]) - share

        assert ratio[row, column] == pytest.approx(brentq(off, 1e-3, 1.5, xtol=1e-14), rel=1e-11)  # type: ignore[no-untyped-call]


@pytest.mark.check_value
def test_a_barometer_that_the_ecu_multiplies_by(tmp_path: Path) -> None:
    # By hand: both at 80 kPa hold 0.8 of the air at 100 kPa, which the ECU takes care of; the cell stays that of
    # 100 kPa. An ECU without it needs the change of barometer in its cells: from 100 to 80 kPa 0.8 wide open.
    both = '[donor.conditions]\nbarometer = "100 kPa"\n[target.conditions]\nbarometer = "80 kPa"\n'
    knows = ('["lambda", "dead time"]', '["barometer", "lambda", "dead time"]')
    same = to(target(1.998))
    with_it = computed(tmp_path, same, knows, append=both)
    np.testing.assert_allclose(with_it.table.new, with_it.table.old, rtol=1e-12)
    without = computed(tmp_path, same, append=both)
    np.testing.assert_allclose(without.table.new, 0.8 * without.table.old, rtol=1e-12)
    # Untouched it is then as rich.
    np.testing.assert_allclose(without.table.lambda_ratio["old_table_old_settings"], 0.8, rtol=1e-12)
    np.testing.assert_allclose(with_it.table.lambda_ratio["old_table_old_settings"], 1.0, rtol=1e-12)
    # One that gains the barometer: p / p_ref = 0.8 beside the cell, 0.8 of air: the old cell.
    gains = computed(
        tmp_path, same, append=both + '[target.tables.fuel]\necu_applies = ["barometer", "lambda", "dead time"]\n'
    )
    np.testing.assert_allclose(gains.table.new, gains.table.old, rtol=1e-12)


OPEN = OPENINGS[2:]
"""Openings at which the simulated manifold stands above 5 kPa, the lowest that a file may state, at every speed."""


def _efficiency(folder: Path, *pairs: tuple[str, str], append: str = "") -> tuple[Engine, dict[str, np.ndarray]]:
    """A table of volumetric efficiency over opening, with the pressures of the simulated donor."""
    _, ratio = DONOR.tables(OPEN / 100.0, RPM)
    eta = np.array([[DONOR.efficiency(speed, 1.0) * 100.0 for speed in RPM] for _ in OPEN])
    write(folder, "map.csv", ratio * 101.325, OPEN)
    text = TEXT.replace(*to(target(2.393))).replace('"pulse width"', '"volumetric efficiency"').replace('"ms"', '"%"')
    text = text.replace('ecu_applies = ["lambda", "dead time"]', 'row_pressure = "map.csv"')
    write(folder, "t.csv", eta, OPEN)
    result = compute(build_job(tomllib.loads(edited(text, *pairs) + append), folder, "job.toml"))
    arrays = {"new": result.table.new, "old": result.table.old, "pulse": result.table.pulse_s * 1e3}
    arrays |= {
        "ratio": result.job.target.table.pressure_pa / 101_325.0,
        "closure": result.table.lambda_ratio["new_table_new_settings"],
    }
    return target(2.393), arrays


# An ECU that multiplies by the pressure it measures holds the efficiency: it goes over unchanged, and the pressures,
# hence the pulses, are those of the simulated target. The donor's pressures are known here, so the agreement is 2e-5
# (the simulator has R = 287.05).
@pytest.mark.check_value
def test_an_efficiency_over_opening_goes_over_unchanged(tmp_path: Path) -> None:
    engine, found = _efficiency(tmp_path)
    np.testing.assert_allclose(found["new"], found["old"], rtol=1e-12)
    np.testing.assert_allclose(found["closure"], 1.0, rtol=1e-9)
    _, ratio = engine.simulated.tables(OPEN / 100.0, RPM)
    np.testing.assert_allclose(found["ratio"], ratio, rtol=1e-9)
    np.testing.assert_allclose(found["pulse"] - 0.885, opening_ms(engine.simulated)[2:], rtol=5e-5)


@pytest.mark.check_value
def test_its_pressures_may_be_stated_against_the_barometer(tmp_path: Path) -> None:
    _, plain = _efficiency(tmp_path)
    _, ratio = DONOR.tables(OPEN / 100.0, RPM)
    write(tmp_path, "vacuum.csv", (1.0 - ratio) * 101.325, OPEN)
    _, stated = _efficiency(tmp_path, ('"map.csv"', '{ file = "vacuum.csv", unit = "kPa vacuum" }'))
    np.testing.assert_allclose(stated["pulse"], plain["pulse"], rtol=1e-9)


# scipy's bilinear reading of the air at the donor's points.
@pytest.mark.check_value
def test_own_points_read_the_air_between_the_donors(tmp_path: Path) -> None:
    rpm, load = [1000.0, 2150.0, 4000.0, 6500.0], [3.0, 12.0, 35.0, 60.0, 100.0]
    on_donors = computed(tmp_path)
    own = computed(tmp_path, append=f"[target.tables.fuel]\nrpm_points = {rpm}\nload_points = {load}\n")
    at = tuple(np.meshgrid(load, rpm, indexing="ij"))
    for values, found in (
        (on_donors.table.target.air_kg, own.table.target.air_kg),
        (on_donors.job.target.table.pressure_pa, own.job.target.table.pressure_pa),
    ):
        library = RegularGridInterpolator((OPENINGS, RPM), values)  # type: ignore[no-untyped-call]
        np.testing.assert_allclose(found, library(at), rtol=1e-12)
    np.testing.assert_allclose(own.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    assert own.table.marks[Mark.CALIBRATE].tolist() == [[False] * 4] * 5 if Mark.CALIBRATE in own.table.marks else True


INDIVIDUAL = 'displacement = "2393 cc"\ncylinders = 4\nthrottles = { count = 4, bore = "40 mm", feeds = 1 }\n'


@pytest.mark.parametrize(
    ("engine", "message"),
    [
        (
            INDIVIDUAL,
            "The throttle layouts differ: individual throttles on one engine, a shared manifold on the other. Below "
            "wide open nothing is known: 121 cells in reach are left empty.",
        ),
        (
            'displacement = "2393 cc"\ncylinders = 4\n',
            "The throttle bores are not stated, so the air past the blades cannot be compared. Below wide open "
            "nothing is known: 121 cells in reach are left empty.",
        ),
    ],
    ids=["individual", "not stated"],
)
def test_other_throttles_leave_all_but_wide_open_empty(engine: str, message: str, tmp_path: Path) -> None:
    result = adapted(tmp_path, (OF_TARGET, engine))
    assert np.isnan(result.table.new[:-1]).all()
    # By hand: 2393/1998.
    np.testing.assert_allclose(result.table.new[-1], 2393.0 / 1998.0 * result.table.old[-1], rtol=1e-12)
    assert result.table.marks[Mark.LAYOUT_DIFFERS][:-1].all()
    assert not result.table.marks[Mark.LAYOUT_DIFFERS][-1].any()
    assert result.verdict is Verdict.REFUSE
    stops = [finding for finding in result.findings if finding.severity == "stop"]
    assert [(stop.rule, stop.scope, stop.message) for stop in stops] == [("throttle-layout", "limit", message)]
    table = as_json(result)["tables"]["fuel"]
    assert table["new"][0] == [None] * 11
    assert table["marks"][0][0] == ["layout differs"]
    assert table["pulse_ms"][3] == [None] * 11
    # Nothing can meet it: it is no load that could be cut.
    cut = adapted(tmp_path, (OF_TARGET, engine + 'load_cut = "60 kPa"\n'))
    assert cut.verdict is Verdict.REFUSE


def test_a_pressure_that_is_not_known_is_no_lack_of_fuel(tmp_path: Path) -> None:
    """On a fixed rail the flow behind such a throttle is not known, and so is the mixture of the untouched table."""
    result = adapted(tmp_path, (OF_TARGET, INDIVIDUAL), FIXED)
    for which in ("old_table_old_settings", "old_table_new_settings"):
        assert np.isnan(result.table.lambda_ratio[which][:-1]).all(), which
        assert np.isfinite(result.table.lambda_ratio[which][-1]).all(), which
    assert Mark.NO_FUEL not in result.table.marks
    assert not [finding.message for finding in result.findings if "no fuel" in finding.message]


def test_individual_throttles_on_both_are_alike(tmp_path: Path) -> None:
    donor = 'displacement = "1998 cc"\ncylinders = 4\nthrottles = { count = 4, bore = "38 mm", feeds = 1 }'
    result = computed(tmp_path, (OF_DONOR, donor), (OF_TARGET, INDIVIDUAL))
    assert np.isfinite(result.table.new).all()
    assert Mark.LAYOUT_DIFFERS not in result.table.marks


def test_openings_below_three_per_cent_are_to_be_calibrated(tmp_path: Path) -> None:
    marked = computed(tmp_path).table.marks[Mark.CALIBRATE]
    assert marked[:2].all()
    assert not marked[2:].any()


def test_a_cell_with_more_air_than_wide_open_is_kept_and_marked(tmp_path: Path) -> None:
    cells = opening_ms(DONOR)
    cells[8, 3] = 1.02 * cells[-1, 3]
    result = computed(tmp_path, cells=cells)
    assert result.table.marks[Mark.NOT_THROTTLED][8, 3]
    assert result.table.new[8, 3] == pytest.approx(2393.0 / 1998.0 * cells[8, 3], rel=1e-12)


@pytest.mark.law
def test_a_load_cut_limits_what_is_reached_cell_by_cell(tmp_path: Path) -> None:
    result = computed(tmp_path, (OF_TARGET, OF_TARGET + 'load_cut = "70 kPa"\n'))
    pressure, reachable = result.job.target.table.pressure_pa, result.table.reachable
    for column in range(RPM.size):
        below = int((pressure[:, column] < 70e3).sum())
        assert reachable[:, column].tolist() == [True] * (below + 1) + [False] * (OPENINGS.size - below - 1)


def test_a_table_of_two_sides_in_one_job_keeps_its_inputs(tmp_path: Path) -> None:
    found = job(tmp_path, append="")
    assert found.donor.hardware.engine.throttles is not None
    assert found.donor.hardware.engine.throttles.area_m2 == pytest.approx(0.0028274334, rel=1e-8)
    assert replace(found.donor.hardware.engine.throttles, count=2).area_m2 == pytest.approx(0.0056548668, rel=1e-8)
