"""The page in a real browser: on a phone, in the dark, on paper, and with scripts off."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

import basemap
from basemap.model.result import Result
from basemap.report.cell_in_words import as_json, cell_at
from basemap.report.page.write import page_html
from basemap.report.words import number
from tests.builders.without_files import make_job
from tests.docs.markdown import ROOT
from tests.report.page.browser import NASTY, PHONE, SHADES, Page, contrast, luminance, needs_chromium, sideways

pytestmark = [pytest.mark.chromium, needs_chromium]


@pytest.fixture(scope="module")
def van() -> Result:
    return basemap.check(basemap.load_job(ROOT / "sample_tables" / "ferry_van.toml"))


@pytest.fixture(scope="module")
def file(van: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "van.html"
    path.write_text(page_html(van), encoding="utf-8")
    return path


def test_a_phone_never_scrolls_sideways_but_within_the_tables(page: Page, file: Path) -> None:
    page.show(file)
    assert page.get("innerWidth") == PHONE
    assert sideways(page) == 0
    wide = "Array.from(document.querySelectorAll('.scroll')).map(part => part.scrollWidth > part.clientWidth)"
    assert page.get(wide) == [True, True, True]


def test_it_asks_for_nothing_but_itself_and_nothing_is_forbidden(page: Page, file: Path) -> None:
    page.show(file)
    assert page.asked_for() == [file.as_uri()]
    assert page.complaints() == []


def test_a_tapped_cell_shows_the_chain_that_explain_has(page: Page, file: Path, van: Result) -> None:
    page.show(file)
    row, column = 9, 7
    page.get(f"document.querySelector('[data-grid=change]').rows[{row + 1}].cells[{column + 1}].click()")
    rpm, load = float(van.job.rpm[column]), float(van.job.target.shown.load[row])
    assert page.get("document.querySelector('#cell-title').textContent") == f"{rpm:g} rpm, {load:g} kPa"
    explained = as_json(van, cell_at(van, rpm, load))["steps"]
    shown = page.get(
        "Array.from(document.querySelectorAll('#cell-chain tr')).filter(row => row.cells.length == 2)"
        ".map(row => [row.cells[0].textContent, row.querySelector('b').textContent])"
    )
    assert shown == [[one["symbol"], f"{number(one['value'], 8)} {one['unit']}".rstrip()] for one in explained]
    assert sideways(page) == 0
    page.get("document.querySelector('#cell form button').click()")
    assert not page.get("document.querySelector('#cell').open")


def test_the_keyboard_goes_through_a_table(page: Page, file: Path, van: Result) -> None:
    page.show(file)
    page.get("document.querySelector('[data-grid=new] td').focus()")
    for key in ("ArrowRight", "ArrowDown", "Enter"):
        page.send("Input.dispatchKeyEvent", type="keyDown", key=key, code=key)
    rpm, load = van.job.rpm[1], van.job.target.shown.load[1]
    assert page.get("document.querySelector('#cell-title').textContent") == f"{rpm:g} rpm, {load:g} kPa"
    page.get("document.querySelector('#cell').close()")


@pytest.mark.check_value
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_figure_stands_out_from_its_shade(page: Page, file: Path, scheme: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: text stands out from what is behind it by 4.5 to 1."""
    page.media(prefers_color_scheme=scheme)
    page.show(file)
    paper = luminance(page.get("getComputedStyle(document.body).backgroundColor"))
    assert (paper < 0.05) == (scheme == "dark")
    assert contrast(luminance(page.get("getComputedStyle(document.body).color")), paper) > 7
    cells = page.get(SHADES)
    assert len({tuple(shade) for _, shade in cells}) > 6
    assert min(contrast(luminance(ink), luminance(f"{shade}")) for ink, shade in cells) >= 4.5
    words = ".quiet, small, .word, a, label small b, .against"
    for colour in page.get(f"Array.from(document.querySelectorAll('{words}')).map(one => getComputedStyle(one).color)"):
        assert contrast(luminance(colour), paper) >= 4.5


def test_on_paper_the_tables_are_whole_and_what_is_folded_is_open(page: Page, file: Path) -> None:
    page.media("print", prefers_color_scheme="dark")
    page.size(718)  # A4 less the margins, at 96 to the inch
    page.show(file)
    assert luminance(page.get("getComputedStyle(document.body).backgroundColor")) == 1.0
    assert sideways(page) == 0
    fits = "Array.from(document.querySelectorAll('.scroll')).every(part => part.scrollWidth <= part.clientWidth)"
    assert page.get(fits)
    page.get("dispatchEvent(new Event('beforeprint'))")
    assert page.get("document.querySelectorAll('details:not([open])').length") == 0
    page.get("dispatchEvent(new Event('afterprint'))")
    assert page.get("document.querySelectorAll('details[open]').length") == 0
    paper = page.paper()
    assert paper.startswith(b"%PDF")
    assert 3 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 9


def test_without_scripts_everything_is_there_but_what_needs_one(page: Page, file: Path) -> None:
    page.show(file)
    with_scripts = page.get("document.querySelector('main').innerText")
    page.scripts(on=False)
    page.open(file)
    without = page.get("document.querySelector('main').innerText")
    gone = [line for line in with_scripts.splitlines() if line.strip() and line not in without.splitlines()]
    assert [line.strip() for line in gone] == ["Untick all", "Tap a cell for its chain."]
    assert page.get("document.querySelectorAll('.chain tr').length") > 40
    assert sideways(page) == 0


def test_the_policy_keeps_out_what_is_not_ours(page: Page, file: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    foreign = '<script>document.title = "taken"</script><img src="https://x.invalid/y.png">'
    bad.write_text(file.read_text(encoding="utf-8").replace("<main>", f"<main>{foreign}"), encoding="utf-8")
    page.open(bad)
    assert page.get("document.title") != "taken"
    assert [said for said in page.complaints() if "Content Security Policy" in said] != []


def test_a_box_stays_ticked_and_another_map_begins_without(page: Page, file: Path, van: Result, tmp_path: Path) -> None:
    ticked = "document.querySelectorAll('#card input:checked').length"
    page.show(file)
    assert page.get(ticked) == 0
    page.get("document.querySelector('#card input').click()")
    other = tmp_path / "van.html"
    other.write_text(page_html(replace(van, job=replace(van.job, title="another"))), encoding="utf-8")
    page.open(other)
    assert page.get(ticked) == 0
    page.open(file)
    assert page.get(ticked) == 1
    page.get("document.querySelector('#untick').click()")
    page.open(file)
    assert page.get(ticked) == 0


def test_where_nothing_can_be_kept_the_page_works_and_says_so(page: Page, file: Path) -> None:
    throws = "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })"
    added = page.send("Page.addScriptToEvaluateOnNewDocument", source=throws)["identifier"]
    try:
        page.open(file)
        page.get("document.querySelector('#card input').click()")
        assert page.get("document.querySelector('#kept').textContent") == "Ticks are lost when this page is closed."
        page.get("document.querySelector('[data-grid=new] td').click()")
        assert page.get("document.querySelector('#cell').open")
        assert page.complaints() == []
    finally:
        page.send("Page.removeScriptToEvaluateOnNewDocument", identifier=added)
        page.forget()


def test_a_title_that_is_html_is_only_a_title(page: Page, tmp_path: Path) -> None:
    result = basemap.check(make_job(4, 5, title=NASTY))
    path = tmp_path / "nasty.html"
    path.write_text(page_html(result), encoding="utf-8")
    page.open(path)
    shown = NASTY.replace("\u202e", "\N{REPLACEMENT CHARACTER}")
    assert page.get("document.title") == shown
    assert page.get("document.querySelector('h1').textContent") == shown
    assert page.get("document.querySelectorAll('img, h1 *').length") == 0
    assert page.complaints() == []
    assert sideways(page) == 0
