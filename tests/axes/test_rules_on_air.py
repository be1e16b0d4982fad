"""What an air-mass axis does not say is judged on the dangerous side, or said not to be known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.first_start_card import first_start_card
from basemap.explain.cell import worked_cell
from basemap.model.finding import Severity
from basemap.model.result import Result
from tests.axes.test_air_mass import MG
from tests.builders.pulse_width import LOAD, adapted, job, refused, target_of

BIGGER = target_of("2400 cc")
ROWS = "load,600,3000\n" + "".join(
    f"{mg},{0.885 + mg * 0.0195:.4f},{0.885 + mg * 0.0195:.4f}\n" for mg in (50, 300, 560)
)
"""About 1 mg of air for each mg on the axis: 0.0195 ms for each."""

FIXED = ('regulator = "manifold"', 'regulator = "fixed"')
TARGET_FIXED = (
    'same_as_donor = ["fuel", "injectors"]',
    'same_as_donor = ["injectors"]\n[target.fuel]\nblend = "E5"\nrail_pressure = "3 bar"\nregulator = "fixed"',
)


def found(result: Result, rule: str) -> list[tuple[Severity, str]]:
    return [(one.severity, one.message) for one in result.findings if one.rule == rule]


# By hand: 500 cc at 35 kPa and 40 °C hold 0.3894 g/l · 0.5 l = 194.7 mg; an idle that breathes 35 to 95 % of it takes
# 68.1 to 185.0 mg, which is 1.3287 to 3.6064 ms beside 0.885 ms of dead time: 2.2137 to 4.4914 ms, said rounded down.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("shortest", "severity", "certain"),
    [("2.0 ms", None, False), ("2.4 ms", Severity.CAUTION, False), ("6.0 ms", Severity.STOP, True)],
)
def test_idle_is_judged_from_the_least_to_the_most_air(
    shortest: str, severity: Severity | None, certain: bool, tmp_path: Path
) -> None:
    injectors = '[donor.injectors]\nstatic_flow = "280 cc/min"\n'
    result = adapted(tmp_path, MG, (injectors, f'{injectors}shortest_pulse = "{shortest}"\n'), rows=ROWS)
    told = found(result, "short-pulse")
    about_idle = [one for one in told if "Not shown to be safe" in one[1]]
    if severity is None:
        assert not about_idle
    elif not certain:
        assert about_idle == [
            (
                Severity.CAUTION,
                "Not shown to be safe: the load axis does not say how much air idle takes. At the least that is "
                "usual, the pulse is 2.213 ms; at the most, 4.491 (caution below 2.4).",
            )
        ]
    else:
        assert Severity.STOP in {one[0] for one in told}


# By hand, a donor whose rail follows the manifold, a target with a fixed one of 3 bar: 560 mg are taken for 101 kPa,
# and are at most the barometer's 101.3 kPa; 300 mg are taken for 54 kPa and are 77 kPa at a VE of 70 %: the pressure
# across is 324.27 instead of 347.39 kPa, λ √(347.39/324.27) = 1.03503, said rounded up.
@pytest.mark.check_value
def test_a_fixed_rail_works_against_an_estimate(tmp_path: Path) -> None:
    assert not found(adapted(tmp_path, MG, rows=ROWS), "estimated-pressure")
    told = found(adapted(tmp_path, MG, TARGET_FIXED, rows=ROWS), "estimated-pressure")
    assert told == [
        (
            Severity.CAUTION,
            "The load axis counts air, so the manifold pressure behind the fixed rail of the target is estimated, at "
            "a volumetric efficiency of 100 %. If it is 70 %, λ at 300 mg is 3.6 % leaner than calculated (caution "
            "above 3 %).",
        )
    ]
    # With the same fixed rail on both sides it cancels.
    assert found(adapted(tmp_path, MG, FIXED, rows=ROWS), "estimated-pressure")[0][0] is Severity.NOTE


def test_what_needs_a_pressure_is_left_out(tmp_path: Path) -> None:
    power = (
        '[donor.engine]\ndisplacement = "2000 cc"',
        '[donor.engine]\ndisplacement = "2000 cc"\nrated_power = "80 kW @ 3000 rpm"',
    )
    rules = {one.rule for one in adapted(tmp_path, MG, power, rows=ROWS).findings}
    assert not rules & {"implied-power", "implied-ve-part-load", "implied-ve-wide-open"}


def test_the_card_predicts_no_idle(tmp_path: Path) -> None:
    idle = next(part for part in first_start_card(adapted(tmp_path, MG, rows=ROWS)).parts if part.key == "idle")
    lines = {line.key: line for line in idle.lines}
    assert lines["pulse"].expect == "not predicted: the load axis does not say how much air idle takes"
    assert lines["pulse"].value is None
    assert (lines["duty"].expect, lines["duty"].value) == ("not known", None)


def test_a_worked_cell_begins_with_the_donors_own(tmp_path: Path) -> None:
    # The axis scales, so that the untouched table is read elsewhere; what is worked is the donor's cell of this place.
    steps = worked_cell(adapted(tmp_path, MG, BIGGER, rows=ROWS), 1, 0)
    assert steps[0].symbol == "cell"
    assert steps[0].value == pytest.approx(6.735)
    assert next(step for step in steps if step.symbol == "x_t / x_d").value == pytest.approx(1.2, rel=1e-12)


def test_what_is_said_of_the_donor_is_said_on_its_own_axes(tmp_path: Path) -> None:
    # One cell of the donor is twice what it should be; the target has fewer points, none of them beside it. The
    # limit is 0.04 of the logarithm, 4.08 %.
    speeds, loads = (1000, 2000, 3000, 4000, 5000), (100, 200, 300, 400, 500, 560)
    body = {mg: [0.885 + mg * 0.0195] * 5 for mg in loads}
    body[300][2] = 0.885 + 600 * 0.0195
    rows = "load," + ",".join(map(str, speeds)) + "\n"
    rows += "".join(f"{mg},{','.join(f'{one:.4f}' for one in line)}\n" for mg, line in body.items())
    own = "\n[target.tables.fuel]\nrpm_points = [1000, 5000]\nload_points = [150, 500]\n"
    result = adapted(tmp_path, MG, rows=rows, append=own)
    told = found(result, "table-health")
    assert [message for _, message in told] == [
        "Spikes in the donor's table: at 3000 rpm and 300 mg it is 100.0 % above its neighbours (1 cell more "
        "than 4.1 % off)."
    ]
    assert all(one.cells == () for one in result.findings if one.rule == "table-health")


def test_a_further_table_of_lambda_is_over_pressure(tmp_path: Path) -> None:
    (tmp_path / "goal.csv").write_text("load,600,3000\n50,1.0,1.0\n560,0.9,0.9\n", encoding="utf-8")
    goal = (
        '\n[donor.tables.goal]\nfile = "goal.csv"\nquantity = "lambda"\nload = "manifold pressure"\nload_unit = "kPa"\n'
    )
    assert refused(tmp_path, MG, ("lambda = 1.0", 'lambda = { table = "goal" }'), rows=ROWS, append=goal) == (
        'job.toml: donor.tables.fuel.lambda.table: "goal" is over manifold pressure, and the fuel table over air '
        "mass: give the lambda as a number, or as a file with the axes of the fuel table"
    )


def test_a_further_table_of_pulses_over_gauge_pressure_wants_one_barometer(tmp_path: Path) -> None:
    (tmp_path / "rise.csv").write_text("load,600,3000\n-40,3.0,3.0\n0,5.0,5.0\n", encoding="utf-8")
    rise = (
        '\n[donor.tables.rise]\nfile = "rise.csv"\nquantity = "pulse width"\nload = "manifold pressure"\n'
        'load_unit = "kPa gauge"\necu_applies = []\n[donor.conditions]\nbarometer = "90 kPa"\n'
    )
    assert refused(tmp_path, (LOAD, LOAD), append=rise) == (
        'job.toml: donor.tables.rise.load_unit: "kPa gauge" is measured from the barometer, and the two sides have '
        "different barometers: not supported yet for a further table of pulses; write its loads as absolute pressures"
    )


@pytest.mark.law
def test_there_and_back_again(tmp_path: Path) -> None:
    """From a 2.0 to a 2.4 and back, the axis scaled there and given on the way back: the table that was."""
    there = adapted(tmp_path, MG, BIGGER, rows=ROWS)
    cells = "\n".join(
        f"{load!r},{','.join(repr(float(one)) for one in line)}"
        for load, line in zip(there.job.target.shown.load.tolist(), there.table.new, strict=True)
    )
    engines = ('displacement = "2000 cc"', 'displacement = "2400 cc"')
    back = adapted(tmp_path, MG, engines, rows=f"load,600,3000\n{cells}\n",
                   append="\n[target.tables.fuel]\nload_points = [50, 300, 560]\n")  # fmt: skip
    first = job(tmp_path, MG, rows=ROWS)
    np.testing.assert_allclose(back.table.new, first.donor.table.values * 1e3, rtol=1e-12)
