import io
import struct
import zipfile

import pytest

from basemap.errors import InputError
from basemap.tables.guard import guard, names_of
from tests.builders.cases import each
from tests.jobs.invalid_tables.build import setting, sheet_xml, with_part, workbook

DAMAGED = (
    "the workbook is damaged or encrypted and cannot be unpacked: open it in a spreadsheet program and save it again "
    "as .xlsx"
)


def message_of(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        guard(data)
    return str(caught.value)


def test_a_sound_workbook_passes_with_and_without_formulas() -> None:
    guard(workbook())
    guard(workbook(setting("C3", "=B3+1")))


def test_a_size_that_a_part_claims_is_not_believed() -> None:
    data = with_part(workbook(), "xl/large.xml", lambda _: b" " * 50_000_000)
    forged = data.replace(struct.pack("<I", 50_000_000), struct.pack("<I", 10))
    assert forged != data
    assert message_of(forged) == DAMAGED


def test_an_encrypted_part_is_refused() -> None:
    data = bytearray(workbook())
    start = data.index(b"PK\x01\x02")
    data[start + 8] |= 1
    assert message_of(bytes(data)) == DAMAGED


@each("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "docProps/app.xml", "xl/hidden.bin"])
@each("declared", [b"<!DOCTYPE x>", b"<!ENTITY a 'b'>"])
def test_a_document_type_is_refused_in_every_part(part: str, declared: bytes) -> None:
    data = with_part(workbook(), part, lambda xml: b"<?xml version='1.0'?>" + declared + xml)
    assert message_of(data) == (
        f"the part {part} of the workbook declares a document type, which no table needs: open it in a spreadsheet "
        "program and save it again as .xlsx"
    )


def test_utf16_cannot_hide_a_document_type() -> None:
    data = with_part(workbook(), "xl/workbook.xml", lambda _: "<!DOCTYPE x>".encode("utf-16"))
    assert message_of(data) == (
        "the part xl/workbook.xml of the workbook is not UTF-8: open it in a spreadsheet program and save it again as "
        ".xlsx"
    )


@each(
    "element",
    [
        '<mergeCell ref="A1:ZZ20000"/>',
        "<mergeCell ref = 'A1:ZZ20000'/>",
        '<x:mergeCell ref="$A$1:$ZZ$20000"/>',
        '<mergeCell ref="&#65;1:ZZ20000"/>',
        '<hyperlink ref="A1:ZZ20000"/>',
        '<mergeCell ref="A1:IV200"/>',
    ],
)
def test_ranges_that_spread_over_many_cells_are_refused(element: str) -> None:
    assert message_of(sheet_xml("</sheetData>", "</sheetData>" + element)) == (
        "the workbook merges or links more than 50000 cells: expected a table"
    )


def test_a_few_merged_cells_and_links_pass() -> None:
    elements = '<mergeCell ref="A1:D1"/><hyperlink ref="A1"/><hyperlink location="x"/>'
    guard(sheet_xml("</sheetData>", "</sheetData>" + elements))


def test_a_file_above_the_limit_is_refused() -> None:
    stream = io.BytesIO(workbook())
    with zipfile.ZipFile(stream, "a") as archive:
        archive.writestr("xl/media/photo.png", bytes(21 * 1024 * 1024))
    assert message_of(stream.getvalue()) == "the workbook is larger than 20 MiB: expected a sheet with only a table"


def test_an_open_document_sheet_is_named_no_xlsx() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    assert message_of(stream.getvalue()) == (
        "the file is a zip archive but not an .xlsx workbook: save the table as .xlsx or .csv"
    )


@each("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_only_what_spreadsheet_programs_write_is_unpacked(method: int) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook())) as old, zipfile.ZipFile(stream, "w") as new:
        for part in old.namelist():
            new.writestr(part, old.read(part), method if part == "xl/styles.xml" else zipfile.ZIP_STORED)
    assert message_of(stream.getvalue()) == (
        "the part xl/styles.xml of the workbook is compressed or encrypted in a way that no spreadsheet program uses "
        "(expected deflate): open it in a spreadsheet program and save it again as .xlsx"
    )


def test_names_are_those_of_the_whole_workbook_and_not_what_a_comment_says() -> None:
    names = (
        b'<!-- <definedName name="said"/> --><definedNames><definedName name="all">Fuel!$A$1</definedName>'
        b'<definedName name="one" localSheetId="0">Fuel!$A$1</definedName></definedNames>'
    )
    data = with_part(workbook(), "xl/workbook.xml", lambda xml: xml.replace(b"<calcPr", names + b"<calcPr"))
    assert names_of(data) == {"all"}
    assert names_of(data[:500]) == set()
    assert names_of(with_part(data, "xl/workbook.xml", lambda xml: xml[:200])) == set()
    assert names_of(with_part(data, "xl/workbook.xml", lambda xml: b"<!DOCTYPE x>" + xml.partition(b"?>")[2])) == set()


@each("sign", ["[", "&quot;", "&#x000000000000005b;", "\N{EURO SIGN}", "'"])
def test_a_number_format_longer_than_a_spreadsheet_program_allows_is_refused(sign: str) -> None:
    def styled(count: int) -> bytes:
        added = f'<numFmt numFmtId="170" formatCode="{sign * count}"/></styleSheet>'.encode()
        return with_part(workbook(), "xl/styles.xml", lambda xml: xml.replace(b"</styleSheet>", added))

    guard(styled(255))
    assert message_of(styled(256)) == (
        "the part xl/styles.xml of the workbook contains a number format that is pages long: open it in a spreadsheet "
        "program and save it again as .xlsx"
    )
