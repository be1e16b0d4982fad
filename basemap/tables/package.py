"""Reads cells, formulas and names of an .xlsx file; the only module that reads with openpyxl.

It uses only those steps of openpyxl's reader that read these. Everything else in a workbook (comments, charts, tables,
pivots, print areas, rules, links) is skipped, because a few kilobytes of it can take minutes.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element, iterparse

from openpyxl.reader.excel import ExcelReader
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format, is_timedelta_format
from openpyxl.utils import column_index_from_string
from openpyxl.utils.cell import range_boundaries
from openpyxl.workbook.defined_name import DefinedNameList
from openpyxl.worksheet._reader import COL_TAG, FORMULA_TAG, MERGE_TAG, ROW_TAG, WorkSheetParser
from openpyxl.xml.constants import ARC_STYLE
from openpyxl.xml.functions import fromstring

from basemap.errors import InputError
from basemap.tables.cells import Place

LONGEST_REFERENCE = 300
"""The longest reference of a name that is parsed; the title of a sheet has at most 31 characters."""
_REFERENCE = re.compile(
    r"=?(?:'(?P<quoted>(?:[^']|'')+)'|(?P<plain>[^'!\[\]:,()\s]+))!"
    r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})(?::\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6}))?"
)
_STRICT = b"http://purl.oclc.org/ooxml/spreadsheetml/main"


class Stored(NamedTuple):
    """The content of a cell, of a formula its saved value; `data_type` is "e" for an error."""

    value: Any
    data_type: str
    number_format: str


@dataclass(frozen=True)
class Named:
    """A range of cells on a sheet, from the first to the last place."""

    sheet: str
    first: Place
    last: Place


@dataclass(frozen=True)
class Sheet:
    """One sheet. `cells` are those that are not blank; `merged` and `hidden_columns` are ranges from first to last."""

    title: str
    hidden: bool
    cells: dict[Place, Stored]
    formulas: dict[Place, str]
    merged: tuple[tuple[Place, Place], ...]
    hidden_rows: frozenset[int]
    hidden_columns: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class WorkbookFile:
    """A workbook: its sheets by title, in order, and the references of the names of the whole workbook, as text."""

    sheets: dict[str, Sheet]
    names: dict[str, str]

    def named(self, name: str) -> Named | None:
        """The cells of a name; None where it is not one range of an existing sheet."""
        text = self.names.get(name, "").strip()
        found = _REFERENCE.fullmatch(text) if len(text) <= LONGEST_REFERENCE else None
        if found is None:
            return None
        title = found["plain"] or found["quoted"].replace("''", "'")
        first = int(found[4]), column_index_from_string(found[3].upper())
        last = (int(found[6]), column_index_from_string(found[5].upper())) if found[5] else first
        if title not in self.sheets or first[0] > last[0] or first[1] > last[1]:
            return None
        return Named(title, first, last)


def read_book(data: bytes) -> WorkbookFile:
    """Read a workbook that the guard let pass.

    Raises
    ------
    InputError
        If it cannot be read, or is of a kind that is not supported.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of what it leaves out, none of which holds a cell
            return _book(data)
    except InputError:
        raise
    except Exception:  # whatever openpyxl makes of a damaged file
        raise InputError(
            "the workbook cannot be read: it is damaged or was not made by a spreadsheet program; open it in one and "
            "save it again as .xlsx"
        ) from None


def _book(data: bytes) -> WorkbookFile:
    reader = ExcelReader(io.BytesIO(data), keep_links=False)
    reader.read_manifest()
    reader.read_strings()
    reader.read_workbook()
    parser = reader.parser
    if _STRICT in reader.archive.read(parser.workbook_part_name):
        raise InputError(
            'the workbook is saved as "Strict Open XML", which this program does not read: open it in a spreadsheet '
            'program and save it as an ordinary .xlsx ("Excel Workbook")'
        )
    styles = _styles(reader)
    sheets: dict[str, Sheet] = {}
    parts: set[str] = set()
    for sheet, relation in parser.find_sheets():
        part = relation.target
        if "worksheet" not in relation.Type:  # a sheet that is a chart, or of macros
            continue
        if part not in reader.valid_files:
            raise InputError(
                f'the part {part} of the workbook, the sheet "{sheet.name}", is missing or has another name there: '
                "open it in a spreadsheet program and save it again as .xlsx"
            )
        if part in parts or sheet.name in sheets:
            raise InputError(
                f'the workbook names its sheet "{sheet.name}" twice: open it in a spreadsheet program and save it '
                "again as .xlsx"
            )
        parts.add(part)
        sheets[sheet.name] = _sheet(reader, styles, part, sheet.name, sheet.state != "visible")
    defined: DefinedNameList = parser.defined_names  # type: ignore[attr-defined]
    names = {str(name.name): name.value or "" for name in defined.definedName if name.localSheetId is None}
    return WorkbookFile(sheets, names)


class _Styles(NamedTuple):
    """By the number that a cell has for its style: its number format, and whether that makes a date or a duration."""

    formats: list[str]
    dates: set[int]
    durations: set[int]


def _styles(reader: ExcelReader) -> _Styles:
    """Of all that a workbook says of its looks only the number formats: there may be fifty thousand styles."""
    tree: Any = fromstring(reader.archive.read(ARC_STYLE) if ARC_STYLE in reader.valid_files else b"<styleSheet/>")
    stated = {int(one.attrib["numFmtId"]): one.attrib["formatCode"] for one in tree.iterfind("{*}numFmts/{*}numFmt")}
    numbers = [int(one.attrib.get("numFmtId", 0)) for one in tree.iterfind("{*}cellXfs/{*}xf")] or [0]
    formats = {one: stated.get(one, BUILTIN_FORMATS.get(one, "General")) for one in set(numbers)}
    dates = {one for one, code in formats.items() if is_date_format(code)}
    durations = {one for one, code in formats.items() if is_timedelta_format(code)}
    return _Styles(
        [formats[one] for one in numbers],
        {at for at, one in enumerate(numbers) if one in dates},
        {at for at, one in enumerate(numbers) if one in durations},
    )


class _Parser(WorkSheetParser):
    """Keeps the formulas apart, so that one pass reads them and their saved values.

    A formula that a cell shares with another is kept as an ellipsis: to spell it out takes longer than all the rest.
    """

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.formulas: dict[Place, str] = {}

    def parse_cell(self, element: Any) -> dict[str, Any]:
        cell = super().parse_cell(element)
        formula = element.find(FORMULA_TAG)
        if formula is not None:
            self.formulas[cell["row"], cell["column"]] = f"={formula.text or '…'}"
        return cell


def _sheet(reader: ExcelReader, styles: _Styles, part: str, title: str, hidden: bool) -> Sheet:
    cells: dict[Place, Stored] = {}
    merged: list[tuple[Place, Place]] = []
    with reader.archive.open(part) as source:
        parser = _Parser(source, reader.shared_strings, True, reader.wb.epoch, styles.dates, styles.durations)
        # Not openpyxl's: defusedxml's takes twice the time, and the guard has refused every document type.
        element: Any
        for _, element in iterparse(source):
            if element.tag == ROW_TAG:
                for cell in parser.parse_row(element)[1]:
                    number_format = styles.formats[cell["style_id"]]
                    if cell["value"] is not None:
                        cells[cell["row"], cell["column"]] = Stored(cell["value"], cell["data_type"], number_format)
                element.clear()
            elif element.tag == COL_TAG:
                parser.parse_column_dimensions(element)
            elif element.tag == MERGE_TAG:
                merged += _merged(element)
    for covered in merged:
        for place in _covered(*covered):
            cells.pop(place, None)
    rows = frozenset(int(row) for row, shape in parser.row_dimensions.items() if _is_true(shape.get("hidden")))
    columns = tuple(
        (int(shape["min"]), int(shape.get("max", shape["min"])))
        for shape in parser.column_dimensions.values()
        if _is_true(shape.get("hidden"))
    )
    return Sheet(title, hidden, cells, parser.formulas, tuple(merged), rows, columns)


def _merged(element: Element) -> Iterator[tuple[Place, Place]]:
    for one in element:
        first_column, first_row, last_column, last_row = range_boundaries(one.attrib["ref"])
        yield (int(first_row or 1), int(first_column or 1)), (int(last_row or 1), int(last_column or 1))


def _covered(first: Place, last: Place) -> Iterator[Place]:
    """The cells that a merged range hides: all but the first. The guard has limited their number."""
    for row in range(first[0], last[0] + 1):
        for column in range(first[1], last[1] + 1):
            if (row, column) != first:
                yield row, column


def _is_true(text: str | None) -> bool:
    return text in ("1", "true")
