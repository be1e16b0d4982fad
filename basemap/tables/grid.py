"""A grid that was read, and everything that is needed to write it back in the same shape."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np

from basemap.model.installation import FloatArray
from basemap.tables.numbers import DecimalMark

Rows = Literal["load", "rpm"]
"""What the rows of a file stand for."""


@dataclass(frozen=True)
class TextForm:
    """The form of a text file.

    Parameters
    ----------
    extension
        Such as ``.csv``.
    codec, bom
        The encoding, and the byte order mark at the beginning of the file.
    newline, ends_with_newline
        What ends a line, and whether it ends the last one too.
    above, below
        Lines before and after the table, verbatim.
    between
        Comment lines inside the table, each with the number of table lines before it.
    """

    extension: str = ".csv"
    codec: str = "utf-8"
    bom: bytes = b""
    newline: str = "\n"
    ends_with_newline: bool = True
    above: tuple[str, ...] = ()
    below: tuple[str, ...] = ()
    between: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class CellStyle:
    """How a value is written.

    Parameters
    ----------
    decimal_mark, decimals
        The mark, and the most decimals of a value in the file.
    fixed_decimals
        Whether every value has that many decimals; else trailing zeros are left out.
    glue
        The separator before a cell, with a blank where the file has one.
    align, widths
        How cells are padded with blanks, and the width of each column.
    quoted
        Whether the values are in quotation marks.
    """

    decimal_mark: DecimalMark = "."
    decimals: int = 0
    fixed_decimals: bool = True
    glue: str = ","
    align: Literal["none", "right", "left"] = "none"
    widths: tuple[int, ...] = ()
    quoted: bool = False


@dataclass(frozen=True)
class AxisLayout:
    """One axis in the file's order.

    Parameters
    ----------
    values
        The numbers.
    texts
        The same verbatim, with blanks and quotation marks.
    suffix
        The unit after every number, with the blank before it.
    """

    values: tuple[float, ...]
    texts: tuple[str, ...]
    suffix: str = ""

    @property
    def falls(self) -> bool:
        """Whether the axis runs from high to low."""
        return self.values[0] > self.values[-1]


@dataclass(frozen=True)
class GridLayout:
    """Everything that is needed to write a grid back in the same shape.

    Parameters
    ----------
    kind
        ``text`` or ``xlsx``; the grid of a workbook is written as text with separators.
    separator
        Comma, semicolon, tab or blank.
    rows
        What the rows of the file stand for.
    row_axis, column_axis
        The axis that runs down and the one that runs across.
    header, corner
        The header line verbatim, and its part before the first axis value.
    left, right
        The text of each row before the axis value and after the last cell, verbatim.
    style, form
        The form of a cell and of the file.
    """

    kind: Literal["text", "xlsx"]
    separator: str
    rows: Rows
    row_axis: AxisLayout
    column_axis: AxisLayout
    header: str
    corner: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    style: CellStyle
    form: TextForm

    @property
    def decimals(self) -> int:
        """The most decimals of a value in the file."""
        return self.style.decimals

    @property
    def decimal_mark(self) -> DecimalMark:
        """The decimal mark."""
        return self.style.decimal_mark

    def with_axes(self, rpm: FloatArray, load: FloatArray) -> GridLayout:
        """The same layout for other axes, both rising; an axis that stays the same keeps its own text."""
        down, across = (load, rpm) if self.rows == "load" else (rpm, load)
        return self._with_rows(_in_file_order(down, self.row_axis))._with_columns(
            _in_file_order(across, self.column_axis)
        )

    def with_words(self, words: str, corner: str) -> GridLayout:
        """The same layout for cells of another quantity: one line of words instead of all text around the table."""
        return replace(
            self,
            header=corner + self.header.removeprefix(self.corner),
            corner=corner,
            form=replace(self.form, above=(words,), between=(), below=()),
        )

    def with_load_unit(self, was: str, now: str) -> GridLayout:
        """The same layout with another unit wherever the file names that of its load axis.

        Parameters
        ----------
        was
            The unit as the file writes it, such as ``kPa``.
        now
            Such as ``psi absolute``; between blanks, and after an axis value, only its first word is written.
        """
        word = now.split()[0]
        named = re.compile(rf"(?<![\w/]){re.escape(was)}(?: (?:absolute|abs|gauge|vacuum))?(?![\w/])")

        def said(text: str) -> str:
            return named.sub(word if self.separator == " " else now, text)

        def suffixed(axis: AxisLayout) -> AxisLayout:
            return replace(axis, suffix=axis.suffix.replace(was, word)) if axis.suffix.strip() == was else axis

        corner = said(self.corner)
        return replace(
            self,
            header=corner + self.header.removeprefix(self.corner),
            corner=corner,
            left=tuple(said(text) for text in self.left),
            row_axis=suffixed(self.row_axis),
            column_axis=suffixed(self.column_axis),
            form=replace(self.form, above=tuple(said(text) for text in self.form.above)),
        )

    def _with_rows(self, values: tuple[float, ...]) -> GridLayout:
        if values == self.row_axis.values:
            return self
        return replace(
            self,
            row_axis=self._rewritten(self.row_axis, values),
            left=_stretched(self.left, len(values)),
            right=_stretched(self.right, len(values)),
            form=replace(self.form, between=()),
        )

    def _with_columns(self, values: tuple[float, ...]) -> GridLayout:
        if values == self.column_axis.values:
            return self
        axis = self._rewritten(self.column_axis, values)
        widths = self.style.widths
        if widths and len(values) != len(widths):
            widths = (max(widths),) * len(values)
        tail = self.right[0] if len(set(self.right)) == 1 else ""
        header = self.corner + "".join(self.separator + text for text in axis.texts) + tail
        return replace(self, column_axis=axis, header=header, style=replace(self.style, widths=widths))

    def _rewritten(self, axis: AxisLayout, values: tuple[float, ...]) -> AxisLayout:
        quote = '"' if axis.texts[0].strip().startswith('"') else ""
        width = max(len(text) for text in axis.texts)
        ljust = any(text != text.rstrip() for text in axis.texts)
        padded = ljust or any(text != text.lstrip() for text in axis.texts)
        texts = []
        for value in values:
            text = f"{quote}{axis_text(value, self.decimal_mark)}{axis.suffix}{quote}"
            if not quote and needs_quotes(text, self.separator):
                text = f'"{text}"'
            texts.append(text if not padded else text.ljust(width) if ljust else text.rjust(width))
        return AxisLayout(values, tuple(texts), axis.suffix)


def axis_text(value: float, decimal_mark: DecimalMark) -> str:
    """An axis value as text, with as many decimals as it needs, at most six."""
    return np.format_float_positional(value, precision=6, trim="-").replace(".", decimal_mark)


def needs_quotes(text: str, separator: str) -> bool:
    """Whether a number contains the separator, such as a comma that is the decimal mark too."""
    return separator != " " and separator in text


def _in_file_order(rising: FloatArray, axis: AxisLayout) -> tuple[float, ...]:
    values = tuple(float(value) for value in rising)
    return values[::-1] if axis.falls else values


def _stretched(texts: tuple[str, ...], count: int) -> tuple[str, ...]:
    return texts if len(texts) == count else (texts[-1],) * count


class NamedUnit(NamedTuple):
    """The unit of the load axis, as the file names it.

    Parameters
    ----------
    unit
        As written, such as ``kPa``.
    reference
        ``absolute``, ``gauge``, or empty where the file does not say.
    address
        The address of the cell that names it.
    """

    unit: str
    reference: str
    address: str


@dataclass(frozen=True)
class GridFile:
    """A grid that was read from a file.

    Parameters
    ----------
    name
        The file as the user named it.
    sha256
        Of its bytes, hexadecimal.
    rpm, load
        The axes, both rising, in the file's own units.
    values
        Shape (load, rpm), lowest load first, in the file's own unit.
    layout
        How to write a grid back in the file's own shape.
    unit
        Unit of the values, where a title or the corner names it: ``ms``, ``us`` or ``%``.
    load_unit
        Unit of the load axis, where the file names it clearly.
    remarks
        What the user should know, such as hidden rows that were read.
    """

    name: str
    sha256: str
    rpm: FloatArray
    load: FloatArray
    values: FloatArray
    layout: GridLayout
    unit: str | None
    load_unit: NamedUnit | None
    remarks: tuple[str, ...]
