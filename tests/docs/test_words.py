"""What does not belong in the project does not stand in it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

from tests.docs.markdown import ROOT

SKIPPED = {".git", ".venv", "build", "dist", "__pycache__"}
TEXT = {".md", ".py", ".toml", ".csv", ".tsv", ".txt", ".cfg", ""}

# Put together here, so that this file does not hold them; what each begins with, in small letters, is found quickly.
FORBIDDEN = {
    "shared" + "/design": re.compile("shared" + "/design", re.IGNORECASE),
    "trans" + "cript": re.compile("trans" + "cript", re.IGNORECASE),
    "issue": re.compile(r"\bissue" + r" ?#", re.IGNORECASE),
    "seed " + "document": re.compile("seed " + "document", re.IGNORECASE),
    "to" + "do": re.compile(r"\bTO" + r"DO\b"),
    "fix" + "me": re.compile(r"\bFIX" + r"ME\b"),
}


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
    small = text.lower()
    asked = {begins: word for begins, word in FORBIDDEN.items() if begins in small}
    return [line for line in text.splitlines() if any(word.search(line) for word in asked.values())] if asked else []


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
    seen = [
        "Shared" + "/Design",
        "Trans" + "cripts",
        "issue" + "#3",
        "a Seed " + "document",
        "TO" + "DO: x",
        "FIX" + "ME",
    ]
    assert forbidden_in("\n".join([*seen, "to" + "do", "auTO" + "DO", "fix" + "mes", "issued"])) == seen
    assert [forbidden_in(line) for line in seen] == [[line] for line in seen]
