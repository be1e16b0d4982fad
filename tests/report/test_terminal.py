"""What stands on the terminal, and that it fits: 80 columns, no colour needed, nobody's text acted upon."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console, RenderableType

from basemap.adaptation.pipeline import adapt
from basemap.model.marks import Mark
from basemap.model.result import NotJudged, Result, Scope, Severity, Verdict
from basemap.report.outcomes_in_words import extremes
from basemap.report.terminal import result as terminal
from tests.report.factory import make_job

HOSTILE = "[bold]van[/] \x1b[2J :car: \u202e"


def page(width: int = 80, *, colour: bool = False) -> Console:
    return Console(
        file=io.StringIO(),
        width=width,
        markup=False,
        emoji=False,
        highlight=False,
        force_terminal=colour,
        color_system="truecolor" if colour else None,
        no_color=not colour,
        _environ={},
    )


def printed(part: RenderableType, console: Console) -> str:
    console.print(part)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


@pytest.fixture(scope="module")
def result() -> Result:
    return adapt(make_job())


def adapted(result: Result, width: int = 80, *, colour: bool = False) -> str:
    console = page(width, colour=colour)
    return printed(terminal.adapted(result, [Path("van-adapted", "van.xlsx")], console), console)


def test_verdict_first_then_settings_findings_table_mixture_files(result: Result) -> None:
    text = adapted(result)
    heads = [line for line in text.splitlines() if line.isupper() and line[0].isalpha()]
    assert heads == [
        "SETTINGS TO ENTER TOGETHER WITH THE NEW TABLE",
        "FINDINGS",
        "NEW TABLE: FUEL, VOLUMETRIC EFFICIENCY",
        "MIXTURE WHEN IT IS LOADED",
        "HOW SURE THE MIXTURE IS, ONCE ADAPTED",
        "ASSUMED, BECAUSE THE JOB DOES NOT SAY",
        *(["NOT JUDGED"] if result.not_judged else []),
        "WRITTEN",
    ]
    assert text.splitlines()[2].startswith("[ !! ] ADAPT FIRST: ")
    assert terminal.IGNITION in text


@pytest.mark.parametrize("verdict", list(Verdict))
def test_the_verdict_is_marked_in_characters(result: Result, verdict: Verdict) -> None:
    marks = {Verdict.SUITS: "[ OK ]", Verdict.ADAPT: "[ !! ]", Verdict.REFUSE: "[STOP]"}
    text = adapted(replace(result, verdict=verdict))
    assert text.splitlines()[2].startswith(f"{marks[verdict]} {verdict.value.upper()}: ")
    assert ("DO NOT LOAD" in text) == (verdict is Verdict.REFUSE)


@pytest.mark.parametrize("size", [4, 11, 16, 17, 32])
@pytest.mark.parametrize("width", [80, 132])
def test_no_line_is_wider_than_the_page(size: int, width: int) -> None:
    text = adapted(adapt(make_job(size, size)), width)
    assert max(len(line) for line in text.splitlines()) <= width


def test_sixteen_columns_stand_in_one_block_of_eighty_characters(result: Result) -> None:
    rows = [line for line in adapted(result).splitlines() if len(line.split()) == 17 and line.split()[0] == "20"]
    assert len(rows) == 1
    assert [int(cell) for cell in rows[0].split()[1:]] == [round(cell) for cell in result.table.stored[0]]


def test_a_wide_page_shows_every_decimal(result: Result) -> None:
    rows = [line.split() for line in adapted(result, 132).splitlines() if line.split()[:1] == ["20"]]
    assert [float(cell) for cell in rows[0][1:]] == [round(cell, 1) for cell in result.table.stored[0]]


def test_the_shade_falls_from_the_smallest_to_the_largest_cell(result: Result) -> None:
    console = page(132, colour=True)
    segments = [
        segment
        for line in console.render_lines(terminal.adapted(result, [], console), pad=False)
        for segment in line
        if segment.style is not None and segment.style.bgcolor is not None and segment.text.strip()
    ]
    assert len(segments) == result.table.stored.size
    greens = {}
    for segment in segments:
        assert segment.style is not None
        assert segment.style.bgcolor is not None
        greens[float(segment.text)] = segment.style.bgcolor.get_truecolor().green
    shades = [greens[value] for value in sorted(greens)]
    assert shades == sorted(shades, reverse=True)
    assert shades[0] > shades[-1]


def test_without_colour_nothing_but_text_is_sent(result: Result) -> None:
    assert "\x1b" not in adapted(result)


def test_colour_changes_no_character(result: Result) -> None:
    coloured = adapted(result, colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == adapted(result)


def test_text_of_users_is_shown_and_not_acted_upon(result: Result) -> None:
    finding = replace(result.findings[0], message=HOSTILE, remedy=HOSTILE)
    job = replace(result.job, title=HOSTILE)
    text = adapted(replace(result, job=job, findings=(finding,), limits=(HOSTILE,)))
    assert text.splitlines()[0] == "[bold]van[/] �[2J :car: �"
    assert text.count("[bold]van[/] �[2J :car: �") == 4
    assert "\x1b" not in text


def test_findings_stand_with_their_remedy_worst_first(result: Result) -> None:
    one = result.findings[0]
    findings = (
        replace(one, rule="small", severity=Severity.NOTE, message="a note", remedy=""),
        replace(
            one,
            rule="big",
            severity=Severity.STOP,
            message="a stop",
            remedy="mend it",
            scope=Scope.LIMIT,
            limit_rpm=1e3,
        ),
        replace(one, rule="part", severity=Severity.STOP, message="a stop", remedy="mend it", scope=Scope.LIMIT),
        replace(one, rule="taken", severity=Severity.STOP, message="taken", remedy="mend it", accepted=True),
    )
    text = adapted(replace(result, findings=findings, verdict=Verdict.REFUSE))
    part = text[text.index("FINDINGS") : text.index("NEW TABLE: ")].splitlines()
    assert [line.rstrip() for line in part] == [
        "FINDINGS",
        "STOP     big, above a limit only: a stop",
        "         Do: mend it",
        "STOP     part, for a part of the table only: a stop",
        "         Do: mend it",
        "STOP     taken, accepted by you: taken",
        "         Do: mend it",
        "note     small: a note",
        "",
    ]
    assert "Because of: big, part." in text


def test_what_was_not_judged_names_its_keys(result: Result) -> None:
    text = adapted(replace(result, not_judged=(NotJudged("octane", ("donor.fuel.octane", "target.fuel.octane")),)))
    assert "  - octane: needs donor.fuel.octane, target.fuel.octane\n" in text


def test_cells_without_a_value_and_out_of_reach_are_explained(result: Result) -> None:
    stored = result.table.stored.copy()
    stored[0, 0] = np.nan
    reachable = np.ones_like(result.table.reachable)
    reachable[-1] = False
    text = adapted(replace(result, table=replace(result.table, stored=stored, reachable=reachable)))
    assert "* never reached by the target engine; -- no value can be given\n" in text
    assert "\n105*" in text


def test_marks_say_how_many_cells_and_where(result: Result) -> None:
    where = np.zeros_like(result.table.reachable)
    where[2:4, 5] = True
    text = adapted(replace(result, table=replace(result.table, marks={Mark.ABOVE_LINE: where})))
    job, load = result.job, result.job.target.shown.load
    assert (f"  - above 85 % duty: 2 cells, {job.rpm[5]:g} rpm, {load[2]:g} to {load[3]:g} kPa\n") in text


def test_a_lean_extreme_is_never_averaged_away(result: Result) -> None:
    ratio = result.table.lambda_ratio["old_table_old_settings"].copy()
    ratio[3, 2] = np.inf
    where = {**result.table.lambda_ratio, "old_table_old_settings": ratio}
    one = replace(result, table=replace(result.table, lambda_ratio=where))
    found = extremes(one, ratio)
    assert found is not None
    assert (
        found[0].in_words("kPa")
        == f"no fuel at all at {result.job.rpm[2]:g} rpm, {result.job.target.shown.load[3]:g} kPa"
    )
    assert "  old table, old settings  no fuel  " in adapted(one)


def test_a_cell_out_of_reach_is_no_extreme(result: Result) -> None:
    ratio = np.full_like(result.table.new, 1.01)
    ratio[-1, -1] = np.inf
    reachable = np.ones_like(result.table.reachable)
    reachable[-1, -1] = False
    found = extremes(replace(result, table=replace(result.table, reachable=reachable)), ratio)
    assert found is not None
    assert found[0].ratio == 1.01


def test_the_widest_band_is_never_rounded_down_and_names_what_to_measure(result: Result) -> None:
    band = replace(result.band, worst=0.10001, worst_cell=(1, 2), advice="Measure the flow first.")
    job = result.job
    assert (
        f"  Lambda within ± 10.1 % (k = 2) at worst, at {job.rpm[2]:g} rpm, {job.target.shown.load[1]:g} kPa.\n"
        "  Measure the flow first.\n"
    ) in "".join(line.rstrip() + "\n" for line in adapted(replace(result, band=band)).splitlines())
    unknown = replace(result.band, worst=float("nan"), worst_cell=None)
    assert "Not known: no cell that the engine reaches has a band." in adapted(replace(result, band=unknown))


def test_quiet_leaves_the_verdict_the_ignition_and_the_files(result: Result) -> None:
    text = printed(terminal.brief(result, [Path("a.xlsx")]), page())
    assert [line.rstrip() for line in text.splitlines()] == ["[ !! ] ADAPT FIRST", terminal.IGNITION, "a.xlsx"]


def test_a_stop_that_a_cut_meets_is_not_a_stop_of_the_donor(result: Result) -> None:
    stop = replace(result.findings[0], severity=Severity.STOP, scope=Scope.LIMIT)
    refused = replace(result, verdict=Verdict.REFUSE, findings=(stop,))
    assert "from this donor" not in adapted(refused)
    assert "State the cut that it names and have the ECU enforce it, or load nothing." in re.sub(
        r"\s+", " ", adapted(refused)
    )
    of_the_file = replace(refused, findings=(stop, replace(stop, scope=Scope.FILE)))
    assert "Load nothing that comes from this donor." in re.sub(r"\s+", " ", adapted(of_the_file))
