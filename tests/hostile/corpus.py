"""Hostile files, made where a test wants them: none is kept, and none is large until it is written.

``expected.toml`` says beside each name what comes of it: the whole message, or the numbers that are read.
"""

from __future__ import annotations

import io
import os
import re
import struct
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

from openpyxl.utils import get_column_letter

from tests.hostile.contract import SAMPLES
from tests.jobs.invalid_tables.build import setting, sheet_xml, table, with_part, workbook

Maker = Callable[[], bytes]
JOB = (SAMPLES / "orchard_pickup.toml").read_text(encoding="utf-8")
GRID = ",500,1000,1500\n30,45.5,46.5,47.5\n60,50.5,51.5,52.5\n"
LINE = "degC,-20,0,20,40\nms,62,37,22,14\n"
SHEET = "xl/worksheets/sheet1.xml"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "lol">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
)


def _edit(old: str, new: str) -> Maker:
    def make() -> bytes:
        assert old in JOB, old
        return JOB.replace(old, new, 1).encode("utf-8", "surrogatepass")

    return make


def _after(text: str) -> Maker:
    return lambda: JOB.encode() + text.encode("utf-8", "surrogatepass")


def _before(text: str | bytes) -> Maker:
    return lambda: (text if isinstance(text, bytes) else text.encode()) + JOB.encode()


def _title(text: str) -> Maker:
    return lambda: (f'title = "{text}"\n' + JOB.replace("title =", "notes =", 1)).encode()


def _flow(text: str) -> Maker:
    return _edit('static_flow = "190 cc/min"', f"static_flow = {text}")


def _further_table(name: str) -> Maker:
    return _after(f'\n[donor.tables.{name}]\nfile = "ferry_van_crank.csv"\nquantity = "pulse width"\n')


def _table_file(name: str) -> Maker:
    return _edit('"orchard_pickup_fuel.csv"', name)


JOBS: dict[str, Maker] = {
    "nested_arrays": _before("x = " + "[" * 100_000 + "]" * 100_000 + "\n"),
    "nested_tables": _before("x = " + "{a = " * 50_000 + "1" + "}" * 50_000 + "\n"),
    "nested_a_little": _before("x = " + "[" * 40 + "]" * 40 + "\n"),
    "dotted_deep": _before(".".join("a" * 2_000) + " = 1\n"),
    "digits_5000": _before("x = " + "9" * 5_000 + "\n"),
    "hexadecimal_6000": _flow("0x" + "f" * 6_000),
    "whole_number_of_65_bits": _edit("cylinders = 4", f"cylinders = {2**64}"),
    "float_1e400": _edit("stoichiometric = 14.5", "stoichiometric = 1e400"),
    "not_a_number": _edit("stoichiometric = 14.5", "stoichiometric = nan"),
    "infinite": _edit("stoichiometric = 14.5", "stoichiometric = -inf"),
    "quantity_1e400": _flow('"1e400 cc/min"'),
    "quantity_1e_minus_400": _flow('"1e-400 cc/min"'),
    "spread_1e400": _flow('"190 cc/min ± 1e400 %"'),
    "spread_negative": _flow('"190 cc/min ± -3 %"'),
    "quantity_of_blanks": _flow('"1' + " " * 9_000 + '="'),
    "quantity_of_digits": _flow('"' + "1" * 9_000 + '"'),
    "unit_of_many_parts": _edit('load_unit = "kPa"', 'load_unit = "' + "/".join(["kPa"] * 2_000) + '"'),
    "quantity_full_width": _flow('"１９０ cc/min"'),
    "quantity_arabic": _flow('"١٩٠ cc/min"'),
    "quantity_thousands": _flow('"1,190 cc/min"'),
    "quantity_decimal_comma": _flow('"190,5 cc/min"'),
    "quantity_a_date": _flow("1979-05-27"),
    "quantity_a_time": _flow("07:32:00"),
    "quantity_true": _flow("true"),
    "quantity_a_list": _flow('["190 cc/min"]'),
    "date_that_is_none": _flow("1979-02-30"),
    "keys_100000": _before("".join(f"k{n} = 1\n" for n in range(100_000))),
    "keys_30000_in_a_section": _after("\n[options]\n" + "".join(f"k{n}=1\n" for n in range(30_000))),
    "key_twice": _before("title = 1\ntitle = 2\n"),
    "key_over_two_lines": _before('"a\\nbasemap: all is well" = 1\n'),
    "key_with_escape": _before('"\\u001b[2J" = 1\n'),
    "key_empty": _before('"" = 1\n'),
    "key_of_bidi": _before('"\\u202Eyek" = 1\n'),
    "title_a_number": _edit('title = "Orchard', 'title = 5 #"Orchard'),
    "title_of_a_megabyte": _title("x" * 900_000),
    "title_of_20000": _title("x" * 20_000),
    "file_of_two_megabytes": _before("#" * 2_000_000 + "\n"),
    "nul": _before(b"\x00\n"),
    "nul_escaped_in_file": _table_file('"a\\u0000.csv"'),
    "not_utf8": _before(b"# \xff\n"),
    "lone_surrogate": _before(b"# \xed\xa0\x80\n"),
    "surrogate_escape": _before('x = "\\ud800"\n'),
    "utf16": lambda: JOB.encode("utf-16"),
    "truncated": lambda: JOB[: JOB.index('"3.0 bar"') + 4].encode(),
    "empty": lambda: b"",
    "blanks_only": lambda: b" \n\t\n",
    "bom_alone": lambda: b"\xef\xbb\xbf",
    "zip": workbook,
    "carriage_returns": lambda: JOB.replace("\n", "\r").encode(),
    "escape_raw": _before(b'x = "\x1b[2J"\n'),
    "section_a_number": _before("donor = 1\n"),
    "section_a_list_of_sections": lambda: JOB.replace("[donor.engine]", "[[donor.engine]]").encode(),
    "table_path_absolute": _table_file('"/etc/passwd"'),
    "table_path_climbs": _table_file('"' + "../" * 20 + 'etc/passwd"'),
    "table_path_empty": _table_file('""'),
    "table_path_a_folder": _table_file('"."'),
    "table_path_home": _table_file('"~/fuel.csv"'),
    "table_path_a_url": _table_file('"http://example.com/fuel.csv"'),
    "table_path_long": _table_file('"' + "a" * 9_000 + '.csv"'),
    "table_path_zero": _table_file('"/dev/zero"'),
    "table_path_dangling": _table_file('"dangling.csv"'),
    "table_path_circle": _table_file('"circle.csv"'),
    "table_path_pipe": _table_file('"pipe.csv"'),
    "table_path_endless": _table_file('"endless.csv"'),
    "table_path_folder_named_csv": _table_file('"folder.csv"'),
    "table_path_the_job": _table_file('"table_path_the_job.toml"'),
    "further_table_climbs": _further_table('"../x"'),
    "further_table_absolute": _further_table('"/tmp/x"'),
    "further_table_of_windows": _further_table('"C:\\\\x"'),
    "further_table_con": _further_table("CON"),
    "further_table_nul": _further_table("nul"),
    "further_table_com1": _further_table("Com1"),
    "further_table_dot": _further_table('"."'),
    "further_table_empty": _further_table('""'),
    "further_table_newline": _further_table('"a\\nb"'),
    "further_table_nul_sign": _further_table('"a\\u0000b"'),
    "further_table_long": _further_table("a" * 200),
    "further_table_fuel_in_capitals": _further_table("FUEL"),
    "further_table_blank_at_its_end": _further_table('"crank "'),
    "table_of_1e300": lambda: JOB.replace("orchard_pickup_fuel.csv", "cells_1e300.csv").encode(),
    "own_points_without_end": _after(f"\n[target.tables.fuel]\nrpm_points = {list(range(1, 100_000))}\n"),
    "further_table_bidi": _further_table('"a\\u202Eb"'),
}


def _cells(count: int, *, formula: str = "") -> bytes:
    xml = "".join(
        f'<row r="{row}">'
        + "".join(f'<c r="{get_column_letter(column)}{row}">{formula}<v>1</v></c>' for column in range(1, 401))
        + "</row>"
        for row in range(1, count // 400 + 1)
    )
    return sheet_xml("<sheetData>", f"<sheetData>{xml}")


def _after_sheet(xml: str) -> Maker:
    return lambda: sheet_xml("</sheetData>", f"</sheetData>{xml}")


def _cell(xml: str) -> Maker:
    return lambda: sheet_xml('<c r="B2" t="n"><v>45.5</v></c>', xml)


def _bomb() -> bytes:
    return with_part(workbook(), "xl/media/bomb.bin", lambda _: bytes(80 * 1024 * 1024))


def _forged() -> bytes:
    data = with_part(workbook(), "xl/large.xml", lambda _: b" " * 50_000_000)
    return data.replace(struct.pack("<I", 50_000_000), struct.pack("<I", 10))


def _part(name: str, content: bytes) -> Maker:
    return lambda: with_part(workbook(), name, lambda _: content)


def _parts() -> bytes:
    stream = io.BytesIO(workbook())
    with zipfile.ZipFile(stream, "a") as archive:
        for number in range(500):
            archive.writestr(f"xl/media/{number}.bin", b"")
    return stream.getvalue()


def _climbing() -> bytes:
    stream = io.BytesIO(workbook())
    with zipfile.ZipFile(stream, "a") as archive:
        archive.writestr("../../climbed.txt", b"x")
        archive.writestr("/tmp/basemap-climbed.txt", b"x")
    return stream.getvalue()


def _macros() -> bytes:
    data = with_part(workbook(), "xl/vbaProject.bin", lambda _: b"\xd0\xcf\x11\xe0" + bytes(2_000))
    old, new = b"spreadsheetml.sheet.main+xml", b"ms-excel.sheet.macroEnabled.main+xml"
    return with_part(data, "[Content_Types].xml", lambda xml: xml.replace(b"openxmlformats-officedocument." + old, new))


def _styles(xml: bytes) -> Maker:
    return lambda: with_part(
        workbook(), "xl/styles.xml", lambda old: old.replace(b"</cellXfs>", xml + b"</cellXfs>", 1)
    )


def _names() -> bytes:
    names = b"".join(b'<definedName name="a%d">Fuel!$A$1</definedName>' % number for number in range(60_000))
    return with_part(
        workbook(),
        "xl/workbook.xml",
        lambda xml: xml.replace(b"<calcPr", b"<definedNames>" + names + b"</definedNames><calcPr"),
    )


def _hidden_doctype() -> bytes:
    return with_part(workbook(), SHEET, lambda xml: b" " * 200 + b"<!DOCTYPE x>" + xml.partition(b"?>")[2])


BLANK = f'<worksheet xmlns="{MAIN}">{{}}<sheetData/></worksheet>'


def _defined(name: str, text: str) -> Maker:
    """A name, of one sheet where it is a reserved one."""
    local = ' localSheetId="0"' if name.startswith("_xlnm") else ""
    names = f'<definedNames><definedName name="{name}"{local}>{text}</definedName></definedNames><calcPr'
    return lambda: with_part(workbook(), "xl/workbook.xml", lambda xml: xml.replace(b"<calcPr", names.encode()))


def _ours(text: str) -> Maker:
    status = '<definedName name="issued_status">Fuel!$A$1</definedName>'
    return lambda: with_part(
        _defined("new_table", text)(),
        "xl/workbook.xml",
        lambda xml: xml.replace(b"<definedNames>", b"<definedNames>" + status.encode()),
    )


def _sheets(count: int, sheet: str, before: bytes = b"") -> Maker:
    """The one sheet named many times, each time by a title of its own."""

    def many(xml: bytes) -> bytes:
        start = xml.index(b"<sheet ")
        end = xml.index(b"/>", start) + 2
        named = b"".join(xml[start:end].replace(b"Fuel", b"S%d" % number) for number in range(count))
        return xml[:start] + named + xml[end:].replace(b"</workbook>", before + b"</workbook>")

    return lambda: with_part(with_part(workbook(), SHEET, lambda _: sheet.encode()), "xl/workbook.xml", many)


def _strings(xml: str) -> Maker:
    kind = (
        '<Override PartName="/xl/sharedStrings.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/></Types>'
    )
    return lambda: with_part(
        with_part(workbook(), "xl/sharedStrings.xml", lambda _: f'<sst xmlns="{MAIN}">{xml}</sst>'.encode()),
        "[Content_Types].xml",
        lambda old: old.replace(b"</Types>", kind.encode()),
    )


def _comments() -> bytes:
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/comments"
    relations = "".join(f'<Relationship Id="r{n}" Type="{kind}" Target="/xl/comments1.xml"/>' for n in range(30_000))
    comments = "".join(f'<comment ref="A{n}" authorId="0"><text/></comment>' for n in range(1, 10_000))
    data = with_part(
        workbook(),
        "xl/comments1.xml",
        lambda _: (
            f'<comments xmlns="{MAIN}"><authors><author>a</author></authors><commentList>{comments}</commentList>'
            "</comments>"
        ).encode(),
    )
    space = "http://schemas.openxmlformats.org/package/2006/relationships"
    return with_part(
        data,
        "xl/worksheets/_rels/sheet1.xml.rels",
        lambda _: f'<Relationships xmlns="{space}">{relations}</Relationships>'.encode(),
    )


def _named_styles() -> bytes:
    def many(xml: bytes) -> bytes:
        formats = b'<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>' * 20_000
        styles = b"".join(b'<cellStyle name="n%d" xfId="%d"/>' % (n, n) for n in range(20_000))
        xml = re.sub(rb"(?<=<cellStyleXfs).*?(?=</cellStyleXfs>)", b">" + formats, xml)
        return re.sub(rb"(?<=<cellStyles).*?(?=</cellStyles>)", b">" + styles, xml)

    return with_part(workbook(), "xl/styles.xml", many)


def _packed(method: int, damage: bytes = b"") -> Maker:
    """Every part packed by another method, and bytes of the first one's options overwritten."""

    def make() -> bytes:
        stream = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(workbook())) as old, zipfile.ZipFile(stream, "w", method) as new:
            for name in old.namelist():
                new.writestr(name, old.read(name))
            first = new.infolist()[0]
        start = first.header_offset + 30 + len(first.filename) + 4
        data = stream.getvalue()
        return data[:start] + damage + data[start + len(damage) :]

    return make


def _offset(offset: int) -> Maker:
    """The first part stands, its entry says, where no file reaches."""

    def make() -> bytes:
        data = workbook()
        start = data.index(b"PK\x01\x02")
        length, extra = struct.unpack("<HH", data[start + 28 : start + 32])
        assert extra == 0
        added = struct.pack("<HHQ", 1, 8, offset)
        entry = bytearray(data[start : start + 46 + length])
        entry[42:46] = b"\xff" * 4
        entry[30:32] = struct.pack("<H", len(added))
        changed = bytearray(data[:start] + bytes(entry) + added + data[start + 46 + length :])
        end = changed.rindex(b"PK\x05\x06")
        size = struct.unpack("<I", changed[end + 12 : end + 16])[0] + len(added)
        changed[end + 12 : end + 16] = struct.pack("<I", size)
        return bytes(changed)

    return make


def _entries() -> bytes:
    entry = struct.pack("<4s6H3I5H2I", b"PK\x01\x02", 20, 20, *[0] * 7, 1, *[0] * 6) + b"a"
    directory = entry * 440_000
    end = struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, 440_000 & 0xFFFF, 440_000 & 0xFFFF, len(directory), 30, 0)
    return b"PK\x03\x04" + bytes(26) + directory + end


def _renamed(change: Callable[[str], str]) -> Maker:
    def make() -> bytes:
        with zipfile.ZipFile(io.BytesIO(workbook())) as old:
            return _archive({change(name) if name == SHEET else name: old.read(name) for name in old.namelist()})

    return make


def _strict() -> bytes:
    data = workbook()
    for part in ("xl/workbook.xml", SHEET, "xl/_rels/workbook.xml.rels", "_rels/.rels", "xl/styles.xml"):
        data = with_part(
            data,
            part,
            lambda xml: xml.replace(MAIN.encode(), b"http://purl.oclc.org/ooxml/spreadsheetml/main").replace(
                b"http://schemas.openxmlformats.org/officeDocument/2006/relationships",
                b"http://purl.oclc.org/ooxml/officeDocument/relationships",
            ),
        )
    return data


WORKBOOKS: dict[str, Maker] = {
    "archive_bomb": _bomb,
    "forged_size": _forged,
    "entity_bomb": lambda: with_part(
        workbook(), SHEET, lambda xml: ENTITIES.encode() + xml.replace(b"<v>45.5</v>", b"<v>&i;</v>")
    ),
    "entity_of_a_file": lambda: with_part(
        workbook(), SHEET, lambda xml: b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + xml
    ),
    "doctype_behind_blanks": _hidden_doctype,
    "encoding_far_away": _part(
        "xl/workbook.xml", b"<?xml version='1.0'" + b" " * 600 + b"encoding='cp037'?><workbook/>"
    ),
    "many_parts": _parts,
    "parts_that_climb": _climbing,
    "cell_at_the_end": lambda: workbook(setting("XFD1048576", 1)),
    "cell_beyond_the_end": _cell('<c r="XFDZ99999999999"><v>1</v></c>'),
    "row_beyond_the_end": lambda: sheet_xml('<row r="1"', '<row r="99999999999"'),
    "merge_of_millions": _after_sheet('<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>'),
    "merge_behind_a_sign": _after_sheet('<mergeCells><mergeCell a=">" ref="A1:XFD1048576"/></mergeCells>'),
    "merge_behind_a_reference": _after_sheet(
        "<mergeCells><mergeCell a='ref=\"A1\"' ref='A1:XFD1048576'/></mergeCells>"
    ),
    "merge_in_another_namespace": _after_sheet(
        f'<é:mergeCells xmlns:é="{MAIN}"><é:mergeCell ref="A1:XFD1048576"/></é:mergeCells>'
    ),
    "three_million_cells": lambda: sheet_xml(
        "<sheetData>", "<sheetData>" + ("<row>" + "<c/>" * 1_000 + "</row>") * 3_000
    ),
    "cells_61000": lambda: _cells(61_000),
    "cells_58000": lambda: _cells(58_000),
    "formulas_58000": lambda: _cells(29_000, formula="<f>1</f>"),
    "cells_in_another_namespace": lambda: sheet_xml(
        "<sheetData>", f'<sheetData xmlns:é="{MAIN}">' + "<é:row>" + "<é:c/>" * 100_000 + "</é:row>"
    ),
    "long_shared_formula": lambda: sheet_xml(
        '<c r="B2" t="n"><v>45.5</v></c>',
        f'<c r="B2"><f t="shared" ref="B2:B9" si="0">{"1+" * 2_000_000}1</f><v>45.5</v></c>'
        '<c r="B9"><f t="shared" si="0"/><v>1</v></c>',
    ),
    "hidden_columns_without_end": lambda: sheet_xml(
        "<sheetData>", '<cols><col min="2" max="99999999999" hidden="1" width="3"/></cols><sheetData>'
    ),
    "hidden_rows": lambda: sheet_xml('<row r="3"', '<row r="3" hidden="1"'),
    "number_format_of_pages": lambda: workbook(setting("B2", 45.5, "[" * 200_000)),
    "styles_of_long_formats": lambda: with_part(
        workbook(),
        "xl/styles.xml",
        lambda xml: re.sub(
            rb"<numFmts.*?/>", b'<numFmts><numFmt numFmtId="170" formatCode="%b"/></numFmts>' % (b"[" * 1_990), xml
        ).replace(b"</cellXfs>", b'<xf numFmtId="170" fontId="0" fillId="0" borderId="0"/>' * 58_000 + b"</cellXfs>"),
    ),
    "styles_of_formats": lambda: with_part(
        workbook(),
        "xl/styles.xml",
        lambda xml: re.sub(
            rb"<numFmts.*?/>", b'<numFmts><numFmt numFmtId="170" formatCode="%b"/></numFmts>' % (b"[" * 255), xml
        ).replace(b"</cellXfs>", b'<xf numFmtId="170" fontId="0" fillId="0" borderId="0"/>' * 58_000 + b"</cellXfs>"),
    ),
    "styles_100000": _styles(b'<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>' * 100_000),
    "names_60000": _names,
    "rules_30000": _after_sheet(
        '<conditionalFormatting sqref="A1"><cfRule type="expression" priority="1"><formula>1</formula></cfRule>'
        "</conditionalFormatting>" * 30_000
    ),
    "ranges_of_a_megabyte": _after_sheet(
        f'<dataValidations><dataValidation type="list" sqref="{"A1 " * 400_000}"/></dataValidations>'
    ),
    "whole_number_of_400_digits": _cell(f'<c r="B2"><v>{"9" * 400}</v></c>'),
    "whole_number_of_5000_digits": _cell(f'<c r="B2"><v>{"9" * 5_000}</v></c>'),
    "value_1e400": _cell('<c r="B2"><v>1e400</v></c>'),
    "value_nan": _cell('<c r="B2"><v>NaN</v></c>'),
    "value_a_boolean": _cell('<c r="B2" t="b"><v>1</v></c>'),
    "value_an_error": _cell('<c r="B2" t="e"><v>#REF!</v></c>'),
    "value_of_no_string": _cell('<c r="B2" t="s"><v>99</v></c>'),
    "value_inline": _cell('<c r="B2" t="inlineStr"><is><t>&#27;[2J</t></is></c>'),
    "value_far_date": lambda: workbook(setting("B2", 9e15, "yyyy-mm-dd")),
    "value_a_duration": lambda: workbook(setting("B2", 1.5, "[h]:mm:ss")),
    "axis_a_date": lambda: workbook(setting("A3", 60, "yyyy-mm-dd")),
    "axis_a_boolean": lambda: workbook(setting("A3", True)),
    "axis_twice": lambda: workbook(setting("A3", 30)),
    "axis_unsorted": lambda: workbook(setting("A3", 200)),
    "formula_never_calculated": lambda: workbook(setting("C3", "=B3+1")),
    "formula_of_another_file": lambda: workbook(setting("C3", "=[1]Sheet1!A1")),
    "macros": _macros,
    "truncated": lambda: workbook()[:3_000],
    "without_directory": lambda: workbook()[:-22],
    "sheet_truncated": lambda: with_part(workbook(), SHEET, lambda xml: xml[:400]),
    "sheet_missing": lambda: with_part(workbook(), SHEET, lambda _: b""),
    "text_renamed": lambda: GRID.encode(),
    "picture_renamed": lambda: b"\x89PNG\r\n\x1a\n" + bytes(500),
    "ole": lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2_000),
    "empty": lambda: b"",
    "other_archive": lambda: _archive({"a.txt": b"x"}),
    "sheets_a_thousand": lambda: with_part(workbook(), "xl/workbook.xml", _thousand_sheets),
    "print_area_of_letters": _defined("_xlnm.Print_Area", "a" * 300_000),
    "print_area_of_marks": _defined("_xlnm.Print_Area", "'" * 300_000),
    "print_area_of_areas": _defined("_xlnm.Print_Area", "Fuel!" + "$A$1" * 100_000),
    "print_titles_of_letters": _defined("_xlnm.Print_Titles", "'" + "a" * 200_000),
    "name_of_ours_of_strings": _ours('"a"&amp;' * 400_000 + '"a"'),
    "name_of_ours_of_areas": _ours("'a'!A1," * 300_000),
    "name_of_ours_nowhere": _ours("#REF!"),
    "name_of_ours_elsewhere": _ours("[1]Fuel!$A$1:$C$3"),
    "name_of_ours_huge": _ours("Fuel!$B$2:$XFD$1048576"),
    "name_of_ours": _ours("Fuel!$B$2:$D$4"),
    "sheets_blank": _sheets(20_000, BLANK.format("")),
    "sheets_of_columns": _sheets(
        200, BLANK.format("<cols>" + "".join(f'<col min="{n}" max="{n}"/>' for n in range(1, 16_000)) + "</cols>")
    ),
    "sheets_that_a_comment_calls_ours": _sheets(
        30,
        f'<worksheet xmlns="{MAIN}"><sheetData>{"<row>" + "<c><v>1</v></c>" * 26 + "</row>"}</sheetData></worksheet>',
        b'<!-- "issued_status" "new_table" -->',
    ),
    "cells_that_a_comment_calls_ours": lambda: with_part(
        _cells(61_000),
        "xl/workbook.xml",
        lambda xml: xml.replace(b"</workbook>", b'<!-- "issued_status" "new_table" --></workbook>'),
    ),
    "comments_named_30000_times": _comments,
    "strings_1600000": _strings("<si/>" * 1_590_000),
    "strings_of_a_formula_too": _strings("<si><t>a</t></si>" * 398_000),
    "string_of_many_texts": _strings("<si>" + "<t/>" * 1_500_000 + "</si>"),
    "named_styles_20000": _named_styles,
    "shared_formulas_29000": lambda: with_part(
        _cells(29_000, formula='<f t="shared" si="0"/>'),
        SHEET,
        lambda xml: xml.replace(b'<f t="shared" si="0"/>', b'<f t="shared" si="0" ref="A1:OJ72">B1+C1*2</f>', 1),
    ),
    "packed_bzip2": _packed(zipfile.ZIP_BZIP2),
    "packed_lzma": _packed(zipfile.ZIP_LZMA),
    "packed_lzma_damaged": _packed(zipfile.ZIP_LZMA, b"\xff"),
    "packed_lzma_of_four_gigabytes": _packed(zipfile.ZIP_LZMA, b"\x5d\xff\xff\xff\xff"),
    "part_beyond_63_bits": _offset(2**63 + 5),
    "part_beyond_64_bits": _offset(2**64 - 1),
    "entries_440000": _entries,
    "strict": _strict,
    "part_absolute": _renamed(lambda name: f"/{name}"),
    "part_in_capitals": _renamed(str.upper),
    "table_far_down": lambda: workbook(lambda sheet: sheet.delete_rows(1, 9), lambda sheet: table(sheet, 1_990, 490)),
}


def _thousand_sheets(xml: bytes) -> bytes:
    start = xml.index(b"<sheet ")
    end = xml.index(b"/>", start) + 2
    return xml[:start] + xml[start:end] * 40_000 + xml[end:]


def _archive(members: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def _value(text: str) -> Maker:
    return lambda: GRID.replace("45.5", text).encode()


TEXTS: dict[str, Maker] = {
    "zip_renamed.csv": workbook,
    "ole_renamed.csv": lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2_000),
    "picture_renamed.csv": lambda: b"\x89PNG\r\n\x1a\n" + bytes(500),
    "nul.csv": lambda: GRID.replace("45.5", "45\x00.5").encode(),
    "escape.csv": lambda: GRID.replace("45.5", "\x1b[2J").encode(),
    "line_of_megabytes.csv": lambda: b"1," * 4_000_000,
    "five_million_cells.csv": lambda: b"1,2\n" * 2_500_000,
    "five_million_cells_wide.csv": lambda: (b"1," * 999 + b"1\n") * 5_000,
    "lines_without_end.csv": lambda: GRID.encode() + b"\n" * 15_000_000,
    "comments_without_end.csv": lambda: GRID.encode() + b"#\n" * 5_000_000,
    "thirty_megabytes.csv": lambda: GRID.encode() * 600_000,
    "spiral.csv": lambda: _spiral(300),
    "quotes_without_end.csv": lambda: GRID.encode() + b'"' * 90_000 + b",1\n",
    "value_of_90000_digits.csv": lambda: GRID.replace("45.5", "1" * 90_000).encode(),
    "value_nan.csv": _value("nan"),
    "value_infinite.csv": _value("inf"),
    "value_1e400.csv": _value("1e400"),
    "value_1e_minus_400.csv": _value("1e-400"),
    "value_full_width.csv": _value("４５.5"),
    "value_arabic.csv": _value("٤٥"),
    "value_roman.csv": _value("Ⅳ"),
    "value_superscript.csv": _value("²"),
    "value_underscore.csv": _value("4_5"),
    "value_hexadecimal.csv": _value("0x2d"),
    "value_true.csv": _value("TRUE"),
    "value_a_date.csv": _value("2024-05-27"),
    "value_a_formula.csv": _value("=1+1"),
    "value_two_points.csv": _value("4.5.5"),
    "value_minus_of_print.csv": lambda: GRID.replace("45.5", "\u221245.5").encode(),
    "thousands.csv": lambda: b";500;1.000;1.500\n30;1.045,5;46,5;47,5\n60;50,5;51,5;52,5\n",
    "thousands_blank.csv": lambda: b";500;1 000;1 500\n30;45,5;46,5;47,5\n60;50,5;51,5;52,5\n",
    "marks_mixed.csv": lambda: b";500;1000;1500\n30;45,5;46.5;47,5\n60;50,5;51,5;52,5\n",
    "mark_open.csv": lambda: b";500;1000;1500\n30;2,500;2,600;2,700\n60;2,501;2,601;2,701\n",
    "axis_twice.csv": lambda: GRID.replace("\n60", "\n30").encode(),
    "axis_unsorted.csv": lambda: (GRID + "45,1,2,3\n").encode(),
    "axis_blank.csv": lambda: GRID.replace("1000", "").encode(),
    "bidi.csv": lambda: GRID.replace("45.5", "\u202e5.54").encode(),
    "utf16_half.csv": lambda: GRID.encode("utf-16")[:-1],
    "utf16_surrogate.csv": lambda: b"\xff\xfe\x00\xd8" + GRID.encode("utf-16-le"),
    "utf8_surrogate.csv": lambda: GRID.encode() + b"# \xed\xa0\x80\n",
    "truncated.csv": lambda: GRID[:-8].encode(),
    "empty.csv": lambda: b"",
    "bom_alone.csv": lambda: b"\xef\xbb\xbf",
    "one_number.csv": lambda: b"1",
    "words.csv": lambda: b"a,b\nc,d\n",
    "form_feed.csv": lambda: b"\x0c" + GRID.encode(),
    "byte_order_mark.csv": lambda: b"\xef\xbb\xbf" + GRID.encode(),
    "formula_in_the_title.csv": lambda: b"=cmd|' /C calc'!A0\n" + GRID.encode(),
    "cells_1e300.csv": lambda: b";500;1000;1500\n30;1e300;46,5;47,5\n60;50,5;51,5;52,5\n",
    "page.html": lambda: b"<table></table>",
}


def _spiral(size: int) -> bytes:
    """Every blank row cut off uncovers one blank column, and so on: the most divisions that cells allow."""
    grid = [[""] * size for _ in range(size)]
    for start in range(0, size - 4, 2):
        for column in range(start, size):
            grid[start][column] = "x"
        for row in range(start + 2, size):
            grid[row][start] = "x"
    return (GRID + "\n" + "\n".join(map(",".join, grid))).encode()


HEAVY = (
    "styles_of_long_formats.xlsx", "styles_of_formats.xlsx",
    "print_area_of_letters.xlsx", "print_area_of_marks.xlsx", "print_area_of_areas.xlsx",
    "print_titles_of_letters.xlsx", "name_of_ours_of_strings.xlsx", "name_of_ours_of_areas.xlsx", "sheets_blank.xlsx",
    "sheets_of_columns.xlsx", "sheets_that_a_comment_calls_ours.xlsx", "cells_that_a_comment_calls_ours.xlsx",
    "comments_named_30000_times.xlsx", "strings_1600000.xlsx", "strings_of_a_formula_too.xlsx",
    "string_of_many_texts.xlsx", "named_styles_20000.xlsx", "shared_formulas_29000.xlsx",
    "packed_lzma_of_four_gigabytes.xlsx", "entries_440000.xlsx",
    "archive_bomb.xlsx", "forged_size.xlsx", "entity_bomb.xlsx", "three_million_cells.xlsx", "cells_61000.xlsx",
    "cells_58000.xlsx", "formulas_58000.xlsx", "cells_in_another_namespace.xlsx", "long_shared_formula.xlsx",
    "hidden_columns_without_end.xlsx", "number_format_of_pages.xlsx", "styles_100000.xlsx", "names_60000.xlsx",
    "rules_30000.xlsx", "ranges_of_a_megabyte.xlsx", "merge_of_millions.xlsx", "merge_behind_a_sign.xlsx",
    "merge_behind_a_reference.xlsx", "merge_in_another_namespace.xlsx", "sheets_a_thousand.xlsx",
    "line_of_megabytes.csv", "five_million_cells.csv", "five_million_cells_wide.csv", "lines_without_end.csv",
    "comments_without_end.csv", "thirty_megabytes.csv", "spiral.csv", "quotes_without_end.csv",
    "value_of_90000_digits.csv", "nested_arrays.toml", "nested_tables.toml", "dotted_deep.toml", "keys_100000.toml",
    "keys_30000_in_a_section.toml", "hexadecimal_6000.toml", "quantity_of_blanks.toml", "quantity_of_digits.toml",
    "unit_of_many_parts.toml", "file_of_two_megabytes.toml", "table_path_zero.toml", "table_path_endless.toml",
    "table_path_pipe.toml", "own_points_without_end.toml",
)  # fmt: skip
"""Those that could take memory or time without end: read in processes of their own, which are measured."""

FILES: dict[str, Maker] = (
    {f"{name}.toml": make for name, make in JOBS.items()}
    | {f"{name}.xlsx": make for name, make in WORKBOOKS.items()}
    | TEXTS
)


def build(folder: Path) -> None:
    """Write all of them, and the links, the pipe and the folder that some of them name, beside the sample tables."""
    if sys.platform == "win32":
        raise OSError("Windows has no pipes among its files")
    for sample in SAMPLES.glob("*.*"):
        (folder / sample.name).write_bytes(sample.read_bytes())
    (folder / "dangling.csv").symlink_to("not there.csv")
    (folder / "circle.csv").symlink_to("circle.csv")
    (folder / "endless.csv").symlink_to("/dev/zero")
    (folder / "folder.csv").mkdir()
    os.mkfifo(folder / "pipe.csv")
    for name, make in FILES.items():
        (folder / name).write_bytes(make())
