"""A change of one key of a job file, as it comes back from a workbook."""

from __future__ import annotations

from dataclasses import dataclass

Key = tuple[str | int, ...]
"""Sections, key, and within a list the place, such as ``("target", "injectors", "dead_time", "time", 2)``."""
New = float | bool | str | None | list[str] | list[list[str]]


@dataclass(frozen=True)
class KeyEdit:
    """A key and its new value.

    Parameters
    ----------
    key
        Its sections and name; sections that are missing are added.
    value
        A number in `unit`, a word, a truth value, or a list as the job file has it; `None` takes the key out.
    origin
        Where it comes from, written in a comment beside the key.
    unit
        Of a number, as the job writes it.
    before
        The number that stood there, in the same unit; the rest of its text, such as a spread, is kept.
    spread
        The end of a text that has to be written anew, such as ``± 3``.
    written_at
        Key whose text `before` was read from, where one key holds for both sides.
    """

    key: Key
    value: New
    origin: str
    unit: str = ""
    before: float | None = None
    spread: str = ""
    written_at: Key = ()
