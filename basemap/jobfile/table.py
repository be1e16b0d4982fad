"""``[donor.tables.fuel]``: a file of numbers becomes cells in SI over rev/min and load."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, NamedTuple, TypeVar

import numpy as np

from basemap.adaptation.quantities.engine import MANIFOLD_PRESSURE
from basemap.adaptation.throttle import WIDE_OPEN
from basemap.errors import InputError
from basemap.jobfile.load_axis import KEY, LoadScale
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table_sections import DonorTable, TableFile
from basemap.model.axes import LoadAxis, LoadPoints
from basemap.model.installation import FloatArray
from basemap.model.job import Source
from basemap.model.table import Shown, TableQuantity
from basemap.tables.grid import GridFile
from basemap.tables.line import LineFile
from basemap.tables.read import read_grid

STANDARD_INPUT = "standard input"
HIGHEST_LOAD_PA = MANIFOLD_PRESSURE.limits[1]
LOWEST_TOP_ROW_PA = 20e3
HIGHEST_RPM = 30_000.0
MOST_CELLS = 6_400
"""Most cells of one table, 80 by 80: no ECU holds more, and a larger workbook could not be compared within seconds."""
LONGEST_PULSE_S = 10.0
HIGHEST_EFFICIENCY = 10.0
"""Far above that of any engine: a higher cell is in another unit, or damaged."""
_AnyFile = TypeVar("_AnyFile", GridFile, LineFile)


class Files(NamedTuple):
    """Where tables are read from: beside the job file, or standard input.

    Parameters
    ----------
    folder
        Folder that paths are relative to.
    stdin
        Standard input, if it is not the process's own.
    target_folder
        Folder that the target's paths are relative to, if the target is in a file of its own.
    kept
        Tables as they were read for an earlier build of the same job, by all that their reading depends on; a build
        adds its own. None keeps nothing.
    """

    folder: Path
    stdin: BinaryIO | None = None
    target_folder: Path | None = None
    kept: dict[object, GridFile] | None = None

    def folder_of(self, side: str) -> Path:
        """Folder that the paths of a side are relative to."""
        return self.target_folder if side == "target" and self.target_folder is not None else self.folder


class ReadTable(NamedTuple):
    """A table in SI, with how it is shown. Shape of `values`: (loads, speeds).

    `named_unit` is the unit of the load axis where the file itself names it.

    `points` says what the load axis counts; `load_pa` are its manifold pressures; `as_read` are the
    cells as in the file.
    """

    rpm: FloatArray
    load_pa: FloatArray
    points: LoadPoints
    values: FloatArray
    shown: Shown
    layout: object
    as_read: FloatArray | None = None
    named_unit: str | None = None


def read_table(side: StatedSide, table: DonorTable, axis: LoadScale, files: Files) -> ReadTable:
    """Read the donor's main table."""
    if table.file is None:
        raise side.error(f"{KEY}.file", 'missing: the table\'s file, such as "fuel.csv", or "-" for standard input')
    found = read_file(side, table, table.file, files, f"{KEY}.file")
    refuse_many_cells(found)
    load, pressure, values = rising(found, axis)
    checked_axes(found, axis, load, pressure)
    _refuse_negative(found, axis)
    unit, per_unit = _cell_unit(side, table, found)
    _refuse_huge(found, axis, str(table.quantity), unit, per_unit)
    shown = Shown(unit, per_unit, load, axis.unit, found.layout.decimals)
    named = found.load_unit.unit if found.load_unit else None
    points = axis.points(load, axis)
    return ReadTable(found.rpm, pressure, points, values * per_unit, shown, found.layout, values, named)


def read_file(side: StatedSide, table: TableFile, file: str, files: Files, key: str) -> GridFile:
    """Read one file of numbers and keep its hash and what its reader remarked."""

    def read(path: Path | str, name: str) -> GridFile:
        key = (name, table.sheet, table.cells, table.rows, table.decimal, _state(path))
        if files.kept is not None and key in files.kept:
            return files.kept[key]
        found = read_grid(
            path,
            shown_name=name,
            sheet=table.sheet,
            cells=table.cells,
            rows=table.rows,  # type: ignore[arg-type]
            decimal=table.decimal,  # type: ignore[arg-type]
            stdin=files.stdin,
        )
        if files.kept is not None:
            files.kept[key] = found
        return found

    return file_of(side, file, files, key, read)


def _state(path: Path | str) -> object:
    """Which file it is, and whether it was written since; of standard input nothing can be told."""
    if not isinstance(path, Path):
        return object()
    now = os.stat(path)
    return path, now.st_ino, now.st_size, now.st_mtime_ns


def file_of(
    side: StatedSide, file: str, files: Files, key: str, read: Callable[[Path | str, str], _AnyFile]
) -> _AnyFile:
    """Read one file by a reader that takes its path and its name; keep its hash and what the reader remarked."""
    if file == "-" and any(source.file == STANDARD_INPUT for source in side.provenance.sources):
        raise side.error(key, '"-" is standard input, and another table is already read from it')
    path: Path | str = file if file == "-" else files.folder_of(side.name) / file
    if isinstance(path, Path) and not os.path.exists(path):
        raise side.error(key, f'there is no file "{path}"; a path is relative to the job file')
    if isinstance(path, Path) and os.path.isdir(path):
        what = "is a folder" if file.strip() else "names no file"
        raise side.error(key, f'"{file}" {what}: give the table\'s file, such as "fuel.csv"')
    found = read(path, STANDARD_INPUT if file == "-" else file)
    source = Source(found.name, found.sha256)
    if source not in side.provenance.sources:
        side.provenance.sources.append(source)
    for number, remark in enumerate(found.remarks, start=1):
        side.provenance.notes[f"{side.place(key)} ({number})"] = f"{found.name}: {remark}"
    return found


def refuse_many_cells(found: GridFile) -> None:
    """Refuse a table that no controller holds."""
    rows, columns = found.values.shape
    if rows * columns > MOST_CELLS:
        raise InputError(
            f"has {rows} × {columns} cells: expected at most {MOST_CELLS}, more than any controller's table has; "
            "leave out some rows and columns",
            file=found.name,
        )


def rising(found: GridFile, axis: LoadScale) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Load axis as shown, absolute pressures (Pa) and values, lowest absolute pressure first."""
    pressure = axis.pressure_pa(found.load)
    order = np.argsort(pressure)
    return found.load[order], pressure[order], found.values[order]


def checked_axes(
    found: GridFile, axis: LoadScale, load: FloatArray, pressure: FloatArray, *, of_fuel: bool = True
) -> None:
    """Refuse speeds and loads that no engine has, and a load axis that the file itself gives another unit.

    Parameters
    ----------
    of_fuel
        Whether it is the fuel table, as in `check_loads`.
    """
    refuse_other_unit(found, axis)
    if found.rpm[0] <= 0 or found.rpm[-1] >= HIGHEST_RPM:
        wrong = found.rpm[0] if found.rpm[0] <= 0 else found.rpm[-1]
        raise InputError(
            f"an engine speed of {wrong:g} is not possible: expected rev/min above 0 and below {HIGHEST_RPM:.0f}; are "
            "speed and load swapped (key rows)?",
            file=found.name,
        )
    check_loads(axis, load, pressure, file=found.name, of_fuel=of_fuel)


def refuse_other_unit(found: GridFile, axis: LoadScale) -> None:
    """Refuse a load axis whose unit in the file contradicts the job.

    Raises
    ------
    InputError
        If the two measure different things, differ in size, or measure a pressure from different zeros.
    """
    named = found.load_unit
    if named is None or axis.is_in(named.unit, named.reference):
        return
    shown = " ".join(word for word in (named.unit, named.reference) if word)
    said = f'load_unit, which is "{axis.unit}"'
    if axis.kind is not LoadAxis.MANIFOLD_PRESSURE:
        said = f'the job, which says {axis.kind} in "{axis.unit}"'
    raise InputError(
        f'says that the load axis is in "{shown}", which contradicts {said}: correct the wrong one',
        file=found.name,
        place=named.address,
    )


def check_loads(
    axis: LoadScale,
    load: FloatArray,
    pressure: FloatArray,
    *,
    file: str,
    place: str | None = None,
    of_fuel: bool = True,
) -> None:
    """Refuse loads that no engine has.

    Parameters
    ----------
    load, pressure
        As shown, and as manifold pressures (Pa), lowest first.
    file, place
        For the message.
    of_fuel
        Whether it is the fuel table, which has to reach wide open on a throttle axis and has air in every row.
    """
    if axis.kind is LoadAxis.THROTTLE:
        _check_openings(axis, load, file=file, place=place, of_fuel=of_fuel)
        return
    what = "air mass" if axis.kind is LoadAxis.AIR_MASS else "manifold pressure"
    absolute = f", {pressure[0] / 1e3:.4g} kPa absolute," if axis.reference in ("gauge", "vacuum") else ""
    none = not of_fuel and axis.kind is LoadAxis.AIR_MASS and pressure[0] == 0
    if pressure[0] <= 0 and not none:
        raise InputError(
            f"a load of {load[0]:g} {axis.unit}{absolute} is not possible: {what} is above zero; is load_unit right?",
            file=file,
            place=place,
        )
    if not LOWEST_TOP_ROW_PA <= pressure[-1] <= HIGHEST_LOAD_PA:
        means = "that is about" if axis.kind is LoadAxis.AIR_MASS else "that is"
        means = "" if axis.kind is LoadAxis.MANIFOLD_PRESSURE else f"{means} "
        raise InputError(
            f"the highest load is {load[-1]:g} {axis.unit}, {means}{pressure[-1] / 1e3:.4g} kPa absolute: expected "
            f"{LOWEST_TOP_ROW_PA / 1e3:.0f} to {HIGHEST_LOAD_PA / 1e3:.0f} kPa; is load_unit right?",
            file=file,
            place=place,
        )


def _check_openings(axis: LoadScale, load: FloatArray, *, file: str, place: str | None, of_fuel: bool) -> None:
    """Refuse openings that no throttle has, and a fuel table that does not reach wide open."""
    for opening in load:
        if not 0.0 <= opening * axis.size <= 1.0:
            raise InputError(
                f"a throttle opening of {opening:g} {axis.unit} is not possible: expected 0 to 100 %; is load right?",
                file=file,
                place=place,
            )
    if of_fuel and load[-1] * axis.size < WIDE_OPEN:
        raise InputError(
            f"ends at a throttle opening of {load[-1]:g} {axis.unit}: the other rows are compared with the wide-open "
            f"row, at {100 * WIDE_OPEN:g} % or more; extend the table to it",
            file=file,
            place=place,
        )


def _refuse_negative(found: GridFile, axis: LoadScale) -> None:
    for row, column in np.argwhere(found.values < 0):
        raise InputError(
            f"holds {found.values[row, column]:g}: a fuel table has no negative cells",
            file=found.name,
            place=f"{found.load[row]:g} {axis.unit}, {found.rpm[column]:g} rpm",
        )


def _refuse_huge(found: GridFile, axis: LoadScale, quantity: str, unit: str, per_unit: float) -> None:
    pulse = quantity == TableQuantity.PULSE_WIDTH
    most = (LONGEST_PULSE_S if pulse else HIGHEST_EFFICIENCY) / per_unit
    for row, column in np.argwhere(found.values > most):
        raise InputError(
            f"holds {found.values[row, column]:g} {unit}: expected a {quantity} of at most {most:g} {unit}; are the "
            "keys quantity and unit right?",
            file=found.name,
            place=f"{found.load[row]:g} {axis.unit}, {found.rpm[column]:g} rpm",
        )


_VE_UNITS = {"%": 0.01, "ratio": 1.0}
_PULSE_UNITS = {"ms": 1e-3, "us": 1e-6, "s": 1.0}


def _cell_unit(side: StatedSide, table: DonorTable, found: GridFile) -> tuple[str, float]:
    """Unit of the cells and its size in SI: as the job says, else the file, else the only one that is possible."""
    pulse = table.quantity == TableQuantity.PULSE_WIDTH
    units = _PULSE_UNITS if pulse else _VE_UNITS
    said = table.unit.strip().replace("µ", "u").replace("μ", "u") if table.unit else None
    if said is not None and said not in units:
        known = ", ".join(f'"{unit}"' for unit in units)
        raise side.error(f"{KEY}.unit", f'"{table.unit}" is not a unit of {table.quantity}: write one of {known}')
    if said is not None and found.unit in units and found.unit != said:
        raise side.error(f"{KEY}.unit", f'"{said}" contradicts {found.name}, which says "{found.unit}"')
    if said is None and found.unit is not None and found.unit not in units:
        raise InputError(
            f'says that its cells are in "{found.unit}", which is not a unit of {table.quantity}: correct the key '
            "quantity, or give the key unit",
            file=found.name,
        )
    unit = said or found.unit or (_guess_pulse if pulse else _guess_ve)(side, found)
    return unit, units[unit]


def _guess_ve(side: StatedSide, found: GridFile) -> str:
    highest = float(found.values.max())
    if highest <= 2.0:
        return "ratio"
    if highest > 3.0:
        return "%"
    raise side.error(
        f"{KEY}.unit",
        f'missing: the highest cell of {found.name} is {highest:g}, which may be % or a ratio: write "%" or "ratio"',
    )


def _guess_pulse(side: StatedSide, found: GridFile) -> str:
    highest = float(found.values.max())
    if highest <= 60.0:
        return "ms"
    raise side.error(
        f"{KEY}.unit",
        f'missing: the highest cell of {found.name} is {highest:g}, too long for ms: write "us" if it is microseconds',
    )
