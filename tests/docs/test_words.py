"""What does not belong in the project does not stand in it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

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


def text_files() -> Iterator[Path]:
    """Every text file of the project; what is skipped is not looked into: an environment may lie here."""
    for folder, inner, names in os.walk(ROOT):
        inner[:] = sorted(name for name in inner if not _is_skipped(name))
        for path in (Path(folder, name) for name in sorted(names)):
            if path.suffix in TEXT:
                yield path


def _is_skipped(folder: str) -> bool:
    return folder in SKIPPED or folder.endswith(("_cache", ".egg-info", "-adapted")) or folder == ".hypothesis"


def forbidden_in(text: str) -> list[str]:
    """Lines that hold a forbidden word."""
    return [line for line in text.splitlines() if FORBIDDEN.search(line)]


def test_no_forbidden_word() -> None:
    files = list(text_files())
    assert {path.relative_to(ROOT).parts[0] for path in files} >= {
        "basemap",
        "docs",
        "sample_tables",
        "tests",
        "README.md",
    }
    found = {
        str(path.relative_to(ROOT)): lines
        for path in files
        if (lines := forbidden_in(path.read_bytes().decode("utf-8", "replace")))
    }
    assert found == {}


def test_a_forbidden_word_is_seen() -> None:
    assert forbidden_in("fine\nsee Issue" + " #12\nan issue of numbers") == ["see Issue" + " #12"]
