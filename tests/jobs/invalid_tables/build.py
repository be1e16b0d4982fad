"""Write those files of this folder that no editor writes: workbooks, and text that is damaged on purpose.

Run as ``python -m tests.jobs.invalid_tables.build``; the files are kept in the repository, and small.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

FOLDER = Path(__file__).parent
Edit = Callable[[Worksheet], None]

GRID = b"kPa\\rpm,500,1000,1500\n30,45.5,46.5,47.5\n60,50.5,51.5,52.5\n"
CELLS = '<c r="{}"><v>1</v></c>'


def table(sheet: Worksheet, row: int = 1, column: int = 1) -> None:
    """Put a sound table on a sheet: its corner is the cell given."""
    rows: list[list[float | str]] = [
        ["kPa\\rpm", 500, 1000, 1500],
        [30, 45.5, 46.5, 47.5],
        [60, 50.5, 51.5, 52.5],
        [100, 60.5, 61.5, 62.5],
    ]
    for down, values in enumerate(rows):
        for across, value in enumerate(values):
            sheet.cell(row + down, column + across, value)


def workbook(*edits: Edit) -> bytes:
    """A workbook with a sound table, after some edits of its sheet."""
    return _written(edits) if edits else _sound()


@cache
def _sound() -> bytes:
    return _written(())


def _written(edits: tuple[Edit, ...]) -> bytes:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Fuel"
    table(sheet)
    for edit in edits:
        edit(sheet)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def with_part(content: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    """The same workbook with one part changed, or added where there was none."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new,
    ):
        for item in old.namelist():
            if item != name:
                new.writestr(item, old.read(item))
        new.writestr(name, change(old.read(name) if name in old.namelist() else b""))
    return stream.getvalue()


def sheet_xml(old: str, new: str) -> bytes:
    """A workbook whose sheet part has one text replaced by another."""
    content = workbook()
    part = "xl/worksheets/sheet1.xml"

    def change(xml: bytes) -> bytes:
        assert old.encode() in xml
        return xml.replace(old.encode(), new.encode(), 1)

    return with_part(content, part, change)


def setting(address: str, value: object, number_format: str | None = None) -> Edit:
    """Put a value into one cell."""

    def edit(sheet: Worksheet) -> None:
        cell = sheet[address]
        cell.value = value
        if number_format is not None:
            cell.number_format = number_format

    return edit


def error_cell(sheet: Worksheet) -> None:
    """Put an error where a number belongs."""
    sheet["C3"].value = "#DIV/0!"
    sheet["C3"].data_type = "e"


def second_sheet(sheet: Worksheet) -> None:
    """Add a sheet with a table of its own."""
    assert sheet.parent is not None
    table(sheet.parent.create_sheet("Race fuel"))


def without_table(sheet: Worksheet) -> None:
    """Leave nothing but words on two sheets."""
    sheet.delete_rows(1, 4)
    sheet["A1"] = "nothing here"
    assert sheet.parent is not None
    sheet.parent.create_sheet("Notes")["A1"] = "nor here"


def as_text(sheet: Worksheet) -> None:
    """Turn the values into text that may be thousands or thousandths."""
    for row in sheet["B2:D4"]:
        for cell in row:
            cell.value = "2,500"


def many_cells() -> str:
    """More rows than any table has, all well formed."""
    row = "<row>" + "<c/>" * 999 + "</row>"
    return "<sheetData>" + row * 301


def many_sheets(xml: bytes) -> bytes:
    """Name the one sheet a thousand times."""
    start = xml.index(b"<sheet ")
    end = xml.index(b"/>", start) + 2
    one = xml[start:end].decode()
    sheets = (one.replace('name="Fuel"', f'name="Fuel {number}"') for number in range(1000))
    return xml[:start] + "".join(sheets).encode() + xml[end:]


def zip_of(**parts: bytes) -> bytes:
    """A zip archive of parts."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def many_parts() -> bytes:
    """A workbook with 400 parts more than it needs."""
    stream = io.BytesIO(workbook())
    with zipfile.ZipFile(stream, "a") as archive:
        for number in range(400):
            archive.writestr(f"p{number}", b"")
    return stream.getvalue()


FILES: dict[str, Callable[[], bytes]] = {
    "binary.csv": lambda: b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)),
    "broken_utf8.csv": lambda: b"\xef\xbb\xbf" + GRID.replace(b"kPa", b"kPa\xff"),
    "cut_utf16.txt": lambda: b"\xff\xfe" + GRID.decode().encode("utf-16-le")[:-1],
    "empty.csv": lambda: b"",
    "utf16_without_mark.txt": lambda: GRID.decode().encode("utf-16-le"),
    "workbook.csv": workbook,
    "blank_cell.xlsx": lambda: workbook(setting("C3", None)),
    "boolean_cell.xlsx": lambda: workbook(setting("C3", True)),
    "bomb.xlsx": lambda: with_part(workbook(), "xl/comments.xml", lambda _: b" " * (65 * 1024 * 1024)),
    "cells_no_range.xlsx": workbook,
    "cells_too_large.xlsx": workbook,
    "cells_too_small.xlsx": workbook,
    "cut_by_blank_row.xlsx": lambda: workbook(lambda sheet: sheet.insert_rows(4)),
    "cut_in_half.xlsx": lambda: workbook()[:2000],
    "damaged_value.xlsx": lambda: sheet_xml("<v>45.5</v>", "<v>NaN</v>"),
    "date_on_axis.xlsx": lambda: workbook(setting("C1", datetime.datetime(1902, 9, 26))),
    "document_type.xlsx": lambda: with_part(
        workbook(), "xl/workbook.xml", lambda xml: b'<!DOCTYPE x [<!ENTITY a "b">]>' + xml
    ),
    "empty.xlsx": lambda: b"",
    "empty_sheet.xlsx": lambda: workbook(lambda sheet: sheet.delete_rows(1, 4)),
    "error_cell.xlsx": lambda: workbook(error_cell),
    "far_cell.xlsx": lambda: workbook(setting("XFD1048576", 1)),
    "far_link.xlsx": lambda: sheet_xml(
        "</sheetData>", '</sheetData><hyperlinks><hyperlink ref="A1:ZZ2000" location="Fuel!A1"/></hyperlinks>'
    ),
    "far_merge.xlsx": lambda: sheet_xml(
        "</sheetData>", '</sheetData><mergeCells count="1"><mergeCell ref="A1:ZZ20000"/></mergeCells>'
    ),
    "infinite_value.xlsx": lambda: sheet_xml("<v>45.5</v>", "<v>1E400</v>"),
    "many_cells.xlsx": lambda: sheet_xml("<sheetData>", many_cells()),
    "many_parts.xlsx": many_parts,
    "many_sheets.xlsx": lambda: with_part(
        sheet_xml("<sheetData>", "<sheetData>" + "<row/>" * 2000), "xl/workbook.xml", many_sheets
    ),
    "merged_cells.xlsx": lambda: workbook(lambda sheet: sheet.merge_cells("C2:D3")),
    "never_calculated.xlsx": lambda: workbook(setting("C3", "=B3+1")),
    "no_such_sheet.xlsx": workbook,
    "no_table.xlsx": lambda: workbook(without_table),
    "no_workbook.xlsx": lambda: zip_of(readme=b"not a workbook"),
    "old_workbook.xlsx": lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(64),
    "open_decimal_mark.xlsx": lambda: workbook(as_text),
    "other_encoding.xlsx": lambda: with_part(
        workbook(), "xl/workbook.xml", lambda xml: b'<?xml version="1.0" encoding="UTF-7"?>' + xml
    ),
    "some_in_per_cent.xlsx": lambda: workbook(setting("C3", 0.515, "0.0%")),
    "text.xlsx": lambda: GRID,
    "text_cell.xlsx": lambda: workbook(setting("C3", "rich")),
    "two_sheets.xlsx": lambda: workbook(second_sheet),
    "two_tables.xlsx": lambda: workbook(lambda sheet: table(sheet, 10, 2)),
    "unreadable_package.xlsx": lambda: with_part(workbook(), "[Content_Types].xml", lambda _: b"<Types/>"),
}


def main() -> None:
    """Write all files."""
    for name, build in FILES.items():
        (FOLDER / name).write_bytes(build())


if __name__ == "__main__":
    main()
