"""The shape of a file, which is kept so that a grid can be written back in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import accumulate

from basemap.tables.cells import Area, Cells
from basemap.tables.grid import AxisLayout, CellStyle, GridLayout, Rows, TextForm, axis_text
from basemap.tables.inert import one_line
from basemap.tables.text import TextSheet
from basemap.tables.values import Values

RawRows = list[list[str]]


def text_layout(sheet: TextSheet, area: Area, values: Values, rows: Rows, extension: str) -> GridLayout:
    """The layout of a text file: everything but its values, verbatim."""
    raw = [sheet.raw[row - 1] for row in area.rows]
    raw, style = _styled(raw, area, values, sheet.separator)
    header = sheet.raw[area.header_row - 1]
    axis, last, glue = area.axis_column - 1, area.columns[-1], sheet.separator
    return GridLayout(
        kind="text",
        separator=glue,
        rows=rows,
        row_axis=AxisLayout(tuple(values.row_axis.values), tuple(fields[axis] for fields in raw), values.row_axis.unit),
        column_axis=AxisLayout(
            tuple(values.column_axis.values), tuple(header[axis + 1 : last]), values.column_axis.unit
        ),
        header=sheet.lines[area.header_row - 1],
        corner=glue.join(header[: axis + 1]),
        left=tuple("".join(field + glue for field in fields[:axis]) for fields in raw),
        right=tuple("".join(glue + field for field in fields[last:]) for fields in raw),
        style=style,
        form=_form(sheet, area, extension),
    )


def _form(sheet: TextSheet, area: Area, extension: str) -> TextForm:
    ends_with_newline = sheet.lines[-1] == ""
    lines = sheet.lines[:-1] if ends_with_newline else sheet.lines
    comments = comment_rows(area)
    return TextForm(
        extension=extension,
        codec=sheet.decoded.codec,
        bom=sheet.decoded.bom,
        newline=sheet.newline,
        ends_with_newline=ends_with_newline,
        above=tuple(lines[: area.header_row - 1]),
        below=tuple(lines[area.rows[-1] :]),
        between=tuple((row - area.header_row - count, lines[row - 1]) for count, row in enumerate(comments)),
    )


def comment_rows(area: Area) -> list[int]:
    """Rows inside a table that are comments."""
    return sorted(set(range(area.header_row + 1, area.rows[-1])) - set(area.rows))


def _styled(raw: RawRows, area: Area, values: Values, separator: str) -> tuple[RawRows, CellStyle]:
    """The fields, and the style that reproduces all of them; the plain style where none does.

    Between blanks, padding may belong to the field before it or to the one after it, so both are tried.
    """
    plain = CellStyle(values.decimal_mark, values.decimals, values.fixed_decimals, separator)
    for fields in (raw, [_blanks_trailing(row) for row in raw]) if separator == " " else (raw,):
        body = [row[area.axis_column : area.columns[-1]] for row in fields]
        quoted = all(cell.strip().startswith('"') for row in body for cell in row)
        for style in _candidates(replace(plain, quoted=quoted), body, separator):
            if all(cell == _as(style, cell, column) for row in body for column, cell in enumerate(row)):
                return fields, style
    return raw, plain


def _candidates(plain: CellStyle, body: RawRows, separator: str) -> Iterator[CellStyle]:
    yield plain
    if separator != " ":
        yield replace(plain, glue=separator + " ")
    widths = tuple(max(map(len, column)) for column in zip(*body, strict=True))
    yield replace(plain, align="right", widths=widths)
    yield replace(plain, align="left", widths=widths)
    yield replace(plain, align="left", widths=(*widths[:-1], 0))


def _as(style: CellStyle, cell: str, column: int) -> str:
    """A cell's own text, padded as the style would pad it."""
    text = cell.strip()
    if style.align == "none":
        return style.glue[1:] + text
    return text.rjust(style.widths[column]) if style.align == "right" else text.ljust(style.widths[column])


def _blanks_trailing(fields: list[str]) -> list[str]:
    """Fields between blanks, split so that padding follows a field instead of preceding it."""
    line = " ".join(fields)
    ends = [end - 1 for end in accumulate(len(field) + 1 for field in fields)]
    starts = [0, *(end - len(field.lstrip()) for field, end in zip(fields[1:], ends[1:], strict=True))]
    return [line[start : end - 1] for start, end in zip(starts, [*starts[1:], len(line) + 1], strict=True)]


def sheet_layout(cells: Cells, area: Area, values: Values, rows: Rows) -> GridLayout:
    """The layout of a workbook's table as text: only the grid, with a separator that its decimal mark allows."""
    separator = ";" if values.decimal_mark == "," else ","
    row_axis, column_axis = (
        AxisLayout(
            tuple(axis.values),
            tuple(axis_text(value, values.decimal_mark) + axis.unit for value in axis.values),
            axis.unit,
        )
        for axis in (values.row_axis, values.column_axis)
    )
    corner = one_line(cells.text_at(area.corner))
    if separator in corner or '"' in corner:
        corner = '"' + corner.replace('"', '""') + '"'
    return GridLayout(
        kind="xlsx",
        separator=separator,
        rows=rows,
        row_axis=row_axis,
        column_axis=column_axis,
        header=separator.join((corner, *column_axis.texts)),
        corner=corner,
        left=("",) * len(area.rows),
        right=("",) * len(area.rows),
        style=CellStyle(values.decimal_mark, values.decimals, glue=separator),
        form=TextForm(),
    )
