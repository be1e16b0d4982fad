"""A short answer: a few numbers with their names, as text and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Group


@dataclass(frozen=True)
class Fact:
    """One number of an answer.

    Parameters
    ----------
    key
        Its name in JSON, which ends in the unit where it has one.
    words, unit
        Its name and unit as printed.
    value
        In that unit.
    digits
        Significant digits to print; JSON has them all.
    """

    key: str
    words: str
    value: float
    unit: str = ""
    digits: int = 4


@dataclass(frozen=True)
class Answer:
    """A title, numbers, and remarks on them."""

    title: str
    facts: Sequence[Fact]
    remarks: Sequence[str] = ()

    def as_json(self) -> dict[str, Any]:
        """The answer as JSON, numbers unrounded."""
        from basemap.report.json_text import SCHEMA, finite

        numbers = {fact.key: finite(fact.value) for fact in self.facts}
        return {"schema": SCHEMA, "title": self.title, **numbers, "remarks": list(self.remarks)}

    def as_text(self) -> Group:
        """The answer for the terminal."""
        from rich.console import Group
        from rich.text import Text

        from basemap.report.terminal.layout import columns, indented
        from basemap.report.words import harmless, number

        rows = [[fact.words, number(fact.value, fact.digits), fact.unit] for fact in self.facts]
        remarks = [indented(harmless(remark)) for remark in self.remarks]
        return Group(Text(harmless(self.title), style="bold"), columns(rows, left=(0, 2)), *remarks)
