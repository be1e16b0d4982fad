"""Every link from one page to another resolves."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.docs.markdown import ROOT, anchors, links, pages, read

WANTED = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "user_guide.md",
    "job_file.md",
    "commands.md",
    "physics.md",
    "rules.md",
    "glossary.md",
)


def broken(path: Path, text: str) -> list[str]:
    """Links of a page that lead nowhere."""
    found = []
    for target in links(text):
        if "://" in target or target.startswith("mailto:"):
            continue
        file, _, anchor = target.partition("#")
        there = (path.parent / file).resolve()
        if not there.exists() or (anchor and anchor not in anchors(read(there) if file else text)):
            found.append(target)
    return found


def test_every_page_is_there() -> None:
    assert {path.name for path in pages()} >= set(WANTED)


@pytest.mark.parametrize("path", pages(), ids=lambda path: str(path.relative_to(ROOT)))
def test_links_resolve(path: Path) -> None:
    assert broken(path, read(path)) == []


@pytest.mark.parametrize("path", pages(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_page_depends_on_the_network(path: Path) -> None:
    assert [target for target in links(read(path)) if "://" in target] == []


def test_a_broken_link_is_seen() -> None:
    text = "# One\n[a](docs/physics.md) [b](docs/no.md) [c](#one) [d](#two) `[e](x)`\n```\n[f](y)\n```\n"
    assert broken(ROOT / "README.md", text) == ["docs/no.md", "#two", "x"]
