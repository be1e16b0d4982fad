"""What the documentation shows of the program is what the program says today."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import each_sample_once
from tests.docs.generate import commands, stale
from tests.docs.markdown import DOCS, ROOT, generated_blocks, pages, read, with_generated

__all__ = ["each_sample_once"]


@pytest.mark.usefixtures("each_sample_once")
@pytest.mark.parametrize("path", pages(), ids=lambda path: str(path.relative_to(ROOT)))
def test_generated_blocks_are_fresh(path: Path) -> None:
    assert stale(path) == {}, "run python -m tests.docs.generate"


def test_every_command_is_documented() -> None:
    page = read(DOCS / "commands.md")
    assert list(generated_blocks(page)) == [f"help of {name}" for name in commands()]
    assert [line for line in page.splitlines() if line.startswith("## basemap ")] == [
        f"## basemap {name}" for name in commands()
    ]


def test_a_block_is_found_and_replaced() -> None:
    fenced = "<!-- generated: x -->\n```text\nold\n```\n<!-- end -->\n"
    page = f"a\n{fenced}b\n<!-- generated: y -->\n\n| old |\n\n<!-- end -->\n"
    assert generated_blocks(page) == {"x": "old", "y": "| old |"}
    new = with_generated(with_generated(page, "x", "new\nlines"), "y", "| new |")
    assert generated_blocks(new) == {"x": "new\nlines", "y": "| new |"}
    assert new.replace("new\nlines", "old").replace("| new |", "| old |") == page
