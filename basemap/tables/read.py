"""Reads a grid from a text file, a workbook or standard input."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import IO, NamedTuple, TypeVar

import numpy as np

from basemap.errors import InputError
from basemap.tables.cells import Area, Cells
from basemap.tables.find import find_area
from basemap.tables.grid import GridFile, GridLayout, Rows
from basemap.tables.guard import MOST_BYTES, OLE2_MAGIC, ZIP_MAGIC
from basemap.tables.numbers import DecimalMark
from basemap.tables.orientation import load_unit_of, rows_are, unit_of_values
from basemap.tables.plain_file import content_of, refuse_larger
from basemap.tables.shape import comment_rows, sheet_layout, text_layout
from basemap.tables.text import TextSheet, read_text
from basemap.tables.values import Values, read_values
from basemap.tables.workbook import read_workbook

STANDARD_INPUT = "-"
Parsed = TypeVar("Parsed")
_EXPECTED = "a file with a table"
_TEXT_ENDINGS = (".csv", ".tsv", ".txt")
_ENDING_OF_SEPARATOR = {",": ".csv", ";": ".csv", "\t": ".tsv", " ": ".txt"}


class _Hints(NamedTuple):
    """What the user states about a file."""

    sheet: str | None
    cells: str | None
    rows: Rows | None
    decimal: DecimalMark | None


def read_grid(
    path: str | Path,
    *,
    shown_name: str | None = None,
    sheet: str | None = None,
    cells: str | None = None,
    rows: Rows | None = None,
    decimal: DecimalMark | None = None,
    stdin: IO[bytes] | None = None,
) -> GridFile:
    """Read a rectangular grid of numbers with its two axes.

    Parameters
    ----------
    path
        A .csv, .tsv, .txt or .xlsx file, or ``-`` for standard input.
    shown_name
        The file's name in messages and results; by default the path.
    sheet, cells
        For a workbook: the name of the sheet, and a range such as ``B3:R19`` with axes and corner.
    rows
        What the rows stand for, where the file does not show it.
    decimal
        The decimal mark, where the file does not show it.
    stdin
        Standard input.

    Raises
    ------
    InputError
        Names the file and, where possible, the cell of the first mistake.
    """
    hints = _Hints(sheet, cells, rows, decimal)
    return read_file(path, shown_name, stdin, lambda data, ending, name: _grid(data, ending, name, hints))


def read_file(
    path: str | Path, shown_name: str | None, stdin: IO[bytes] | None, parse: Callable[[bytes, str, str], Parsed]
) -> Parsed:
    """The result of `parse` for a file's bytes, ending and name; a refusal gets the name of the file."""
    name = shown_name or ("standard input" if str(path) == STANDARD_INPUT else str(path))
    try:
        return parse(*bytes_of(path, stdin), name)
    except InputError as error:
        raise error.within(file=name) from None


def ending_of(separator: str) -> str:
    """The ending of a text file with this separator."""
    return _ENDING_OF_SEPARATOR[separator]


def bytes_of(path: str | Path, stdin: IO[bytes] | None) -> tuple[bytes, str]:
    """The bytes of a file, and its ending; for standard input, the ending that its first bytes suggest."""
    if str(path) == STANDARD_INPUT:
        data = (stdin or sys.stdin.buffer).read(MOST_BYTES + 1)
        refuse_larger(data, MOST_BYTES, f"expected {_EXPECTED}")
        return data, ".xlsx" if data.startswith((ZIP_MAGIC, OLE2_MAGIC)) else ""
    ending = Path(path).suffix.lower()
    if ending not in (*_TEXT_ENDINGS, ".xlsx"):
        raise InputError("this program does not read this kind of file: expected .csv, .tsv, .txt or .xlsx")
    return content_of(path, MOST_BYTES, _EXPECTED), ending


def _grid(data: bytes, ending: str, name: str, hints: _Hints) -> GridFile:
    reader: Callable[[bytes, str, _Hints], _ReadFile] = _read_workbook if ending == ".xlsx" else _read_text
    read = reader(data, ending, hints)
    values, area = read.values, read.area
    axes = [np.array(values.row_axis.values), np.array(values.column_axis.values)]
    body = values.body
    if read.layout.rows == "rpm":
        axes, body = axes[::-1], body.T
    load, rpm = axes
    if load[0] > load[-1]:
        load, body = load[::-1], body[::-1]
    if rpm[0] > rpm[-1]:
        rpm, body = rpm[::-1], body[:, ::-1]
    return GridFile(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        rpm=np.ascontiguousarray(rpm),
        load=np.ascontiguousarray(load),
        values=np.ascontiguousarray(body),
        layout=read.layout,
        unit="%" if values.is_percent else unit_of_values(read.cells, area),
        load_unit=load_unit_of(
            read.cells, area, read.layout.rows, values.row_axis if read.layout.rows == "load" else values.column_axis
        ),
        remarks=read.remarks,
    )


class _ReadFile(NamedTuple):
    """A file that was read, text or workbook."""

    cells: Cells
    area: Area
    values: Values
    layout: GridLayout
    remarks: tuple[str, ...]


def _read_text(data: bytes, ending: str, hints: _Hints) -> _ReadFile:
    if hints.sheet is not None or hints.cells is not None:
        key = "sheet" if hints.sheet is not None else "cells"
        raise InputError(f"the file is text: {key} is for an .xlsx workbook only")
    if data.startswith((ZIP_MAGIC, OLE2_MAGIC)):
        raise InputError(f"the file is named {ending} but is a workbook: name it .xlsx")
    sheet = read_text(data)
    area, remarks = find_area(sheet.cells, "keep one table in a file")
    values = _values_of_text(sheet, area, hints)
    rows = rows_are(sheet.cells, area, values.row_axis, values.column_axis, hints.rows)
    layout = text_layout(sheet, area, values, rows, ending or ending_of(sheet.separator))
    comments = tuple(f"row {row} is a comment and was not read" for row in comment_rows(area))
    return _ReadFile(sheet.cells, area, values, layout, (*sheet.decoded.remarks, *remarks, *comments))


def _values_of_text(sheet: TextSheet, area: Area, hints: _Hints) -> Values:
    """The values; between semicolons, which go with decimal commas, 2.500 is open and a comma is written by default."""
    semicolon = sheet.separator == ";"
    values = read_values(sheet.cells, area, stated=hints.decimal, open_point=semicolon)
    return replace(values, decimal_mark=",") if semicolon and not values.mark_was_seen else values


def _read_workbook(data: bytes, _ending: str, hints: _Hints) -> _ReadFile:
    table = read_workbook(data, hints.sheet, hints.cells)
    values = read_values(table.cells, table.area, stated=hints.decimal, open_point=False)
    rows = rows_are(table.cells, table.area, values.row_axis, values.column_axis, hints.rows)
    layout = sheet_layout(table.cells, table.area, values, rows)
    return _ReadFile(table.cells, table.area, values, layout, table.remarks)
