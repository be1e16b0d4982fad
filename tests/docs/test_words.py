"""What does not belong in the project does not stand in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.docs.markdown import ROOT

SKIPPED = {".git", ".venv", "build", "dist", "__pycache__"}
TEXT = {".md", ".py", ".toml", ".csv", ".tsv", ".txt", ".cfg", ""}

# Put together here, so that this file does not hold them.
FORBIDDEN = re.compile(
    "|".join(
        [
            "shared" + "/design",
            "trans" + "cript",
            r"\bissue" + r" ?#",
            "seed " + "document",
            r"(?-i:\bTO" + r"DO\b)",
            r"(?-i:\bFIX" + r"ME\b)",
        ]
    ),
    re.IGNORECASE,
)


def text_files() -> list[Path]:
    """Every text file of the project."""
    found = []
    for path in sorted(ROOT.rglob("*")):
        parts = path.relative_to(ROOT).parts
        hidden = any(part in SKIPPED or part.endswith(("_cache", ".egg-info", "-adapted")) for part in parts)
        if path.is_file() and not hidden and not parts[0].startswith(".hypothesis") and path.suffix in TEXT:
            found.append(path)
    return found


def forbidden_in(text: str) -> list[str]:
    """Lines that hold a forbidden word."""
    return [line for line in text.splitlines() if FORBIDDEN.search(line)]


@pytest.mark.parametrize("folder", ["basemap", "docs", "sample_tables", "tests", "."])
def test_no_forbidden_word(folder: str) -> None:
    files = [path for path in text_files() if folder in (path.relative_to(ROOT).parts[0], ".")]
    assert files
    found = {
        str(path.relative_to(ROOT)): lines
        for path in files
        if (lines := forbidden_in(path.read_bytes().decode("utf-8", "replace")))
    }
    assert found == {}


def test_a_forbidden_word_is_seen() -> None:
    assert forbidden_in("fine\nsee Issue" + " #12\nan issue of numbers") == ["see Issue" + " #12"]
