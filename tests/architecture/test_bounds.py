"""Every package has a lowest release, which can be tried, and a next major, or minor, that it stops before."""

from __future__ import annotations

import re
import tomllib

from tests.architecture.source_files import PACKAGE

ROOT = PACKAGE.parent
BOUNDS = re.compile(r"(?P<name>[\w-]+)>=(?P<lowest>[\d.]+),<(?P<below>\d+(?:\.\d+)?)")
LINE = re.compile(r"^(?P<name>[\w-]+)==(?P<release>[\d.]+)$", re.MULTILINE)


def stated() -> dict[str, re.Match[str]]:
    """The bounds of every package in pyproject.toml, by name."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = {}
    for entry in project["dependencies"]:
        match = BOUNDS.fullmatch(entry)
        assert match, f"{entry}: expected NAME>=LOWEST,<NEXT"
        found[match["name"]] = match
    return found


def release(text: str) -> tuple[int, ...]:
    """``3.2`` and ``3.2.0`` are the same release."""
    numbers = [int(part) for part in text.split(".")]
    return tuple(numbers + [0] * (3 - len(numbers)))


def test_the_list_of_lowest_releases_is_that_of_the_project() -> None:
    text = (ROOT / "tests" / "architecture" / "lowest.txt").read_text(encoding="utf-8")
    listed = {match["name"]: release(match["release"]) for match in LINE.finditer(text)}
    for name, match in stated().items():
        assert listed[name] == release(match["lowest"])


def test_the_upper_bound_is_above_the_lower() -> None:
    for match in stated().values():
        assert release(match["below"]) > release(match["lowest"])
