"""The page of `learn` as text: what is dangerous first, everything that the terminal says, drawn to scale, small."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import basemap
from basemap.model.drive import Chunks, DriveLog
from basemap.model.learnt import Learnt, LearntTable
from basemap.report.learnt_in_words import FOOTER, NO_FAULT, NOT_IN_A_LOG, NOT_PROVED, NOTHING_CROSSED, cells
from basemap.report.page.along import SPANS, drives, thinned
from basemap.report.page.band_map import band_maps
from basemap.report.page.curves import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH
from basemap.report.page.learnt import learnt_html
from tests.builders.without_files import make_job
from tests.report.page.learnt_van import HELD, first_drive, learnt_before, van
from tests.report.page.test_page import Read


def text(found: Learnt) -> str:
    return Read(learnt_html(van(), found, "2026-01-01")).text


def nothing_learnt() -> Learnt:
    return replace(
        first_drive(), nothing="the probe reads its lean end for 40 % of the time", table=None, trace=None,
        faults=(), next_points=(), inputs=(), holds=(),
    )  # fmt: skip


def test_what_was_crossed_comes_first_and_that_there_is_nothing_to_load() -> None:
    found = first_drive()
    said = text(found)
    order = ["NOTHING TO LOAD", van().job.title, *(event.says[1:] for event in found.events), "No table to load",
             NOT_PROVED, "Against the card", "Along the drive", "What was learnt", NO_FAULT]  # fmt: skip
    body = said[said.index("NOTHING TO LOAD") :]
    places = [body.index(words) for words in order]
    assert places == sorted(places)
    assert "as stored - NOT TO BE LOADED" in said
    assert "It replaces the table" not in said


def test_everything_else_is_said() -> None:
    found = first_drive()
    said = text(found)
    for words in (*NOT_IN_A_LOG, FOOTER):
        assert words in said
    for one in found.card:
        assert one.line in said
        assert one.within is None or one.seen in said
    for point in found.next_points:
        assert f"{point.rpm:g} rpm, {point.load:g} kPa" in said
    assert f"SHA-256 {found.logs[0].sha256}" in said


@pytest.mark.law
def test_no_change_of_what_was_learnt_is_said_to_be_smaller_than_it_is() -> None:
    table = first_drive().table
    assert table is not None
    said = cells(van(), replace(table, change_percent=np.where(table.visited, -2.41, 0.04)))
    assert [one.change for one in said] == ["-2.5 to -2.5 %", "+0.1 to +0.1 %"]


def test_what_is_accepted_can_be_loaded() -> None:
    said = text(first_drive(HELD))
    assert "Load fuel.new.csv. It replaces the table that is in the controller." in said
    assert "NOT TO BE LOADED" not in said
    assert "NOTHING TO LOAD" not in said


def test_a_fault_is_told_with_its_test() -> None:
    found = first_drive()
    fault = replace(found.faults[0], name="regulator", says="clearly: its hose is off. Test: gauge at idle")
    assert "Regulator (clearly): its hose is off. Test: gauge at idle." in text(replace(found, faults=(fault,)))


def test_where_nothing_was_learnt_the_drive_is_drawn_all_the_same() -> None:
    found = nothing_learnt()
    said = text(found)
    assert "Nothing was learnt about the table: the probe reads its lean end for 40 % of the time." in said
    assert "NOTHING TO LOAD" in said
    assert "Against the card" in said
    assert len(drives(found).drawn) == 1
    assert "What was learnt" not in said


def test_a_quiet_drive_says_so() -> None:
    assert NOTHING_CROSSED in text(replace(first_drive(), events=(), holds=()))


def test_it_has_no_script_and_refers_to_nothing_outside() -> None:
    read = Read(learnt_html(van(), first_drive(), "2026-01-01"))
    assert read.raw["script"] == []
    for tag, attributes in read.elements:
        assert tag not in {"script", "link", "iframe", "object", "embed", "base", "img"}
        assert not set(attributes) & {"src", "style", "onclick", "onload", "srcset", "action"}
    (policy,) = [one["content"] for tag, one in read.elements if "http-equiv" in one]
    assert re.fullmatch(
        r"default-src 'none'; style-src 'sha256-[\w+/=]+'; base-uri 'none'; form-action 'none'", policy or ""
    )
    names = [attributes["id"] for _, attributes in read.elements if "id" in attributes]
    assert len(names) == len(set(names))
    assert {one["href"] for tag, one in read.elements if tag == "a"} <= {f"#{name}" for name in names}


def test_what_was_learnt_before_is_drawn_by_its_stretches() -> None:
    (drawn,) = drives(learnt_before()).drawn
    assert [curve.name for curve in drawn.curves] == ["seen", "expected before", "expected now"]
    assert drawn.shaded
    assert drawn.upright == ()  # what was crossed has no time any more


def test_only_so_many_drives_are_drawn() -> None:
    found = learnt_before()
    assert found.trace is not None
    logs = tuple(replace(found.logs[0], sha256=f"{number}") for number in range(11))
    trace = replace(
        found.trace,
        log=tuple(number for number in range(11) for _ in found.trace.log),
        **{name: np.tile(getattr(found.trace, name), 11) for name in ("at_s", "expected", "corrected", "seen")},
    )
    many = replace(found, logs=logs, trace=trace)
    assert len(drives(many).drawn) == 8
    assert "3 more, learnt from before, are not drawn." in text(many)


@pytest.mark.law
@settings(max_examples=30, deadline=None)
@given(st.integers(2 * SPANS + 1, 20_000), st.integers(0, 2**32 - 1))
def test_no_peak_is_lost_and_time_runs_on(count: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    across, values = np.arange(float(count)), random.normal(size=count)
    values[random.integers(count)] = np.inf
    few, kept = thinned(across, values)
    assert few.size <= 2 * SPANS
    assert (np.diff(few) > 0).all()
    assert (values[few.astype(int)] == kept).all()
    span = np.minimum(((across - across[0]) / (count - 1) * SPANS).astype(int), SPANS - 1)
    for at in range(0, SPANS, 10):
        whole = values[span == at]
        drawn = kept[span[few.astype(int)] == at]
        assert drawn.max() == whole.max()
        assert drawn.min() == whole.min()


def test_where_nothing_is_known_the_line_is_broken() -> None:
    values = np.sin(np.arange(10_000.0))
    values[4000:6000] = np.nan
    few, kept = thinned(np.arange(10_000.0), values)
    assert np.isnan(kept[(few > 4100) & (few < 5900)]).all()
    assert np.isfinite(kept[(few < 3900) | (few > 6100)]).all()


@pytest.mark.law
def test_the_curves_are_drawn_to_scale() -> None:
    found = first_drive()
    along = found.along[found.logs[0].sha256]
    (drawn,) = drives(found).drawn
    scale = sorted((float(tick.text), tick.at) for tick in drawn.up)
    each = (scale[-1][1] - scale[0][1]) / (scale[-1][0] - scale[0][0])
    pairs = [pair.split(",") for piece in drawn.curves[0].pieces for pair in piece.split()]
    highest = min(float(y) for _, y in pairs)
    assert highest == pytest.approx(scale[0][1] + each * (np.nanmax(along.seen) - scale[0][0]), abs=0.2)
    assert all(LEFT <= float(x) <= WIDTH - RIGHT and TOP <= float(y) <= HEIGHT - BOTTOM for x, y in pairs)


def test_what_lies_beyond_the_scale_is_a_cross() -> None:
    found = first_drive()
    (key, along), *_ = found.along.items()
    expected = along.expected.copy()
    expected[1000] = 3.0
    (drawn,) = drives(replace(found, along={key: replace(along, expected=expected)})).drawn
    assert len(drawn.curves[1].beyond) == 1
    assert drawn.beyond == "above 1.6"


@pytest.mark.law
def test_the_maps_shade_every_reachable_cell_once_and_on_one_scale() -> None:
    result, table = van(), first_drive().table
    assert table is not None
    maps = band_maps(result, table, first_drive().logs)
    assert maps is not None
    cell = (WIDTH - LEFT - RIGHT) * (HEIGHT - TOP - BOTTOM) / table.new.size
    for one in maps:
        area = 0.0
        for shade in one.shades:
            for left, top, right, foot in re.findall(r"M([\d.]+) ([\d.]+)H([\d.]+)V([\d.]+)H[\d.]+z", shade.cells):
                area += (float(right) - float(left)) * (float(foot) - float(top))
        assert area / cell == pytest.approx(result.table.reachable.sum(), rel=0.01)
    assert [shade.words for shade in maps[0].shades] == [shade.words for shade in maps[1].shades]
    assert maps[0].points == maps[1].points != ""


def test_a_visited_point_lies_in_its_cell() -> None:
    result = van()
    table = first_drive().table
    assert table is not None
    row, column = 12, 5
    rows = np.zeros((1, 10))
    rows[0, 2:4] = result.job.rpm[column], result.job.target.table.load_pa[row]
    maps = band_maps(result, table, (DriveLog("x", "y", Chunks.of_rows(rows)),))
    assert maps is not None
    found = re.fullmatch(r"M([\d.]+) ([\d.]+)h0", maps[0].points)
    assert found is not None
    x, y = (float(part) for part in found.groups())
    loads, speeds = table.new.shape
    assert x == pytest.approx(LEFT + (WIDTH - LEFT - RIGHT) * (column + 0.5) / speeds, abs=1.0)
    assert y == pytest.approx(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (row + 0.5) / loads, abs=1.0)


def test_a_large_table_stays_below_a_megabyte() -> None:
    side = 64
    result = basemap.check(replace(make_job(side, side), layout=van().job.layout))
    random = np.random.default_rng(1)
    every = random.uniform(0.01, 0.2, (side, side))
    percent = 100.0 * every
    table = LearntTable(percent, percent, percent, every, every, every, every, visited=every > 0.1, support=every)
    page = learnt_html(result, replace(first_drive(), table=table))
    assert len(page.encode("utf-8")) < 1_000_000
