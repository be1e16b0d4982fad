"""Which axis of a grid is the engine speed, by the text beside the axes or by magnitude; and the units named there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal, NamedTuple

from basemap.errors import InputError
from basemap.tables.cells import Area, Cells, Number, Place
from basemap.tables.grid import NamedUnit, Rows
from basemap.tables.numbers import LOAD_UNITS, RPM_UNITS

Kind = Literal["load", "rpm"]

SURELY_RPM = 1000.0
"""Every engine-speed axis of a fuel table reaches this; a load axis below it cannot be taken for one."""
LEAST_TOP_RPM = 500.0
MOST_RPM = 30_000.0

_RPM_WORDS = RPM_UNITS | {"speed", "revs"}
_LOAD_WORDS = LOAD_UNITS | {
    "load", "map", "pressure", "manifold", "throttle", "tps", "tp", "vacuum", "boost", "air", "airmass"
}  # fmt: skip
_NEUTRAL_WORDS = frozenset(
    {"engine", "axis", "in", "abs", "absolute", "gauge", "a", "g", "position", "intake", "ratio", "per", "cylinder",
     "stroke", "mass", "angle", "opening", "1", "x", "y"}
)  # fmt: skip
_OTHER: dict[Kind, Kind] = {"load": "rpm", "rpm": "load"}
_WORD = re.compile(r"[\w%/⁻¹^-]+")

_CELL_UNITS = (
    ("ms", re.compile(r"(?<![\w/])(?:ms|msec|[Mm]illiseconds?)(?![\w/])")),
    ("us", re.compile(r"[µμ]s(?!\w)|[(\[]us[)\]]|^us$|(?<!\w)[Mm]icroseconds?(?!\w)")),
    ("%", re.compile(r"%|(?<!\w)[Pp]er ?cent(?!\w)")),
)


class Axis(NamedTuple):
    """An axis as read: its values in the file's order, and the unit after each of them."""

    values: list[float]
    unit: str

    @property
    def top(self) -> float:
        """The highest value."""
        return max(self.values)

    def span(self) -> str:
        """Such as ``from 20 to 100``, in the file's order."""
        return f"from {self.values[0]:g} to {self.values[-1]:g}"


def rows_are(cells: Cells, area: Area, row_axis: Axis, column_axis: Axis, stated: Rows | None) -> Rows:
    r"""What the rows of a table stand for, ``load`` or ``rpm``.

    As the user states; else by the units and labels at the axes, which magnitude must not contradict; else by
    magnitude; else by a corner such as ``kPa \ rpm``.

    Raises
    ------
    InputError
        Where both axes could be the engine speed, or where the engine speeds cannot be in rev/min.
    """
    rows = stated or _decided(cells, area, row_axis, column_axis)
    speeds, place = (column_axis, area.column_axis()[0]) if rows == "load" else (row_axis, area.row_axis()[0])
    if not (min(speeds.values) >= 0.0 and LEAST_TOP_RPM <= speeds.top <= MOST_RPM):
        raise cells.error(
            place,
            f"the engine-speed axis runs {speeds.span()}: expected rev/min, reaching {LEAST_TOP_RPM:g} to "
            f"{MOST_RPM:g} and never below 0",
        )
    return rows


def _decided(cells: Cells, area: Area, row_axis: Axis, column_axis: Axis) -> Rows:
    labels = _by_labels(cells, area, row_axis, column_axis)
    magnitude = _by_magnitude(row_axis, column_axis)
    verdicts = labels | ({magnitude} if magnitude else set())
    if len(verdicts) > 1:
        raise _undecided("the labels of the axes contradict each other or the axis values", row_axis, column_axis)
    if not verdicts:
        verdicts = _by_corner(cells.text_at(area.corner))
    if not verdicts:
        both = min(row_axis.top, column_axis.top) >= SURELY_RPM
        raise _undecided(
            "either axis could be engine speed"
            if both
            else f"neither axis reaches {SURELY_RPM:g}, as engine speed does",
            row_axis,
            column_axis,
        )
    return verdicts.pop()


def _undecided(why: str, row_axis: Axis, column_axis: Axis) -> InputError:
    return InputError(
        f"{why}: the rows run {row_axis.span()} and the columns {column_axis.span()}; say what the rows are: rows = "
        '"load" or rows = "rpm"'
    )


def _by_magnitude(row_axis: Axis, column_axis: Axis) -> Rows | None:
    """By magnitude: the only axis that reaches 1000 is the engine speed, for no fuel table ends below 1000 rev/min."""
    down, across = row_axis.top >= SURELY_RPM, column_axis.top >= SURELY_RPM
    if down == across:
        return None
    return "rpm" if down else "load"


def _by_labels(cells: Cells, area: Area, row_axis: Axis, column_axis: Axis) -> set[Rows]:
    """By the units at the axes, the labels above the header row, and those left of the axis column."""
    down = {kind_of(row_axis.unit)} | {
        kind_of(cells.text_at((row, column)))
        for row in (area.header_row, *area.rows)
        for column in range(max(1, area.axis_column - 2), area.axis_column)
    }
    above = area.header_row - 1
    while above in cells.ignored_rows:
        above -= 1
    across = {kind_of(column_axis.unit)} | {kind_of(cells.text_at((above, column))) for column in area.columns}
    return {kind for kind in down if kind} | {_OTHER[kind] for kind in across if kind}


def _by_corner(text: str) -> set[Rows]:
    """By the corner: the text before a backslash names the axis that runs down, the text after it the one across."""
    down, divided, across = text.partition("\\")
    if not divided:
        return set()
    kinds = {kind_of(down)} - {None}, {kind_of(across)} - {None}
    return {kind for kind in kinds[0] if kind} | {_OTHER[kind] for kind in kinds[1] if kind}


def kind_of(label: str) -> Kind | None:
    """The kind of axis that a label names; None if it names anything else too."""
    words = set(_WORD.findall(label.lower()))
    if not words or words - _RPM_WORDS - _LOAD_WORDS - _NEUTRAL_WORDS:
        return None
    named: set[Kind] = set()
    if words & _RPM_WORDS:
        named.add("rpm")
    if words & _LOAD_WORDS:
        named.add("load")
    return named.pop() if len(named) == 1 else None


_REFERENCES = {"absolute": "absolute", "abs": "absolute", "gauge": "gauge"}
_CELL_WORDS = frozenset(
    {"ms", "us", "µs", "μs", "%", "ve", "pulse", "width", "volumetric", "efficiency", "fuel", "lambda", "afr", "table",
     "over", "by", "vs", "and", "cells", "values", "rows", "columns"}
)  # fmt: skip
_MISTAKABLE = frozenset({"%", "g"})
"""Ambiguous in a corner: % may be the unit of the cells, g may mean gauge pressure."""


def load_unit_of(cells: Cells, area: Area, rows: Rows, load_axis: Axis) -> NamedUnit | None:
    """The unit of the load axis, where the file names it clearly.

    It is after every value of the axis, or in the corner, or in a label or a line beside it that is only about axes and
    cells. None where there is no unit, where there are two, or where a word is not known.
    """
    places = area.row_axis() if rows == "load" else area.column_axis()
    at_values = load_axis.unit.strip()
    if at_values.lower() in LOAD_UNITS:
        return NamedUnit(at_values, "", cells.address(places[0]))
    for place, text in ((area.corner, cells.text_at(area.corner)), *_beside(cells, area)):
        if (named := _load_unit(text)) is not None:
            return NamedUnit(*named, cells.address(place))
    return None


def _beside(cells: Cells, area: Area) -> Iterator[tuple[Place, str]]:
    """The texts in the line above the header row, in comments between, and left of the axis column."""
    above = area.header_row - 1
    while above in cells.ignored_rows:
        yield (above, 1), cells.comments[above]
        above -= 1
    line = [cells.at.get((above, column)) for column in range(1, area.columns[-1] + 1)]
    if not any(isinstance(cell, Number) for cell in line):
        yield from (((above, column), cell) for column, cell in enumerate(line, start=1) if isinstance(cell, str))
    for row in (area.header_row, *area.rows):
        for column in range(max(1, area.axis_column - 2), area.axis_column):
            yield (row, column), cells.text_at((row, column))


def _load_unit(text: str) -> tuple[str, str] | None:
    """The only load unit of a text, and its reference: absolute, gauge, or empty."""
    written = [word for found in _WORD.findall(text) for word in _parts(found)]
    words = {word.lower() for word in written}
    if words - _RPM_WORDS - _LOAD_WORDS - _NEUTRAL_WORDS - _CELL_WORDS:
        return None
    units = {word.lower(): word for word in written if word.lower() in LOAD_UNITS - _MISTAKABLE}
    references = {_REFERENCES[word] for word in words if word in _REFERENCES}
    if len(units) != 1 or len(references) > 1:
        return None
    return next(iter(units.values())), next(iter(references), "")


def _parts(word: str) -> list[str]:
    """A word such as kPa/rpm as two words; g/rev is one unit."""
    known = word.lower() in _RPM_WORDS | _LOAD_WORDS
    return [word] if known else [part for part in word.split("/") if part]


def unit_of_values(cells: Cells, area: Area) -> str | None:
    """The unit of the values, from the texts above the table and in its corner; None if they name none or two."""
    texts = [cell for (row, _), cell in cells.at.items() if row < area.header_row and isinstance(cell, str)]
    texts += (line for row, line in cells.comments.items() if row < area.header_row)
    texts.append(cells.text_at(area.corner))
    found = {
        unit
        for text in texts
        for unit, pattern in _CELL_UNITS
        if pattern.search(text) and not (unit == "%" and _is_axis_text(text))
    }
    return found.pop() if len(found) == 1 else None


def unit_of_text(text: str) -> str | None:
    """The unit that a label of values names; None where it names none or two."""
    found = {unit for unit, pattern in _CELL_UNITS if pattern.search(text)}
    return found.pop() if len(found) == 1 else None


def _is_axis_text(text: str) -> bool:
    """Whether a text names a load axis, to which a % in it may belong."""
    return bool(set(_WORD.findall(text.lower().replace("%", " "))) & (_LOAD_WORDS - LOAD_UNITS - {"map"}))
