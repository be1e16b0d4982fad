"""Reads the cells of one sheet of a workbook, and the table among them."""

from __future__ import annotations

import datetime
import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from basemap.errors import InputError
from basemap.tables.cells import Area, Cell, Cells, Number, Place, Unusable, a1, column_letters
from basemap.tables.find import EXPECTED_TABLE, FEWEST, area_of_range, find_area, find_blocks, stands_for_number
from basemap.tables.guard import MOST_CELLS_AND_ROWS, MOST_OF_OUR_OWN, guard, names_of

if TYPE_CHECKING:
    from basemap.tables.package import Sheet, Stored, WorkbookFile

MOST_ROWS = 2_000
MOST_COLUMNS = 500
STATUS_NAME, NEW_TABLE_NAME = "issued_status", "new_table"
"""Names of cells by which a workbook of this program is recognised; the second is its new table."""
MOST_GENERAL_DECIMALS = 4
"""The most decimals of a number without a fixed format; more come from arithmetic, not from a table."""

Limits = tuple[Place, Place]
"""First and last place of a range."""

_BELIEVED: Limits = ((1, 1), (MOST_ROWS, MOST_COLUMNS))
_RANGE = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6}):\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})")
_FIXED_FORMAT = re.compile(r"[#,]*0(?:\.(?P<decimals>0+))?%?")
_LONGEST_SHOWN = 40
_LONGEST_FORMAT = 255
"""The most characters that a spreadsheet program allows; with more the pattern could take very long."""
_NEVER_CALCULATED = Unusable(
    "holds a formula that was never calculated (open the file in a spreadsheet program and save it)"
)


class SheetTable(NamedTuple):
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
        Name of the sheet; by default the only one with a table. In a workbook of this program the new table is meant,
        unless a sheet or range is named.
    cell_range
        Such as ``B3:R19``, with axes and corner; by default the only table on the sheet.

    Raises
    ------
    InputError
        If the guard refuses the file, if it cannot be read, or if it is not clear which table is meant.
    """
    limits = _parsed_range(cell_range) if cell_range is not None else None
    book = guarded(data)
    own = _new_table_of_ours(book) if sheet is None and limits is None else None
    if own is not None:
        sheet, limits = own
    chosen, cells = _chosen_sheet(book, sheet, limits)
    if limits is not None:
        _refuse_blank_lines(cells, limits)
        area, remarks = area_of_range(*limits), tuple[str, ...]()
    else:
        area, remarks = find_area(cells, 'say which one you mean with cells = "B3:R19", including axes and corner')
    _refuse_merged(chosen, cells, area)
    return SheetTable(cells, area, (*remarks, *_hidden_remarks(chosen, area), *_calculated_remark(chosen, area)))


def _refuse_blank_lines(cells: Cells, limits: Limits) -> None:
    """Refuse a range without a number, or one that goes on after its table has ended."""
    said = f"{a1(limits[0])}:{a1(limits[1])}"
    within = [place for place in cells.at if _within(place, limits)]
    if not any(stands_for_number(cells, place) for place in within):
        filled = cells.range_of(*_corners(list(cells.at))) if cells.at else "nothing"
        raise InputError(f'cells = "{said}" holds no number: the sheet has content in {filled}')
    last = _corners(within)[1]
    if last != limits[1]:
        raise InputError(
            f'cells = "{said}" includes blank rows or columns: the content there ends at {a1(last)}, so perhaps you '
            f'mean "{a1(limits[0])}:{a1(last)}"'
        )


def _corners(places: list[Place]) -> Limits:
    rows, columns = ([place[axis] for place in places] for axis in (0, 1))
    return (min(rows), min(columns)), (max(rows), max(columns))


def read_sheet(data: bytes, sheet: str | None, cell_range: str | None) -> Cells:
    """The cells of the sheet that is meant, or of a range, for a table with one axis.

    Raises
    ------
    InputError
        As in `read_workbook`.
    """
    limits = _parsed_range(cell_range, FEWEST) if cell_range is not None else None
    book = guarded(data)
    chosen = book.sheets.values() if sheet is None else (_sheet_of(book, sheet),)
    read = [_sheet_cells(one, limits) for one in chosen]
    filled = [cells for cells in read if any(limits is None or _within(place, limits) for place in cells.at)]
    if not filled:
        raise InputError("the workbook is empty there: expected a table of numbers")
    if len(filled) > 1:
        found = _listed([str(cells.sheet) for cells in filled])
        raise InputError(f"more than one sheet has content: say which one you mean, sheet = {found}")
    kept = {place: cell for place, cell in filled[0].at.items() if limits is None or _within(place, limits)}
    return Cells(kept, filled[0].sheet)


def guarded(data: bytes) -> WorkbookFile:
    """Read a workbook, after the guard that checks every workbook from outside.

    Raises
    ------
    InputError
        If the guard refuses it, or it cannot be read.
    """
    guard(data, MOST_OF_OUR_OWN if is_ours(data) else MOST_CELLS_AND_ROWS)
    from basemap.tables.package import read_book  # imports openpyxl, which nothing else needs

    return read_book(data)


def _parsed_range(text: str, fewest: int = FEWEST + 1) -> Limits:
    from openpyxl.utils import column_index_from_string

    match = _RANGE.fullmatch(text.strip())
    if match is None:
        raise InputError(f'cells = "{text}" is not a range: expected one such as "B3:R19", including axes and corner')
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
    """Whether a workbook has the names that this program defines; quick, and safe before the guard."""
    return {STATUS_NAME, NEW_TABLE_NAME} <= names_of(data)


def _new_table_of_ours(book: WorkbookFile) -> tuple[str, Limits] | None:
    """Sheet and range, axes included, of the new table, where this program wrote the workbook."""
    if not {STATUS_NAME, NEW_TABLE_NAME} <= book.names.keys():
        return None
    named = book.named(NEW_TABLE_NAME)
    if named is None or min(named.first) < 2:
        raise InputError(damaged_name(NEW_TABLE_NAME, book))
    (rows, columns), (last_row, last_column) = named.first, named.last
    if last_row - rows >= MOST_ROWS or last_column - columns >= MOST_COLUMNS:
        raise InputError(damaged_name(NEW_TABLE_NAME, book))
    return named.sheet, ((rows - 1, columns - 1), named.last)


def damaged_name(name: str, book: WorkbookFile) -> str:
    """The message for a name of ours that no longer refers to its cells."""
    text = book.names[name].strip()
    shown = f'"{text[:_LONGEST_SHOWN]}{"…" if len(text) > _LONGEST_SHOWN else ""}"' if text else "nothing"
    return (
        f"the name {name} of the workbook, which this program wrote, refers to {shown}: expected a range of cells on "
        "one of its sheets, as issued; start again from the issued workbook, or copy the table into a new one"
    )


def _sheet_of(book: WorkbookFile, title: str) -> Sheet:
    if title not in book.sheets:
        raise InputError(f'the workbook has no sheet "{title}": expected {_listed(list(book.sheets))}')
    return book.sheets[title]


def _chosen_sheet(book: WorkbookFile, sheet: str | None, limits: Limits | None) -> tuple[Sheet, Cells]:
    """The sheet that the user named, else the only one with content, else the only one with a table."""
    if sheet is not None:
        chosen = _sheet_of(book, sheet)
        return chosen, _sheet_cells(chosen, limits)
    read = [(one, _sheet_cells(one, limits)) for one in book.sheets.values()]
    filled = [(one, cells) for one, cells in read if cells.at]
    if not filled:
        raise InputError("the workbook is empty: expected a table of numbers")
    if len(filled) == 1:
        return filled[0]
    holding = [pair for pair in filled if _may_be_meant(pair[1], limits)]
    if len(holding) == 1:
        return holding[0]
    found = _listed([one.title for one, _ in holding or filled])
    if not holding:
        raise InputError(f"no table was found on the sheets {found}: {EXPECTED_TABLE}")
    where = " there" if limits else ""
    raise InputError(f"more than one sheet has a table{where}: say which one you mean, sheet = {found}")


def _may_be_meant(cells: Cells, limits: Limits | None) -> bool:
    """Whether a sheet has a table, even if it is not a sound one."""
    if limits is None:
        return any(block.is_large for block in find_blocks(cells))
    return any(_within(place, limits) for place in cells.at)


def _within(place: Place, limits: Limits) -> bool:
    first, last = limits
    return first[0] <= place[0] <= last[0] and first[1] <= place[1] <= last[1]


def _listed(titles: list[str]) -> str:
    return " or ".join(f'"{title}"' for title in titles)


def _sheet_cells(sheet: Sheet, limits: Limits | None) -> Cells:
    """The cells with content, whatever size the sheet claims to have."""
    at: dict[Place, Cell] = {}
    for place in sorted({*sheet.cells, *sheet.formulas}):
        content = _content(sheet.cells[place]) if place in sheet.cells else _NEVER_CALCULATED
        if content == "":
            continue
        if _within(place, _BELIEVED) or (limits and _within(place, limits)):
            at[place] = content
        elif limits is None:
            raise Cells({}, sheet.title).error(
                place,
                f"the cell has content far outside any table (beyond row {MOST_ROWS} or column {MOST_COLUMNS}): clear "
                'it, or say where the table is with cells = "B3:R19"',
            )
    return Cells(at, sheet.title)


def _content(cell: Stored) -> Cell:
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
    except OverflowError:  # a whole number too large for a workbook
        number = math.inf
    if not math.isfinite(number):
        return Unusable(f"holds {number}")
    return _number(number, number_format[:_LONGEST_FORMAT])


def _number(value: float, number_format: str) -> Number:
    decimals, percent = _shown_by(number_format)
    shown_value = float(f"{value * 100:.15g}") if percent else value
    if decimals is None:
        decimals = min(_decimals(shown_value), MOST_GENERAL_DECIMALS)
    return Number(shown_value, decimals, percent)


@lru_cache(maxsize=256)
def _shown_by(number_format: str) -> tuple[int | None, bool]:
    """How many decimals a format shows, None where it leaves that to the number; and whether it shows per cent."""
    positive = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]|_.', "", number_format.split(";")[0]).strip()
    fixed = _FIXED_FORMAT.fullmatch(positive)
    return (len(fixed["decimals"] or "") if fixed else None), positive.endswith("%")


def _decimals(value: float) -> int:
    """Decimals of a number with the fifteen digits that a spreadsheet keeps."""
    text = f"{value:.15g}"
    if "e" in text:
        return MOST_GENERAL_DECIMALS if "e-" in text else 0
    return len(text.partition(".")[2])


def _refuse_merged(sheet: Sheet, cells: Cells, area: Area) -> None:
    (first_row, first_column), (last_row, last_column) = area.corner, area.last
    for first, last in sheet.merged:
        if last[0] < first_row or first[0] > last_row or last[1] < first_column or first[1] > last_column:
            continue
        merged = f"{column_letters(first[1])}{first[0]}:{column_letters(last[1])}{last[0]}"
        raise cells.error(
            (max(first[0], first_row), max(first[1], first_column)),
            f"the cells {merged} are merged: expected a table without merged cells; unmerge them and fill in every "
            "cell",
        )


def _hidden_remarks(sheet: Sheet, area: Area) -> tuple[str, ...]:
    remarks = []
    if sheet.hidden:
        remarks.append(f"the sheet {sheet.title} is hidden and was read")
    hidden_rows = sorted(sheet.hidden_rows.intersection((area.header_row, *area.rows)))
    hidden_columns = [
        column
        for column in (area.axis_column, *area.columns)
        if any(first <= column <= last for first, last in sheet.hidden_columns)
    ]
    if hidden_rows:
        remarks.append(f"hidden rows were read: {', '.join(map(str, hidden_rows))}")
    if hidden_columns:
        remarks.append(f"hidden columns were read: {', '.join(map(column_letters, hidden_columns))}")
    return tuple(remarks)


def _calculated_remark(sheet: Sheet, area: Area) -> tuple[str, ...]:
    count = len(sheet.formulas.keys() & set(area.body()))
    return (f"{count} cells are formulas: their last calculated values were read",) if count else ()
