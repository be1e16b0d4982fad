"""The page as text: complete in itself, escaped, small, and saying everything that the brief says."""

from __future__ import annotations

import json
import re
import shutil
import sys
from base64 import b64encode
from dataclasses import replace
from functools import cache
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import basemap
from basemap.model.finding import Verdict
from basemap.model.result import Result
from basemap.model.table_result import LambdaCase
from basemap.report.brief import Topic, brief, heading
from basemap.report.page import frame
from basemap.report.page.chains import MOST_CELLS, chain, chains
from basemap.report.page.frame import render
from basemap.report.page.plots import mixture_curves, spans
from basemap.report.page.write import page_html
from tests.builders.results import adapted
from tests.builders.without_files import make_job
from tests.docs.markdown import ROOT

SAMPLES = sorted(path.stem for path in (ROOT / "sample_tables").glob("*.toml"))
VOID = {"meta", "input", "br", "img", "line", "rect", "polyline", "path"}


class Read(HTMLParser):
    """The page as a parser of the standard library finds it: its words, its elements, its raw parts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.raw: dict[str, list[str]] = {"style": [], "script": []}
        self._inside: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in self.raw:
            self._inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self.raw:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.raw[self._inside[-1]].append(data)
        else:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def sample(name: str) -> Result:
    return adapted(ROOT / "sample_tables" / f"{name}.toml")


@cache
def page_of(name: str) -> str:
    return page_html(sample(name), "2026-01-01")


@pytest.fixture(scope="module")
def van() -> Result:
    return sample("ferry_van")


@pytest.fixture(scope="module")
def page() -> str:
    return page_of("ferry_van")


@pytest.mark.parametrize("name", SAMPLES)
def test_every_statement_of_the_brief_is_on_it(name: str) -> None:
    result = sample(name)
    text = Read(page_of(name)).text
    flat = text.replace(" ", "")
    for one in brief(result):
        if one.kind is Topic.MORE:  # where the findings are explained: on the page itself
            continue
        if one.kind is Topic.ENTER:
            said = [part for column in one.columns for part in re.split(r", (?=at )|\s|, (?=ms)|, (?=%)", column)]
        else:
            said = list(one.columns) if one.columns and one.severity is None else [one.text]
        assert [part for part in said if part.replace(" ", "").strip(",") not in flat] == []
        assert heading(one.kind, result).casefold() in text.casefold()
    for finding in result.findings:
        assert " ".join(finding.message.split()) in text
        assert " ".join(finding.remedy.split()) in text


def test_it_refers_to_nothing_outside(page: str) -> None:
    read = Read(page)
    for tag, attributes in read.elements:
        assert tag not in {"link", "iframe", "object", "embed", "base", "img", "video", "audio"}
        assert not set(attributes) & {"src", "style", "onclick", "onload", "srcset", "action"}
        assert attributes.get("href", "#").startswith("#")  # type: ignore[union-attr]
    assert re.findall(r"url\(|@import|@font-face|https?://", "".join(read.raw["style"] + read.raw["script"])) == []


def test_the_policy_allows_its_own_style_and_script_by_hash_and_nothing_else(page: str) -> None:
    read = Read(page)
    (policy,) = [
        attributes["content"]
        for tag, attributes in read.elements
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    (style,), (_, script) = read.raw["style"], read.raw["script"]

    def source(text: str) -> str:
        return f"'sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode()}'"

    assert policy == (
        f"default-src 'none'; style-src {source(style)}; script-src {source(script)}; base-uri 'none'; "
        "form-action 'none'"
    )


@settings(max_examples=15, deadline=None)
@given(st.text(min_size=1, max_size=60))
def test_a_title_is_shown_and_never_obeyed(title: str) -> None:
    base = small()
    read = Read(page_html(replace(base, job=replace(base.job, title=f"</script><b a='{title}")), "d"))
    assert [tag for tag, _ in read.elements] == elements_of_small()


@cache
def small() -> Result:
    return basemap.check(make_job(2, 3))


@cache
def elements_of_small() -> list[str]:
    return [tag for tag, _ in Read(page_html(small(), "d")).elements]


def test_file_names_and_remarks_are_escaped_and_cannot_turn_the_text_round() -> None:
    job = make_job(3, 3)
    sources = tuple(replace(source, file=f"<i>{source.file}\u202e\udc80") for source in job.sources)
    page = page_html(basemap.check(replace(job, sources=sources)))
    assert "&lt;i&gt;ferry_van.toml\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}" in page
    assert "<i>" not in page
    page.encode("utf-8")


def test_only_the_date_differs_from_one_run_to_the_next(van: Result, page: str) -> None:
    assert page_html(van, "2031-12-24").replace("2031-12-24", "2026-01-01") == page


@pytest.mark.parametrize("side", [32, 80])
def test_it_stays_below_a_megabyte(side: int) -> None:
    """80 by 80 is the largest table that is read, 32 by 32 the largest whose chains are on the page."""
    assert MOST_CELLS == 32 * 32
    page = page_html(basemap.check(make_job(side, side)))
    assert len(page.encode("utf-8")) < 1_000_000
    assert ("basemap explain JOB.toml RPM LOAD" in page) == (side * side > MOST_CELLS)


def test_the_packed_chains_unpack_to_those_of_explain(van: Result) -> None:
    packed = json.loads(json.dumps(chains(van)))
    columns = van.table.new.shape[1]
    assert packed["columns"] == columns

    def unpacked(at: int) -> list[tuple[Any, ...]]:
        kind, which = packed["cells"][at]
        return [
            tuple(packed["texts"][one if isinstance(one, int) else one[which]] for one in step)
            for step in packed["kinds"][kind]
        ]

    for at in (0, 37, 128, 255):
        assert unpacked(at) == [tuple(line) for line in chain(van, *divmod(at, columns))]


def test_cells_without_a_number_are_shown_as_such() -> None:
    result = basemap.check(make_job(3, 4))
    stored, band = result.table.stored.copy(), result.band.adapted.copy()
    stored[0, 0], band[0, 0], band[1, 1] = np.nan, np.nan, np.inf
    hurt = replace(result, table=replace(result.table, stored=stored), band=replace(result.band, adapted=band))
    text = Read(page_html(hurt)).text
    assert "--" in text
    assert "∞" in text
    assert " nan" not in text.lower()
    assert "inf " not in text.lower()


def test_cells_without_fuel_are_drawn_to_the_edge_and_named() -> None:
    result = basemap.check(make_job(3, 4))
    ratio = {**result.table.lambda_ratio, "old_table_old_settings": np.full((3, 4), np.inf)}
    leanest = result.sweep.leanest.copy()
    leanest[0] = np.inf
    hurt = replace(
        result, table=replace(result.table, lambda_ratio=ratio), sweep=replace(result.sweep, leanest=leanest)
    )
    drawn, curves = spans(hurt), mixture_curves(hurt)
    assert drawn is not None
    assert [one.to_edge for one in drawn.spans] == [True, False, False, False]
    assert curves is not None
    assert len(curves.curves[0].beyond) == 1
    text = Read(page_html(hurt)).text
    assert "no fuel ›" in text
    assert "leanest (× more than 60 %, or no fuel)" in text


@pytest.mark.law
def test_the_spans_are_drawn_to_scale(van: Result) -> None:
    """What is as intended stands at the line of nought, and equal errors are equally far from it."""
    drawn = spans(van)
    assert drawn is not None
    scale = {float(tick.text): tick.at for tick in drawn.ticks}
    each = (scale[10.0] - scale[-10.0]) / 20.0
    cases: list[tuple[str, LambdaCase]] = [
        ("map as it is", "old_table_old_settings"),
        ("new table, old settings", "new_table_old_settings"),
    ]
    for name, case in cases:
        one = next(span for span in drawn.spans if span.name == name)
        ratio = van.table.lambda_ratio[case][van.table.reachable]
        assert one.x == pytest.approx(drawn.zero + each * 100.0 * (ratio.min() - 1.0), abs=0.2)
        assert one.x + one.width == pytest.approx(drawn.zero + each * 100.0 * (ratio.max() - 1.0), abs=0.3)


def test_a_map_that_is_refused_says_so_first() -> None:
    refused = [name for name in SAMPLES if sample(name).verdict is Verdict.REFUSE]
    assert refused
    for name in refused:
        result, text = sample(name), Read(page_of(name)).text
        body = text.split(result.job.title, 1)[1]
        assert body.strip().startswith("DO NOT LOAD")
        assert f"New {result.table.name}, as stored - DO NOT LOAD" in text
        assert "yours" not in text.split("First start")[0]


def test_every_element_that_opens_closes(page: str) -> None:
    class Nesting(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.open: list[str] = []

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            if tag not in VOID and tag not in {"td", "tbody"}:
                self.open.append(tag)

        def handle_endtag(self, tag: str) -> None:
            if tag not in VOID and tag not in {"td", "tbody"}:
                assert self.open.pop() == tag

    nesting = Nesting()
    nesting.feed(page)
    assert nesting.open == []


def test_names_within_the_page_are_given_once(page: str) -> None:
    names = [attributes["id"] for _, attributes in Read(page).elements if "id" in attributes]
    assert len(names) == len(set(names))
    links = {attributes["href"] for tag, attributes in Read(page).elements if tag == "a"}
    assert links <= {f"#{name}" for name in names}


def test_the_marks_of_a_rule_are_elements_and_what_looks_like_one_is_text() -> None:
    result = sample("ferry_van")
    remedy = "Enter what `basemap sensors <b>` prints, *once*; 2 * 3 * 4, a*b*c, <img src=x onerror=alert(1)> `*x*`"
    page = page_html(replace(result, findings=(replace(result.findings[0], remedy=remedy),)))
    assert (
        "Enter what <code>basemap sensors &lt;b&gt;</code> prints, <em>once</em>; 2 * 3 * 4, a*b*c, &lt;img src=x "
        "onerror=alert(1)&gt; <code>"
    ) in page
    assert "<img" not in page


@pytest.mark.parametrize("name", SAMPLES)
def test_no_mark_of_a_rule_is_printed(name: str) -> None:
    page = page_of(name)
    findings = page.partition('<section id="findings">')[2].partition("</section>")[0]
    assert "`" not in findings
    assert not re.search(r"(?<!\w)\*\w", findings)


def test_templates_once_compiled_are_kept_and_nothing_depends_on_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result, date = small(), "2024-05-17"
    expected = page_html(result, date)
    templates = tmp_path / "templates"
    shutil.copytree(ROOT / "basemap" / "report" / "page" / "templates", templates, ignore=lambda *_: ["__pycache__"])
    monkeypatch.setattr(frame, "_TEMPLATES", templates)
    monkeypatch.setattr(frame, "_environment", frame._environment.__wrapped__)  # as in a new process for every page
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    assert page_html(result, date) == expected
    kept = sorted((templates / "__pycache__").iterdir())
    assert len(kept) == 5
    assert page_html(result, date) == expected
    kept[0].write_bytes(b"rubbish")
    assert page_html(result, date) == expected
    brief_template = templates / "brief.html.jinja"
    brief_template.write_text(
        brief_template.read_text(encoding="utf-8").replace("donor's", "DONOR'S"), encoding="utf-8"
    )
    assert "DONOR'S" in page_html(result, date)
    shutil.rmtree(templates / "__pycache__")
    # Whether anything is kept does not depend on which template it is: one of a line.
    (templates / "line").write_text("{{ date }}")
    (templates / "__pycache__").write_text("no folder can be made here")
    assert render("line", date) == date
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    (templates / "__pycache__").unlink()
    assert render("line", date) == date
    assert not (templates / "__pycache__").exists()
