"""Two tables side by side."""

from __future__ import annotations

import json
import re
import shutil
from contextlib import chdir
from pathlib import Path

import pytest
from openpyxl.utils import get_column_letter

from tests.cli.program import SAMPLES, Ended, run
from tests.workbook.cells import areas_of, cells_of
from tests.workbook.edited import edited
from tests.workbook.read_once import each_file_is_read_once

__all__ = ["each_file_is_read_once"]

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


@pytest.mark.law
def test_a_change_is_never_shown_smaller_than_it_is(tables: Path) -> None:
    """By hand: 0.01 of 50 is 0.02 %, 1.03 of 60 is 1.7166… %, 0.01 of 70 is 0.0142… %; 2.5 of 50 is 5 % and no more."""
    (tables / "old.csv").write_text("kPa,1000,2000,3000\n40,50.00,60.00,70.00\n80,50.00,60.00,70.00\n")
    (tables / "new.csv").write_text("kPa,1000,2000,3000\n40,49.99,58.97,70.01\n80,52.50,60.00,70.00\n")
    lines = run("compare", "old.csv", "new.csv").stdout.splitlines()
    assert "  Largest decrease: -1.8 %, from 60 to 58.97, at 2000 rpm and load 40." in lines
    assert [line.split() for line in lines if line.startswith(("40 ", "80 "))][:2] == [
        ["40", "-0.1", "-1.8", "+0.1"],
        ["80", "+5.0", ".", "."],
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
            "has 3500 as point 3 of its rpm axis, but old.csv has 3000: only tables with the same axes can be compared",
        ),
        (
            "kPa,1000,2000,3000\n40,1.0,1.0,1.0\n80,1.0,1.0,1.0\n",
            "has 2 points on its load axis, but old.csv has 3: only tables with the same axes can be compared",
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
        "", "basemap: --decimal: expected . or , once for both files, or twice: for OLD and for NEW\n", 2
    )


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the command writes of the ferry van, in a folder."""
    folder = tmp_path_factory.mktemp("adapted")
    for file in SAMPLES.glob("ferry_van*.*"):
        shutil.copy(file, folder)
    with chdir(folder):
        assert run("adapt", "ferry_van.toml", "--quiet").status == 0
    return folder / "ferry_van-adapted"


@pytest.fixture
def issued(jobs: Path, written: Path) -> Path:
    """The ferry van's workbook where the command leaves it; the folder of the job file is the working folder."""
    return Path(shutil.copytree(written, jobs / "ferry_van-adapted")).relative_to(jobs) / "ferry_van.xlsx"


def test_the_new_table_of_adapt_compares_with_the_donors(issued: Path) -> None:
    ended = run("compare", "ferry_van_fuel.csv", "ferry_van-adapted/fuel.new.csv", "--json")
    written = json.loads(issued.with_suffix(".json").read_text(encoding="utf-8"))
    assert json.loads(ended.stdout)["new"] == written["tables"]["fuel"]["stored"]


def test_two_workbooks_of_ours_are_compared_by_their_names(issued: Path) -> None:
    content = issued.read_bytes()
    sheet, row, col, _, _ = areas_of(content)["target_static_flow"]
    at = f"{get_column_letter(col + 1)}{row + 1}"
    before = cells_of(content)[sheet, at].value
    back = returned(issued, {"target_static_flow": 612.5})
    said = run("compare", issued, back)
    assert said.status == 0
    assert f"target_static_flow ({sheet}!{at}): {before:g} became 612.5" in said.stdout
    found = json.loads(run("compare", issued, back, "--json").stdout)
    assert [(edit["name"], edit["before"], edit["after"]) for edit in found["edits"]] == [
        ("target_static_flow", before, 612.5)
    ]
    assert "No input and no cell was changed." in run("compare", issued, issued).stdout


def returned(issued: Path, entries: dict[str, float | str]) -> Path:
    return edited(issued, Path("returned.xlsx"), {(name, 0, 0): value for name, value in entries.items()})


def test_a_job_file_is_written_from_a_returned_workbook(issued: Path) -> None:
    back = returned(
        issued,
        {"target_static_flow": "612,5", "target_battery": 13.1, "new_table": 44, "summary_remarks": "Idles well."},
    )
    said = run("compare", issued, back, "--write-job", "new.toml")
    places = dict(re.findall(r"(\S+): .* → .* \(([^)]*)\)", said.stdout))
    assert (said.status, said.stderr) == (0, "")
    assert said.stdout.splitlines()[:4] == [
        f"issued:   {issued}",
        "returned: returned.xlsx",
        "",
        "REMARKS OF THE TUNER",
    ]
    assert "“Idles well.”" in said.stdout.splitlines()[4]
    cut = said.stdout.split("CARRIED INTO THE JOB FILE\n")[1].split("\nADAPT FIRST")[0]
    assert cut.splitlines()[:4] == [
        f"  target.conditions.battery: 13.8 V → 13.1 V ({places['target.conditions.battery']})",
        f"  target.injectors.static_flow: 650 cc/min → 612.5 cc/min ({places['target.injectors.static_flow']})",
        "",
        "NOT CARRIED OVER",
    ]
    assert "a formula was replaced" in " ".join(cut.split())
    assert "it follows from the inputs: change those" in " ".join(cut.split())
    assert said.stdout.endswith("WRITTEN  new.toml\nNEXT  basemap adapt new.toml\n")
    new = Path("new.toml").read_text(encoding="utf-8")
    cell = places["target.injectors.static_flow"]
    assert f'static_flow = "612.5 cc/min ± 2 %" # from returned.xlsx, cell {cell}\n' in new
    assert run("check", "new.toml").status == 4


def test_json_says_what_was_carried(issued: Path) -> None:
    back = returned(issued, {"target_static_flow": 612.5, "new_table": 44})
    found = json.loads(run("compare", issued, back, "--write-job", "new.toml", "--json").stdout)
    assert found["job_file"] == "new.toml"
    assert [(one["key"], one["before"], one["after"]) for one in found["changed_keys"]] == [
        ("target.injectors.static_flow", "650 cc/min", "612.5 cc/min")
    ]
    assert [(one["name"], one["why"]) for one in found["not_carried"]] == [
        ("new table", "it follows from the inputs: change those")
    ]
    assert [one["name"] for one in found["edits"]] == ["target_static_flow", "new table"]


def test_where_no_input_was_changed_no_job_file_is_written(issued: Path) -> None:
    said = run("compare", issued, returned(issued, {"summary_remarks": "Fine."}), "--write-job", "new.toml")
    assert said.status == 0
    assert said.stdout.endswith("  No input of the job was changed: no job file is written.\n")
    assert not Path("new.toml").exists()


def refused(*arguments: object) -> str:
    ended = run("compare", *arguments)
    assert (ended.stdout, ended.status) == ("", 2)
    return ended.stderr


def test_nothing_is_written_over_and_nothing_elsewhere(issued: Path) -> None:
    back = returned(issued, {"target_static_flow": 612.5})
    Path("there.toml").write_text("mine", encoding="utf-8")
    assert refused(issued, back, "--write-job", "there.toml") == (
        "basemap: there.toml: already exists: name another file\n"
    )
    assert Path("there.toml").read_text(encoding="utf-8") == "mine"
    assert refused(issued, back, "--write-job", "../new.toml") == (
        "basemap: ../new.toml: would be in a different folder from ferry_van.toml, whose paths to its tables start "
        "there: write new.toml\n"
    )


def test_the_job_file_must_be_the_one_it_was_issued_from(issued: Path) -> None:
    back = returned(issued, {"target_static_flow": 612.5})
    Path("ferry_van.toml").rename("moved.toml")
    assert refused(issued, back, "--write-job", "new.toml") == (
        f"basemap: {issued}: was issued from ferry_van.toml, which is neither next to it nor one folder up: name the "
        "job file with --job\n"
    )
    assert run("compare", issued, back, "--write-job", "new.toml", "--job", "moved.toml").status == 0
    Path("moved.toml").write_text(Path("moved.toml").read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    assert refused(issued, back, "--write-job", "newer.toml", "--job", "moved.toml") == (
        f"basemap: moved.toml: is not the job file that {issued} was issued from, or has changed since: name the "
        'right one with --job, or issue the workbook again with "basemap adapt"\n'
    )
    assert refused(issued, back, "--write-job", "newer.toml", "--job", "none.toml") == (
        "basemap: none.toml: no such file: expected the job file ferry_van.toml\n"
    )


def test_a_cell_that_no_input_can_hold_is_one_sentence_and_no_file(issued: Path) -> None:
    said = refused(issued, returned(issued, {"target_static_flow": "60 lb/h"}), "--write-job", "new.toml")
    assert re.fullmatch(
        r"basemap: returned.xlsx: cell Inputs![A-Z]+[0-9]+: holds “60 lb/h”: expected a number in cc/min\n", said
    )
    said = refused(issued, returned(issued, {"target_part_petrol": 40}), "--write-job", "new.toml")
    assert said.startswith("basemap: new.toml: target.fuel.parts")
    assert said.count("\n") == 1
    assert not Path("new.toml").exists()


def test_options_of_a_job_file_stand_for_workbooks(tables: Path) -> None:
    assert refused("old.csv", "new.csv", "--job", "x.toml") == (
        "basemap: --job: needs --write-job: name the job file to write as well\n"
    )
    said = refused("old.csv", "new.csv", "--write-job", "x.toml")
    assert said.startswith("basemap: old.csv: ")
    assert said.count("\n") == 1
