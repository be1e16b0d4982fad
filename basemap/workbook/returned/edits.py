"""Which inputs and cells a tuner changed in a workbook, found by the names of the cells."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from basemap.errors import InputError
from basemap.workbook.returned.book import Address, Content, ReturnedBook, address

Kind = Literal["input", "table cell", "remark", "formula overwritten"]

_SAME = 1e-12
"""Relative: spreadsheet programs keep fifteen digits when they save."""
_REMARKS = ("summary_remarks", "input_remarks")
_TABLES = {"old_table": "old table", "new_table": "new table"}


@dataclass(frozen=True)
class Edit:
    """One changed cell.

    Parameters
    ----------
    kind
        What it is: an input, a cell of an input table, a remark, or a cell whose formula somebody replaced.
    name
        The name of the cell, or of the area that it lies in; its address where it has none.
    place
        Its address in the returned workbook, in words; of a table cell also its speed and load.
    before, after
        Its content in the issued and in the returned workbook; `None` for an empty cell.
    area, row, col
        The named area, and row and column in it, from 0; empty where a cell has no name.
    at
        Its address in the returned workbook.
    """

    kind: Kind
    name: str
    place: str
    before: Content
    after: Content
    area: str = ""
    row: int = 0
    col: int = 0
    at: Address = ("", 0, 0)

    def __str__(self) -> str:
        if self.kind == "formula overwritten":
            return f"{self.name} ({self.place}): a formula was replaced, {said(self.before)} became {said(self.after)}"
        if self.kind == "remark" and self.before is None:
            return f"{self.name} ({self.place}): {said(self.after)}"
        return f"{self.name} ({self.place}): {said(self.before)} became {said(self.after)}"


@dataclass(frozen=True)
class WorkbookDifference:
    """What a tuner changed in a workbook.

    Parameters
    ----------
    issued, returned
        The two files, as named.
    edits
        In the order of the issued workbook; formulas that were replaced come last.
    books
        Both workbooks as they were read.
    """

    issued: str
    returned: str
    edits: tuple[Edit, ...]
    books: tuple[ReturnedBook, ReturnedBook] = field(repr=False, compare=False)


def compare_workbooks(issued: Path, returned: Path) -> WorkbookDifference:
    """Find the inputs and cells that differ between a workbook as issued and as returned.

    Cells are found by their names, so sheets may have been moved or renamed. A formula counts as unchanged while it is
    still a formula, since spreadsheet programs rewrite formulas when they save.

    Parameters
    ----------
    issued, returned
        Two workbooks of this program, of the same job.

    Raises
    ------
    InputError
        Where a file is refused or cannot be read, is no workbook of this program, or is of another job.
    """
    return compare_books(ReturnedBook.of(issued), ReturnedBook.of(returned))


def compare_books(before: ReturnedBook, after: ReturnedBook) -> WorkbookDifference:
    """Find the inputs and cells that differ between two workbooks that were read."""
    edits: list[Edit] = []
    seen: set[Address] = set()
    for name in before.names:
        edits += _edits_of(name, before, after, seen)
    overwritten = [*_replaced(before, after, seen)]
    inputs = [edit for edit in edits if edit.kind != "formula overwritten"]
    replaced = [edit for edit in edits if edit.kind == "formula overwritten"]
    return WorkbookDifference(before.file, after.file, (*inputs, *replaced, *overwritten), (before, after))


def _edits_of(name: str, before: ReturnedBook, after: ReturnedBook, seen: set[Address]) -> Iterator[Edit]:
    """The edits within a named area; a cell with several names counts under the first one."""
    old, new = before.names[name], after.names.get(name)
    if new is None or (old.rows, old.cols) != (new.rows, new.cols):
        what = "has no cell" if new is None else f"has {new.rows} × {new.cols} cells"
        raise InputError(
            f"{what} named {name}, but {before.file} has {old.rows} × {old.cols}: it belongs to another job, or its "
            "names were changed; expected the issued workbook as it came back",
            file=after.file,
        )
    for was, now in zip(old.cells(), new.cells(), strict=True):
        if was in seen:
            continue
        seen.add(was)
        edit = _edit(name, before, after, was, now)
        if edit is not None:
            yield edit


def _edit(name: str, before: ReturnedBook, after: ReturnedBook, was: Address, now: Address) -> Edit | None:
    area = before.names[name]
    kind: Kind = "input" if area.rows * area.cols == 1 else "table cell"
    if before.is_formula(was):
        if after.is_formula(now):
            return None
        kind = "formula overwritten"
    elif _same(before.content(was), after.shown(now)):
        return None
    called, place = _TABLES.get(name, name), _place(before, name, was, now)
    if name in _REMARKS and kind != "formula overwritten":
        kind, called, place = "remark", _remarked(before, name, was), address(now)
    within = (name, was[1] - area.row, was[2] - area.col)
    return Edit(kind, called, place, before.shown(was), after.shown(now), *within, now)


def _remarked(before: ReturnedBook, name: str, was: Address) -> str:
    """What a remark is about: the input in its row, or the whole workbook."""
    label = before.shown((was[0], was[1], 1)) if name == "input_remarks" else None
    return str(label) if label is not None else "remark"


def _place(before: ReturnedBook, name: str, was: Address, now: Address) -> str:
    """The address in the returned workbook; in a table of fuel or lambda with speed and load."""
    area = before.names[name]
    where = address(now)
    if not (name.endswith("_table") or name.startswith("ratio_")):
        return where
    speed, load = before.shown((was[0], area.row - 1, was[2])), before.shown((was[0], was[1], area.col - 1))
    unit = before.shown((was[0], area.row - 1, area.col - 1))
    return f"{said(speed)} rpm, {said(load)} {unit}; {where}"


def _replaced(before: ReturnedBook, after: ReturnedBook, seen: set[Address]) -> Iterator[Edit]:
    """Formulas without a name that were replaced, on sheets that still have their titles."""
    for sheet in before.book.sheets.values():
        if sheet.title not in after.book.sheets:
            continue
        for row, col in sorted(sheet.formulas):
            at = (sheet.title, row, col)
            if at not in seen and not after.is_formula(at):
                yield Edit("formula overwritten", sheet.title, address(at), before.shown(at), after.shown(at), at=at)


def _same(before: Content, after: Content) -> bool:
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= _SAME * max(abs(before), abs(after))
    return before == after


def said(content: Content) -> str:
    """The content of a cell, for a sentence."""
    if content is None:
        return "an empty cell"
    return f"{content:.10g}" if isinstance(content, float) else f"“{content}”"
