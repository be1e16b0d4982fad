"""The text of a log: its separator, decimal mark, headers, units and columns, before their meaning is known."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from io import StringIO
from pathlib import Path

import numpy as np

from basemap.errors import InputError
from basemap.logs.channels import CHANNELS, plain_unit
from basemap.model.installation import FloatArray
from basemap.tables.plain_file import MIB, content_of

MOST_BYTES = 200 * MIB
SUFFIXES = (".csv", ".tsv", ".txt")
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")
_CLOCK = re.compile(r"[0-9]{1,3}(:[0-9]{1,2}){1,2}([.,][0-9]+)?")
_UNIT_IN_HEADER = re.compile(r"(?P<name>.*?)\s*[\[(](?P<unit>[^\[\]()]*)[\])]\s*$")
_UNIT_BEHIND = re.compile(
    r"(?P<name>.*[^\W_].*?)[ _,/]+(?P<unit>kpa[ag]?|hpa|mbar|bar[ag]?|psi[ag]?|inhg|mv|v|"
    r"degc|degf|°c|°f|ms|us|s|rpm|percent|pct|%)\s*$",
    re.IGNORECASE,
)
"""A unit as the last word of a header, such as battery_v."""
_LOOKED_AT = 400
"""Lines that show what the separator and the decimal mark are."""
_KNOWN_UNITS = {unit for channel in CHANNELS.values() for unit in channel.units} | {"%", "deg", "km/h", "g", "n", "mm"}


@dataclass(frozen=True)
class LogText:
    """A log as text.

    Parameters
    ----------
    file, sha256
        The file as the user names it, and the hash of its bytes.
    headers, units
        One per column; empty if there is none. A header's unit is taken out of it.
    written
        The headers as the file has them.
    columns
        The cells of each column, stripped; blank where a channel is logged more slowly.
    decimal
        The decimal mark.
    first_line
        Number of the line that has the first row of numbers, from 1.
    left_out
        How many lines have more cells than there are columns.
    """

    file: str
    sha256: str
    headers: tuple[str, ...]
    written: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[list[str], ...]
    decimal: str
    first_line: int
    left_out: int = 0

    @cached_property
    def numbers(self) -> tuple[FloatArray, ...]:
        """The columns as numbers; NaN for a cell that is blank or not a number."""
        return tuple(to_numbers(cells, self.decimal) for cells in self.columns)

    def named(self, index: int) -> str:
        """A column as messages name it."""
        header = self.headers[index]
        return f'column {index + 1} "{header}"' if header else f"column {index + 1}"


def read_sheet(path: Path) -> LogText:
    """Read a log as text.

    Raises
    ------
    InputError
        If the file cannot be read, is not text, or has no columns of numbers.
    """
    file = str(path)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError("expected a log as .csv, .tsv or .txt text: export it as one", file=file)
    try:
        data = content_of(path, MOST_BYTES, "a log of a drive", "export a shorter part of it")
        return _sheet(file, hashlib.sha256(data).hexdigest(), _decoded(data))
    except InputError as error:
        raise error.within(file=file) from None


def _decoded(data: bytes) -> str:
    codec = next((codec for bom, codec in _BOMS if data.startswith(bom)), "utf-8")
    try:
        text = data.decode(codec)
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")
    if not text.strip():
        raise InputError("is empty: expected a log of a drive")
    if "\x00" in text:
        raise InputError("is not text: export the log as comma-separated text")
    return text


def _sheet(file: str, sha256: str, text: str) -> LogText:
    lines = text.splitlines()
    separator = _separator(lines)
    head = [_cells(line, separator) for line in lines[:_LOOKED_AT]]
    width = max(Counter(len(cells) for cells in head if len(cells) > 1).items(), key=lambda one: (one[1], one[0]))[0]
    first = next((row for row, cells in enumerate(head) if len(cells) == width and _is_row(cells)), None)
    if first is None:
        raise InputError("has no rows of numbers: expected a header and then one row per moment")
    above = [cells for cells in head[:first] if len(cells) == width]
    written, headers, units = _headers(above, width)
    body = [line for line in lines[first:] if line.strip()]
    columns, left_out = _columns(body, separator, width)
    return LogText(file, sha256, headers, written, units, columns, _decimal(columns, separator), first + 1, left_out)


def _separator(lines: list[str]) -> str:
    """The first of tab, semicolon, bar, comma and blank that occurs equally often in nearly every line."""
    tried = [line for line in lines[:_LOOKED_AT] if line.strip()][-200:]
    for separator in ("\t", ";", "|", ","):
        counts = Counter(line.count(separator) for line in tried)
        often, lines_with = max(counts.items(), key=lambda one: one[1])
        if often >= 2 and lines_with >= 0.8 * len(tried):
            return separator
    if sum(len(line.split()) >= 3 for line in tried) >= 0.8 * len(tried):
        return " "
    raise InputError(
        "no columns were found: expected one row per moment, with cells separated by commas, semicolons, tabs or spaces"
    )


def _cells(line: str, separator: str) -> list[str]:
    cells = line.split() if separator == " " else line.split(separator)
    return [cell.strip().strip('"').strip() for cell in cells]


def is_number(text: str) -> bool:
    """Whether a text is one number, with either decimal mark."""
    return _NUMBER.fullmatch(text) is not None


def is_clock(text: str) -> bool:
    """Whether a text is a time of day or a duration such as 0:12:03.5."""
    return _CLOCK.fullmatch(text) is not None


def to_numbers(cells: list[str], decimal: str) -> FloatArray:
    """Cells as numbers; NaN for a cell that is blank or not a number."""
    import pandas as pd

    series = pd.Series(cells, dtype=object)
    if decimal == ",":
        series = series.str.replace(",", ".", regex=False)
    return np.asarray(pd.to_numeric(series, errors="coerce"), dtype=np.float64)


def _is_row(cells: list[str]) -> bool:
    full = [cell for cell in cells if cell]
    return len(full) >= 2 and sum(is_number(cell) or is_clock(cell) for cell in full) >= max(2, 0.6 * len(full))


def _headers(above: list[list[str]], width: int) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Headers as written, headers without units, and the units, from the headers or from a row below them."""
    if not above:
        return (("",) * width,) * 3
    units: list[str] = []
    if len(above) >= 2 and _are_units(above[-1]):
        units = above.pop()
    found = [_UNIT_IN_HEADER.fullmatch(cell) or (None if units else _UNIT_BEHIND.fullmatch(cell)) for cell in above[-1]]
    headers = [match["name"] if match else cell for match, cell in zip(found, above[-1], strict=True)]
    inside = [match["unit"].strip() if match else "" for match in found]
    return tuple(above[-1]), tuple(headers), tuple(units or inside)


def _are_units(cells: list[str]) -> bool:
    full = [plain_unit(cell) for cell in cells if cell]
    return len(full) >= 2 and sum(cell in _KNOWN_UNITS for cell in full) >= 0.6 * len(full)


def _columns(body: list[str], separator: str, width: int) -> tuple[tuple[list[str], ...], int]:
    import pandas as pd

    try:
        frame = pd.read_csv(
            StringIO("\n".join(body)),
            sep=r"\s+" if separator == " " else separator,
            header=None,
            names=list(range(width)),
            index_col=False,
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            on_bad_lines="skip",
            engine="c",
        )
    except (ValueError, pd.errors.ParserError) as error:
        raise InputError(f"cannot be split into columns: {error}") from None
    columns = tuple([str(cell).strip() for cell in frame[index].tolist()] for index in range(width))
    return columns, len(body) - len(frame)


def _decimal(columns: tuple[list[str], ...], separator: str) -> str:
    """The decimal mark of the whole file."""
    if separator == ",":
        return "."
    numbers = [cell for column in columns for cell in column[:_LOOKED_AT] if is_number(cell)]
    comma, point = next((c for c in numbers if "," in c), None), next((c for c in numbers if "." in c), None)
    if comma and point:
        raise InputError(f"holds {comma} and {point}: use the same decimal mark in the whole file")
    return "," if comma else "."
