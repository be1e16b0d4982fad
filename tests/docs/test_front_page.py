"""README, changelog and package say the same."""

from __future__ import annotations

import re
import tomllib

import pytest

import basemap
from tests.docs.markdown import ROOT, read

PROJECT = tomllib.loads(read(ROOT / "pyproject.toml"))["project"]
README = read(ROOT / "README.md")


def block_after(marker: str) -> str:
    """Content of the code block after a marker, as .ci/run extracts it."""
    found = re.search(rf"^<!-- {marker} -->\n```bash\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert found, marker
    return found[1]


def test_names_of_distribution_and_command() -> None:
    assert PROJECT["name"] == "borrowed-basemap"
    assert "`borrowed-basemap`" in README
    assert PROJECT["scripts"] == {"basemap": "basemap.__main__:main"}


def test_one_version() -> None:
    newest = re.search(r"^## (\d\S*)$", read(ROOT / "CHANGELOG.md"), re.MULTILINE)
    assert newest
    assert newest[1] == PROJECT["version"] == basemap.__version__


def test_lowest_python() -> None:
    assert PROJECT["requires-python"] == ">=3.11"
    assert "Python 3.11 or newer" in README


@pytest.mark.parametrize(
    ("marker", "last"),
    [
        ("demo command", ".venv/bin/basemap demo"),
        ("test command", ".venv/bin/python -m pytest -n auto --dist worksteal"),
    ],
)
def test_each_command_is_complete(marker: str, last: str) -> None:
    first, *_, end = block_after(marker).strip().split(" && ")
    assert first == "python3 -m venv .venv"
    assert end == last


def test_ci_runs_what_the_front_page_says() -> None:
    runner = read(ROOT / ".ci" / "run")
    assert "<!-- test command -->" in runner


@pytest.mark.parametrize("kind", ["added", "changed", "removed", "mended", "formula"])
def test_kinds_of_changes_are_explained(kind: str) -> None:
    assert f"**{kind}**" in read(ROOT / "CHANGELOG.md").split("\n## ")[0]


def test_every_change_has_a_kind() -> None:
    entries = re.findall(r"^\* (.*)$", read(ROOT / "CHANGELOG.md"), re.MULTILINE)
    assert entries
    assert [entry for entry in entries if not re.match(r"\*\*(added|changed|removed|mended|formula)\*\* ", entry)] == []
