"""What is gathered while edits are carried into a job file: changes of keys, in words too, and the edits left over."""

from __future__ import annotations

from dataclasses import dataclass, field

from basemap.model.job import Job
from basemap.model.key_edit import Key, KeyEdit
from basemap.report.words import one_line
from basemap.workbook.inputs.input_cell import InputCell
from basemap.workbook.returned.book import Address, ReturnedBook, address
from basemap.workbook.returned.edits import Edit

_LONGEST_NAME = 80
"""Characters of a file's name that a comment shows."""

Place = tuple[str, int, int]
"""The name of a cell or an area, and row and column in it, from 0."""


@dataclass(frozen=True)
class Changed:
    """A change of a key in words: before, after, and the cell that it comes from."""

    key: str
    before: str
    after: str
    place: str


@dataclass
class Carrying:
    """The state of carrying, which grows edit by edit.

    Parameters
    ----------
    book, job, cells
        The returned workbook, the job that it was issued from, and its input cells by their names.
    edits, changed, left
        Changes of keys; the same in words; edits that no key can hold, each with the reason.
    wanted
        What the inputs of the new job must hold.
    """

    book: ReturnedBook
    job: Job
    cells: dict[str, InputCell]
    edits: list[KeyEdit] = field(default_factory=list)
    changed: list[Changed] = field(default_factory=list)
    left: list[tuple[Edit, str]] = field(default_factory=list)
    wanted: dict[Place, float | str] = field(default_factory=dict)

    def change(self, edit: Edit, change: KeyEdit, words: tuple[str, str], key: str = "") -> None:
        """Note a change of a key; a second edit of the same key is the same change."""
        if all(one.key != change.key for one in self.edits):
            self.edits.append(change)
            self.changed.append(Changed(key or ".".join(map(str, change.key)), *words, edit.place))

    def want(self, edit: Edit, value: float | str) -> None:
        """Note the value that an input must have in the new job."""
        self.wanted[edit.area, edit.row, edit.col] = value

    def leave(self, edit: Edit, why: str) -> None:
        """Note an edit that cannot go into the job file, with the reason."""
        self.left.append((edit, why))

    def origin(self, at: Address) -> str:
        """Where a value comes from, for a comment in the job file."""
        name = one_line(self.book.file.replace("\\", "/").rsplit("/", 1)[-1])
        short = name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}…"
        return f"from {short}, cell {one_line(address(at))}"


def path(key: str) -> Key:
    """The parts of a dotted key."""
    return tuple(key.split("."))


def figure(value: float, unit: str) -> str:
    """A number with its unit, as a person reads it."""
    return f"{value:.10g} {unit}" if unit else f"{value:.10g}"
