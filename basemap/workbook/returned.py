"""A workbook that comes back: which inputs and cells the tuner changed, by the names of the cells."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from basemap.errors import InputError
from basemap.report.json_text import SCHEMA
from basemap.report.words import harmless
from basemap.workbook.core.names import is_readable

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

    from basemap.tables.package import WorkbookFile

Content = float | str | None
Kind = Literal["input", "table cell", "remark", "formula overwritten"]

_SAME = 1e-12
"""Relative: spreadsheet programs keep fifteen digits when they save."""

_MOST_CELLS = 40_000
_MOST_NAMED = 1_000_000
"""Cells of all named areas together: some thirty tables as large as may be."""
_OURS = ("issued_status", "old_table", "new_table")
_MOST_SAID = 40
_REMARKS = ("summary_remarks", "input_remarks")
_HEADINGS: dict[Kind, str] = {
    "input": "inputs changed",
    "table cell": "cells changed",
    "remark": "remarks of the tuner",
    "formula overwritten": "formulas replaced by something else",
}
_TABLES = {"old_table": "old table", "new_table": "new table"}
Address = tuple[str, int, int]


@dataclass(frozen=True)
class Edit:
    """One cell that differs.

    Parameters
    ----------
    kind
        What it is: an input, a cell of an input table, a remark, or a cell whose formula somebody replaced.
    name
        The name of the cell, or of the area that it lies in; its address where it has none.
    place
        Where it stands in the returned workbook, and for a table cell at which speed and load.
    before, after
        What stands in the issued and in the returned workbook; `None` for an empty cell.
    """

    kind: Kind
    name: str
    place: str
    before: Content
    after: Content

    def __str__(self) -> str:
        if self.kind == "formula overwritten":
            return (
                f"{self.name} ({self.place}): a formula was replaced, {_said(self.before)} became {_said(self.after)}"
            )
        if self.kind == "remark" and self.before is None:
            return f"{self.name} ({self.place}): {_said(self.after)}"
        return f"{self.name} ({self.place}): {_said(self.before)} became {_said(self.after)}"


@dataclass(frozen=True)
class WorkbookDifference:
    """What a tuner changed in a workbook.

    Parameters
    ----------
    issued, returned
        The two files, as named.
    edits
        In the order of the issued workbook; formulas that were replaced come last.
    """

    issued: str
    returned: str
    edits: tuple[Edit, ...]


def compare_workbooks(issued: Path, returned: Path) -> WorkbookDifference:
    """Say which inputs and cells differ between a workbook as issued and the one that came back.

    Cells are found by their names, so that sheets may have been moved or renamed. A formula counts as unchanged as
    long as it is still one: spreadsheet programs spell formulas differently when they save.

    Parameters
    ----------
    issued, returned
        Two workbooks of this program, of the same job.

    Raises
    ------
    InputError
        Where a file is refused or cannot be read, is no workbook of this program, or is of another job.
    """
    before, after = _ReturnedBook.of(issued), _ReturnedBook.of(returned)
    edits: list[Edit] = []
    seen: set[Address] = set()
    for name in before.names:
        edits += _edits_of(name, before, after, seen)
    overwritten = [*_replaced(before, after, seen)]
    inputs = [edit for edit in edits if edit.kind != "formula overwritten"]
    replaced = [edit for edit in edits if edit.kind == "formula overwritten"]
    return WorkbookDifference(str(issued), str(returned), (*inputs, *replaced, *overwritten))


def as_json(found: WorkbookDifference) -> dict[str, Any]:
    """For other programs."""
    return {
        "schema": SCHEMA,
        "issued": found.issued,
        "returned": found.returned,
        "edits": [
            {"kind": edit.kind, "name": edit.name, "place": edit.place, "before": edit.before, "after": edit.after}
            for edit in found.edits
        ],
    }


def as_text(found: WorkbookDifference) -> Group:
    """For the terminal: what was changed, kind by kind."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.layout import heading, indented

    parts: list[RenderableType] = [
        Text(f"issued:   {harmless(found.issued)}", style="bold"),
        Text(f"returned: {harmless(found.returned)}", style="bold"),
    ]
    if not found.edits:
        return Group(*parts, indented("No input and no cell was changed."))
    for kind, words in _HEADINGS.items():
        edits = [edit for edit in found.edits if edit.kind == kind]
        if edits:
            parts += heading(words)
            parts += [indented(harmless(str(edit))) for edit in edits[:_MOST_SAID]]
        if len(edits) > _MOST_SAID:
            parts.append(indented(f"and {len(edits) - _MOST_SAID} more: --json lists them all."))
    if any(edit.kind == "formula overwritten" for edit in found.edits):
        parts.append(indented("A formula that was replaced no longer follows the inputs: check what depends on it."))
    return Group(*parts)


@dataclass(frozen=True)
class _Area:
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
class _ReturnedBook:
    """A workbook that was read, and its named areas."""

    file: str
    book: WorkbookFile
    names: dict[str, _Area]

    @classmethod
    def of(cls, path: Path) -> _ReturnedBook:
        """Read a file behind the guard that every workbook from outside passes."""
        try:
            return cls._of(path)
        except InputError as error:
            raise error.within(file=str(path)) from None

    @classmethod
    def _of(cls, path: Path) -> _ReturnedBook:
        from basemap.tables.guard import MOST_BYTES
        from basemap.tables.plain_file import bytes_at_most
        from basemap.tables.workbook import damaged_name, guarded

        try:
            data = bytes_at_most(path, MOST_BYTES)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror or error}") from None
        book = guarded(data)
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
        """What was typed into a cell: a number or text, or a formula with its equals sign."""
        formula = self._formula(at)
        return self._value(at) if formula is None else formula

    def shown(self, at: Address) -> Content:
        """What a cell shows: for a formula the value saved with it, or the formula where there is none."""
        value = self._value(at)
        return self._formula(at) if value is None else value

    def is_formula(self, at: Address) -> bool:
        """Whether a cell holds a formula."""
        return self._formula(at) is not None

    def _formula(self, at: Address) -> str | None:
        sheet = self.book.sheets.get(at[0])
        return sheet.formulas.get(at[1:]) if sheet else None

    def _value(self, at: Address) -> Content:
        sheet = self.book.sheets.get(at[0])
        cell = sheet.cells.get(at[1:]) if sheet else None
        return None if cell is None else _plain(cell.value)


def _plain(value: object) -> Content:
    """A number or text; a whole number that no workbook can hold is said as text."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float) and abs(value) <= sys.float_info.max:
        return float(value)
    return str(value)


def _named_areas(book: WorkbookFile) -> Iterator[tuple[str, _Area]]:
    """Names as ours are; one that a tuner added, for whatever it may stand, is none."""
    for name in book.names:
        named = book.named(name) if is_readable(name) else None
        if named is None:
            continue
        (row, col), (last_row, last_col) = named.first, named.last
        rows, cols = last_row - row + 1, last_col - col + 1
        if rows * cols <= _MOST_CELLS:
            yield name, _Area(named.sheet, row, col, rows, cols)


def _edits_of(name: str, before: _ReturnedBook, after: _ReturnedBook, seen: set[Address]) -> Iterator[Edit]:
    """Edits within one named area; every cell is told once, under the first name that it has."""
    old, new = before.names[name], after.names.get(name)
    if new is None or (old.rows, old.cols) != (new.rows, new.cols):
        what = "has no cell" if new is None else f"has {new.rows} × {new.cols} cells"
        raise InputError(
            f"{what} named {name}, where {before.file} has {old.rows} × {old.cols}: it is of another job, or its names "
            "were changed; expected the issued workbook as it came back",
            file=after.file,
        )
    for was, now in zip(old.cells(), new.cells(), strict=True):
        if was in seen:
            continue
        seen.add(was)
        edit = _edit(name, before, after, was, now)
        if edit is not None:
            yield edit


def _edit(name: str, before: _ReturnedBook, after: _ReturnedBook, was: Address, now: Address) -> Edit | None:
    if before.is_formula(was):
        if after.is_formula(now):
            return None
        kind: Kind = "formula overwritten"
    else:
        if _same(before.content(was), after.shown(now)):
            return None
        if name in _REMARKS:
            return Edit("remark", _remarked(before, name, was), _address(now), before.shown(was), after.shown(now))
        kind = "input" if before.names[name].rows * before.names[name].cols == 1 else "table cell"
    return Edit(kind, _TABLES.get(name, name), _place(before, name, was, now), before.shown(was), after.shown(now))


def _remarked(before: _ReturnedBook, name: str, was: Address) -> str:
    """What a remark is about: the input in whose row it stands, or the whole."""
    label = before.shown((was[0], was[1], 1)) if name == "input_remarks" else None
    return str(label) if label is not None else "remark"


def _place(before: _ReturnedBook, name: str, was: Address, now: Address) -> str:
    """Address in the returned workbook, and for a table of fuel or lambda its speed and load."""
    area = before.names[name]
    address = _address(now)
    if not (name.endswith("_table") or name.startswith("ratio_")):
        return address
    speed, load = before.shown((was[0], area.row - 1, was[2])), before.shown((was[0], was[1], area.col - 1))
    unit = before.shown((was[0], area.row - 1, area.col - 1))
    return f"{_said(speed)} rpm, {_said(load)} {unit}; {address}"


def _replaced(before: _ReturnedBook, after: _ReturnedBook, seen: set[Address]) -> Iterator[Edit]:
    """Formulas without a name of their own that somebody replaced, on sheets of the same title."""
    for sheet in before.book.sheets.values():
        if sheet.title not in after.book.sheets:
            continue
        for row, col in sorted(sheet.formulas):
            at = (sheet.title, row, col)
            if at not in seen and not after.is_formula(at):
                yield Edit("formula overwritten", sheet.title, _address(at), before.shown(at), after.shown(at))


def _address(at: Address) -> str:
    from basemap.tables.cells import column_letters

    sheet = f"'{at[0]}'" if " " in at[0] or "," in at[0] else at[0]
    return f"{sheet}!{column_letters(at[2])}{at[1]}"


def _same(before: Content, after: Content) -> bool:
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= _SAME * max(abs(before), abs(after))
    return before == after


def _said(content: Content) -> str:
    if content is None:
        return "an empty cell"
    return f"{content:.10g}" if isinstance(content, float) else f"“{content}”"
