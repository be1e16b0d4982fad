"""Two tables side by side."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from openpyxl import load_workbook

from tests.cli.program import Ended, run

OLD = "kPa,1000,2000,3000\n40,50.0,60.0,70.0\n80,60.0,70.0,80.0\n100,0.0,0.0,90.0\n"
NEW = "kPa;1000;2000;3000\n100;0,0;5,0;90,0\n80;60,0;77,0;80,0\n40;40,0;60,0;70,0\n"


@pytest.fixture
def tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old.csv").write_text(OLD)
    (tmp_path / "new.csv").write_text(NEW)
    return tmp_path


def test_order_separator_and_decimal_mark_do_not_matter(tables: Path) -> None:
    ended = run("compare", "old.csv", "new.csv")
    assert (ended.status, ended.stderr) == (0, "")
    assert ended.stdout.splitlines() == [
        "old: old.csv",
        "new: new.csv",
        "  3 of 9 cells differ.",
        "  Largest increase: +10.0 %, from 70 to 77, at 2000 rpm and load 80.",
        "  Largest decrease: -20.0 %, from 50 to 40, at 1000 rpm and load 40.",
        "  Cells without a percentage, because the old one is 0 or one of the two is",
        "  empty: 1.",
        "",
        "CHANGE, NEW AGAINST OLD",
        "Cells in %. Down: load, lowest at the top. Across: rpm.",
        "",
        "     1000  2000  3000",
        " 40 -20.0     .     .",
        " 80     . +10.0     .",
        "100     .    --     .",
        "-- no value can be given",
        "",
        "Down: load, lowest at the top. Across: rpm.",
        "",
        "OLD                   NEW",
        "    1000 2000 3000        1000 2000 3000",
        " 40 50.0 60.0 70.0     40 40.0 60.0 70.0",
        " 80 60.0 70.0 80.0     80 60.0 77.0 80.0",
        "100  0.0  0.0 90.0    100  0.0  5.0 90.0",
    ]


def test_a_table_without_a_unit_is_shown_to_a_bare_number(tables: Path) -> None:
    speeds = [500 + 250 * at for at in range(20)]
    for name, first in (("a.csv", 71.125), ("b.csv", 72.125)):
        rows = [f"{load}," + ",".join(f"{first + load / 10 + at:.3f}" for at in range(20)) for load in (30, 60)]
        (tables / name).write_text("\n".join(["," + ",".join(map(str, speeds)), *rows]) + "\n", encoding="utf-8")
    lines = run("compare", "a.csv", "b.csv").stdout.splitlines()
    assert "Shown to 1; a wider terminal and the files show it all." in lines


def test_json(tables: Path) -> None:
    found = json.loads(run("compare", "old.csv", "new.csv", "--json").stdout)
    assert (found["schema"], found["rpm"], found["load"]) == ("basemap/2", [1000, 2000, 3000], [40, 80, 100])
    assert (found["cells"], found["changed_cells"]) == (9, 3)
    assert found["change_percent"][0] == pytest.approx([-20.0, 0.0, 0.0])
    assert found["change_percent"][2] == [0.0, None, 0.0]
    assert found["largest_increase"] == pytest.approx(
        {"change_percent": 10.0, "rpm": 2000.0, "load": 80.0, "old": 70.0, "new": 77.0}
    )


def test_the_same_table(tables: Path) -> None:
    ended = run("compare", "old.csv", "-", stdin=OLD.encode())
    assert ended == Ended("old: old.csv\nnew: standard input\n  The two tables are the same, cell by cell.\n", "", 0)


@pytest.mark.parametrize(
    ("other", "message"),
    [
        (
            "kPa,1000,2000,3500\n40,1.0,1.0,1.0\n80,1.0,1.0,1.0\n100,1.0,1.0,1.0\n",
            "has 3500 as point 3 of its rpm axis, where old.csv has 3000: tables are compared over the same axes only",
        ),
        (
            "kPa,1000,2000,3000\n40,1.0,1.0,1.0\n80,1.0,1.0,1.0\n",
            "has 2 points on its load axis, where old.csv has 3: tables are compared over the same axes only",
        ),
    ],
)
def test_other_axes_are_refused(tables: Path, other: str, message: str) -> None:
    (tables / "other.csv").write_text(other)
    assert run("compare", "old.csv", "other.csv") == Ended("", f"basemap: other.csv: {message}\n", 2)


def test_both_from_standard_input_is_refused() -> None:
    assert run("compare", "-", "-") == Ended(
        "", "basemap: only one of the two tables can come from standard input\n", 2
    )


@pytest.mark.parametrize("marks", [["--decimal", "x"], ["--decimal", ".", "--decimal", ".", "--decimal", "."]])
def test_a_decimal_mark_is_point_or_comma(tables: Path, marks: list[str]) -> None:
    assert run("compare", "old.csv", "new.csv", *marks) == Ended(
        "", "basemap: --decimal: expected . or , once for both files, or twice: of OLD and of NEW\n", 2
    )


def test_the_new_table_of_adapt_compares_with_the_donors(jobs: Path) -> None:
    assert run("adapt", "ferry_van.toml").status == 0
    ended = run("compare", "ferry_van_fuel.csv", "ferry_van-adapted/fuel.new.csv", "--json")
    written = json.loads((jobs / "ferry_van-adapted" / "ferry_van.json").read_text(encoding="utf-8"))
    assert json.loads(ended.stdout)["new"] == written["tables"]["fuel"]["stored"]


def test_two_workbooks_of_ours_are_compared_by_their_names(jobs: Path) -> None:
    run("adapt", jobs / "ferry_van.toml", "--out", jobs / "out", "--quiet")
    issued, returned = jobs / "out" / "ferry_van.xlsx", jobs / "returned.xlsx"
    book = load_workbook(issued)
    ((sheet, address),) = list(book.defined_names["target_static_flow"].destinations)
    before = book[sheet][address.replace("$", "")].value
    book[sheet][address.replace("$", "")].value = 612
    book.save(returned)
    said = run("compare", issued, returned)
    assert said.status == 0
    assert f"target_static_flow ({sheet}!{address.replace('$', '')}): {before:g} became 612" in said.stdout
    found = json.loads(run("compare", issued, returned, "--json").stdout)
    assert [(edit["name"], edit["before"], edit["after"]) for edit in found["edits"]] == [
        ("target_static_flow", before, 612)
    ]
    assert "No input and no cell was changed." in run("compare", issued, issued).stdout
