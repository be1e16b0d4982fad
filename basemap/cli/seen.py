"""What `basemap new` sees in the donor's table file: its axes and units, and a picture of its cells."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, cast

import numpy as np

from basemap.cli.answers import Values
from basemap.cli.draft import Draft
from basemap.cli.output import console, show
from basemap.cli.questions import FILE, LOAD, QUANTITY
from basemap.errors import InputError
from basemap.jobfile.load_axis import AIR_UNITS
from basemap.report.terminal.grid import PrintedTable
from basemap.report.terminal.picture import shape
from basemap.tables.grid import GridFile
from basemap.tables.read import STANDARD_INPUT, read_grid

_OF_THE_FILE = "donor.tables.fuel."
_PULSE_UNITS = ("ms", "us")
_PRESSURES = {"kpa": "kPa", "bar": "bar", "mbar": "mbar", "hpa": "hPa", "pa": "Pa", "psi": "psi", "inhg": "inHg",
              "mmhg": "mmHg"}  # fmt: skip


def taken_from(draft: Draft, found: Values) -> Values:
    """The keys of the job that a table's file answers; its path is relative to the job file.

    Raises
    ------
    InputError
        If the file is not a table.
    """
    name = str(found[FILE])
    if name == STANDARD_INPUT:
        raise InputError("the table must be a file here, because standard input carries your answers")
    if not (draft.path.parent / name).exists() and Path(name).exists():
        name = os.path.relpath(name, draft.path.parent)
    grid = _read(draft, {**found, FILE: name})
    said: Values = {FILE: name}
    if grid.unit is not None:
        said[QUANTITY] = "pulse width" if grid.unit in _PULSE_UNITS else "volumetric efficiency"
    axis = grid.load_unit
    if axis is not None and axis.unit.lower() in _PRESSURES:
        unit = _PRESSURES[axis.unit.lower()]
        if axis.reference or unit == "kPa":
            said |= {LOAD: "manifold pressure", f"{LOAD}_unit": f"{unit} {axis.reference}".strip()}
    elif axis is not None and axis.unit.lower() in AIR_UNITS:
        said |= {LOAD: "air mass", f"{LOAD}_unit": axis.unit.lower()}
    return said


def show_table(draft: Draft) -> None:
    """Print axes, units and a shaded picture of the table."""
    grid, page = _read(draft, draft.values), console()
    loads, speeds = grid.values.shape
    unit = draft.values.get(f"{LOAD}_unit", "")
    decimals = grid.layout.decimals
    least, most = float(grid.values.min()), float(grid.values.max())
    lines = [
        f"    {speeds} engine speeds, {grid.rpm[0]:g} to {grid.rpm[-1]:g} rpm; {loads} loads, {grid.load[0]:g} to "
        f"{grid.load[-1]:g} {unit}".rstrip(),
        f"    cells from {least:.{decimals}f} to {most:.{decimals}f} {grid.unit or ''}".rstrip(),
    ]
    taken = [f"{draft.values[key]}" for key in (QUANTITY, LOAD) if key in draft.values]
    lines += [f"    the file says: {', '.join(taken)}"] if taken else []
    lines += [f"    {remark}" for remark in grid.remarks]
    table = PrintedTable(grid.values, grid.rpm, grid.load, str(unit), grid.unit or "", decimals,
                         np.ones_like(grid.values, dtype=bool))  # fmt: skip
    show("\n".join(lines), *shape(table, page))


def _read(draft: Draft, values: Values) -> GridFile:
    hints: dict[str, Any] = {
        name: values[f"{_OF_THE_FILE}{name}"]
        for name in ("sheet", "cells", "rows", "decimal")
        if values.get(f"{_OF_THE_FILE}{name}") is not None
    }
    name = cast(str, values[FILE])
    return read_grid(draft.path.parent / name, shown_name=name, **hints)
