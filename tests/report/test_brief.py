"""What a result says first: in order, each thing once, and nothing dangerous left out."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from basemap.adaptation.pipeline import adapt
from basemap.model.finding import Finding, NotJudged, Severity, Verdict
from basemap.model.installation import Induction
from basemap.model.job import Assumption
from basemap.model.result import Result
from basemap.report.brief import Statement, Topic, as_json, brief
from basemap.report.json_file import as_json as result_as_json
from basemap.report.terminal import result as terminal
from tests.builders.computed import with_target
from tests.builders.results import adapted, adapted_sound
from tests.builders.without_files import make_job
from tests.samples.make_samples import SAMPLES

DANGEROUS = (Severity.STOP, Severity.CAUTION)


@pytest.fixture(scope="module")
def result() -> Result:
    return adapt(make_job())


def texts(result: Result, topic: Topic) -> list[str]:
    return [one.text for one in brief(result) if one.kind is topic]


def lines(result: Result, width: int = 80) -> list[str]:
    page = Console(file=io.StringIO(), width=width, color_system=None, _environ={})
    page.print(terminal.checked(result, "basemap adapt van.toml", page))
    assert isinstance(page.file, io.StringIO)
    return page.file.getvalue().splitlines()


def jobs() -> Iterator[Path]:
    yield from sorted(SAMPLES.glob("*.toml"))
    yield from sorted((SAMPLES / "refused").glob("*.toml"))


@pytest.mark.law
@pytest.mark.parametrize("path", list(jobs()), ids=lambda path: path.stem)
def test_every_stop_and_every_caution_of_a_sample_is_behind_a_statement(path: Path) -> None:
    said_is_complete(adapted(path))


@pytest.mark.parametrize(("changes", "named"), [
    ({"induction": Induction.BOOSTED, "peak_pressure_pa": 200e3}, 'target.engine.load_cut = "101.3 kPa"'),
    ({"rev_limit_rpm": 9000.0}, 'target.engine.rev_cut = "7000 rpm"'),
])  # fmt: skip
def test_a_stop_that_a_cut_meets_names_the_cut(changes: dict[str, Any], named: str) -> None:
    said = texts(adapt(with_target(make_job(), "engine", **changes)), Topic.STOP)
    beyond = [one for one in said if "-beyond-donor, above a limit only: " in one]
    assert len(beyond) == 1
    assert f" Or state {named} or lower." in beyond[0]


@pytest.mark.parametrize("unit", ["kPa", "inHg absolute", "psi gauge"])
def test_both_places_of_the_mixture_are_within_80_columns_whatever_the_unit_of_the_loads(
    result: Result, unit: str
) -> None:
    target = replace(result.job.target, shown=replace(result.job.target.shown, load_unit=unit))
    text = lines(replace(result, job=replace(result.job, target=target)))
    at = next(at for at, line in enumerate(text) if line.startswith("MIXTURE AGAINST INTENDED"))
    assert text[at].split()[-1] == "at"
    assert text[at + 1].count(" / ") == 2


def test_a_stop_that_no_cut_meets_sends_nobody_to_look_for_one() -> None:
    result = adapted(SAMPLES / "refused" / "throttle_layout.toml")
    assert texts(result, Topic.VERDICT) == [
        "DO NOT USE. There is a stop for a part of the table. Load nothing until that is mended."
    ]


@pytest.mark.law
@pytest.mark.parametrize("seed", range(12))
def test_every_stop_and_every_caution_of_a_random_job_is_behind_a_statement(seed: int) -> None:
    said_is_complete(adapted_sound(seed))


def said_is_complete(result: Result) -> None:
    """Of what `check` prints; the count of findings is no statement about any of them."""
    shown: tuple[Statement, ...] = tuple(one for one in brief(result) if one.kind is not Topic.MORE)
    said = {rule for one in shown for rule in one.findings}
    assert {one.rule for one in result.findings if one.severity in DANGEROUS} <= said
    assert {one.rule for one in result.not_judged} <= said
    order = [list(Topic).index(one.kind) for one in shown]
    assert order == sorted(order)


@pytest.mark.parametrize("path", sorted((SAMPLES / "refused").glob("*.toml")), ids=lambda path: path.stem)
def test_what_stops_a_map_is_named_in_the_first_lines(path: Path) -> None:
    result = adapted(path)
    first = "\n".join(lines(result)[:12])
    for stop in result.stops:
        assert f"STOP  {stop.rule}" in first


def test_the_answer_to_the_worked_example_is_one_screen() -> None:
    result = adapted(SAMPLES / "ferry_van.toml")
    assert len(lines(result)) <= 25
    assert max(map(len, lines(result, 60))) <= 60
    assert "NOT JUDGED 1: firing order and trigger. Every finding with its reason: --all" in lines(result)


def adapted_lines(result: Result, width: int) -> list[str]:
    page = Console(file=io.StringIO(), width=width, color_system=None, _environ={})
    page.print(terminal.adapted(result, [Path("van-adapted", "van.xlsx")], "basemap card van.toml", page))
    assert isinstance(page.file, io.StringIO)
    return page.file.getvalue().splitlines()


def test_what_is_dangerous_stands_in_the_first_lines_of_what_adapt_prints() -> None:
    result = adapted(SAMPLES / "ferry_van.toml")
    assert len(adapted_lines(result, 80)) <= 34
    assert max(map(len, adapted_lines(result, 60))) <= 60
    first = " ".join("\n".join(adapted_lines(result, 80)[:25]).split())
    for words in (
        "Do not load this map as it is",
        "it may be 18.1 % lean at load",
        "Ignition is NOT adapted",
        "TYPE IN",
        "TOGETHER WITH THE SETTINGS",
        "new table, old settings: 20.2 to 33.6 % rich",
        "old table, new settings: 0.2 to 10.0 % rich",
        "both new: 0.1 % lean to 0.2 % rich",
        "HOW SURE (k = 2) idle 18.2 %, wide open 12.8 %",
    ):
        assert words in first


def test_what_adapt_leaves_out_of_the_mixture_is_the_map_as_it_is_alone() -> None:
    """It stands in the verdict, and what another way of loading comes to may be the same."""
    result = adapted(SAMPLES / "ferry_van.toml")
    ratio = result.table.lambda_ratio
    alike = {**ratio, "old_table_new_settings": ratio["old_table_old_settings"]}
    said = " ".join(adapted_lines(replace(result, table=replace(result.table, lambda_ratio=alike)), 80))
    (as_it_is,) = [text for text in texts(result, Topic.MIXTURE) if text.startswith("map as it is: ")]
    assert "MIXTURE AGAINST INTENDED new table, old settings: " in " ".join(said.split())
    assert f"old table, new settings: {as_it_is.removeprefix('map as it is: ')};" in " ".join(said.split())


@pytest.mark.law
@pytest.mark.parametrize("seed", range(12))
def test_no_key_of_the_job_file_stands_in_place_of_words(seed: int) -> None:
    result = adapted_sound(seed)
    said = [*texts(result, Topic.ASSUMED), *texts(result, Topic.NOT_JUDGED)]
    assert said
    assert not [text for text in said if re.search(r"[a-z]\.[a-z]|_", text)]


def test_json_has_the_same_statements(result: Result) -> None:
    assert result_as_json(result)["brief"] == as_json(brief(result))
    assert as_json(brief(result))[3] == {
        "kind": "verdict",
        "severity": "caution",
        "text": brief(result)[3].text,
        "findings": list(brief(result)[3].findings),
    }


def finding(
    rule: str, severity: Severity, cause: str, message: str = "It is so.", remedy: str = "1. Do it."
) -> Finding:
    return Finding(rule, severity, message, remedy, "the trade", cause=cause)


def test_a_stop_names_what_else_its_cause_trips_and_every_stop_is_named(result: Result) -> None:
    found = (
        finding("load-beyond-donor", Severity.STOP, "end"),
        finding("speed-beyond-donor", Severity.STOP, "end"),
        finding("outside-donor-data", Severity.CAUTION, "end"),
    )
    refused = replace(result, findings=found, verdict=Verdict.REFUSE)
    assert texts(refused, Topic.STOP) == [
        "load-beyond-donor: It is so. Do it. Also: outside-donor-data.",
        "speed-beyond-donor: It is so. Do it.",
    ]
    assert texts(refused, Topic.FIRST) == texts(refused, Topic.ENTER) == texts(refused, Topic.ALWAYS) == []


def test_what_is_assumed_is_said_in_short_words_what_is_unknown_first(result: Result) -> None:
    assumed = (
        Assumption("donor.fuel.temperature", "40 degC", "20 degC", ""),
        Assumption("target.fuel.temperature", "40 degC", "20 degC", ""),
        Assumption("donor.settings.corrects_rail_pressure", "false", None, ""),
        Assumption("target.injectors.dead_time", "0.9 ms", "0.4 ms", "", unknown=True),
    )
    job = replace(result.job, assumed=assumed)
    assert texts(replace(result, job=job), Topic.ASSUMED) == [
        "target's dead time 0.9 ms ± 0.4 ms",
        "fuel temperature 40 degC ± 20 degC on both",
        "no rail correction",
    ]


def test_entries_of_a_settings_page_that_nobody_read_are_one_statement(result: Result) -> None:
    assumed = (
        Assumption("donor.settings.displacement", "as the donor's engine", "2 %", ""),
        Assumption("donor.tables.crank.battery", "9.5 V", None, ""),
        Assumption("donor.settings.dead_time", "as the donor's injectors", "0.15 ms", ""),
    )
    job = replace(result.job, assumed=assumed)
    assert texts(replace(result, job=job), Topic.ASSUMED) == [
        "donor's battery of the table crank 9.5 V",
        "donor's settings page not read: taken as fitted (displacement ± 2 %, dead time ± 0.15 ms)",
    ]


def test_what_could_have_stopped_the_map_comes_first_among_what_was_not_judged(result: Result) -> None:
    entries = (
        NotJudged("firing-and-trigger", ("donor.engine.trigger",)),
        NotJudged("implied-power", ("donor.engine.rated_power",), "", can_stop=True),
        NotJudged("implied-power", ("donor.engine.rated_power",), "", can_stop=True),
    )
    assert texts(replace(result, not_judged=entries), Topic.NOT_JUDGED) == [
        "implied power (needs the donor's rated power)",
        "firing order and trigger",
    ]
