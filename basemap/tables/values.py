"""Reads the numbers of a table; a cell that is not a number is refused."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from basemap.errors import InputError
from basemap.model.installation import FloatArray
from basemap.tables.cells import Area, Cells, Number, Place, Unusable, a1, shown
from basemap.tables.find import FEWEST
from basemap.tables.numbers import DecimalMark, decide_mark, decimals_of, parse, split_unit
from basemap.tables.orientation import Axis

_EXPECTED = "expected a number here"


@dataclass(frozen=True)
class Values:
    """The numbers of a table in the file's own order.

    Parameters
    ----------
    row_axis, column_axis
        The axis that runs down and the one that runs across.
    body
        Shape (rows, columns) as in the file.
    decimal_mark, mark_was_seen
        The mark, and whether a number shows it or the user states it.
    decimals, fixed_decimals
        The most decimals of a number of the body, and whether all numbers have that many.
    is_percent
        Whether a workbook shows the body in per cent.
    """

    row_axis: Axis
    column_axis: Axis
    body: FloatArray
    decimal_mark: DecimalMark
    mark_was_seen: bool
    decimals: int
    fixed_decimals: bool
    is_percent: bool


def read_values(cells: Cells, area: Area, *, stated: DecimalMark | None, open_point: bool) -> Values:
    """Read every number of a table.

    Raises
    ------
    InputError
        At the first cell that is blank or not a number; where an axis neither rises nor falls throughout; where the
        decimal mark is open; where the table is too small.
    """
    _refuse_small(cells, area)
    places = [*area.column_axis(), *(place for row in area.rows for place in _row(area, row))]
    mark, seen = decide_mark(cells, places, stated=stated, open_point=open_point)
    column_axis = read_axis(cells, area.column_axis(), mark)
    row_axis = read_axis(cells, area.row_axis(), mark)
    body = [read_number(cells, place, mark) for place in area.body()]
    percent = _same_percent(cells, area.body())
    for places_of_axis in (area.row_axis(), area.column_axis()):
        _same_percent(cells, places_of_axis)
    decimals, fixed = most_decimals(cells, area.body(), mark)
    shape = len(area.rows), len(area.columns)
    return Values(row_axis, column_axis, np.array(body).reshape(shape), mark, seen, decimals, fixed, percent)


def _row(area: Area, row: int) -> Iterator[Place]:
    yield row, area.axis_column
    yield from ((row, column) for column in area.columns)


def _refuse_small(cells: Cells, area: Area) -> None:
    if len(area.rows) < FEWEST or len(area.columns) < FEWEST:
        where, size = cells.range_of(area.corner, area.last), f"{len(area.rows)} × {len(area.columns)}"
        raise InputError(f"the table {where} has {size} values: expected at least {FEWEST} × {FEWEST}")


def read_axis(cells: Cells, places: list[Place], mark: DecimalMark) -> Axis:
    """The values of an axis; refused where one is not a number, or where they neither rise nor fall throughout."""
    units = [split_unit(cells.text_at(place))[1] for place in places]
    for place in places:
        if place not in cells.at:
            raise cells.error(
                place, "the cell is blank: expected an axis value here, for its row or column has numbers"
            )
    values = [read_number(cells, place, mark, unit) for place, unit in zip(places, units, strict=True)]
    for place, unit in zip(places, units, strict=True):
        if unit.strip() != units[0].strip():
            raise cells.error(
                place,
                f"the axis value {shown(cells.text_at(place))} does not have the unit of the first one, "
                f"{shown(cells.text_at(places[0]) or str(values[0]))}: give all of them the same unit, or none",
            )
    _refuse_unordered(cells, places, values)
    return Axis(values, units[0])


def _refuse_unordered(cells: Cells, places: list[Place], values: list[float]) -> None:
    seen: dict[float, Place] = {}
    for place, value in zip(places, values, strict=True):
        if value in seen:
            raise cells.error(place, f"the axis has {value:g} twice, first at {a1(seen[value])}")
        seen[value] = place
    falls = values[1] < values[0]
    for place, value, before in zip(places[1:], values[1:], values, strict=False):
        if (value < before) is not falls:
            raise cells.error(
                place,
                f"the axis changes direction here: {value:g} comes after {before:g}; expected values that only rise "
                "or only fall",
            )


def read_number(cells: Cells, place: Place, mark: DecimalMark, unit: str = "") -> float:
    """The number in a cell, without the `unit` after it; refused where there is none."""
    cell = cells.at.get(place)
    if isinstance(cell, Number):
        return cell.value
    if isinstance(cell, Unusable):
        raise cells.error(place, f"the cell {cell.why}: {_EXPECTED}")
    if cell is None:
        raise cells.error(place, f"the cell is blank: {_EXPECTED}")
    value = parse(cell[: len(cell) - len(unit)], mark)
    if value is None:
        raise cells.error(place, f"the cell holds {shown(cell)}: {_expected_instead_of(cell)}")
    if math.isinf(value):
        raise cells.error(place, f"the cell holds {shown(cell)}, which is too large: {_EXPECTED}")
    if math.isnan(value):
        raise cells.error(place, f"the cell holds {shown(cell)}, which is too small to tell from 0: {_EXPECTED}")
    return value


def _expected_instead_of(text: str) -> str:
    unit = split_unit(text)[1].strip()
    if unit.lower() not in ("ms", "us", "µs", "μs", "%"):
        return "expected a bare number here" if unit else _EXPECTED
    said = f'expected a bare number here; give the unit once for the table, unit = "{unit}"'
    return f"{said}; the cells of a pulse table are times, without %" if unit == "%" else said


def _same_percent(cells: Cells, places: list[Place]) -> bool:
    """Whether the numbers are shown in per cent; refused where only some are."""
    percent = [isinstance(cell, Number) and cell.percent for cell in map(cells.at.get, places)]
    if any(percent) and not all(percent):
        place = places[percent.index(not percent[0])]
        raise cells.error(
            place,
            f"the cell is {'not ' if percent[0] else ''}shown in per cent, but {a1(places[0])} is"
            f"{'' if percent[0] else ' not'}: expected one number format in all",
        )
    return percent[0]


MOST_DECIMALS = 15
"""A floating-point number has no more."""


def most_decimals(cells: Cells, places: list[Place], mark: DecimalMark) -> tuple[int, bool]:
    """The most decimals of a cell, and whether all cells have that many."""
    texts, numbers = set(), set()
    for place in places:
        cell = cells.at[place]
        if isinstance(cell, Number):
            numbers.add(cell.decimals)
        elif isinstance(cell, str):
            texts.add(cell)
    found = numbers | {decimals_of(text, mark) for text in texts}
    return min(max(found), MOST_DECIMALS), len(found) == 1
