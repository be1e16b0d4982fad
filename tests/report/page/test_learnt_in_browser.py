"""The page of `learn` in a real browser: on a phone, in the dark, on paper, and with scripts off."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from basemap.report.page.learnt import learnt_html
from tests.report.page.browser import NASTY, SHADES, Page, contrast, luminance, needs_chromium, sideways
from tests.report.page.learnt_van import first_drive, van

pytestmark = [pytest.mark.chromium, needs_chromium]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("learnt") / "van.learnt.html"
    path.write_text(learnt_html(van(), first_drive()), encoding="utf-8")
    return path


def test_a_phone_scrolls_sideways_within_the_tables_only(page: Page, file: Path) -> None:
    page.show(file)
    assert sideways(page) == 0
    maps = "Array.from(document.querySelectorAll('.pair figure')).map(one => one.getBoundingClientRect().top)"
    before, after = page.get(maps)
    assert after > before  # stacked
    page.size(1100)
    assert sideways(page) == 0
    before, after = page.get(maps)
    assert after == before  # beside each other


def test_it_asks_for_nothing_and_nothing_is_forbidden(page: Page, file: Path) -> None:
    page.show(file)
    assert page.asked_for() == [file.as_uri()]
    assert page.complaints() == []


@pytest.mark.check_value
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everything_stands_out(page: Page, file: Path, scheme: str) -> None:
    """WCAG 2.2, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (lines and dots of a drawing, 3 to 1)."""
    page.media(prefers_color_scheme=scheme)
    page.show(file)
    paper = luminance(page.get("getComputedStyle(document.body).backgroundColor"))
    assert (paper < 0.05) == (scheme == "dark")
    assert min(contrast(luminance(ink), luminance(f"{shade}")) for ink, shade in page.get(SHADES)) >= 4.5
    for colour in page.get("Array.from(document.querySelectorAll('.quiet, small, .word, a')).map("
                           "one => getComputedStyle(one).color)"):  # fmt: skip
        assert contrast(luminance(colour), paper) >= 4.5
    for colour in page.get("Array.from(document.querySelectorAll('.curve, .crossed, .dots')).map("
                           "one => getComputedStyle(one).stroke)"):  # fmt: skip
        assert contrast(luminance(colour), paper) >= 3.0
    # The dots of the visited points stand out from the deepest shade of the map too.
    fill = page.get("getComputedStyle(document.querySelector('.shade')).fill")
    inks = [[int(part) for part in re.findall(r"\d+", colour)[:3]]
            for colour in (fill, page.get("getComputedStyle(document.body).backgroundColor"))]  # fmt: skip
    deepest = float(page.get("Math.max(...Array.from(document.querySelectorAll('.pair .shade')).map("
                             "one => one.getAttribute('fill-opacity')))"))  # fmt: skip
    mixed = [round(over * deepest + under * (1 - deepest)) for over, under in zip(*inks, strict=True)]
    dots = page.get("getComputedStyle(document.querySelector('.dots')).stroke")
    assert contrast(luminance(dots), luminance(f"{mixed}")) >= 1.5


def test_on_paper_the_tables_are_whole(page: Page, file: Path) -> None:
    page.media("print", prefers_color_scheme="dark")
    page.size(718)  # A4 less the margins, at 96 to the inch
    page.show(file)
    assert luminance(page.get("getComputedStyle(document.body).backgroundColor")) == 1.0
    assert sideways(page) == 0
    assert page.get("Array.from(document.querySelectorAll('.scroll')).every(one => one.scrollWidth <= one.clientWidth)")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", page.paper())) <= 5


def test_with_scripts_off_it_is_the_same(page: Page, file: Path) -> None:
    page.show(file)
    with_scripts = page.get("document.body.innerText")
    page.scripts(on=False)
    page.open(file)
    assert page.get("document.body.innerText") == with_scripts
    assert "NOTHING TO LOAD" in with_scripts


def test_the_policy_lets_no_script_run(page: Page, file: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    foreign = '<script>document.title = "taken"</script>'
    bad.write_text(file.read_text(encoding="utf-8").replace("<main>", f"<main>{foreign}"), encoding="utf-8")
    page.open(bad)
    assert page.get("document.title") == van().job.title


def test_a_title_that_is_html_is_only_a_title(page: Page, tmp_path: Path) -> None:
    result, found = van(), first_drive()
    log = replace(found.logs[0], file=NASTY)
    path = tmp_path / "nasty.html"
    nasty = replace(result, job=replace(result.job, title=NASTY))
    path.write_text(learnt_html(nasty, replace(found, logs=(log,))), encoding="utf-8")
    page.open(path)
    shown = NASTY.replace("\u202e", "\N{REPLACEMENT CHARACTER}")
    assert page.get("document.title") == shown
    assert page.get("document.querySelector('h1').textContent") == shown
    assert page.get("document.querySelectorAll('img, h1 *, figcaption *').length") == 0
    assert page.complaints() == []
    assert sideways(page) == 0
