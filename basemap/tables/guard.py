"""Refuses a workbook file that no XML reader should see; its sizes are counted, not taken from the file."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from xml.parsers import expat

from basemap.errors import InputError
from basemap.tables.plain_file import MIB

MOST_BYTES = 20 * MIB
MOST_UNPACKED = 64 * MIB
MOST_PARTS = 400
MOST_CELLS_AND_ROWS = 60_000
"""Reading takes about twenty microseconds for each, and longer with formulas."""
MOST_OF_OUR_OWN = 300_000
"""The same for a workbook that this program wrote; with the largest tables it writes 225,000."""
MOST_SHEETS = 200
"""A workbook of this program has about thirty."""
MOST_MERGED_CELLS = 50_000
MOST_TAGS = 1_600_000
"""Opening and closing tags of all parts."""
MOST_OTHER_TAGS = 60_000
"""Opening tags other than those of cells and numbers: texts, styles, names, rules. Each becomes an object."""
MOST_NAMED_STYLES = 4_000
"""The time to read them grows with the square of their number."""
MOST_NAME_BYTES = 4 * MIB
"""How much of the part that names the sheets is read before the guard."""
MOST_RANGE_BYTES = 200_000
"""Bytes of the lists of ranges in rules for formats and for input."""
ZIP_MAGIC = b"PK\x03\x04"
_PART_MAGIC = b"PK\x01\x02"
_COMPRESSED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
OLE2_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

_CHUNK = 64 * 1024
_PREFIX = rb"<(?:[^\s<>/:]+:)?"  # any letters, since a namespace may be called é
_CELL_OR_ROW = re.compile(_PREFIX + rb"(?:c|row)[\s/>]")
_CHEAP = re.compile(_PREFIX + rb"(?:c|row|v|f|is)[\s/>]")
_NAMED_STYLE = re.compile(_PREFIX + rb"cellStyle[\s/>]")
_SHEET = re.compile(_PREFIX + rb"sheet\s")
# Up to the next tag: an attribute may contain > but not <.
_MERGED = re.compile(_PREFIX + rb"mergeCell\s[^<]*")
_LINK = re.compile(_PREFIX + rb"hyperlink\s[^<]*")
_RANGES = re.compile(rb"""\bsqref\s*=\s*(?:"[^"]*"|'[^']*')""")
_SIGN = rb"(?:&[^;\"'<]*;|[^&\"'<\x80-\xbf][\x80-\xbf]*)"  # one character, written as an entity or not
_LONG_FORMAT = re.compile(rb"""\bformatCode\s*=\s*(?:"(?:'|%b){256}|'(?:\"|%b){256})""" % (_SIGN, _SIGN))
_REFERENCE = re.compile(rb"""\bref\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_RANGE = re.compile(rb"\$?([A-Z]{1,3})\$?([0-9]{1,7})(?::\$?([A-Z]{1,3})\$?([0-9]{1,7}))?")
_ENCODING = re.compile(rb"""[\xef\xbb\xbf\s]*<\?xml[^>]*\bencoding\s*=\s*["']([^"']*)""")
_TOO_MUCH = (
    "the workbook contains far more than a table (cells, strings, styles, names or rules): copy the table into a new "
    "one"
)
_AGAIN = "open it in a spreadsheet program and save it again as .xlsx"


@dataclass
class _Counts:
    unpacked: int = 0
    cells_and_rows: int = 0
    sheets: int = 0
    named_styles: int = 0
    merged: int = 0
    tags: int = 0
    other_tags: int = 0
    range_bytes: int = 0


_DAMAGE = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError,
    OverflowError,
)  # fmt: skip
"""The exceptions of the standard library for damaged or encrypted archives."""


def guard(data: bytes, most_cells: int = MOST_CELLS_AND_ROWS) -> None:
    """Let a workbook pass, or refuse it.

    Raises
    ------
    InputError
        If it is not an .xlsx workbook, is damaged, declares a document type, or is too large in any count.
    """
    refuse_wrong_magic(data)
    if len(data) > MOST_BYTES:
        raise InputError(f"the workbook is larger than {MOST_BYTES // MIB} MiB: expected a sheet with only a table")
    _refuse_many_parts(data.count(_PART_MAGIC))  # before they are listed
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _guard_archive(archive, most_cells)
    except _DAMAGE:
        raise InputError(f"the workbook is damaged or encrypted and cannot be unpacked: {_AGAIN}") from None


def names_of(data: bytes) -> set[str]:
    """The names that a workbook defines for all its sheets, as far as they can be read before the guard."""
    names: set[str] = set()

    def started(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(" ")[2] == "definedName" and "localSheetId" not in attributes:
            names.add(attributes.get("name", ""))

    def refused(*_: object) -> None:
        raise ValueError("a document type")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = started
    parser.StartDoctypeDeclHandler = refused
    if data.count(_PART_MAGIC) > MOST_PARTS:
        return set()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            part = archive.getinfo("xl/workbook.xml")
            if part.compress_type not in _COMPRESSED:
                return set()
            with archive.open(part) as stream:
                parser.Parse(stream.read(MOST_NAME_BYTES), False)
    except (*_DAMAGE, KeyError, expat.ExpatError):
        return set()
    return names


def refuse_wrong_magic(data: bytes) -> None:
    """Refuse a file that does not begin as a zip archive, with a guess at what it is."""
    if data.startswith(ZIP_MAGIC):
        return
    if data.startswith(OLE2_MAGIC):
        raise InputError(
            "the file is an old .xls workbook or an encrypted one: open it in a spreadsheet program and save it "
            "as .xlsx without a password"
        )
    if not data:
        raise InputError("the file is empty: expected an .xlsx workbook")
    raise InputError("the file is named .xlsx but is not a workbook: if it is text, name it .csv, .tsv or .txt")


def _guard_archive(archive: zipfile.ZipFile, most_cells: int) -> None:
    parts = archive.infolist()
    _refuse_many_parts(len(parts))
    names = {part.filename for part in parts}
    if "[Content_Types].xml" not in names or not any(name.lower().endswith("workbook.xml") for name in names):
        raise InputError("the file is a zip archive but not an .xlsx workbook: save the table as .xlsx or .csv")
    for part in parts:
        if part.compress_type not in _COMPRESSED:
            raise InputError(
                f"the part {part.filename} of the workbook is compressed or encrypted in a way that no spreadsheet "
                f"program uses (expected deflate): {_AGAIN}"
            )
    counts = _Counts()
    for part in parts:
        content = _unpacked(archive, part, counts)
        if _is_xml(content):
            _refuse_foreign(content, part.filename)
            _count(content, counts)
            _refuse_many(counts, most_cells)


def _refuse_many_parts(count: int) -> None:
    if count > MOST_PARTS:
        raise InputError(f"the workbook has {count} parts: expected at most {MOST_PARTS}")


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
    """Whether a part is XML, by its first character; UTF-16 counts too, so that it cannot hide from the patterns."""
    return content.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n").startswith(b"<")


def _refuse_foreign(content: bytes, name: str) -> None:
    """Refuse a part that could hide something from the patterns, or overload them."""
    declared = _ENCODING.match(content)
    if b"\x00" in content or (declared and declared[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        raise InputError(f"the part {name} of the workbook is not UTF-8: {_AGAIN}")
    if any(_found(_LONG_FORMAT, b"formatCode", content)):  # a spreadsheet program allows 255 characters
        raise InputError(f"the part {name} of the workbook contains a number format that is pages long: {_AGAIN}")
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise InputError(f"the part {name} of the workbook declares a document type, which no table needs: {_AGAIN}")


def _count(content: bytes, counts: _Counts) -> None:
    tags = content.count(b"<")
    counts.tags += tags
    if counts.tags > MOST_TAGS:  # before any pattern is tried on it
        raise InputError(_TOO_MUCH)
    counts.other_tags += tags - content.count(b"</") - sum(1 for _ in _CHEAP.finditer(content))
    counts.named_styles += sum(1 for _ in _found(_NAMED_STYLE, b"cellStyle", content))
    counts.range_bytes += sum(len(found.group()) for found in _found(_RANGES, b"sqref", content))
    counts.cells_and_rows += sum(1 for _ in _CELL_OR_ROW.finditer(content))
    counts.sheets += sum(1 for _ in _found(_SHEET, b"sheet", content))
    for pattern, word in ((_MERGED, b"mergeCell"), (_LINK, b"hyperlink")):
        counts.merged += sum(_cells_of(spread.group()) for spread in _found(pattern, word, content))


def _found(pattern: re.Pattern[bytes], word: bytes, content: bytes) -> Iterator[re.Match[bytes]]:
    """What matches a pattern that holds a word: where the word is not, the pattern would be tried for nothing."""
    return pattern.finditer(content) if word in content else iter(())


def _refuse_many(counts: _Counts, most_cells: int) -> None:
    if counts.cells_and_rows > most_cells:
        raise InputError(f"the workbook has more than {most_cells} cells and rows: keep only the sheet with the table")
    if counts.sheets > MOST_SHEETS:
        raise InputError(f"the workbook has more than {MOST_SHEETS} sheets: keep only the one with the table")
    if counts.merged > MOST_MERGED_CELLS:
        raise InputError(f"the workbook merges or links more than {MOST_MERGED_CELLS} cells: expected a table")
    if (
        counts.other_tags > MOST_OTHER_TAGS
        or counts.named_styles > MOST_NAMED_STYLES
        or counts.range_bytes > MOST_RANGE_BYTES
    ):
        raise InputError(_TOO_MUCH)


def _cells_of(element: bytes) -> int:
    """How many cells a merged range or a link covers; a range that cannot be read counts as too many.

    Whatever looks like a reference counts, so that one in the text of another attribute cannot hide the true one.
    """
    return max((_cells_of_range(found[1] or found[2] or b"") for found in _REFERENCE.finditer(element)), default=0)


def _cells_of_range(reference: bytes) -> int:
    ends = _RANGE.fullmatch(reference)
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
