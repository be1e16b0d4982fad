"""Reads tables with one axis, two columns or two rows of numbers, and writes them back in the same shape."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, NamedTuple

import numpy as np

from basemap.errors import InputError
from basemap.model.installation import FloatArray
from basemap.model.storage import round_half_away
from basemap.tables.cells import Cells, Number, Place
from basemap.tables.find import CellGroup, find_blocks
from basemap.tables.grid import TextForm, axis_text, needs_quotes
from basemap.tables.guard import OLE2_MAGIC, ZIP_MAGIC
from basemap.tables.inert import inert, one_line
from basemap.tables.numbers import DecimalMark, decide_mark, parse
from basemap.tables.orientation import unit_of_text
from basemap.tables.read import ending_of, read_file
from basemap.tables.text import read_text, unquoted
from basemap.tables.values import most_decimals, read_axis, read_number
from basemap.tables.workbook import read_sheet

FEWEST = 2
EXPECTED = (
    "expected two columns or two rows of numbers, the axis first, with at least two points and nothing else but labels"
)


@dataclass(frozen=True)
class LineLayout:
    """Everything that is needed to write a table with one axis back in the same shape.

    Parameters
    ----------
    fields
        The fields of every line, verbatim.
    places, points
        Line and field of each value, and of each point of the axis, counted from 0, in the file's order.
    separator, decimal_mark
        Between the fields, and before the decimals.
    decimals, fixed_decimals
        The most decimals of a value, and whether all values have that many.
    falls
        Whether the axis runs from high to low.
    form
        The form of the file.
    """

    fields: tuple[tuple[str, ...], ...]
    places: tuple[Place, ...]
    separator: str
    decimal_mark: DecimalMark
    decimals: int
    fixed_decimals: bool
    falls: bool
    form: TextForm
    points: tuple[Place, ...] = ()

    def with_axis(self, rising: FloatArray) -> LineLayout:
        """The same layout for other points; the text beside the first point is repeated beside each."""
        in_file = rising[::-1] if self.falls else rising
        texts = [axis_text(float(point), self.decimal_mark) for point in in_file]
        texts = [f'"{text}"' if needs_quotes(text, self.separator) else text for text in texts]
        (first_row, first_column), (last_row, last_column) = self.points[0], self.points[-1]
        if first_row != last_row:
            template = self.fields[first_row]
            lines = [_put(template, first_column, text) for text in texts]
            fields = (*self.fields[:first_row], *lines, *self.fields[last_row + 1 :])
            points = [(first_row + i, first_column) for i in range(len(texts))]
            places = [(first_row + i, self.places[0][1]) for i in range(len(texts))]
            return replace(self, fields=fields, points=tuple(points), places=tuple(places))
        value_row = self.places[0][0]
        rows = list(self.fields)
        blanks = [self.fields[value_row][first_column]] * len(texts)
        for row, middle in ((first_row, texts), (value_row, blanks)):
            old = self.fields[row]
            rows[row] = (*old[:first_column], *middle, *old[last_column + 1 :])
        columns = range(first_column, first_column + len(texts))
        return replace(
            self,
            fields=tuple(rows),
            points=tuple((first_row, column) for column in columns),
            places=tuple((value_row, column) for column in columns),
        )


def _put(fields: tuple[str, ...], column: int, text: str) -> tuple[str, ...]:
    return (*fields[:column], text, *fields[column + 1 :])


@dataclass(frozen=True)
class LineFile:
    """A table with one axis that was read from a file.

    Parameters
    ----------
    name, sha256
        The file as the user named it, and the hash of its bytes.
    axis, values
        The rising axis and the value at each point, in the file's own units.
    layout
        How to write it back.
    unit
        Of the values, where their label names it.
    remarks
        What the user should know.
    axis_label
        What stands above or before the axis.
    """

    name: str
    sha256: str
    axis: FloatArray
    values: FloatArray
    layout: LineLayout
    unit: str | None
    remarks: tuple[str, ...]
    axis_label: str


class _OneAxis(NamedTuple):
    """Where a table with one axis is: the places of its points and of their values."""

    axis: list[Place]
    values: list[Place]


def read_line(
    path: str | Path,
    *,
    shown_name: str | None = None,
    sheet: str | None = None,
    cells: str | None = None,
    decimal: DecimalMark | None = None,
    stdin: IO[bytes] | None = None,
) -> LineFile:
    """Read a table with one axis.

    Parameters
    ----------
    path
        A .csv, .tsv, .txt or .xlsx file, or ``-`` for standard input.
    shown_name
        The file's name in messages and results.
    sheet, cells
        For a workbook: the name of the sheet, and a range such as ``B3:C12`` with both axis and values.
    decimal
        The decimal mark, where the file does not show it.
    stdin
        Standard input.

    Raises
    ------
    InputError
        Names the file and, where possible, the cell.
    """

    def parsed(data: bytes, ending: str, name: str) -> LineFile:
        read = _from_workbook if ending == ".xlsx" else _from_text
        return replace(read(data, ending, (sheet, cells), decimal), name=name, sha256=hashlib.sha256(data).hexdigest())

    return read_file(path, shown_name, stdin, parsed)


def render_line(values: FloatArray, layout: LineLayout, decimals: int | None = None) -> bytes:
    """The file with other values; a number that stays the same keeps its text.

    Parameters
    ----------
    values
        At the points of the rising axis, rounded as the table stores them; NaN gives an empty field.
    layout
        The shape.
    decimals
        Decimals to write instead of the file's own.
    """
    in_file = values[::-1] if layout.falls else values
    if in_file.shape != (len(layout.places),) or np.isinf(in_file).any():
        raise ValueError(f"{in_file.shape} values, finite or NaN, do not fit {len(layout.places)} points")
    lines = [list(fields) for fields in layout.fields]
    for (row, column), value in zip(layout.places, in_file.tolist(), strict=True):
        lines[row][column] = _field(value, lines[row][column], layout, decimals)
    form = layout.form
    text = form.newline.join(inert(layout.separator.join(fields), layout.separator) for fields in lines)
    return form.bom + (text + (form.newline if form.ends_with_newline else "")).encode(form.codec)


def _field(value: float, before: str, layout: LineLayout, decimals: int | None) -> str:
    if decimals is None and value == _number_of(before, layout):
        return before
    places = layout.decimals if decimals is None else decimals
    text = "" if np.isnan(value) else f"{float(round_half_away(np.array(value), places)):.{places}f}"
    if not layout.fixed_decimals and decimals is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    if text and not text.strip("-0."):
        text = text.lstrip("-")
    text = text.replace(".", layout.decimal_mark)
    if not text and layout.separator == " ":
        text = "-"  # an empty field would be invisible between blanks
    if before.strip().startswith('"') or needs_quotes(text, layout.separator):
        text = f'"{text}"'
    if before != before.lstrip():
        return text.rjust(len(before))
    return text.ljust(len(before)) if before != before.rstrip() else text


def _number_of(field: str, layout: LineLayout) -> float | None:
    return parse(unquoted(field), layout.decimal_mark)


def _from_text(data: bytes, ending: str, where: tuple[str | None, str | None], decimal: DecimalMark | None) -> LineFile:
    for key, said in zip(("sheet", "cells"), where, strict=True):
        if said is not None:
            raise InputError(f"the file is text: {key} is for an .xlsx workbook only")
    if data.startswith((ZIP_MAGIC, OLE2_MAGIC)):
        raise InputError(f"the file is named {ending} but is a workbook: name it .xlsx")
    sheet = read_text(data)
    ends_with_newline = sheet.lines[-1] == ""
    raw = sheet.raw[:-1] if ends_with_newline else sheet.raw
    line = _find(sheet.cells)
    form = TextForm(
        extension=ending or ending_of(sheet.separator),
        codec=sheet.decoded.codec,
        bom=sheet.decoded.bom,
        newline=sheet.newline,
        ends_with_newline=ends_with_newline,
    )
    semicolon = sheet.separator == ";"
    found = _read(sheet.cells, line, decimal, semicolon, sheet.separator)
    layout = replace(
        found.layout,
        fields=tuple(tuple(fields) for fields in raw),
        places=tuple((row - 1, column - 1) for row, column in line.values),
        points=tuple((row - 1, column - 1) for row, column in line.axis),
        form=form,
    )
    return replace(found, layout=layout, remarks=sheet.decoded.remarks)


def _from_workbook(
    data: bytes, _ending: str, where: tuple[str | None, str | None], decimal: DecimalMark | None
) -> LineFile:
    """Read from a workbook; its table is written back as text, only the two columns or rows with their labels."""
    cells = read_sheet(data, where[0], where[1])
    line = _find(cells)
    found = _read(cells, line, decimal, False, "")
    separator = ";" if found.layout.decimal_mark == "," else ","
    down = line.axis[0][0] != line.axis[1][0]
    label = 0 if down else 1
    places = [*line.axis, *line.values]
    first = min(place[0] for place in places), min(place[1] for place in places)
    last = max(place[0] for place in places), max(place[1] for place in places)
    labels = [place for place in _label_places(line) if cells.text_at(place)]
    if labels:
        first = (first[0] - 1, first[1]) if label == 0 else (first[0], first[1] - 1)
    rows = range(first[0], last[0] + 1)
    columns = sorted({place[1] for place in places} | ({first[1]} if labels else set()))
    fields = tuple(tuple(_text(cells, (row, column), found.layout, separator) for column in columns) for row in rows)
    values, points = (
        tuple((row - first[0], columns.index(column)) for row, column in of) for of in (line.values, line.axis)
    )
    layout = replace(found.layout, fields=fields, places=values, points=points, separator=separator)
    return replace(found, layout=layout)


def _text(cells: Cells, place: Place, layout: LineLayout, separator: str) -> str:
    cell = cells.at.get(place, "")
    if isinstance(cell, Number):
        return f"{cell.value:.15g}".replace(".", layout.decimal_mark)
    text = one_line(str(cell))
    return '"' + text.replace('"', '""') + '"' if separator in text or '"' in text else text


def _read(cells: Cells, line: _OneAxis, decimal: DecimalMark | None, open_point: bool, separator: str) -> LineFile:
    mark, seen = decide_mark(cells, [*line.axis, *line.values], stated=decimal, open_point=open_point)
    mark = "," if open_point and not seen else mark
    axis = np.array(read_axis(cells, line.axis, mark).values)
    values = np.array([read_number(cells, place, mark) for place in line.values])
    decimals, fixed = most_decimals(cells, line.values, mark)
    falls = bool(axis[0] > axis[-1])
    axis_label, label = (cells.text_at(place) for place in _label_places(line))
    percent = any(isinstance(cell, Number) and cell.percent for cell in map(cells.at.get, line.values))
    layout = LineLayout((), (), separator, mark, decimals, fixed, falls, TextForm())
    if falls:
        axis, values = axis[::-1], values[::-1]
    return LineFile("", "", axis, values, layout, "%" if percent else unit_of_text(label), (), axis_label)


def _label_places(line: _OneAxis) -> list[Place]:
    """The places where the labels of the axis and of the values would be."""
    down = line.axis[0][0] != line.axis[1][0]
    step = (-1, 0) if down else (0, -1)
    return [(first[0] + step[0], first[1] + step[1]) for first in (line.axis[0], line.values[0])]


def _find(cells: Cells) -> _OneAxis:
    """The only block of two columns or two rows of numbers; refused where there are numbers elsewhere."""
    blocks = [block for block in find_blocks(cells) if block.numeric]
    if not blocks:
        raise InputError(f"no table was found: {EXPECTED}")
    if len(blocks) > 1:
        first, other = blocks[0], blocks[1]
        raise cells.error(
            min(other.numeric),
            f"there are numbers here, outside those of {cells.range_of(first.first, first.last)}: {EXPECTED}",
        )
    return _line_of(cells, blocks[0])


def _line_of(cells: Cells, block: CellGroup) -> _OneAxis:
    rows, columns = ({place[axis] for place in block.numeric} for axis in (0, 1))
    full = len(rows) * len(columns) == len(block.numeric)
    if len(rows) == len(columns) == FEWEST and full:
        return _two_by_two(cells, block)
    if len(columns) == FEWEST:
        return _columns(block)
    if len(rows) == FEWEST:
        return _rows(block)
    found = cells.range_of(block.first, block.last)
    raise cells.error(min(block.numeric), f"the numbers of {found} are not a table with one axis: {EXPECTED}")


def _columns(block: CellGroup) -> _OneAxis:
    rows = sorted({row for row, _ in block.numeric})
    first, second = sorted({column for _, column in block.numeric})
    return _OneAxis([(row, first) for row in rows], [(row, second) for row in rows])


def _rows(block: CellGroup) -> _OneAxis:
    columns = sorted({column for _, column in block.numeric})
    first, second = sorted({row for row, _ in block.numeric})
    return _OneAxis([(first, column) for column in columns], [(second, column) for column in columns])


def _two_by_two(cells: Cells, block: CellGroup) -> _OneAxis:
    """Two points, of which only labels tell whether they are in columns or in rows."""
    row, column = min(block.numeric)
    above = all(cells.text_at((row - 1, beside)) for beside in (column, column + 1))
    left = all(cells.text_at((beside, column - 1)) for beside in (row, row + 1))
    if above == left:
        raise cells.error(
            (row, column),
            "two points can be read as two columns or as two rows: write a label above each column, or before each row",
        )
    return _columns(block) if above else _rows(block)
