"""Writes a grid in the shape of the file that it came from."""

from __future__ import annotations

import numpy as np

from basemap.model.installation import FloatArray
from basemap.model.storage import round_half_away
from basemap.tables.grid import CellStyle, GridLayout, needs_quotes
from basemap.tables.inert import inert


def render_grid(
    values: FloatArray, layout: GridLayout, decimals: int | None = None, *, load: FloatArray | None = None
) -> bytes:
    """The file with `values`, in the shape of the file that `layout` was read from.

    Parameters
    ----------
    values
        Shape (load, rpm), lowest load first, already rounded as the table stores them; NaN gives an empty field.
        `GridLayout.with_axes` makes a layout for other axes.
    layout
        The shape.
    decimals
        How many decimals to write, instead of the file's own.
    load
        The load of each row of `values` in the unit of the file, where the rows may be in the reverse order: the
        lowest pressure is the highest vacuum.

    Raises
    ------
    ValueError
        Where the shape or `load` does not match the layout's axes, or a value is infinite.
    """
    in_file = _in_file_order(values if load is None else _lowest_load_first(values, load, layout), layout)
    if np.isinf(in_file).any():
        raise ValueError("an infinite value cannot be written into a table")
    style = layout.style
    places = style.decimals if decimals is None else decimals
    rounded = round_half_away(in_file, places)
    lines = [layout.header]
    for left, label, row, right in zip(layout.left, layout.row_axis.texts, rounded, layout.right, strict=True):
        cells = (_padded(_cell(value, layout, places), style, column) for column, value in enumerate(row.tolist()))
        lines.append(left + label + "".join(style.glue + cell for cell in cells) + right)
    for before, comment in reversed(layout.form.between):
        lines.insert(before, comment)
    return _encoded([*layout.form.above, *lines, *layout.form.below], layout)


def _lowest_load_first(values: FloatArray, load: FloatArray, layout: GridLayout) -> FloatArray:
    axis = layout.row_axis if layout.rows == "load" else layout.column_axis
    rising = np.sort(np.array(axis.values))
    if np.array_equal(load, rising):
        return values
    if np.array_equal(load, rising[::-1]):
        return values[::-1]
    raise ValueError(f"the loads {load.tolist()} are not those of the layout, {rising.tolist()}")


def _in_file_order(values: FloatArray, layout: GridLayout) -> FloatArray:
    table = values if layout.rows == "load" else values.T
    expected = len(layout.row_axis.values), len(layout.column_axis.values)
    if table.shape != expected:
        raise ValueError(f"values of shape {table.shape} do not fit a layout of {expected} rows and columns")
    if layout.row_axis.falls:
        table = table[::-1]
    if layout.column_axis.falls:
        table = table[:, ::-1]
    return table


def _cell(value: float, layout: GridLayout, decimals: int) -> str:
    style = layout.style
    text = _written(value, style, decimals)
    if not text and layout.separator == " ":
        return "-"  # an empty field would be invisible between blanks
    if style.quoted or needs_quotes(text, layout.separator):
        return f'"{text}"'
    return text


def _written(value: float, style: CellStyle, decimals: int) -> str:
    """A number in the file's style; empty for NaN, without a sign for 0."""
    if np.isnan(value):
        return ""
    text = f"{value:.{decimals}f}"
    if not style.fixed_decimals and "." in text:
        text = text.rstrip("0").rstrip(".")
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace(".", style.decimal_mark)


def _padded(text: str, style: CellStyle, column: int) -> str:
    if style.align == "none":
        return text
    width = style.widths[column]
    return text.rjust(width) if style.align == "right" else text.ljust(width)


def _encoded(lines: list[str], layout: GridLayout) -> bytes:
    form = layout.form
    text = form.newline.join(inert(line, layout.separator) for line in lines) + (
        form.newline if form.ends_with_newline else ""
    )
    return form.bom + text.encode(form.codec)
