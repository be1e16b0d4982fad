"""The blank job file that ``basemap new --blank`` writes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Any

BLANK = "?"
"""Stands in the template for what only the user knows; a job that still has one is refused, with the key's name."""


def blank_template() -> str:
    """A commented job file: every ``"?"`` must be filled in, and what is commented out may be added."""
    return files("basemap.jobfile").joinpath("template.toml").read_text(encoding="utf-8")


def blanks(data: Mapping[str, Any], place: str = "") -> Iterator[str]:
    """Keys of a job that are still blank, in file order."""
    for key, value in data.items():
        path = f"{place}.{key}" if place else key
        if value == BLANK:
            yield path
        elif isinstance(value, Mapping):
            yield from blanks(value, path)
