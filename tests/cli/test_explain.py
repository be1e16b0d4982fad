"""`basemap explain`: the numbers that it prints multiply to its result."""

from __future__ import annotations

import json
import math
import re

import pytest

from tests.cli.program import SAMPLES, run

pytestmark = pytest.mark.usefixtures("each_sample_once")
FERRY = SAMPLES / "ferry_van.toml"
R_AIR = 287.05287  # J/(kg K), ISO 2533


def printed(text: str) -> list[dict[str, float]]:
    """Symbol → number of every stage, as a reader with a calculator has them."""
    stages: list[dict[str, float]] = []
    for line in text.splitlines():
        if re.match(r"(DONOR|FROM|TARGET)", line):
            stages.append({})
        found = re.match(r"  (\S.*?)\s{2,}(-?[\d.]+) ?", line) or re.match(r"  (\S+ / \S+) (-?[\d.]+)", line)
        if found and stages:
            stages[-1][found[1]] = float(found[2])
    return stages


@pytest.mark.law
@pytest.mark.parametrize(("rpm", "load"), [(3000, 60), (800, 35), (6000, 100)])
def test_a_calculator_gets_the_same_from_what_is_printed(rpm: int, load: int) -> None:
    """By hand, with the printed digits only: they are eight, so the results agree to some 1e-6."""
    ended = run("explain", FERRY, rpm, load, "--all")
    assert ended.status == 0
    donor_ecu, donor, between, target, target_ecu = printed(ended.stdout)
    gain = donor_ecu["p"] * 1e3 * donor_ecu["V_set"] * 1e-6 / (R_AIR * donor_ecu["T_ECU"])
    gain /= donor_ecu["L_set"] * donor_ecu["λ"] * donor_ecu["ṁ_set"] * 1e-3
    assert donor_ecu["G"] == pytest.approx(gain * 1e3, rel=1e-6)
    assert donor_ecu["t"] == pytest.approx(donor_ecu["cell"] / 100 * donor_ecu["G"] + donor_ecu["τ_set"], rel=1e-6)
    assert donor["m_fuel"] == pytest.approx(donor["ṁ"] * (donor_ecu["t"] - donor["τ"]), rel=1e-6)
    assert donor["m_air"] == pytest.approx(donor["λ"] * donor["L"] * donor["m_fuel"], rel=1e-6)
    assert donor["ṁ"] == pytest.approx(donor["ṁ_rated"] * math.sqrt(donor["ρ"] / 683.81407), rel=1e-6)
    air = donor["m_air"] * between["V_t / V_d"] * between["T_d / T_t"]
    assert between["m_air,t"] == pytest.approx(air, rel=1e-6)
    # A fixed rail of 3.5 bar: the pressure across the injector is the rail's and the vacuum's together.
    assert target["Δp"] == pytest.approx(3.5 + 1.01325 - load / 100, rel=1e-6)
    flow = target["ṁ_rated"] * math.sqrt(target["Δp"] / 3) * math.sqrt(target["ρ"] / 683.81407)
    assert target["ṁ"] == pytest.approx(flow, rel=1e-6)
    assert target["m_fuel,t"] == pytest.approx(between["m_air,t"] / (target["L"] * target["λ"]), rel=1e-6)
    assert target["t"] == pytest.approx(target["τ"] + target["m_fuel,t"] / target["ṁ"], rel=1e-6)
    assert target["duty"] == pytest.approx(100 * target["t"] / (120e3 / rpm), rel=1e-6)
    assert target_ecu["cell"] == pytest.approx((target["t"] - target_ecu["τ_set"]) / target_ecu["G"] * 100, rel=1e-6)
    assert target_ecu["stored"] == pytest.approx(target_ecu["cell"], abs=0.05)


def test_every_number_says_where_it_came_from() -> None:
    steps = json.loads(run("explain", FERRY, 3000, 60, "--json").stdout)["steps"]
    origins = {(step["stage"][:5], step["symbol"]): step["origin"] for step in steps}
    assert origins["Targe", "Δp"] == "measured"
    assert origins["Donor", "κ"] == "default"
    assert origins["Donor", "m_air"] == "worked out"
    assert set(origins.values()) <= {
        "measured", "printed", "told", "guessed", "declared", "default", "assumed", "worked out",
    }  # fmt: skip


def test_json_and_adapt_agree() -> None:
    cell = json.loads(run("explain", FERRY, 3000, 60, "--json").stdout)
    whole = json.loads(run("check", FERRY, "--json").stdout)["tables"]["fuel"]
    row, column = whole["load"].index(60.0), whole["rpm"].index(3000.0)
    for key in ("old", "new", "stored", "relative_uncertainty"):
        assert cell[key] == whole[key][row][column]


@pytest.mark.parametrize("at", [("explain", "CELL"), ("card",)])
def test_a_stop_that_stands_or_was_accepted_is_said(at: tuple[str, ...]) -> None:
    wrong, stop = SAMPLES / "wrong_engine.toml", "implied-ve-wide-open"
    cell = ("3000", "60") if "CELL" in at else ()
    refused = run(at[0], wrong, *cell).stdout
    assert stop in refused
    assert "STOP" in refused
    accepted = run(at[0], wrong, *cell, "--accept", stop).stdout
    assert "ccepted by you, against advice: " + stop in accepted
    assert stop not in run(at[0], FERRY, *cell).stdout


def test_json_of_a_cell_has_the_stops() -> None:
    wrong, stop = SAMPLES / "wrong_engine.toml", "implied-ve-wide-open"
    cell = json.loads(run("explain", wrong, 3000, 60, "--json").stdout)
    assert (cell["verdict"], cell["stops"], cell["accepted"]) == ("do not use", [stop], [])
    cell = json.loads(run("explain", wrong, 3000, 60, "--json", "--accept", stop).stdout)
    assert (cell["verdict"], cell["stops"], cell["accepted"]) == ("suits as it is", [], [stop])


def test_between_breakpoints_it_is_the_nearest_cell_and_says_so() -> None:
    lines = run("explain", FERRY, 3100, 61).stdout.splitlines()
    assert lines[3] == "The cell at 3000 rpm, 60 kPa."
    assert lines[4] == "It is the cell nearest to your point; the ECU interpolates between cells."


@pytest.mark.parametrize(
    ("rpm", "load", "message"),
    [
        (9000, 60, "basemap: RPM: 9000 is outside the table, which goes from 600 to 7000 rpm\n"),
        (3000, 300, "basemap: LOAD: 300 is outside the table, which goes from 20 to 100 kPa\n"),
    ],
)
def test_outside_the_table_is_refused(rpm: int, load: int, message: str) -> None:
    ended = run("explain", FERRY, rpm, load)
    assert (ended.status, ended.stdout, ended.stderr) == (2, "", message)


def test_it_reads_well_at_80_columns() -> None:
    for more in ([], ["--all"]):
        assert max(len(line) for line in run("explain", FERRY, 3000, 60, *more).stdout.splitlines()) <= 80
    assert len(run("explain", FERRY, 3000, 60).stdout.splitlines()) <= 30, "one screen"


@pytest.mark.law
@pytest.mark.parametrize("coolant", [-20, 20, 80])
def test_a_cranking_pulse_by_calculator_from_what_is_printed(coolant: int) -> None:
    """The dead time is inside both cells; a fixed rail has its own 3.5 bar at the barometer."""
    ended = run("explain", FERRY, "--table", "crank", coolant, "--all")
    assert ended.status == 0
    donor_ecu, donor, between, target, target_ecu = printed(ended.stdout)
    assert donor_ecu["t"] == donor_ecu["cell"]
    assert donor["m_fuel"] == pytest.approx(donor["ṁ"] * (donor_ecu["t"] - donor["τ"]), rel=1e-6)
    assert donor["m_air"] == pytest.approx(donor["L"] * donor["m_fuel"], rel=1e-6)
    assert between["m_air,t"] == pytest.approx(donor["m_air"] * between["V_t / V_d"], rel=1e-6)
    assert target["Δp"] == pytest.approx(3.5, rel=1e-6)
    assert target["m_fuel,t"] == pytest.approx(between["m_air,t"] / target["L"], rel=1e-6)
    assert target["t"] == pytest.approx(target["τ"] + target["m_fuel,t"] / target["ṁ"], rel=1e-6)
    assert target_ecu["cell"] == target["t"]
    assert "duty" not in target


def test_a_further_table_and_adapt_agree() -> None:
    cell = json.loads(run("explain", FERRY, "--table", "crank", -20, "--json").stdout)
    whole = json.loads(run("check", FERRY, "--json").stdout)["tables"]["crank"]
    assert cell["at"] == [{"axis": "coolant temperature", "unit": "degC", "value": -20}]
    for key in ("old", "new", "stored", "relative_uncertainty", "marks"):
        assert cell[key] == whole[key][0]
    assert sum(share["share"] for share in cell["shares"]) == pytest.approx(1.0)
    assert cell["steps"][-2]["value"] == cell["new"]


def test_what_is_no_pulse_is_only_shown() -> None:
    assert run("explain", FERRY, "--table", "warm_up", -20).stdout.splitlines() == [
        "Ferry-lane van: 2.0 petrol map onto the 2.4 on E85 (invented data)",
        "  map of 1998 cc, 4 cyl, 4 x 280 cc/min at 3 bar, manifold rail 3 bar, E5, tuned",
        "  onto   2393 cc, 4 cyl, 4 x 650 cc/min at 3 bar, fixed rail 3.5 bar, E78",
        "The cell of the table warm_up at -20 degC.",
        "Unchanged: it means the same on any engine.",
        "162 % -> 162 %",
        "",
        "MARKS",
        "  calibrate on the engine",
    ]


def test_a_load_below_nothing_is_no_option() -> None:
    assert "\nThe cell at 3000 rpm, -6 psi gauge.\n" in run("explain", SAMPLES / "hill_climb.toml", 3000, -6).stdout


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ((3000,), "explain: needs RPM and LOAD, such as 3000 60: 1 given"),
        ((3000, "20,5"), 'explain: "20,5": use a decimal point, not a comma: write 20.5'),
        (
            ("3,000", 60),
            'explain: "3,000": a comma is neither a decimal point nor a thousands separator: write 3.000 or 3000',
        ),
        (
            ("--tabel", "crank", 20),
            'explain: "--tabel" is neither a number nor an option: expected RPM and LOAD, such as 3000 60',
        ),
        (("--table", "crnk", 20), '--table: there is no further table "crnk": the job has "crank", "prime", "warm_up"'),
        (("--table", "crank", 20, 3), 'explain: "crank" is over coolant temperature in degC: 1 expected, 2 given'),
        (
            ("--table", "crank", 200),
            "coolant temperature: 200 is outside the table, which goes from -20 to 80 degC",
        ),
    ],
)
def test_what_is_asked_for_wrongly_is_refused(given: tuple[object, ...], message: str) -> None:
    ended = run("explain", FERRY, *given)
    assert (ended.status, ended.stdout, ended.stderr) == (2, "", f"basemap: {message}\n")
