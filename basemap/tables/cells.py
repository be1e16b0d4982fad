"""The cells of a sheet or a text file before they are understood, at addresses that count from 1."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NamedTuple

from basemap.errors import InputError

Place = tuple[int, int]
"""Row and column, counted from 1."""


class Number(NamedTuple):
    """A number that a workbook stores as a number.

    Parameters
    ----------
    value
        The number as shown: 0.85 shown as 85 % is 85.
    decimals
        How many decimals the sheet shows.
    percent
        Whether it is shown in per cent.
    """

    value: float
    decimals: int
    percent: bool = False


class Unusable(NamedTuple):
    """A cell that cannot be used as a number; `why` completes "the cell …"."""

    why: str


Cell = str | Number | Unusable


def column_letters(column: int) -> str:
    """Letters of a column counted from 1: 1 is A, 27 is AA."""
    letters = ""
    while column:
        column, digit = divmod(column - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def a1(place: Place) -> str:
    """The address of a place, such as ``C4``."""
    return f"{column_letters(place[1])}{place[0]}"


def shown(text: str, longest: int = 40) -> str:
    """Text of a cell for a message: on one line, printable, cut visibly."""
    plain = "".join(mark if mark.isprintable() else " " for mark in text)
    return f'"{plain}"' if len(plain) <= longest else f'"{plain[:longest]}…"'


@dataclass(frozen=True)
class Cells:
    """The cells of a text file or of one sheet that are not blank.

    Parameters
    ----------
    at
        Content by place, without blanks around a text.
    sheet
        Name of the sheet; None for a text file.
    comments
        Comment lines by row; they are not part of a table, and do not divide one.
    """

    at: dict[Place, Cell]
    sheet: str | None = None
    comments: dict[int, str] = field(default_factory=dict)

    @property
    def ignored_rows(self) -> frozenset[int]:
        """The rows of the comments."""
        return frozenset(self.comments)

    def address(self, place: Place) -> str:
        """Such as ``C4 (row 4, column 3)``, with the sheet before it where there is one."""
        return f"{self._sheet_prefix()}{a1(place)} (row {place[0]}, column {place[1]})"

    def range_of(self, first: Place, last: Place) -> str:
        """Such as ``Fuel!B3:R19``."""
        return f"{self._sheet_prefix()}{a1(first)}:{a1(last)}"

    def error(self, place: Place, problem: str) -> InputError:
        """An error at a cell."""
        return InputError(problem, place=self.address(place))

    def text_at(self, place: Place) -> str:
        """The text of a cell; empty where it is blank or a number."""
        cell = self.at.get(place, "")
        return cell if isinstance(cell, str) else ""

    def _sheet_prefix(self) -> str:
        if self.sheet is None:
            return ""
        quoted = self.sheet if re.fullmatch(r"\w+", self.sheet) else "'" + self.sheet.replace("'", "''") + "'"
        return f"{quoted}!"


class Area(NamedTuple):
    """Where a table is: header row, rows, axis column and columns, as numbers of the file."""

    header_row: int
    rows: tuple[int, ...]
    axis_column: int
    columns: tuple[int, ...]

    @property
    def corner(self) -> Place:
        """The cell where the two axes meet."""
        return self.header_row, self.axis_column

    @property
    def last(self) -> Place:
        """The cell opposite the corner."""
        return self.rows[-1], self.columns[-1]

    def row_axis(self) -> list[Place]:
        """Places of the axis that runs down."""
        return [(row, self.axis_column) for row in self.rows]

    def column_axis(self) -> list[Place]:
        """Places of the axis that runs across."""
        return [(self.header_row, column) for column in self.columns]

    def body(self) -> list[Place]:
        """Places of the values, row by row."""
        return [(row, column) for row in self.rows for column in self.columns]
