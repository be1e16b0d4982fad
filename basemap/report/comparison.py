"""Two tables over the same axes, and how far they are apart, as text and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from basemap.errors import InputError
from basemap.model.installation import FloatArray
from basemap.model.table import change_percent
from basemap.report.json_text import SCHEMA, plain
from basemap.report.words import harmless, number
from basemap.rounding import change

if TYPE_CHECKING:
    from rich.console import Console, Group, RenderableType

    from basemap.report.terminal.grid import PrintedTable


@dataclass(frozen=True)
class Table:
    """One of the two tables.

    Parameters
    ----------
    file, sha256
        Where it was read.
    rpm, load
        Rising axes, as in the file.
    values
        Shape (loads, speeds), lowest load first.
    unit
        Of the values, where the file says it.
    decimals
        The most decimals in the file.
    """

    file: str
    sha256: str
    rpm: FloatArray
    load: FloatArray
    values: FloatArray
    unit: str | None
    decimals: int


@dataclass(frozen=True)
class Comparison:
    """An old and a new table over the same axes."""

    old: Table
    new: Table

    @property
    def change_percent(self) -> FloatArray:
        """New against old, %; 0 where both are 0, NaN where only the old cell is."""
        return change_percent(self.old.values, self.new.values)

    @property
    def changed(self) -> int:
        """How many cells differ."""
        return int(np.count_nonzero(self.new.values != self.old.values))


def compare(old: Table, new: Table) -> Comparison:
    """Compare two tables.

    Raises
    ------
    InputError
        Where their axes or units differ: cells of different places cannot be compared.
    """
    _same_axis(old, new, "rpm", old.rpm, new.rpm)
    _same_axis(old, new, "load", old.load, new.load)
    if old.unit is not None and new.unit is not None and old.unit != new.unit:
        raise InputError(
            f"holds {new.unit}, but {old.file} holds {old.unit}: the two cannot be compared", file=new.file
        )
    return Comparison(old, new)


def _same_axis(old: Table, new: Table, name: str, first: FloatArray, second: FloatArray) -> None:
    if first.size != second.size:
        raise InputError(
            f"has {second.size} points on its {name} axis, but {old.file} has {first.size}: only tables with the same "
            "axes can be compared",
            file=new.file,
        )
    apart = np.flatnonzero(~np.isclose(first, second, rtol=1e-9, atol=0.0))
    if apart.size:
        at = int(apart[0])
        raise InputError(
            f"has {second[at]:g} as point {at + 1} of its {name} axis, but {old.file} has {first[at]:g}: only tables "
            "with the same axes can be compared",
            file=new.file,
        )


def as_json(found: Comparison) -> dict[str, Any]:
    """The comparison as JSON."""
    return {
        "schema": SCHEMA,
        "old_file": {"file": found.old.file, "sha256": found.old.sha256},
        "new_file": {"file": found.new.file, "sha256": found.new.sha256},
        "unit": found.new.unit or found.old.unit,
        "rpm": plain(found.old.rpm),
        "load": plain(found.old.load),
        "old": plain(found.old.values),
        "new": plain(found.new.values),
        "change_percent": plain(found.change_percent),
        "cells": found.old.values.size,
        "changed_cells": found.changed,
        "largest_increase": _extreme(found, 1),
        "largest_decrease": _extreme(found, -1),
    }


def as_text(found: Comparison, console: Console) -> Group:
    """The comparison for the terminal: the change first, then both tables, side by side where there is room."""
    from rich.console import Group
    from rich.text import Text

    from basemap.report.terminal.grid import lines, side_by_side
    from basemap.report.terminal.layout import heading, indented

    parts: list[RenderableType] = [
        Text(f"old: {harmless(found.old.file)}", style="bold"),
        Text(f"new: {harmless(found.new.file)}", style="bold"),
        *(indented(sentence) for sentence in _sentences(found)),
    ]
    if not found.changed:
        return Group(*parts)
    parts += [
        *heading("change, new against old"),
        *lines(_grid(found, found.change_percent, "%", 1, signed=True), console),
    ]
    unit, decimals = found.new.unit or found.old.unit or "", max(found.old.decimals, found.new.decimals)
    grids = [_grid(found, table.values, unit, decimals) for table in (found.old, found.new)]
    return Group(*parts, *side_by_side(("old", "new"), grids, console))


def _grid(found: Comparison, values: FloatArray, unit: str, decimals: int, *, signed: bool = False) -> PrintedTable:
    from basemap.report.terminal.grid import PrintedTable

    everywhere = np.ones(values.shape, dtype=bool)
    return PrintedTable(values, found.old.rpm, found.old.load, "", unit, decimals, everywhere, signed)


def _sentences(found: Comparison) -> list[str]:
    if not found.changed:
        return ["The two tables are the same, cell by cell."]
    cells = found.old.values.size
    said = [f"{found.changed} of {cells} cells differ."]
    for words, direction in (("Largest increase", 1), ("Largest decrease", -1)):
        extreme = _extreme(found, direction)
        if extreme is not None:
            said.append(
                f"{words}: {change(extreme['change_percent'])} %, from {number(extreme['old'])} to "
                f"{number(extreme['new'])}, at {extreme['rpm']:g} rpm and load {extreme['load']:g}."
            )
    unknown = int(np.count_nonzero(np.isnan(found.change_percent)))
    if unknown:
        said.append(f"Cells without a percentage, because the old one is 0 or one of the two is empty: {unknown}.")
    return said


def _extreme(found: Comparison, direction: int) -> dict[str, float] | None:
    """The cell that rose (+1) or fell (-1) most; `None` where none did."""
    change = found.change_percent * direction
    if not (change > 0).any():
        return None
    row, column = np.unravel_index(int(np.nanargmax(change)), change.shape)
    return {
        "change_percent": float(found.change_percent[row, column]),
        "rpm": float(found.old.rpm[column]),
        "load": float(found.old.load[row]),
        "old": float(found.old.values[row, column]),
        "new": float(found.new.values[row, column]),
    }
