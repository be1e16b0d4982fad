"""Keys of the job file that have a new name, and the line to write in their place."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

PAGE = "docs/migration.md"
"""Where every renamed key stands."""

KEYS = {
    ("injectors", "two_slope"): "bent_line",
    ("settings", "two_slope"): "bent_line",
    ("bent_line", "low_flow"): "below",
    ("bent_line", "high_flow"): "above",
    ("bent_line", "break_mass"): "at_mass",
}
"""Section and old key → new key."""

STUCK = {"two_slope": "bent_line"}
"""The same among the words of ``cannot_be_told``."""


def problem_with(section: str, key: str, value: object) -> str | None:
    """The new name of a key and what to write, as a sentence; `None` for a key that never existed.

    >>> problem_with("settings", "two_slope", True)
    'is called bent_line now: write bent_line = true (docs/migration.md)'
    """
    if (section, key) not in KEYS:
        return None
    new = KEYS[section, key]
    return f"is called {new} now: write {new} = {_written(_in_new_keys(new, value))} ({PAGE})"


def _in_new_keys(section: str, value: Any) -> Any:
    if not isinstance(value, Mapping):
        return value
    return {KEYS.get((section, key), key): inner for key, inner in value.items()}


def _written(value: Any) -> str:
    """A value of TOML as a job file has it."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {_written(inner)}' for key, inner in value.items())} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(_written, value))}]"
    if isinstance(value, (str, bool, int, float)):
        return json.dumps(value, ensure_ascii=False)
    return str(value)
