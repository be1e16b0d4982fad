"""The first-start card as data: its parts and lines."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Basis(StrEnum):
    """Where a line comes from."""

    PREDICTED = "predicted from the job"
    PRACTICE = "common practice in the trade, no source"
    MEMORY = "ISO 16750-2, from memory"


@dataclass(frozen=True)
class CardLine:
    """One line of the card.

    Parameters
    ----------
    key
        Its name for other programs.
    words
        What to look at or to do.
    expect, caution, stop
        What is expected, what calls for caution, and when to stop; empty if there is nothing to say.
    basis
        The source of its numbers.
    value, low, high, unit
        The expected number and its band; `None` if it is unknown, or if the line has no number.
    intended
        The number that is intended, if it differs from `value`.
    """

    key: str
    words: str
    expect: str = ""
    caution: str = ""
    stop: str = ""
    basis: Basis = Basis.PRACTICE
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    intended: float | None = None


@dataclass(frozen=True)
class CardPart:
    """A part of the card; `ticks` says that its lines are to be ticked off rather than compared with a gauge."""

    key: str
    title: str
    lines: tuple[CardLine, ...]
    ticks: bool = False

    @property
    def is_short(self) -> bool:
        """Whether all of it is a few words to tick off, so that several stand side by side."""
        return self.ticks and all(len(line.words) < 30 for line in self.lines)


@dataclass(frozen=True)
class Card:
    """The whole card.

    `warning` is what stands above everything, empty where nothing stops the map; `limits` are the cuts without which
    the map must not be run.
    """

    title: str
    warning: str
    limits: tuple[str, ...]
    parts: tuple[CardPart, ...]
    notes: tuple[str, ...]
