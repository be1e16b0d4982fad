"""What stands on the terminal, and that it fits: 80 columns, no colour needed, nobody's text acted upon."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console, RenderableType

from basemap.adaptation.pipeline import adapt
from basemap.model.finding import HowFar, NotJudged, Scope, Severity, Verdict
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.report.brief.verdict import IGNITION, how_far_in_words
from basemap.report.extremes import extreme_in_words, extremes
from basemap.report.terminal import result as terminal
from basemap.report.terminal.layout import colour_of
from basemap.report.words import without_marks
from basemap.rules.registry import RULES
from tests.builders.without_files import make_job

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


@pytest.fixture(scope="module")
def everything(result: Result) -> str:
    return adapted(result)


def adapted(result: Result, width: int = 80, *, colour: bool = False, everything: bool = True) -> str:
    console, asked = page(width, colour=colour), terminal.Asked(all=everything, tables=everything)
    files = [Path("van-adapted", name) for name in ("van.xlsx", "fuel.new.csv")]
    return printed(terminal.adapted(result, files, "basemap card van.toml", console, asked), console)


def checked(result: Result, width: int = 80) -> str:
    console = page(width)
    return "".join(
        f"{line.rstrip()}\n" for line in printed(terminal.checked(result, "", console), console).splitlines()
    )


def heads(text: str) -> list[str]:
    """What the lines that stand out begin with, in capitals."""
    found = [re.match(r"[A-Z][A-Z]+(?: [A-Z]+)*", line) for line in text.splitlines()]
    return [head.group() for head in found if head]


def test_the_brief_has_its_order(result: Result) -> None:
    assert heads(adapted(result, everything=False)) == [
        "ADAPT FIRST",
        "TYPE IN",
        "LOAD",
        "EXPECT AT WARM IDLE",
        "MIXTURE AGAINST INTENDED",
        "HOW SURE",
        "BEFORE THE FIRST START",
        "ASSUMED",
        *(["NOT JUDGED"] if result.not_judged else []),
        "WRITTEN",
        "NEXT",
    ]


def test_everything_stands_behind_the_brief(everything: str) -> None:
    text = everything
    assert [line for line in text.splitlines() if line.isupper() and line[:1].isalpha()][-10:] == [
        "NEW TABLE: FUEL, VOLUMETRIC EFFICIENCY",
        "FINDINGS",
        "SETTINGS TO ENTER TOGETHER WITH THE NEW TABLE",
        "MIXTURE WHEN IT IS LOADED",
        "HOW SURE THE MIXTURE IS, ONCE ADAPTED",
        "MIXTURE OVER THE BATTERY'S VOLTAGE, NEW TABLE AND SETTINGS",
        "MIXTURE OVER THE CHARGE TEMPERATURE, NEW TABLE AND SETTINGS",
        "FUEL AT FULL LOAD: THE PUMP MUST GIVE",
        "ASSUMED, BECAUSE THE JOB DOES NOT SAY",
        "NOT JUDGED",
    ]
    assert IGNITION in text


def test_both_engines_stand_below_the_title(result: Result) -> None:
    """Whether a job has its engines the wrong way round is seen by reading them."""
    for text in (checked(result), adapted(result, everything=False)):
        assert text.splitlines()[1:3] == [
            "  map of 1998 cc, 4 cyl, 4 x 280 cc/min at 3 bar, manifold rail 3 bar, E5, tuned",
            "  onto   2393 cc, 4 cyl, 4 x 650 cc/min at 3 bar, fixed rail 3.5 bar, E78",
        ]


@pytest.mark.parametrize("verdict", list(Verdict))
def test_the_verdict_is_a_word(result: Result, verdict: Verdict) -> None:
    text = adapted(replace(result, verdict=verdict, how_far=HowFar.LOAD))
    assert text.splitlines()[3].startswith(f"{verdict.value.upper()}. ")
    assert ("DO NOT LOAD" in text) == (verdict is Verdict.REFUSE)


@cache
def of_size(size: int) -> Result:
    return adapt(make_job(size, size))


@pytest.mark.parametrize("size", [4, 11, 16, 17, 32])
@pytest.mark.parametrize("width", [60, 80, 132])
def test_no_line_is_wider_than_the_page(size: int, width: int) -> None:
    text = adapted(of_size(size), width)
    assert max(len(line) for line in text.splitlines()) <= width


def test_sixteen_columns_stand_in_one_block_of_eighty_characters(result: Result, everything: str) -> None:
    rows = [line for line in everything.splitlines() if len(line.split()) == 17 and line.split()[0] == "20"]
    assert len(rows) == 1
    assert [int(cell) for cell in rows[0].split()[1:]] == [round(cell) for cell in result.table.stored[0]]


def test_a_wide_page_shows_every_decimal(result: Result) -> None:
    rows = [line.split() for line in adapted(result, 132).splitlines() if line.split()[:1] == ["20"]]
    assert [float(cell) for cell in rows[0][1:]] == [round(cell, 1) for cell in result.table.stored[0]]


def test_the_shade_falls_from_the_smallest_to_the_largest_cell(result: Result) -> None:
    console = page(132, colour=True)
    shown = terminal.adapted(replace(result, findings=()), [], "", console, terminal.Asked(tables=True))
    segments = [
        segment
        for line in console.render_lines(shown, pad=False)
        for segment in line
        if segment.style is not None and segment.style.bgcolor is not None and re.fullmatch(r" *[0-9.]+", segment.text)
    ]
    assert len(segments) >= result.table.stored.size
    greens = {}
    for segment in segments[: result.table.stored.size]:
        assert segment.style is not None
        assert segment.style.bgcolor is not None
        greens[float(segment.text)] = segment.style.bgcolor.get_truecolor().green
    shades = [greens[value] for value in sorted(greens)]
    assert shades == sorted(shades, reverse=True)
    assert shades[0] > shades[-1]


def test_the_picture_of_the_change_is_read_without_colour(result: Result, everything: str) -> None:
    """Every cell a sign and a digit: so many steps, more fuel or less."""
    text = everything
    step = float(next(re.finditer(r"A digit is ([0-9.]+) %", text)).group(1))
    (row,) = [line for line in text.splitlines() if re.match(r" +20 [-+ .0-9]+$", line) and line.count("-") > 8]
    change = result.table.change_percent[0][result.table.reachable[0]]
    cells = re.findall(r"..", row[re.match(r" +20 ", row).end() :])  # type: ignore[union-attr]
    assert [0 if cell == " ." else int(cell) for cell in cells[: change.size]] == [round(one / step) for one in change]


def test_without_colour_nothing_but_text_is_sent(everything: str) -> None:
    assert "\x1b" not in everything


def test_colour_changes_no_character(result: Result, everything: str) -> None:
    coloured = adapted(result, colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == everything


@pytest.mark.check_value
@pytest.mark.parametrize("severity", [Severity.STOP, Severity.CAUTION, None])
def test_the_colour_of_a_word_is_read_on_white_and_on_black(severity: Severity | None) -> None:
    """WCAG 2.1, 1.4.3: bold text from 14 pt on needs a contrast ratio of 3 to 1. Plain yellow on white has 1.1."""
    style = page(colour=True).get_style(colour_of(severity, page(colour=True)))
    assert style.color is not None
    parts = [part / 255.0 for part in style.color.get_truecolor()]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    assert 1.05 / (luminance + 0.05) > 3.8
    assert (luminance + 0.05) / 0.05 > 3.8


def test_text_of_users_is_shown_and_not_acted_upon(result: Result) -> None:
    finding = replace(result.findings[0], message=HOSTILE, remedy=HOSTILE, cause="hostile")
    job = replace(result.job, title=HOSTILE)
    text = adapted(replace(result, job=job, findings=(finding,), limits=(HOSTILE,)))
    assert text.splitlines()[0] == "[bold]van[/] �[2J :car: �"
    assert len(re.findall(r"\[bold\]van\[/\]\s+�\[2J\s+:car:\s+�", text)) == 6
    assert "\x1b" not in text


def test_findings_stand_with_their_remedy_worst_first(result: Result) -> None:
    one = replace(result.findings[0], source="the trade")
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
    part = text[text.index("\nFINDINGS") : text.index("\nSETTINGS ")].strip("\n").splitlines()
    assert [line.rstrip() for line in part] == [
        "FINDINGS",
        "STOP     big, above a limit only: a stop",
        "         Do: mend it",
        "STOP     part, for a part of the table only: a stop",
        "         Do: mend it",
        "STOP     taken, accepted by you: taken",
        "         Do: mend it",
        "note     small: a note",
    ]


def test_a_finding_shows_its_threshold_reason_and_source(result: Result, everything: str) -> None:
    text = " ".join(everything.split())
    rules = {rule.name: rule for rule in RULES}
    for finding in result.findings:
        rule = rules[finding.rule]
        for words in (finding.message, finding.remedy, rule.threshold, rule.why, finding.source):
            assert " ".join(without_marks(words).split()) in text
    assert "`" not in text


def test_stops_limits_and_what_was_accepted_stand_in_every_short_output(result: Result) -> None:
    one = replace(result.findings[0], severity=Severity.STOP, remedy="1. Mend it. 2. Or not.", accepted=False)
    stop = replace(one, rule="lean-at-load", message="It is lean (stop above 1.10). It burns.", cause="a")
    taken = replace(one, rule="duty", message="It is open (stop from 95 %).", accepted=True, cause="b")
    judged = replace(
        result,
        findings=(stop, taken),
        verdict=Verdict.REFUSE,
        accepted=("duty",),
        limits=("Load no higher than 90 kPa",),
    )
    quiet = printed(terminal.quietly(judged), page())
    for text in (checked(judged), adapted(judged, everything=False), quiet):
        assert "STOP  lean-at-load: It is lean. Mend it.\n" in text
        assert "Accepted by you, against advice: duty: It is open.\n" in text
        assert "Limit: Load no higher than 90 kPa.\n" in text
        assert f"  {IGNITION}\n" in text
        assert "DO NOT USE. " in text


def test_one_cause_is_said_once_with_the_places_of_the_others(result: Result) -> None:
    one = replace(result.findings[0], severity=Severity.CAUTION, remedy="Do this.", cause="one thing")
    findings = (
        replace(one, rule="small", severity=Severity.NOTE, message="A note."),
        replace(one, rule="grave", message="A caution (caution above 3)."),
        replace(one, rule="other", message="Another caution."),
    )
    text = checked(replace(result, findings=findings))
    assert "  A caution. Do this. Also: other, small.\n" in text
    assert "Another caution" not in text
    assert "Every finding with its reason: --all" in " ".join(text.split())


def test_what_was_not_judged_names_its_keys(result: Result) -> None:
    entries = (
        NotJudged("firing-and-trigger", ("donor.engine.trigger",)),
        NotJudged("cylinder-trims", ("donor.cylinder_trims",), "One may be lean.", can_stop=True),
    )
    text = adapted(replace(result, not_judged=entries), 132)
    assert (
        "NOT JUDGED 2, the first could stop the map: trims per cylinder (needs the donor's answer on cylinder "
        "trims); firing order and trigger"
    ) in " ".join(text.split())
    assert "  - firing-and-trigger: needs donor.engine.trigger." in text
    assert "  - cylinder-trims: could stop; needs donor.cylinder_trims. One may be lean." in text


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
        extreme_in_words(found[0], "kPa")
        == f"no fuel at all at {result.job.rpm[2]:g} rpm, {result.job.target.shown.load[3]:g} kPa"
    )
    text = adapted(one)
    assert "  old table, old settings  no fuel  " in text
    assert ": from no fuel at all to" in text.splitlines()[3]
    assert "  map as it is             no fuel at all  " in checked(one)


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
    assert "Not known: no reachable cell has a band." in adapted(replace(result, band=unknown))


def test_there_is_no_green_mark_for_a_guess(result: Result) -> None:
    text = adapted(replace(result, verdict=Verdict.SUITS, how_far=HowFar.LIGHT))
    assert text.splitlines()[3].startswith("USABLE UNCHANGED, LIGHT LOAD UNTIL MEASURED. ")
    assert "  Light load until measured: " in text


def test_quiet_leaves_the_verdict_the_ignition_and_the_files(result: Result) -> None:
    lines = [line.rstrip() for line in printed(terminal.quietly(result, [Path("a.xlsx")]), page()).splitlines()]
    assert lines[0].startswith("ADAPT FIRST. Do not load this map as it is: ")
    assert lines[-2:] == [f"  {IGNITION}", "a.xlsx"]
    assert " ".join(line.strip() for line in lines[1:-2]).startswith(how_far_in_words(result))


def test_a_stop_that_a_cut_meets_is_not_a_stop_of_the_donor(result: Result) -> None:
    stop = replace(result.findings[0], severity=Severity.STOP, scope=Scope.LIMIT, limit_load_pa=1e5)
    refused = replace(result, verdict=Verdict.REFUSE, findings=(stop,))
    assert "from this donor" not in adapted(refused)
    assert "State the cut that it names and have the ECU enforce it, or load nothing." in re.sub(
        r"\s+", " ", adapted(refused)
    )
    of_the_file = replace(refused, findings=(stop, replace(stop, scope=Scope.FILE)))
    assert "Load nothing from this donor." in re.sub(r"\s+", " ", adapted(of_the_file))
