"""Every sample job runs, ends as its documentation says, and its new table passes back through the reader."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import basemap
from basemap.__main__ import main
from basemap.cli import demo
from basemap.cli.run import Destination, write_all
from basemap.exit_status import ExitStatus
from basemap.model.finding import Verdict
from basemap.rules.registry import RULES
from basemap.tables.grid import GridLayout
from basemap.tables.read import read_grid
from tests.builders.results import adapted
from tests.cli.conftest import leave_out_workbook_and_page
from tests.docs.markdown import DOCS, read, table_under
from tests.samples.make_samples import SAMPLES
from tests.samples.refused import ATMOSPHERIC, BOOSTED, FOLDER, REFUSED, Refused


@dataclass(frozen=True)
class Ending:
    """How a sample ends: its verdict, what stops it, the extension of its new table, and its further tables."""

    verdict: Verdict
    extension: str
    stops: tuple[str, ...] = ()
    further: tuple[str, ...] = ()


SAMPLE_JOBS = {
    "ferry_van.toml": Ending(Verdict.ADAPT, ".csv", further=("crank", "prime", "warm_up")),
    "orchard_pickup.toml": Ending(Verdict.ADAPT, ".csv"),
    "orchard_new_box.toml": Ending(Verdict.ADAPT, ".csv"),
    "harbour_launch.toml": Ending(Verdict.ADAPT, ".csv"),
    "hill_climb.toml": Ending(Verdict.ADAPT, ".tsv"),
    "mill_yard.toml": Ending(Verdict.ADAPT, ".csv"),
    "reed_bank_buggy.toml": Ending(Verdict.ADAPT, ".csv"),
    "rebored_spare.toml": Ending(Verdict.SUITS, ".csv"),
    "wrong_engine.toml": Ending(Verdict.REFUSE, ".csv", stops=("implied-ve-wide-open",)),
}
USABLE = [name for name, ending in SAMPLE_JOBS.items() if ending.verdict is not Verdict.REFUSE]


def test_every_kind_of_stop_has_a_sample() -> None:
    of_samples = {rule for ending in SAMPLE_JOBS.values() for rule in ending.stops}
    assert {one.rule for one in REFUSED} | of_samples == {rule.name for rule in RULES if rule.can_stop}


@pytest.mark.parametrize("one", REFUSED, ids=lambda one: one.rule)
def test_a_refused_sample_is_stopped_by_its_rule_alone(one: Refused) -> None:
    result = adapted(SAMPLES / FOLDER / one.file)
    assert (result.verdict, {stop.rule for stop in result.stops}) == (Verdict.REFUSE, {one.rule})


@pytest.mark.parametrize("base", [ATMOSPHERIC, BOOSTED], ids=["loader", "crane"])
def test_without_its_change_nothing_stops_it(base: str, tmp_path: Path) -> None:
    for grid in (SAMPLES / FOLDER).glob("*.csv"):
        shutil.copy(grid, tmp_path)
    job = tmp_path / "job.toml"
    job.write_text(base, encoding="utf-8")
    result = basemap.check(basemap.load_job(job))
    assert (result.verdict, result.stops) == (Verdict.ADAPT, ())


def test_the_guide_lists_every_refused_sample_with_what_it_shows() -> None:
    rows = table_under(read(DOCS / "user_guide.md"), "### One of each kind of stop")
    listed = {row[0].split("]")[0].strip("["): row[1] for row in rows}
    assert listed == {one.file: one.shows for one in REFUSED}


def test_every_sample_is_here() -> None:
    assert {path.name for path in SAMPLES.glob("*.toml")} == set(SAMPLE_JOBS)


def test_the_guide_lists_every_sample_with_its_verdict() -> None:
    rows = table_under(read(DOCS / "user_guide.md"), "### What must not be used")
    listed = {row[0].split("]")[0].strip("["): row[2] for row in rows}
    assert listed == {name: ending.verdict.value for name, ending in SAMPLE_JOBS.items()}


@pytest.mark.parametrize("name", SAMPLE_JOBS)
def test_each_ends_as_documented(name: str) -> None:
    """`tests/cli/test_exit_statuses.py` has the exit status of each verdict."""
    result = adapted(SAMPLES / name)
    assert result.verdict is SAMPLE_JOBS[name].verdict
    assert tuple(stop.rule for stop in result.stops) == SAMPLE_JOBS[name].stops


WRITTEN_WHOLE = ("mill_yard.toml", "rebored_spare.toml")
"""Their workbooks are of kinds that no other test writes: with air mass as load, and without a stamp."""


@pytest.mark.parametrize("name", USABLE)
def test_the_new_table_passes_back_through_the_reader(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = adapted(SAMPLES / name)
    if name in WRITTEN_WHOLE:
        assert main(["adapt", str(SAMPLES / name), "--out", str(tmp_path), "--quiet"]) == ExitStatus.OK
    else:
        leave_out_workbook_and_page(monkeypatch)
        write_all(result, Destination(SAMPLES / name, tmp_path, force=False))
    grid = tmp_path / f"fuel.new{SAMPLE_JOBS[name].extension}"
    stem = Path(name).stem
    assert {path.name for path in tmp_path.iterdir()} == {
        *(grid.name, f"{stem}.xlsx", f"{stem}.html", f"{stem}.json"),
        *(f"{table}.new.csv" for table in SAMPLE_JOBS[name].further),
    }
    layout = result.job.layout
    assert isinstance(layout, GridLayout)
    read_back = read_grid(grid, decimal=layout.decimal_mark)
    np.testing.assert_array_equal(read_back.rpm, result.job.rpm)
    np.testing.assert_array_equal(read_back.load, result.job.target.shown.load)
    # What is written has the table's own decimals, so what is read is the stored table to the last bit.
    np.testing.assert_array_equal(read_back.values, result.table.stored)
    assert read_back.layout.rows == layout.rows


@pytest.mark.parametrize(
    "path", sorted(path for path in SAMPLES.rglob("*") if path.is_file()), ids=lambda path: path.name
)
def test_every_file_says_that_it_is_invented(path: Path) -> None:
    if path.suffix == ".xlsx":
        from openpyxl import load_workbook

        first = str(load_workbook(path)["Fuel"]["B1"].value)
    else:
        first = path.read_text(encoding="utf-8").splitlines()[0]
    assert "nvented" in first


@pytest.mark.parametrize("name", demo.FILES)
def test_the_demo_is_the_van_of_the_samples(name: str) -> None:
    assert demo.contents()[name] == (SAMPLES / name).read_bytes()
