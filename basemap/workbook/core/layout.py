"""The place of every table of numbers, known before the first cell is written, so that any page can refer to it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from xlsxwriter.utility import xl_col_to_name

from basemap.model.job import SideName
from basemap.workbook.core.book import HEAD_ROWS

WIDEST_ABREAST = 16
"""The most speeds with which several tables on one page are legible in print."""

PAGE_RATIO = 0.645
"""Height divided by width of the printable part of a landscape A4 page (Letter is a little taller)."""

GridName = Literal[
    "old",
    "new",
    "change",
    "old_table_old_settings",
    "old_table_new_settings",
    "new_table_old_settings",
    "new_table_new_settings",
    "pulse",
    "duty",
    "air",
    "pressure",
    "stored",
    "donor_lambda",
    "target_lambda",
    "donor_pulse",
    "opening",
    "pulse_old_old",
    "pulse_old_new",
    "pulse_new_old",
    "issued_new",
    "difference",
    "issued_old",
    "issued_donor_lambda",
    "issued_target_lambda",
    "breathing",
    "taught",
]
LAMBDA_GRIDS: dict[SideName, GridName] = {"donor": "donor_lambda", "target": "target_lambda"}
ISSUED_LAMBDA_GRIDS: dict[SideName, GridName] = {"donor": "issued_donor_lambda", "target": "issued_target_lambda"}


@dataclass(frozen=True)
class TablePlace:
    """Where the body of a table is: sheet, first cell, size."""

    sheet: str
    row: int
    col: int
    rows: int
    cols: int

    @property
    def last_row(self) -> int:
        """The last row of the body."""
        return self.row + self.rows - 1

    @property
    def last_col(self) -> int:
        """The last column of the body."""
        return self.col + self.cols - 1

    @cached_property
    def prefix(self) -> str:
        """The sheet as a formula writes it."""
        return f"'{self.sheet}'!" if " " in self.sheet or "," in self.sheet else f"{self.sheet}!"

    def cell(self, i: int, j: int) -> str:
        """Address of a cell with its sheet."""
        return f"{self.prefix}{self._columns[j]}{self.row + i + 1}"

    @cached_property
    def _columns(self) -> tuple[str, ...]:
        return tuple(str(xl_col_to_name(col)) for col in range(self.col, self.last_col + 1))

    def area(self, rows: int | None = None, cols: int | None = None) -> str:
        """Absolute address of the first `rows` rows and `cols` columns, of everything by default."""
        return self._span(0, 0, (rows or self.rows) - 1, (cols or self.cols) - 1)

    def row_area(self, i: int, cols: int | None = None) -> str:
        """Absolute address of a row's first `cols` cells."""
        return self._span(i, 0, i, (cols or self.cols) - 1)

    def col_area(self, j: int, rows: int | None = None) -> str:
        """Absolute address of a column's first `rows` cells."""
        return self._span(0, j, (rows or self.rows) - 1, j)

    def _span(self, i: int, j: int, last_i: int, last_j: int) -> str:
        first = f"${xl_col_to_name(self.col + j)}${self.row + i + 1}"
        return f"{self.prefix}{first}:${xl_col_to_name(self.col + last_j)}${self.row + last_i + 1}"


@dataclass(frozen=True)
class Layout:
    """Places of the tables of a workbook, from the number of loads (rows) and speeds (columns).

    Parameters
    ----------
    old_outcomes
        Whether there are outcomes of the old table: not where its cells are another quantity than the target's.
    """

    rows: int
    cols: int
    old_outcomes: bool = True

    @property
    def abreast(self) -> bool:
        """Whether several tables share a page."""
        return self.cols <= WIDEST_ABREAST

    def place(self, name: GridName) -> TablePlace:
        """The place of a table."""
        return self._places[name]

    @cached_property
    def _places(self) -> dict[GridName, TablePlace]:
        """All places, worked out once, because every cell asks for some."""
        found = {}
        shared = _SHARED if self.old_outcomes else _SHARED | _ONLY_NEW_OUTCOMES
        for name, (sheet, down, across) in (_STACKED | (shared if self.abreast else _ALONE)).items():
            row = HEAD_ROWS + 2 + down * (self.rows + 3)
            found[name] = TablePlace(sheet, row, across * (self.cols + 2) + 1, self.rows, self.cols)
        return found


_STACKED: dict[GridName, tuple[str, int, int]] = {
    "stored": ("To load", 0, 0),
    "donor_lambda": ("Intended lambda", 0, 0),
    "target_lambda": ("Intended lambda", 1, 0),
    "donor_pulse": ("Steps", 0, 0),
    "opening": ("Steps", 1, 0),
    "pulse_old_old": ("Steps", 2, 0),
    "pulse_old_new": ("Steps", 3, 0),
    "pulse_new_old": ("Steps", 4, 0),
    "issued_new": ("Issued", 0, 0),
    "difference": ("Issued", 1, 0),
    "issued_old": ("Issued", 2, 0),
    "issued_donor_lambda": ("Issued", 3, 0),
    "issued_target_lambda": ("Issued", 4, 0),
    "breathing": ("Breathing", 0, 0),
    "taught": ("Learnt", 0, 0),
}
_SHARED: dict[GridName, tuple[str, int, int]] = {
    "old": ("Tables", 0, 0),
    "new": ("Tables", 0, 1),
    "change": ("Tables", 1, 0),
    "old_table_old_settings": ("Outcomes", 0, 0),
    "old_table_new_settings": ("Outcomes", 0, 1),
    "new_table_old_settings": ("Outcomes", 1, 0),
    "new_table_new_settings": ("Outcomes", 1, 1),
    "pulse": ("Pulse", 0, 0),
    "duty": ("Pulse", 0, 1),
    "air": ("Pulse", 1, 0),
    "pressure": ("Pulse", 1, 1),
}
_ONLY_NEW_OUTCOMES: dict[GridName, tuple[str, int, int]] = {
    "new_table_old_settings": ("Outcomes", 0, 0),
    "new_table_new_settings": ("Outcomes", 0, 1),
}
_ALONE: dict[GridName, tuple[str, int, int]] = {
    "old": ("Old", 0, 0),
    "new": ("New", 0, 0),
    "change": ("Change", 0, 0),
    "old_table_old_settings": ("Old table, old settings", 0, 0),
    "old_table_new_settings": ("Old table, new settings", 0, 0),
    "new_table_old_settings": ("New table, old settings", 0, 0),
    "new_table_new_settings": ("New table, new settings", 0, 0),
    "pulse": ("Pulse", 0, 0),
    "duty": ("Duty", 0, 0),
    "air": ("Air", 0, 0),
    "pressure": ("Manifold pressure", 0, 0),
}


def row_height_px(width_px: float, rows: int, fixed_px: float) -> int:
    """Height of the rows of a table that fills a landscape page, between 20 and 34 pixels."""
    free = width_px * PAGE_RATIO - fixed_px
    return int(min(max(free / rows, 20.0), 34.0))
