"""What a workbook file must satisfy before any XML reader sees it: sizes are counted, not believed."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass

from basemap.errors import InputError

MIB = 1024 * 1024
MOST_BYTES = 20 * MIB
MOST_UNPACKED = 64 * MIB
MOST_PARTS = 400
MOST_CELLS_AND_ROWS = 300_000
MOST_CELLS_OF_ALL_SHEETS = 1_500_000
"""Cells of the largest sheet times sheets: a small file may name one large sheet many times."""
MOST_MERGED_CELLS = 50_000

ZIP_MAGIC = b"PK\x03\x04"
OLE2_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

_CHUNK = 64 * 1024
_CELL_OR_ROW = re.compile(rb"<(?:[\w.-]+:)?(?:c|row)[\s/>]")
_FORMULA = re.compile(rb"<(?:[\w.-]+:)?f[\s/>]")
_SHEET = re.compile(rb"<(?:[\w.-]+:)?sheet\s")
_SPREAD = re.compile(rb"<(?:[\w.-]+:)?(?:mergeCell|hyperlink)\s[^>]*")
_REFERENCE = re.compile(rb"""\bref\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_RANGE = re.compile(rb"\$?([A-Z]{1,3})\$?([0-9]{1,7})(?::\$?([A-Z]{1,3})\$?([0-9]{1,7}))?")
_ENCODING = re.compile(rb"""<\?xml[^>]*\bencoding\s*=\s*["']([^"']*)""")
_AGAIN = "open it in a spreadsheet program and save it again as .xlsx"


@dataclass
class _Counts:
    unpacked: int = 0
    cells_and_rows: int = 0
    largest_part: int = 0
    sheets: int = 0
    merged: int = 0
    formulas: bool = False


@dataclass(frozen=True)
class Guarded:
    """What the guard saw of a workbook that it let pass: whether any part holds a formula."""

    formulas: bool


def guard(data: bytes) -> Guarded:
    """Let a workbook pass, or refuse it.

    Raises
    ------
    InputError
        If it is no .xlsx workbook, damaged, declares a document type, or is too large in any count.
    """
    refuse_wrong_magic(data)
    if len(data) > MOST_BYTES:
        raise InputError(f"the workbook is larger than {MOST_BYTES // MIB} MiB: expected a sheet with a table alone")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _guard_archive(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError):
        raise InputError(f"the workbook is damaged or encrypted and cannot be unpacked: {_AGAIN}") from None


def refuse_wrong_magic(data: bytes) -> None:
    """Refuse what does not begin as a zip archive, saying what it seems to be."""
    if data.startswith(ZIP_MAGIC):
        return
    if data.startswith(OLE2_MAGIC):
        raise InputError(
            "the file is an old .xls workbook or an encrypted one: open it in a spreadsheet program and save it "
            "as .xlsx without a password"
        )
    if not data:
        raise InputError("the file is empty: expected an .xlsx workbook")
    raise InputError("the file is named .xlsx but is no workbook: if it is text, give it the ending .csv, .tsv or .txt")


def _guard_archive(archive: zipfile.ZipFile) -> Guarded:
    parts = archive.infolist()
    if len(parts) > MOST_PARTS:
        raise InputError(f"the workbook has {len(parts)} parts: expected at most {MOST_PARTS}")
    names = {part.filename for part in parts}
    if "[Content_Types].xml" not in names or not any(name.lower().endswith("workbook.xml") for name in names):
        raise InputError("the file is a zip archive but no .xlsx workbook: save the table as .xlsx or .csv")
    counts = _Counts()
    for part in parts:
        content = _unpacked(archive, part, counts)
        if _is_xml(content):
            _inspect(content, part.filename, counts)
    if counts.largest_part * counts.sheets > MOST_CELLS_OF_ALL_SHEETS:
        raise InputError("the workbook holds too many cells: keep only the sheet with the table")
    return Guarded(counts.formulas)


def _unpacked(archive: zipfile.ZipFile, part: zipfile.ZipInfo, counts: _Counts) -> bytes:
    chunks = []
    with archive.open(part) as stream:
        while chunk := stream.read(_CHUNK):
            counts.unpacked += len(chunk)
            if counts.unpacked > MOST_UNPACKED:
                raise InputError(f"the workbook unpacks to more than {MOST_UNPACKED // MIB} MiB: expected a table")
            chunks.append(chunk)
    return b"".join(chunks)


def _is_xml(content: bytes) -> bool:
    """By its first sign; UTF-16 counts, so that it cannot hide from the patterns."""
    return content[:64].lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n").startswith(b"<")


def _inspect(content: bytes, name: str, counts: _Counts) -> None:
    declared = _ENCODING.search(content[:512])
    if b"\x00" in content or (declared and declared[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        raise InputError(f"the part {name} of the workbook is not UTF-8: {_AGAIN}")
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise InputError(f"the part {name} of the workbook declares a document type, which no table needs: {_AGAIN}")
    cells = sum(1 for _ in _CELL_OR_ROW.finditer(content))
    counts.cells_and_rows += cells
    counts.largest_part = max(counts.largest_part, cells)
    if counts.cells_and_rows > MOST_CELLS_AND_ROWS:
        raise InputError(
            f"the workbook has more than {MOST_CELLS_AND_ROWS} cells and rows: keep only the sheet with the table"
        )
    counts.sheets += sum(1 for _ in _SHEET.finditer(content))
    counts.formulas = counts.formulas or _FORMULA.search(content) is not None
    for spread in _SPREAD.finditer(content):
        counts.merged += _cells_of(spread.group())
        if counts.merged > MOST_MERGED_CELLS:
            raise InputError(f"the workbook merges or links more than {MOST_MERGED_CELLS} cells: expected a table")


def _cells_of(element: bytes) -> int:
    """Cells that a merged range or a link spreads over; a range that cannot be read counts as too many."""
    reference = _REFERENCE.search(element)
    if reference is None:
        return 0
    ends = _RANGE.fullmatch(reference[1] or reference[2] or b"")
    if ends is None:
        return MOST_MERGED_CELLS + 1
    if ends[3] is None:
        return 1
    rows = abs(int(ends[4]) - int(ends[2])) + 1
    return rows * (abs(_column(ends[3]) - _column(ends[1])) + 1)


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number
