"""A job with every kind of further table, from the command line to the files."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from basemap.report.grid_file import further_table_bytes
from tests.builders import results
from tests.cli.program import SAMPLES, run

GOAL = "kPa,600,7000\n20,1.00,1.00\n100,0.88,0.88\n"
RATIO = "kPa;600;7000\n100;12,80;12,60\n20;14,30;14,30\n"
TABLES = """
[donor.tables.goal]
file = "goal.csv"
quantity = "lambda"
load = "manifold pressure"
load_unit = "kPa"

[donor.tables.ratio]
file = "ratio.txt"
quantity = "air/fuel ratio"
basis = "fuel in use"
load = "manifold pressure"
load_unit = "kPa"

[target.tables.crank]
decimals = 2
maximum = 20

[target.tables.fuel]
lambda = { table = "goal" }
"""
WRITTEN = ["crank.new.csv", "fuel.new.csv", "goal.new.csv", "prime.new.csv", "ratio.new.txt", "warm_up.new.csv"]


def with_whole_map(jobs: Path) -> Path:
    """The van with a target mixture and an air/fuel table beside its cranking, priming and warm-up tables."""
    text = (jobs / "ferry_van.toml").read_text(encoding="utf-8") + TABLES
    (jobs / "whole_map.toml").write_text(text, encoding="utf-8")
    (jobs / "goal.csv").write_text(GOAL, encoding="utf-8")
    (jobs / "ratio.txt").write_text(RATIO, encoding="utf-8")
    return jobs


@pytest.fixture
def whole_map(jobs: Path) -> Path:
    return with_whole_map(jobs)


@dataclass(frozen=True)
class Adapted:
    """What became of it, once for all who look at it: the folder it was written into, and what was printed."""

    folder: Path
    stdout: str


@pytest.fixture(scope="module")
def adapted(tmp_path_factory: pytest.TempPathFactory) -> Adapted:
    jobs = tmp_path_factory.mktemp("whole")
    for file in SAMPLES.glob("ferry_van*"):
        shutil.copy(file, jobs)
    ended = run("adapt", with_whole_map(jobs) / "whole_map.toml", "--tables", "--out", jobs / "x")
    assert (ended.status, ended.stderr) == (0, "")
    return Adapted(jobs / "x", ended.stdout)


def test_every_table_is_written_in_its_own_shape(adapted: Adapted) -> None:
    folder = adapted.folder
    beside = ("whole_map.html", "whole_map.json", "whole_map.xlsx")
    assert sorted(path.name for path in folder.iterdir()) == sorted([*WRITTEN, *beside])
    crank = (folder / "crank.new.csv").read_text(encoding="utf-8").splitlines()
    # At −20 °C 26.39 ms are needed, and the target's table ends at 20. Below that two decimals, as asked.
    assert crank[:5] == ["Invented data: cranking pulse of a 2.0 l van", "degC,ms", "-20,20.00", "-10,20.00", "0,17.67"]
    prime = (folder / "prime.new.csv").read_text(encoding="utf-8").splitlines()
    assert prime[1] == "degC,-20,-10,0,10,20,40,60,80"
    assert prime[2].startswith("ms,41.3,32.2,")
    assert (folder / "warm_up.new.csv").read_bytes() == (SAMPLES / "ferry_van_warm_up.csv").read_bytes()
    assert (folder / "goal.new.csv").read_text(encoding="utf-8") == GOAL
    # 10.1733/14.3012 of every cell: 12.80 → 9.105…, 12.60 → 8.963…, 14.30 → 10.172…
    assert (folder / "ratio.new.txt").read_text(encoding="utf-8") == "kPa;600;7000\n100;9,11;8,96\n20;10,17;10,17\n"


def test_the_json_holds_flat_lists_for_one_axis(adapted: Adapted) -> None:
    tables = json.loads((adapted.folder / "whole_map.json").read_text(encoding="utf-8"))["tables"]
    assert list(tables) == ["fuel", "crank", "prime", "warm_up", "goal", "ratio"]
    crank = tables["crank"]
    assert (crank["quantity"], crank["unit"], crank["battery_v"]) == ("pulse width", "ms", 8.5)
    assert (crank["axis_name"], crank["axis_unit"]) == ("coolant temperature", "degC")
    assert crank["axis"] == [-20, -10, 0, 10, 20, 40, 60, 80]
    assert crank["old"][:2] == [38.5, 31.0]
    # (38.5 − 2.3875) · 0.65526… + 2.725: dead times at 8.5 V from 2.60 and 1.75, 2.95 and 2.05 ms at 8 and 10 V.
    assert crank["new"][0] == pytest.approx(26.388, abs=5e-4)
    assert crank["pulse_ms"][0] == pytest.approx(crank["new"][0], rel=1e-12)
    assert crank["stored"][:3] == [20, 20, 17.67]
    assert crank["marks"][0] == ["above the table's maximum", "calibrate on the engine"]
    assert crank["marks"][4] == []
    assert tables["warm_up"]["new"] == tables["warm_up"]["old"]
    assert tables["warm_up"]["pulse_ms"] == [None] * 8
    assert (len(crank["relative_uncertainty"]), tables["warm_up"]["relative_uncertainty"]) == (8, None)
    ratio = tables["ratio"]
    assert (ratio["rpm"], ratio["load"], ratio["load_unit"]) == ([600, 7000], [20, 100], "kPa")
    assert ratio["new"][1][0] == pytest.approx(12.80 * 10.1733 / 14.3012, rel=1e-5)
    assert ratio["marks"] == [[[], []], [[], []]]


def test_the_terminal_shows_every_table(adapted: Adapted) -> None:
    shown = adapted.stdout
    headings = [line for line in shown.splitlines() if line.startswith("NEW TABLE: ")]
    assert headings == [
        "NEW TABLE: FUEL, VOLUMETRIC EFFICIENCY",
        "NEW TABLE: CRANK, PULSE WIDTH",
        "NEW TABLE: PRIME, PULSE WIDTH",
        "NEW TABLE: WARM_UP, PERCENT",
        "NEW TABLE: GOAL, LAMBDA",
        "NEW TABLE: RATIO, AIR/FUEL RATIO",
    ]
    lines = [line.rstrip() for line in shown.splitlines()]
    # 22.8125 ms deliver on the donor, 14.948 on the target; 0.425 and 0.45 ms a volt; ±1.5 V of a starter add, in per
    # cent: 4 · 0.75e4 · (0.425²/22.8125² + 0.45²/14.948²) = 6.1² to 9.3², so 11.1². The target breathes as its sister
    # to 2·√(3.5² + 3.6²) = 10.0 %, of which figures made at other speeds leave 9.6; the discharge coefficient adds
    # 2 %/√3 = 1.2: √(11.1² + 9.6² + 1.2²) = 14.7.
    assert "                          0     25.2    17.67              17.673    14.7" in lines
    assert "  The mixture is within ±14.0 to ±24.1 % of the donor's on this table (k = 2; by" in lines
    assert "  Pulses for a battery of 8.5 V; the dead time is in the cells." in lines
    assert "  - calibrate on the engine, not adapted: 4 cells, -20 degC to 10 degC" in lines
    assert "  Unchanged: it means the same on any engine." in lines


def test_what_the_table_cannot_store_is_said_with_the_fuel_that_is_left(whole_map: Path) -> None:
    found = json.loads(run("check", "whole_map.toml", "--json").stdout)["findings"]
    (clipped,) = [one for one in found if one["rule"] == "further-tables" and one["table"] == "crank"]
    assert clipped["severity"] == "caution"
    # (20 − 2.725)/(26.388 − 2.725) = 0.730
    assert clipped["message"] == (
        "The target's table crank cannot hold the new cell at -20 degC: it needs 26.3882 ms, the maximum is 20, which "
        "delivers 73 % of the fuel (2 cells held)."
    )


def test_nothing_is_written_where_a_further_table_stands_in_the_way(whole_map: Path) -> None:
    (whole_map / "x").mkdir()
    (whole_map / "x" / "prime.new.csv").write_text("mine")
    ended = run("adapt", "whole_map.toml", "--out", "x")
    assert ended.status == 2
    assert ended.stderr.startswith(f"basemap: {Path('x', 'prime.new.csv')}: already exists")
    assert [path.name for path in (whole_map / "x").iterdir()] == ["prime.new.csv"]


@pytest.mark.usefixtures("plain_files_only")
def test_a_stop_withholds_every_table(whole_map: Path) -> None:
    text = (whole_map / "whole_map.toml").read_text(encoding="utf-8")
    for said, instead in (('"1998 cc"', '"1098 cc"'), ('"92 kW @', '"40 kW @'), ('"162 Nm @', '"80 Nm @')):
        assert said in text
        text = text.replace(said, instead)
    (whole_map / "stop.toml").write_text(text, encoding="utf-8")
    ended = run("adapt", "stop.toml", "--tables", "--out", "x")
    assert ended.status == 3
    assert sorted(path.name for path in (whole_map / "x").iterdir()) == ["stop.html", "stop.json", "stop.xlsx"]
    assert "NEW TABLE: CRANK, PULSE WIDTH - DO NOT LOAD" in ended.stdout


@pytest.mark.usefixtures("plain_files_only")
def test_a_table_from_standard_input(whole_map: Path) -> None:
    table = (whole_map / "ferry_van_crank.csv").read_bytes()
    text = (whole_map / "ferry_van.toml").read_text(encoding="utf-8").replace('"ferry_van_crank.csv"', '"-"')
    (whole_map / "piped.toml").write_text(text, encoding="utf-8")
    assert run("adapt", "piped.toml", "--out", "piped", stdin=table).status == 0
    (filed,) = [one for one in results.adapted(SAMPLES / "ferry_van.toml").further_tables if one.name == "crank"]
    assert (whole_map / "piped" / "crank.new.csv").read_bytes() == further_table_bytes(filed)


def test_the_workbook_has_a_sheet_of_them(adapted: Adapted) -> None:
    from openpyxl import load_workbook

    sheet = load_workbook(adapted.folder / "whole_map.xlsx", read_only=True)["Further tables"]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    flat = [value for row in rows for value in row if value is not None]
    assert "as issued, not live: nothing here follows an edit" in flat
    assert [value for value in flat if str(value).endswith(": pulse width, ms")] == [
        "crank: pulse width, ms",
        "prime: pulse width, ms",
    ]
    (at_zero,) = [row for row in rows if row[:2] == [0, 25.2]]
    assert at_zero[2] == 17.67
    assert at_zero[4] == pytest.approx(17.673, abs=5e-4)
    assert at_zero[-1] == "calibrate on the engine"
    assert not [value for value in flat if str(value).startswith("=") and value != "=issued_status"]  # the head's
