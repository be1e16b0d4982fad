"""Reads text files: from bytes to lines, from lines to fields."""

from __future__ import annotations

import re
from itertools import islice
from typing import NamedTuple

from basemap.errors import InputError
from basemap.tables.cells import Cell, Cells, Place
from basemap.tables.find import EXPECTED_TABLE
from basemap.tables.numbers import is_number_like

MOST_CELLS = 250_000
LONGEST_LINE = 100_000
MOST_LINES = 100_000

_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_NEWLINE = re.compile("\r\n|\n|\r")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")
_COMMENT = re.compile(r"\s*#(?!N/A|REF!|DIV/0!|VALUE!|NAME\?|NUM!|NULL!|#*[,;\t])")
_SEPARATOR_LINE = re.compile(r"sep=(?P<separator>[,;\t])", re.IGNORECASE)
_STRICT_NUMBER = re.compile(r'"?[+\-\u2212]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?"?')
_NUMBERS_BETWEEN_BLANKS = re.compile(r"[0-9] +[+\-\u2212]?[0-9](?!/min)")
_LINES_TRIED = 100


class Decoded(NamedTuple):
    """The text of a file, and its encoding."""

    text: str
    codec: str
    bom: bytes
    remarks: tuple[str, ...]


class TextSheet(NamedTuple):
    """A text file split into fields.

    Parameters
    ----------
    lines
        The lines without their ends.
    raw
        The fields of each line, verbatim: joined with the separator they are the line.
    cells
        The content of the fields, without quotation marks and blanks around it.
    """

    lines: list[str]
    raw: list[list[str]]
    cells: Cells
    separator: str
    newline: str
    decoded: Decoded


def read_text(data: bytes) -> TextSheet:
    """Split a text file into fields, which stay text.

    Raises
    ------
    InputError
        If the file is empty, is not text, is too large, or has no rows of numbers.
    """
    decoded = decode(data)
    # Counted first: to take millions of lines apart takes seconds.
    many = max(map(decoded.text.count, "\n\r")) >= MOST_LINES
    lines = [] if many else _NEWLINE.split(decoded.text)
    if many or len(lines) > MOST_LINES:
        raise InputError(f"the file has more than {MOST_LINES} lines, far more than a table: expected only the table")
    _refuse_long(lines)
    separator = find_separator(lines)
    if sum(len(line.split(None if separator == " " else separator)) for line in lines) > MOST_CELLS:
        raise InputError(f"the file has more than {MOST_CELLS} cells, far more than a table: expected only the table")
    raw = [split_line(line, separator) for line in lines]
    if separator == " ":
        _add_missing_corner(lines, raw)
    comments = {row: line for row, line in enumerate(lines, start=1) if is_comment(line)}
    at: dict[Place, Cell] = {
        (row, column): text
        for row, fields in enumerate(raw, start=1)
        if row not in comments
        for column, field in enumerate(fields, start=1)
        if (text := unquoted(field))
    }
    newline = next((end for end in ("\r\n", "\n", "\r") if end in decoded.text), "\n")
    return TextSheet(lines, raw, Cells(at, None, comments), separator, newline, decoded)


def decode(data: bytes) -> Decoded:
    """The text of some bytes: by their byte order mark, else as UTF-8, else as Windows-1252 with a remark."""
    bom, codec = next(((bom, codec) for bom, codec in _BOMS if data.startswith(bom)), (b"", "utf-8"))
    remarks: tuple[str, ...] = ()
    try:
        text = data[len(bom) :].decode(codec)
    except UnicodeDecodeError:
        if bom:
            raise InputError(f"the file begins as {codec.upper()} but is not: save it again as UTF-8 text") from None
        codec, remarks = "latin-1", ("the file is not UTF-8: its text was read as Windows-1252",)
        try:
            text = data.decode("cp1252")
            codec = "cp1252"
        except UnicodeDecodeError:
            text = data.decode("latin-1")
    if not text.strip():
        raise InputError("the file is empty: expected a table of numbers")
    if _CONTROL.search(text):
        raise InputError(
            "the file is not text (it contains control characters): expected .csv, .tsv or .txt text, or an .xlsx "
            "workbook"
        )
    return Decoded(text, codec, bom, remarks)


def is_comment(line: str) -> bool:
    """Whether a line is a comment; the signs of a spreadsheet for an error or a narrow column are not."""
    return _COMMENT.match(line) is not None


def find_separator(lines: list[str]) -> str:
    """The first separator that splits at least two lines into two numbers or more.

    They are tried in the order tab, semicolon, comma, blank, since a comma may be the decimal mark beside the others.
    """
    said = _SEPARATOR_LINE.fullmatch(lines[0].strip())
    if said:
        return said["separator"]
    tried = list(islice((line for line in lines if line.strip() and not is_comment(line)), _LINES_TRIED))
    for separator in ("\t", ";", ",", " "):
        rows = (line for line in tried if _is_row(line, separator))
        if next(rows, None) is not None and next(rows, None) is not None:
            return separator
    raise InputError(f"no table was found: {EXPECTED_TABLE}, separated by commas, semicolons, tabs or spaces")


def split_line(line: str, separator: str) -> list[str]:
    """The fields of a line, verbatim with quotation marks and blanks."""
    if separator == " ":
        return _split_blanks(line)
    if '"' not in line:
        return line.split(separator)
    quoted = re.compile(rf' *"(?>(?:[^"]|"")*)" *(?={re.escape(separator)}|$)')
    fields, position = [], 0
    while True:
        match = quoted.match(line, position)
        end = match.end() if match else line.find(separator, position)
        if end < 0 or end >= len(line):
            fields.append(line[position:])
            return fields
        fields.append(line[position:end])
        position = end + 1


def unquoted(field: str) -> str:
    """The content of a field without its quotation marks and the blanks around it."""
    text = field.strip()
    if len(text) >= 2 and text[0] == text[-1] == '"':
        return text[1:-1].replace('""', '"').strip()
    return text


def _fields(line: str, separator: str) -> list[str]:
    return [unquoted(field) for field in split_line(line, separator)]


def _is_row(line: str, separator: str) -> bool:
    """Whether a separator gives two numbers in a line; a comma does not, where blanks separate the numbers."""
    if separator not in line.strip():
        return False
    fields = _fields(line, separator)
    if separator == "," and any(map(_NUMBERS_BETWEEN_BLANKS.search, fields)):
        return False
    return sum(map(_grouped_or_strict if separator in "\t;" else _strict, fields)) >= 2


def _strict(text: str) -> bool:
    return _STRICT_NUMBER.fullmatch(text) is not None


def _grouped_or_strict(text: str) -> bool:
    return _strict(text) or is_number_like(text)


def _split_blanks(line: str) -> list[str]:
    """Fields between runs of blanks; all text before the first number is one field, such as a label of two words."""
    tokens = list(re.finditer("[^ ]+", line))
    if not tokens:
        return [line]
    label = next((index for index, token in enumerate(tokens) if is_number_like(token.group())), len(tokens))
    ends = [token.end() for token in tokens[max(label - 1, 0) :]]
    ends[-1] = len(line)
    starts = [0, *(end + 1 for end in ends[:-1])]
    return [line[start:end] for start, end in zip(starts, ends, strict=True)]


def _add_missing_corner(lines: list[str], raw: list[list[str]]) -> None:
    """Give the header row an empty first field, since an empty corner is invisible between blanks."""
    rows = [
        index
        for index, fields in enumerate(raw)
        if not is_comment(lines[index]) and sum(is_number_like(field.strip()) for field in fields) >= 2
    ]
    if len(rows) >= 2:
        header, first = raw[rows[0]], raw[rows[1]]
        if is_number_like(header[0].strip()) and len(header) + 1 == len(first):
            header.insert(0, "")


def _refuse_long(lines: list[str]) -> None:
    for row, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"the line has {len(line)} characters: expected a table, with lines of at most {LONGEST_LINE}",
                place=f"row {row}",
            )
