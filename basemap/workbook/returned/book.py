"""A workbook of this program, read from a file that may hold anything, with its named areas."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from basemap.errors import InputError
from basemap.workbook.core.names import is_readable

if TYPE_CHECKING:
    from basemap.tables.package import Stored, WorkbookFile

Content = float | str | None
Address = tuple[str, int, int]
"""Sheet, row and column; both count from 1."""

_MOST_CELLS = 40_000
_MOST_NAMED = 1_000_000
"""Cells of all named areas together: about thirty tables of the largest size."""
_OURS = ("issued_status", "old_table", "new_table")


def address(at: Address) -> str:
    """An address as a spreadsheet program shows it."""
    from basemap.tables.cells import column_letters

    sheet = f"'{at[0]}'" if " " in at[0] or "," in at[0] else at[0]
    return f"{sheet}!{column_letters(at[2])}{at[1]}"


@dataclass(frozen=True)
class NamedArea:
    """A named area: sheet, first row and column, size."""

    sheet: str
    row: int
    col: int
    rows: int
    cols: int

    def cells(self) -> Iterator[Address]:
        """Its cells, row by row."""
        for i in range(self.rows):
            for j in range(self.cols):
                yield self.sheet, self.row + i, self.col + j


@dataclass(frozen=True)
class ReturnedBook:
    """A workbook that was read, and its named areas."""

    file: str
    book: WorkbookFile
    names: dict[str, NamedArea]

    @classmethod
    def of(cls, path: Path) -> ReturnedBook:
        """Read a file, after the guard that checks every workbook from outside."""
        try:
            return cls._of(path)
        except InputError as error:
            raise error.within(file=str(path)) from None

    @classmethod
    def _of(cls, path: Path) -> ReturnedBook:
        from basemap.tables.guard import MOST_BYTES
        from basemap.tables.plain_file import content_of
        from basemap.tables.workbook import damaged_name, guarded

        book = guarded(content_of(path, MOST_BYTES, "a workbook that this program wrote"))
        names = dict(_named_areas(book))
        named = sum(area.rows * area.cols for area in names.values())
        if named > _MOST_NAMED:
            raise InputError(
                f"has names for {named} cells, more than the {_MOST_NAMED} that are looked at; expected the workbook "
                "that was issued as it came back, with no names added"
            )
        missing = [name for name in _OURS if name not in names]
        if missing and missing[0] in book.names:
            raise InputError(damaged_name(missing[0], book))
        if missing:
            raise InputError(
                f"is not a workbook that this program wrote: it has no cell named {missing[0]}; "
                'expected the .xlsx that "basemap adapt" wrote, or that file as it came back'
            )
        return cls(str(path), book, names)

    def content(self, at: Address) -> Content:
        """What a cell contains: a number, a text, or a formula with its equals sign."""
        formula = self._formula(at)
        return self._value(at) if formula is None else formula

    def shown(self, at: Address) -> Content:
        """What a cell shows: of a formula the saved value, or the formula where no value was saved."""
        value = self._value(at)
        return self._formula(at) if value is None else value

    def is_formula(self, at: Address) -> bool:
        """Whether a cell holds a formula."""
        return self._formula(at) is not None

    def _formula(self, at: Address) -> str | None:
        sheet = self.book.sheets.get(at[0])
        return sheet.formulas.get(at[1:]) if sheet else None

    def first(self, name: str) -> Address:
        """The first cell of a named area."""
        return next(self.names[name].cells())

    def stored(self, at: Address) -> Stored | None:
        """The cell as the file stores it, with kind and format; `None` for an empty cell."""
        sheet = self.book.sheets.get(at[0])
        return sheet.cells.get(at[1:]) if sheet else None

    def _value(self, at: Address) -> Content:
        cell = self.stored(at)
        return None if cell is None else _plain(cell.value)


def _plain(value: object) -> Content:
    """A number or text; a whole number too large for a workbook becomes text."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float) and abs(value) <= sys.float_info.max:
        return float(value)
    return str(value)


def _named_areas(book: WorkbookFile) -> Iterator[tuple[str, NamedArea]]:
    """The areas whose names this program may have given; names in another form are left out."""
    for name in book.names:
        named = book.named(name) if is_readable(name) else None
        if named is None:
            continue
        (row, col), (last_row, last_col) = named.first, named.last
        rows, cols = last_row - row + 1, last_col - col + 1
        if rows * cols <= _MOST_CELLS:
            yield name, NamedArea(named.sheet, row, col, rows, cols)
