"""Finds the table among the cells of a sheet or text file."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from basemap.errors import InputError
from basemap.tables.cells import Area, Cells, Number, Place, Unusable
from basemap.tables.numbers import is_number_like

FEWEST = 2
"""The fewest rows and the fewest columns of values that a table has."""

EXPECTED_TABLE = (
    f"expected a row of axis values, and below it rows that each begin with their own axis value, at least {FEWEST} × "
    f"{FEWEST} values"
)


class CellGroup(NamedTuple):
    """A group of cells between blank rows and columns, and the table in it, if there is one."""

    places: list[Place]
    numeric: frozenset[Place]
    area: Area | None

    @property
    def first(self) -> Place:
        """Its first row and its first column."""
        return min(row for row, _ in self.places), min(column for _, column in self.places)

    @property
    def last(self) -> Place:
        """Its last row and its last column."""
        return max(row for row, _ in self.places), max(column for _, column in self.places)

    @property
    def is_table(self) -> bool:
        """Whether it is a table: two axes that meet in a corner without a number."""
        return self.area is not None and self.area.corner not in self.numeric

    @property
    def is_large(self) -> bool:
        """Whether it is as large as a table, even if it is not a sound one."""
        return self.area is not None and min(len(self.area.rows), len(self.area.columns)) >= FEWEST


def stands_for_number(cells: Cells, place: Place) -> bool:
    """Whether a cell holds a number, or something in place of one, such as an error."""
    cell = cells.at[place]
    return is_number_like(cell) if isinstance(cell, str) else isinstance(cell, Number | Unusable)


def find_blocks(cells: Cells) -> list[CellGroup]:
    """All groups of cells, in reading order."""
    return [_block(cells, places) for places in _divide(sorted(cells.at), cells.ignored_rows)]


def find_area(cells: Cells, how_to_say: str) -> tuple[Area, tuple[str, ...]]:
    """The only table among the cells, and remarks on numbers elsewhere that were not read.

    Parameters
    ----------
    how_to_say
        What the user can do where there are several, such as naming `cells`.

    Raises
    ------
    InputError
        Where there is none, where there are several, or where a blank row or column cuts it in two.
    """
    blocks = find_blocks(cells)
    tables = [block for block in blocks if block.is_table]
    if not tables:
        raise _no_table(cells, blocks)
    area = tables[0].area
    assert area is not None
    if len(tables) > 1:
        raise _more_than_one(cells, tables, how_to_say)
    others = [block for block in blocks if block is not tables[0] and block.numeric]
    for block in others:
        if _continues(area, block):
            raise cells.error(
                min(block.numeric),
                f"there are numbers here, outside the table {cells.range_of(area.corner, area.last)}, as if a blank "
                f"row or column cut it in two: close the gap, or {how_to_say}",
            )
    if any(block.is_large for block in others):
        raise _more_than_one(cells, [tables[0], *(block for block in others if block.is_large)], how_to_say)
    remarks = tuple(f"not read: {cells.range_of(block.first, block.last)}, outside the table" for block in others)
    return area, remarks


def area_of_range(first: Place, last: Place, ignored_rows: Iterable[int] = ()) -> Area:
    """The table that fills a range, which includes axes and corner."""
    ignored = frozenset(ignored_rows)
    rows = tuple(row for row in range(first[0] + 1, last[0] + 1) if row not in ignored)
    return Area(first[0], rows, first[1], tuple(range(first[1] + 1, last[1] + 1)))


def _divide(places: list[Place], ignored_rows: frozenset[int]) -> list[list[Place]]:
    """Groups of places, cut at blank rows and columns again and again; comment rows do not cut."""
    whole, pending = [], [places] if places else []
    while pending:
        group = pending.pop()
        parts = _cut(group, 0, ignored_rows)
        if len(parts) == 1:
            parts = _cut(group, 1, frozenset())
        if len(parts) == 1:
            whole.append(group)
        else:
            pending += parts
    return sorted(whole)


def _cut(places: list[Place], axis: int, ignored: frozenset[int]) -> list[list[Place]]:
    group_of: dict[int, int] = {}
    groups, before = -1, None
    for line in sorted({place[axis] for place in places}):
        if before is None or any(between not in ignored for between in _gap(before, line, ignored)):
            groups += 1
        group_of[line], before = groups, line
    if groups <= 0:
        return [places]
    cut: list[list[Place]] = [[] for _ in range(groups + 1)]
    for place in places:
        cut[group_of[place[axis]]].append(place)
    return cut


def _gap(before: int, line: int, ignored: frozenset[int]) -> range:
    """The lines between two; at most one more than can be ignored, for that is enough to decide."""
    return range(before + 1, min(line, before + len(ignored) + 2))


def _block(cells: Cells, places: list[Place]) -> CellGroup:
    numeric = frozenset(place for place in places if stands_for_number(cells, place))
    return CellGroup(places, numeric, _area(places, numeric, cells.ignored_rows))


def _area(places: list[Place], numeric: frozenset[Place], ignored_rows: frozenset[int]) -> Area | None:
    """The area of the table: its header row is the first with two numbers, its axis the first column with any below."""
    in_row: dict[int, int] = {}
    for row, _ in numeric:
        in_row[row] = in_row.get(row, 0) + 1
    header = min((row for row, count in in_row.items() if count >= FEWEST), default=None)
    below = [place for place in numeric if header is not None and place[0] > header]
    if header is None or not below:
        return None
    axis_column = min(column for _, column in below)
    last_column = max(column for row, column in numeric if row >= header)
    if last_column == axis_column:
        return None
    last_row = _last_row(places, max(row for row, _ in below), axis_column)
    return area_of_range((header, axis_column), (last_row, last_column), ignored_rows)


def _last_row(places: list[Place], last_numeric: int, axis_column: int) -> int:
    """The last row: below the last number, a row with one text is a footnote, one with two a faulty row."""
    filled: dict[int, int] = {}
    for row, column in places:
        if row > last_numeric and column >= axis_column:
            filled[row] = filled.get(row, 0) + 1
    return max((row for row, count in filled.items() if count > 1), default=last_numeric)


def _continues(area: Area, block: CellGroup) -> bool:
    """Whether a block without a title of its own is where the table would go on if there were no gap."""
    row = min(row for row, _ in block.numeric)
    if row != block.first[0]:
        return False
    columns = {column for place_row, column in block.numeric if place_row == row}
    below = row > area.rows[-1] and len(columns.intersection((area.axis_column, *area.columns))) >= FEWEST
    begins_with_number = (row, min(column for place_row, column in block.places if place_row == row)) in block.numeric
    beside = row in (area.header_row, area.rows[0]) and min(columns) > area.columns[-1] and begins_with_number
    return below or beside


def _more_than_one(cells: Cells, blocks: list[CellGroup], how_to_say: str) -> InputError:
    areas = [block.area for block in blocks[:2] if block.area is not None]
    ranges = " and ".join(cells.range_of(area.corner, area.last) for area in areas)
    return InputError(f"there is more than one table: {ranges}; {how_to_say}")


def _no_table(cells: Cells, blocks: list[CellGroup]) -> InputError:
    areas = [block.area for block in blocks if block.area is not None]
    if areas:
        return cells.error(
            areas[0].corner,
            "there is a number in the corner where the two axes meet: expected a blank or a label there, axis values "
            f"to the right of it and below it, and at least {FEWEST} × {FEWEST} values",
        )
    return InputError(f"no table was found: {EXPECTED_TABLE}")
