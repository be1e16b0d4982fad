"""The file of a further table: its axes, its cells, and whether they can be what the job says."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from basemap.constants import ZERO_CELSIUS
from basemap.errors import InputError, NotSupportedYet
from basemap.jobfile.load_axis import LoadScale, axis_conditions, load_axis, targets_axis
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table import Files, checked_axes, file_of, read_file, refuse_many_cells, rising
from basemap.jobfile.table_sections import DonorFurtherTable
from basemap.model.axes import LoadAxis
from basemap.model.further_table import FurtherAxis, FurtherQuantity, place_of
from basemap.model.installation import Conditions, Cycle, FloatArray
from basemap.tables.grid import GridFile
from basemap.tables.line import LineFile, read_line

_COOLANT = frozenset({"coolant temperature", "engine coolant temperature", "coolant", "ect"})
_DEGREES = re.compile(r"(?:°|deg)\s*(?P<scale>[CF])\b", re.IGNORECASE)
_TO_KELVIN = {
    "degC": (1.0, ZERO_CELSIUS),
    "K": (1.0, 0.0),
    "degF": (5.0 / 9.0, ZERO_CELSIUS - 160.0 / 9.0),
}
COOLANT_C = (-60.0, 150.0)
"""Lowest and highest plausible coolant temperature."""
LAMBDA = (0.3, 2.0)
"""Lowest and highest plausible lambda of a cell."""
CELL_UNITS: dict[FurtherQuantity, dict[str, float]] = {
    FurtherQuantity.PULSE_WIDTH: {"ms": 1e-3, "us": 1e-6, "s": 1.0},
    FurtherQuantity.PERCENT: {"%": 1.0},
    FurtherQuantity.LAMBDA: {"": 1.0},
    FurtherQuantity.AIR_FUEL_RATIO: {"": 1.0},
}
"""Units of a cell, each with its size in SI."""
LONGEST_MS = 1000.0
"""A priming pulse may last a second; anything longer is in another unit."""
HIGHEST_PERCENT = 10_000.0


def coolant_k(unit: str, points: FloatArray) -> FloatArray:
    """Coolant temperatures in a unit that is known to be one, K."""
    size, zero = _TO_KELVIN[unit.replace("°C", "degC").replace("°F", "degF").strip()]
    return points * size + zero


class StatedSides(NamedTuple):
    """Both sides of a job with their conditions, and where files are read from."""

    donor: StatedSide
    target: StatedSide
    donor_conditions: Conditions
    target_conditions: Conditions
    files: Files


@dataclass(frozen=True)
class FurtherFile:
    """The axes and values of a file, and how to write it back."""

    name: str
    axes: tuple[FurtherAxis, ...]
    values: FloatArray
    load_pa: FloatArray | None
    unit: str | None
    decimals: int
    layout: object

    def place(self, index: tuple[int, ...]) -> str:
        """Where a cell stands, in words."""
        return place_of(self.axes, index)


@dataclass(frozen=True)
class Further:
    """A further table as the job file has it.

    Parameters
    ----------
    sides
        Whose it is.
    name, table
        Its name, and the donor's section.
    """

    sides: StatedSides
    name: str
    table: DonorFurtherTable

    @property
    def key(self) -> str:
        """Its section, without the side."""
        return f"tables.{self.name}"

    def error(self, key: str, problem: str, side: StatedSide | None = None) -> InputError:
        """Bad input under a key of this table, the donor's unless a side is named."""
        return (side or self.sides.donor).error(f"{self.key}.{key}", problem)

    def read(self) -> FurtherFile:
        """Read the file.

        Raises
        ------
        InputError
            If the file is missing, or a table of this kind cannot have its axes.
        """
        table, donor = self.table, self.sides.donor
        if table.file is None:
            raise self.error("file", 'missing: the table\'s file, such as "crank.csv", or "-" for standard input')
        if table.axis is None:
            if table.load is None:
                raise self.error(
                    "axis",
                    'missing: say what its single axis is, such as axis = "coolant temperature", or for a table over '
                    'speed and load say load = "manifold pressure"',
                )
            return self._two_axes(read_file(donor, table, table.file, self.sides.files, f"{self.key}.file"))
        if table.axis_unit is None:
            raise self.error("axis_unit", 'missing: give the unit of the axis, such as "degC"')
        found = file_of(donor, table.file, self.sides.files, f"{self.key}.file", self._read_line)
        assert isinstance(found, LineFile)
        axis = self._axis(table.axis, table.axis_unit, found)
        return FurtherFile(found.name, (axis,), found.values, None, found.unit, found.layout.decimals, found.layout)

    def _read_line(self, path: object, name: str) -> LineFile:
        return read_line(
            path,  # type: ignore[arg-type]
            shown_name=name,
            sheet=self.table.sheet,
            cells=self.table.cells,
            decimal=self.table.decimal,  # type: ignore[arg-type]
            stdin=self.sides.files.stdin,
        )

    def load_scales(self) -> tuple[LoadScale, LoadScale]:
        """What the load axis of a table with two means on the donor, and on the target."""
        sides, cycle = self.sides, self.sides.donor.engine.cycle or Cycle.FOUR_STROKE
        axis = load_axis(sides.donor, self.table, axis_conditions(sides.donor, sides.donor_conditions, cycle), self.key)
        return axis, targets_axis(
            sides.target, None, axis, axis_conditions(sides.target, sides.target_conditions, cycle)
        )

    def _two_axes(self, found: GridFile) -> FurtherFile:
        axis = self.load_scales()[0]
        self._refuse_pulses(axis)
        refuse_many_cells(found)
        load, pressure, values = rising(found, axis)
        checked_axes(found, axis, load, pressure, of_fuel=False)
        axes = FurtherAxis(axis.kind.value, axis.unit, load), FurtherAxis("rpm", "rpm", found.rpm)
        return FurtherFile(found.name, axes, values, pressure, found.unit, found.layout.decimals, found.layout)

    def _refuse_pulses(self, axis: LoadScale) -> None:
        """Refuse pulses over an axis that does not give the manifold pressure, on which a pulse depends."""
        if self.table.quantity != FurtherQuantity.PULSE_WIDTH:
            return
        if axis.kind is LoadAxis.MANIFOLD_PRESSURE:
            self._refuse_two_barometers(axis)
            return
        why = (
            "write its loads as absolute pressures"
            if axis.kind is LoadAxis.PRESSURE_RATIO
            else "this axis does not give the manifold pressure, which the pulse depends on"
        )
        raise NotSupportedYet(
            f'not supported yet: a further table of pulses with two axes is over "manifold pressure" and rpm; {why}',
            file=self.sides.donor.provenance.file,
            place=self.sides.donor.place(f"{self.key}.load"),
        )

    def _refuse_two_barometers(self, axis: LoadScale) -> None:
        """Refuse pulses over vacuum or gauge pressure: on the target they would be at another manifold pressure."""
        barometers = [one.barometer_pa for one in (self.sides.donor_conditions, self.sides.target_conditions)]
        if axis.reference != "absolute" and barometers[0] != barometers[1]:
            raise NotSupportedYet(
                f'"{axis.unit}" is measured from the barometer, and the two sides have different barometers: not '
                "supported yet for a further table of pulses; write its loads as absolute pressures",
                file=self.sides.donor.provenance.file,
                place=self.sides.donor.place(f"{self.key}.load_unit"),
            )

    def _axis(self, name: str, unit: str, found: LineFile) -> FurtherAxis:
        if name.strip().casefold() not in _COOLANT:
            return FurtherAxis(name, unit, found.axis)
        plain = unit.replace("°C", "degC").replace("°F", "degF").strip()
        if plain not in _TO_KELVIN:
            raise self.error("axis_unit", f'"{unit}" is not a unit of coolant temperature: write "degC", "degF" or "K"')
        named = _DEGREES.search(found.axis_label)
        if named is not None and f"deg{named['scale'].upper()}" != plain:
            raise self.error("axis_unit", f'"{unit}" contradicts {found.name}, which says "{found.axis_label}"')
        kelvin = coolant_k(unit, found.axis)
        for value, celsius in zip(found.axis, kelvin - ZERO_CELSIUS, strict=True):
            if not COOLANT_C[0] <= celsius <= COOLANT_C[1]:
                raise InputError(
                    f"a coolant temperature of {value:g} {unit} is not possible: expected {COOLANT_C[0]:g} to "
                    f"{COOLANT_C[1]:g} degC; is axis_unit right, and does the axis come before the values?",
                    file=found.name,
                )
        return FurtherAxis(name, unit, found.axis, kelvin)

    def unit(self, quantity: FurtherQuantity, read: FurtherFile) -> str:
        """Unit of the cells: the job's word, the file's, or the usual one.

        Raises
        ------
        InputError
            If the two contradict each other, or it is not a unit of such a cell.
        """
        units = CELL_UNITS[quantity]
        # A "%" in the corner of the file may be the unit of the load axis.
        of_axis = len(read.axes) > 1 and read.unit == read.axes[0].unit and read.unit not in units
        read = replace(read, unit=None) if of_axis else read
        said = self.table.unit.strip().replace("µ", "u").replace("μ", "u") if self.table.unit is not None else None
        if said is not None and said not in units:
            known = ", ".join(f'"{unit}"' for unit in units)
            raise self.error("unit", f'"{self.table.unit}" is not a unit of {quantity}: write one of {known}')
        if said is not None and read.unit in units and read.unit != said:
            raise self.error("unit", f'"{said}" contradicts {read.name}, which says "{read.unit}"')
        if said is None and read.unit is not None and read.unit not in units:
            raise InputError(
                f'says that its cells are in "{read.unit}", which is not a unit of {quantity}: correct the key '
                "quantity, or give the key unit",
                file=read.name,
            )
        if said is None and read.unit is None and quantity is FurtherQuantity.PULSE_WIDTH:
            highest = float(read.values.max())
            if highest > LONGEST_MS:
                raise self.error(
                    "unit",
                    f'missing: the highest cell of {read.name} is {highest:g}, too long for ms: write "us" if it is '
                    "microseconds",
                )
        return said if said is not None else read.unit if read.unit in units and read.unit else next(iter(units))

    def _refuse_huge(self, read: FurtherFile) -> None:
        for index in np.argwhere(abs(read.values) > HIGHEST_PERCENT):
            raise InputError(
                f"holds {read.values[tuple(index)]:g} %: expected at most {HIGHEST_PERCENT:g} %; is it percent?",
                file=read.name,
                place=read.place(tuple(int(at) for at in index)),
            )

    def check(self, quantity: FurtherQuantity, read: FurtherFile, basis: float | None, per_unit: float) -> None:
        """Refuse cells that cannot be what the job says they are."""
        if quantity is FurtherQuantity.PERCENT:
            self._refuse_huge(read)
            return
        pulse = quantity is FurtherQuantity.PULSE_WIDTH
        for index in np.ndindex(read.values.shape):
            cell = float(read.values[index])
            if pulse and cell < 0:
                raise InputError(f"holds {cell:g}: a pulse cannot be negative", file=read.name, place=read.place(index))
            if pulse and cell * per_unit > LONGEST_MS * 1e-3:
                raise InputError(
                    f"holds {cell:g}, which is a pulse of {cell * per_unit:g} s: is the key unit right?",
                    file=read.name,
                    place=read.place(index),
                )
            mixture = cell / (basis or 1.0)
            if not pulse and not LAMBDA[0] <= mixture <= LAMBDA[1]:
                ratio = quantity is FurtherQuantity.LAMBDA and 6.0 <= cell <= 20.0
                hint = "it looks like an air/fuel ratio: correct the key quantity" if ratio else f"is it {quantity}?"
                raise InputError(
                    f"holds {cell:g}, a lambda of {mixture:.4g}, outside the plausible range {LAMBDA[0]:g} to "
                    f"{LAMBDA[1]:g}: {hint}",
                    file=read.name,
                    place=read.place(index),
                )
