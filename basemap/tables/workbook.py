"""Workbooks: the cells of one sheet, and the table among them. The only module that reads with openpyxl."""

from __future__ import annotations

import datetime
import io
import math
import re
import warnings
from typing import TYPE_CHECKING

from basemap.errors import InputError
from basemap.frozen import frozen
from basemap.tables.cells import Area, Cell, Cells, Number, Place, Unusable, column_letters
from basemap.tables.find import EXPECTED_TABLE, FEWEST, area_of_range, find_area, find_blocks
from basemap.tables.guard import OF_A_TABLE, OF_OUR_OWN, guard

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell as WorkbookCell
    from openpyxl.cell.cell import MergedCell
    from openpyxl.workbook.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

MOST_ROWS = 2_000
MOST_COLUMNS = 500
STATUS_NAME, NEW_TABLE_NAME = "issued_status", "new_table"
"""Names of cells by which a workbook of this program is known, and where its new table stands."""
MOST_NAME_BYTES = 1024 * 1024
MOST_GENERAL_DECIMALS = 4
"""Decimals believed of a number that the sheet shows in no fixed format: more are arithmetic's, not a table's."""

Limits = tuple[Place, Place]
"""First and last place of a range."""

_BELIEVED: Limits = ((1, 1), (MOST_ROWS, MOST_COLUMNS))
_RANGE = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6}):\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})")
_FIXED_FORMAT = re.compile(r"[#,]*0(?:\.(?P<decimals>0+))?%?")
_LONGEST_FORMAT = 255
"""Characters that a spreadsheet program allows; beyond it the pattern could take very long."""
_NEVER_CALCULATED = Unusable(
    "holds a formula that was never calculated (open the file in a spreadsheet program and save it)"
)


@frozen
class SheetTable:
    """The table of one sheet, and remarks on what was read."""

    cells: Cells
    area: Area
    remarks: tuple[str, ...]


def read_workbook(data: bytes, sheet: str | None, cell_range: str | None) -> SheetTable:
    """Find the table of a workbook.

    Parameters
    ----------
    data
        The file.
    sheet
        Name of the sheet; by default the only one that holds a table. In a workbook that this program wrote the new
        table is meant unless another sheet or range is named.
    cell_range
        Such as ``B3:R19``, with axes and corner; by default the one table on the sheet.

    Raises
    ------
    InputError
        If the file is refused by the guard, cannot be read, or leaves open which table is meant.
    """
    limits = _parsed_range(cell_range) if cell_range is not None else None
    has_formulas = guard(data, OF_OUR_OWN if is_ours(data) else OF_A_TABLE).formulas
    book = _load(data, data_only=True)
    formulas = _load(data, data_only=False) if has_formulas else None
    own = _new_table_of_ours(book) if sheet is None and limits is None else None
    if own is not None:
        sheet, limits = own
    worksheet, cells = _chosen_sheet(book, formulas, sheet, limits)
    if limits is not None:
        area, remarks = area_of_range(*limits), tuple[str, ...]()
    else:
        area, remarks = find_area(cells, 'say which is meant with cells = "B3:R19", axes and corner included')
    _refuse_merged(worksheet, cells, area)
    calculated = _calculated_remark(formulas, worksheet.title, area) if formulas else ()
    return SheetTable(cells, area, (*remarks, *_hidden_remarks(worksheet, area), *calculated))


def read_sheet(data: bytes, sheet: str | None, cell_range: str | None) -> Cells:
    """All cells of the sheet that is meant, or those of a range, for a table with one axis.

    Raises
    ------
    InputError
        As in `read_workbook`.
    """
    limits = _parsed_range(cell_range, FEWEST) if cell_range is not None else None
    formulas = _load(data, data_only=False) if guard(data).formulas else None
    book = _load(data, data_only=True)
    titles = [worksheet.title for worksheet in book.worksheets]
    if sheet is not None and sheet not in titles:
        raise InputError(f'the workbook has no sheet "{sheet}": expected {_listed(titles)}')
    read = [_sheet_cells(book[title], formulas, limits) for title in titles if sheet in (None, title)]
    filled = [cells for cells in read if any(limits is None or _within(place, limits) for place in cells.at)]
    if not filled:
        raise InputError("the workbook is empty there: expected a table of numbers")
    if len(filled) > 1:
        found = _listed([str(cells.sheet) for cells in filled])
        raise InputError(f"more than one sheet holds something: say which is meant, sheet = {found}")
    kept = {place: cell for place, cell in filled[0].at.items() if limits is None or _within(place, limits)}
    return Cells(kept, filled[0].sheet)


def _load(data: bytes, *, data_only: bool) -> Workbook:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of parts that it drops, none of which holds a cell
            return load_workbook(io.BytesIO(data), data_only=data_only, keep_links=False)
    except Exception:
        raise InputError(
            "the workbook cannot be read, it is damaged or not made by a spreadsheet program: "
            "open it in one and save it again as .xlsx"
        ) from None


def _parsed_range(text: str, fewest: int = FEWEST + 1) -> Limits:
    from openpyxl.utils import column_index_from_string

    match = _RANGE.fullmatch(text.strip())
    if match is None:
        raise InputError(f'cells = "{text}" is no range: expected one such as "B3:R19", axes and corner included')
    columns = sorted(column_index_from_string(match[group].upper()) for group in (1, 3))
    rows = sorted(int(match[group]) for group in (2, 4))
    if rows[1] - rows[0] > MOST_ROWS or columns[1] - columns[0] > MOST_COLUMNS:
        raise InputError(
            f'cells = "{text}" is larger than any table: expected at most {MOST_ROWS} rows and {MOST_COLUMNS} columns'
        )
    if min(rows[1] - rows[0], columns[1] - columns[0]) + 1 < fewest:
        if fewest == FEWEST:
            raise InputError(f'cells = "{text}" is too small: expected two columns or two rows')
        raise InputError(
            f'cells = "{text}" is too small: expected axes and corner and at least {FEWEST} × {FEWEST} values'
        )
    return (rows[0], columns[0]), (rows[1], columns[1])


def is_ours(data: bytes) -> bool:
    """Whether a workbook defines our names, as this program wrote it or as it came back. Cheap, before any guard."""
    import zipfile
    import zlib

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, archive.open("xl/workbook.xml") as part:
            names = part.read(MOST_NAME_BYTES)
            return all(f'"{name}"'.encode() in names for name in (STATUS_NAME, NEW_TABLE_NAME))
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, RuntimeError, OSError, ValueError):
        return False


def _new_table_of_ours(book: Workbook) -> tuple[str, Limits] | None:
    """Sheet and range, axes included, of the new table, where this program wrote the workbook."""
    names = book.defined_names
    if not {STATUS_NAME, NEW_TABLE_NAME} <= names.keys():
        return None
    places = list(names[NEW_TABLE_NAME].destinations)
    match = _RANGE.fullmatch(places[0][1]) if len(places) == 1 and places[0][0] in book.sheetnames else None
    if match is None:
        return None
    (first_row, first_column), last = _parsed_range(places[0][1])
    return places[0][0], ((max(first_row - 1, 1), max(first_column - 1, 1)), last)


def _chosen_sheet(
    book: Workbook, formulas: Workbook | None, sheet: str | None, limits: Limits | None
) -> tuple[Worksheet, Cells]:
    """The sheet that was named, else the only one that holds a table or anything at all."""
    titles = [worksheet.title for worksheet in book.worksheets]
    if sheet is not None:
        if sheet not in titles:
            raise InputError(f'the workbook has no sheet "{sheet}": expected {_listed(titles)}')
        return book[sheet], _sheet_cells(book[sheet], formulas, limits)
    read = [(worksheet, _sheet_cells(worksheet, formulas, limits)) for worksheet in book.worksheets]
    filled = [(worksheet, cells) for worksheet, cells in read if cells.at]
    if not filled:
        raise InputError("the workbook is empty: expected a table of numbers")
    if len(filled) == 1:
        return filled[0]
    holding = [pair for pair in filled if _may_be_meant(pair[1], limits)]
    if len(holding) == 1:
        return holding[0]
    found = _listed([worksheet.title for worksheet, _ in holding or filled])
    if not holding:
        raise InputError(f"no table was found on the sheets {found}: {EXPECTED_TABLE}")
    where = " there" if limits else ""
    raise InputError(f"more than one sheet holds a table{where}: say which is meant, sheet = {found}")


def _may_be_meant(cells: Cells, limits: Limits | None) -> bool:
    """Whether a sheet holds a table, sound or not."""
    if limits is None:
        return any(block.is_large for block in find_blocks(cells))
    return any(_within(place, limits) for place in cells.at)


def _within(place: Place, limits: Limits) -> bool:
    first, last = limits
    return first[0] <= place[0] <= last[0] and first[1] <= place[1] <= last[1]


def _listed(titles: list[str]) -> str:
    return " or ".join(f'"{title}"' for title in titles)


def _sheet_cells(worksheet: Worksheet, formulas: Workbook | None, limits: Limits | None) -> Cells:
    """Cells that hold something; never by counting up to the size that the sheet claims."""
    never = _formula_places(formulas, worksheet.title) if formulas else set()
    at: dict[Place, Cell] = {}
    for place, cell in sorted(worksheet._cells.items()):
        content = _content(cell) if cell.value is not None else (_NEVER_CALCULATED if place in never else "")
        if content == "":
            continue
        if _within(place, _BELIEVED) or (limits and _within(place, limits)):
            at[place] = content
        elif limits is None:
            raise Cells({}, worksheet.title).error(
                place,
                f"the cell holds something far outside any table (beyond row {MOST_ROWS} or column {MOST_COLUMNS}): "
                'clear it, or say where the table is with cells = "B3:R19"',
            )
    return Cells(at, worksheet.title)


def _formula_places(formulas: Workbook, title: str) -> set[Place]:
    cells = formulas[title]._cells
    return {place for place, cell in cells.items() if cell.data_type == "f"}


def _content(cell: WorkbookCell | MergedCell) -> Cell:
    value = cell.value
    if isinstance(value, bool):
        return Unusable(f"holds {str(value).upper()}")
    if cell.data_type == "e":
        return Unusable(f"holds the error {value}")
    if isinstance(value, datetime.datetime | datetime.date | datetime.time | datetime.timedelta):
        return Unusable(f"holds a date or time ({value}); if it is a number, give the cell a number format")
    if isinstance(value, int | float):
        return _finite(value, cell.number_format)
    return str(value).strip()


def _finite(value: float, number_format: str) -> Number | Unusable:
    try:
        number = float(value)
    except OverflowError:  # a whole number that no workbook can hold
        number = math.inf
    if not math.isfinite(number):
        return Unusable(f"holds {number}")
    return _number(number, number_format[:_LONGEST_FORMAT])


def _number(value: float, number_format: str) -> Number:
    positive = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]|_.', "", number_format.split(";")[0]).strip()
    fixed = _FIXED_FORMAT.fullmatch(positive)
    percent = positive.endswith("%")
    shown_value = float(f"{value * 100:.15g}") if percent else value
    if fixed:
        return Number(shown_value, len(fixed["decimals"] or ""), percent)
    return Number(shown_value, min(_decimals(shown_value), MOST_GENERAL_DECIMALS), percent)


def _decimals(value: float) -> int:
    """Decimals of a number at the fifteen digits that a spreadsheet knows."""
    text = f"{value:.15g}"
    if "e" in text:
        return MOST_GENERAL_DECIMALS if "e-" in text else 0
    return len(text.partition(".")[2])


def _refuse_merged(worksheet: Worksheet, cells: Cells, area: Area) -> None:
    (first_row, first_column), (last_row, last_column) = area.corner, area.last
    for merged in worksheet.merged_cells.ranges:
        apart = (
            merged.max_row < first_row
            or merged.min_row > last_row
            or merged.max_col < first_column
            or merged.min_col > last_column
        )
        if not apart:
            raise cells.error(
                (max(merged.min_row, first_row), max(merged.min_col, first_column)),
                f"the cells {merged.coord} are merged: expected a table without merged cells; unmerge them and fill in "
                "each cell",
            )


def _hidden_remarks(worksheet: Worksheet, area: Area) -> tuple[str, ...]:
    from openpyxl.utils import column_index_from_string

    remarks = []
    if worksheet.sheet_state != "visible":
        remarks.append(f"the sheet {worksheet.title} is hidden and was read")
    rows = {row for row, shape in worksheet.row_dimensions.items() if shape.hidden}
    hidden_rows = sorted(rows.intersection((area.header_row, *area.rows)))
    spans: list[tuple[int, int]] = []  # their ends alone: a file may claim any number of columns
    for letters, shape in worksheet.column_dimensions.items():
        if shape.hidden:
            first = column_index_from_string(letters)
            spans.append((shape.min or first, shape.max or first))
    hidden_columns = [
        column for column in (area.axis_column, *area.columns) if any(first <= column <= last for first, last in spans)
    ]
    if hidden_rows:
        remarks.append(f"hidden rows were read: {', '.join(map(str, hidden_rows))}")
    if hidden_columns:
        remarks.append(f"hidden columns were read: {', '.join(map(column_letters, hidden_columns))}")
    return tuple(remarks)


def _calculated_remark(formulas: Workbook, title: str, area: Area) -> tuple[str, ...]:
    count = len(_formula_places(formulas, title).intersection(area.body()))
    return (f"{count} cells are formulas: the values of their last calculation were read",) if count else ()
