"""``[donor.tables.NAME]`` and ``[target.tables.NAME]``: the tables beside the main one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from basemap.constants import FORMULA_PRESSURE, ZERO_CELSIUS
from basemap.errors import InputError, NotSupportedYet
from basemap.job.load_axis import Axis, breath_of, pressure_axis
from basemap.job.needs import Needs
from basemap.job.record import Record
from basemap.job.schema import DonorCompanion, JobFile, TargetCompanion
from basemap.job.side import Side
from basemap.job.storage import build_storage
from basemap.job.table import Files, checked_axes, file_of, read_file, rising
from basemap.job.units import UNKNOWN, Measured
from basemap.model.companion import Companion, CompanionAxis, CompanionQuantity, CompanionSide
from basemap.model.installation import Conditions, Cycle, FloatArray
from basemap.model.table import Inside, Shown, Storage
from basemap.tables.grid import GridFile
from basemap.tables.line import LineFile, read_line

_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _-]{0,38}[A-Za-z0-9_-])?")
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})
_COOLANT = frozenset({"coolant temperature", "engine coolant temperature", "coolant", "ect"})
_TO_KELVIN = {
    "degC": (1.0, ZERO_CELSIUS),
    "K": (1.0, 0.0),
    "degF": (5.0 / 9.0, ZERO_CELSIUS - 160.0 / 9.0),
}
COOLANT_C = (-60.0, 150.0)
"""Coolant temperatures that are taken for real."""
LAMBDA = (0.3, 2.0)
"""Mixtures that a table of them may hold."""
_CELL_UNITS: dict[CompanionQuantity, dict[str, float]] = {
    CompanionQuantity.PULSE_WIDTH: {"ms": 1e-3, "us": 1e-6, "s": 1.0},
    CompanionQuantity.PERCENT: {"%": 1.0},
    CompanionQuantity.LAMBDA: {"": 1.0},
    CompanionQuantity.AIR_FUEL_RATIO: {"": 1.0},
}
_OF_PULSES = ("ecu_applies", "battery", "reference_pressure", "openings_per_cycle", "rail_pressure")
LONGEST_MS = 1000.0
"""A priming pulse of a second is taken for real; anything longer is another unit."""


@dataclass(frozen=True)
class Sides:
    """Both sides of a job with their conditions, and where files are read from."""

    donor: Side
    target: Side
    donor_conditions: Conditions
    target_conditions: Conditions
    files: Files


def donor_tables(parsed: JobFile) -> Mapping[str, DonorCompanion]:
    """The further tables as the job file has them, in its order."""
    tables = parsed.donor.tables if parsed.donor else None
    return tables.model_extra or {} if tables is not None else {}


def target_tables(parsed: JobFile) -> Mapping[str, TargetCompanion]:
    """What the target says of further tables."""
    tables = parsed.target.tables if parsed.target else None
    return tables.model_extra or {} if tables is not None else {}


def check_names(parsed: JobFile, record: Record) -> None:
    """Refuse a name that could not be a file's, and a target's table that the donor does not have."""
    names = {"fuel": "fuel"}
    for name in donor_tables(parsed):
        place = f"donor.tables.{name}"
        if _NAME.fullmatch(name) is None:
            raise InputError(
                "its name becomes a file's: write letters, digits, blanks, - and _, at most 40",
                file=record.file,
                place=place,
            )
        if name.casefold() in _DEVICES:
            raise InputError(
                "its name becomes a file's, and is that of a device on some systems: give it another name",
                file=record.file,
                place=place,
            )
        if name.casefold() in names:
            raise InputError(
                f'differs from "{names[name.casefold()]}" by capitals only, and so would their files: give it another '
                "name",
                file=record.file,
                place=place,
            )
        names[name.casefold()] = name
    for name in target_tables(parsed):
        if name not in donor_tables(parsed):
            raise InputError(
                f"there is no [donor.tables.{name}] that it could say something of",
                file=record.file,
                place=f"target.tables.{name}",
            )


def with_companions(needs: Needs, tables: Mapping[str, DonorCompanion]) -> Needs:
    """Why the donor's inputs are needed once further tables are read through them."""
    for name, table in tables.items():
        if table.quantity == CompanionQuantity.PULSE_WIDTH:
            why = f"the table {name} is read through the injectors and the fuel that it was made with"
            # A dead time that the ECU adds, and was told as it is, cancels.
            added = table.ecu_applies is not None and "dead time" in table.ecu_applies
            needs = Needs(
                flow=needs.flow or why,
                fuel=needs.fuel or why,
                dead_time=needs.dead_time or (None if added else why),
                rail_pressure=needs.rail_pressure or why,
            )
        elif table.quantity == CompanionQuantity.AIR_FUEL_RATIO and table.basis == "fuel in use":
            needs = replace(needs, fuel=needs.fuel or f'the basis "fuel in use" of the table {name} means it')
    return needs


def build_companions(parsed: JobFile, sides: Sides, stoichiometric: float) -> tuple[Companion, ...]:
    """All further tables.

    Parameters
    ----------
    parsed
        The job file.
    sides
        Whose they are.
    stoichiometric
        Of the donor's fuel, for an air/fuel scale that means the fuel in use.
    """
    own = target_tables(parsed)
    return tuple(
        _Builder(sides, name, table, own.get(name, TargetCompanion())).build(stoichiometric)
        for name, table in donor_tables(parsed).items()
    )


@dataclass(frozen=True)
class _Read:
    """What a file comes to: axes, values, and how to write it back."""

    name: str
    axes: tuple[CompanionAxis, ...]
    values: FloatArray
    load_pa: FloatArray | None
    unit: str | None
    decimals: int
    layout: object

    def place(self, index: tuple[int, ...]) -> str:
        return ", ".join(f"{axis.values[i]:g} {axis.unit}" for axis, i in zip(self.axes, index, strict=True))


@dataclass(frozen=True)
class _Builder:
    """One further table being put together."""

    sides: Sides
    name: str
    table: DonorCompanion
    own: TargetCompanion

    @property
    def key(self) -> str:
        return f"tables.{self.name}"

    def error(self, key: str, problem: str, side: Side | None = None) -> InputError:
        return (side or self.sides.donor).error(f"{self.key}.{key}", problem)

    def build(self, stoichiometric: float) -> Companion:
        quantity = self._quantity()
        self._refuse_what_does_not_belong(quantity)
        basis, follows = self._basis(quantity, stoichiometric)
        read = self._read()
        unit = self._unit(quantity, read)
        self._check(quantity, read, basis, _CELL_UNITS[quantity][unit])
        load, load_unit = (read.axes[0].values, read.axes[0].unit)
        donor, target = self._both(quantity)
        shown = Shown(unit, _CELL_UNITS[quantity][unit], load, load_unit, read.decimals)
        return Companion(
            name=self.name,
            quantity=quantity,
            values=read.values,
            axes=read.axes,
            shown=shown,
            load_pa=read.load_pa,
            donor=donor,
            target=target,
            storage=self._storage(shown),
            follows_fuel=follows,
            basis=basis,
            reference_pressure_pa=self._reference_pressure(donor),
            layout=read.layout,
        )

    def _quantity(self) -> CompanionQuantity:
        quantity = self.table.quantity
        if quantity is None:
            raise self.error(
                "quantity", 'missing: it is never assumed; say "pulse width", "percent", "lambda" or "air/fuel ratio"'
            )
        if self.own.quantity is not None and self.own.quantity != quantity:
            raise NotSupportedYet(
                "not supported yet: the target's table keeps the donor's quantity in this version",
                file=self.sides.target.record.file,
                place=self.sides.target.place(f"{self.key}.quantity"),
            )
        return CompanionQuantity(quantity)

    def _refuse_what_does_not_belong(self, quantity: CompanionQuantity) -> None:
        """Keys of a pulse, or of an axis, under a table that has none."""
        for side, section in ((self.sides.donor, self.table), (self.sides.target, self.own)):
            for key in _OF_PULSES:
                if quantity is not CompanionQuantity.PULSE_WIDTH and getattr(section, key, None) is not None:
                    raise self.error(
                        key, f'belongs to a table in "pulse width", which this one is not: {quantity}', side
                    )
            ratio = isinstance(section.basis, Measured) or section.basis == "fuel in use"
            if ratio and quantity is not CompanionQuantity.AIR_FUEL_RATIO:
                raise self.error("basis", "a ratio belongs to a table in air/fuel ratio, which this one is not", side)
        if self.table.axis is not None:
            for key in ("load", "load_unit", "rows"):
                if getattr(self.table, key) is not None:
                    raise self.error(
                        key, "stands beside axis: a table has one axis, or load and rpm; give one of the two"
                    )
        elif self.table.axis_unit is not None:
            raise self.error("axis_unit", "belongs to axis, which is missing")

    def _basis(self, quantity: CompanionQuantity, stoichiometric: float) -> tuple[float | None, bool]:
        """The ratio that an air/fuel scale means, and whether it follows the fuel."""
        if quantity is not CompanionQuantity.AIR_FUEL_RATIO:
            return None, False
        stated = self.table.basis
        if not isinstance(stated, Measured) and stated != "fuel in use":
            raise self.error(
                "basis",
                "missing: the ratio that its air/fuel scale means at lambda 1 whatever the fuel, such as 14.7 (the "
                'cells then stay), or "fuel in use" (they change with the fuel)',
            )
        other = self.own.basis
        same = other == stated or (
            isinstance(other, Measured) and isinstance(stated, Measured) and other.value == stated.value
        )
        if (isinstance(other, Measured) or other == "fuel in use") and not same:
            raise self.error(
                "basis",
                "an air/fuel table is carried over on one basis, the donor's: leave this key out",
                self.sides.target,
            )
        return (stated.value, False) if isinstance(stated, Measured) else (stoichiometric, True)

    def _read(self) -> _Read:
        table, donor = self.table, self.sides.donor
        if table.file is None:
            raise self.error("file", 'missing: the table\'s file, such as "crank.csv", or "-" for standard input')
        if table.axis is None:
            if table.load is None:
                raise self.error(
                    "axis",
                    'missing: say what its only axis is, such as axis = "coolant temperature", or of a table over '
                    'speed and load say load = "manifold pressure"',
                )
            return self._two_axes(read_file(donor, table, table.file, self.sides.files, f"{self.key}.file"))
        if table.axis_unit is None:
            raise self.error("axis_unit", 'missing: say the unit of the axis, such as "degC"')
        found = file_of(donor, table.file, self.sides.files, f"{self.key}.file", self._read_line)
        assert isinstance(found, LineFile)
        axis = self._axis(table.axis, table.axis_unit, found)
        return _Read(found.name, (axis,), found.values, None, found.unit, found.layout.decimals, found.layout)

    def _read_line(self, path: object, name: str) -> LineFile:
        return read_line(
            path,  # type: ignore[arg-type]
            shown_name=name,
            sheet=self.table.sheet,
            cells=self.table.cells,
            decimal=self.table.decimal,  # type: ignore[arg-type]
            stdin=self.sides.files.stdin,
        )

    def _two_axes(self, found: GridFile) -> _Read:
        donor = self.sides.donor
        breath = breath_of(donor, self.sides.donor_conditions, donor.engine.cycle or Cycle.FOUR_STROKE)
        axis = pressure_axis(donor, self.key, self.table.load_unit, breath)
        self._refuse_two_barometers(axis)
        load, pressure, values = rising(found, axis)
        checked_axes(found, axis, load, pressure)
        axes = CompanionAxis("manifold pressure", axis.unit, load), CompanionAxis("rpm", "rpm", found.rpm)
        return _Read(found.name, axes, values, pressure, found.unit, found.layout.decimals, found.layout)

    def _refuse_two_barometers(self, axis: Axis) -> None:
        """A pulse against vacuum or gauge pressure would stand at another manifold pressure on the target."""
        barometers = [one.barometer_pa for one in (self.sides.donor_conditions, self.sides.target_conditions)]
        pulses = self.table.quantity == CompanionQuantity.PULSE_WIDTH
        if pulses and axis.reference != "absolute" and barometers[0] != barometers[1]:
            raise NotSupportedYet(
                f'"{axis.unit}" counts from the barometer, and the two sides have different ones: not supported yet '
                "for a further table of pulses; write its loads as absolute pressures",
                file=self.sides.donor.record.file,
                place=self.sides.donor.place(f"{self.key}.load_unit"),
            )

    def _axis(self, name: str, unit: str, found: LineFile) -> CompanionAxis:
        if name.strip().casefold() not in _COOLANT:
            return CompanionAxis(name, unit, found.axis)
        plain = unit.replace("°C", "degC").replace("°F", "degF").strip()
        if plain not in _TO_KELVIN:
            raise self.error("axis_unit", f'"{unit}" is no unit of a coolant temperature: write "degC", "degF" or "K"')
        size, zero = _TO_KELVIN[plain]
        kelvin = found.axis * size + zero
        for value, celsius in zip(found.axis, kelvin - ZERO_CELSIUS, strict=True):
            if not COOLANT_C[0] <= celsius <= COOLANT_C[1]:
                raise InputError(
                    f"a coolant temperature of {value:g} {unit} is not possible: expected {COOLANT_C[0]:g} to "
                    f"{COOLANT_C[1]:g} degC; is axis_unit right, and does the axis stand before the values?",
                    file=found.name,
                )
        return CompanionAxis(name, unit, found.axis, kelvin)

    def _unit(self, quantity: CompanionQuantity, read: _Read) -> str:
        units = _CELL_UNITS[quantity]
        said = self.table.unit.strip().replace("µ", "u").replace("μ", "u") if self.table.unit is not None else None
        if said is not None and said not in units:
            known = ", ".join(f'"{unit}"' for unit in units)
            raise self.error("unit", f'"{self.table.unit}" is no unit of a {quantity}: write one of {known}')
        if said is not None and read.unit in units and read.unit != said:
            raise self.error("unit", f'"{said}" contradicts {read.name}, which says "{read.unit}"')
        if said is None and read.unit is not None and read.unit not in units:
            raise InputError(
                f'says that its cells are in "{read.unit}", which is no unit of a {quantity}: correct the key '
                "quantity, or give the key unit",
                file=read.name,
            )
        if said is None and read.unit is None and quantity is CompanionQuantity.PULSE_WIDTH:
            highest = float(read.values.max())
            if highest > LONGEST_MS:
                raise self.error(
                    "unit",
                    f'missing: the highest cell of {read.name} is {highest:g}, too long for ms: say "us" if it is '
                    "microseconds",
                )
        return said if said is not None else read.unit if read.unit in units and read.unit else next(iter(units))

    def _check(self, quantity: CompanionQuantity, read: _Read, basis: float | None, per_unit: float) -> None:
        """Refuse cells that cannot be what the job says they are."""
        if quantity is CompanionQuantity.PERCENT:
            return
        pulse = quantity is CompanionQuantity.PULSE_WIDTH
        for index in np.ndindex(read.values.shape):
            cell = float(read.values[index])
            if pulse and cell < 0:
                raise InputError(f"holds {cell:g}: a pulse is not negative", file=read.name, place=read.place(index))
            if pulse and cell * per_unit > LONGEST_MS * 1e-3:
                raise InputError(
                    f"holds {cell:g}, a pulse of {cell * per_unit:g} s: is the key unit right?",
                    file=read.name,
                    place=read.place(index),
                )
            mixture = cell / (basis or 1.0)
            if not pulse and not LAMBDA[0] <= mixture <= LAMBDA[1]:
                ratio = quantity is CompanionQuantity.LAMBDA and 6.0 <= cell <= 20.0
                hint = "it looks like an air/fuel ratio: correct the key quantity" if ratio else f"is it {quantity}?"
                raise InputError(
                    f"holds {cell:g}, a lambda of {mixture:.4g}, outside the plausible range {LAMBDA[0]:g} to "
                    f"{LAMBDA[1]:g}: {hint}",
                    file=read.name,
                    place=read.place(index),
                )

    def _both(self, quantity: CompanionQuantity) -> tuple[CompanionSide, CompanionSide]:
        if quantity is not CompanionQuantity.PULSE_WIDTH:
            return CompanionSide(), CompanionSide()
        table, own, sides = self.table, self.own, self.sides
        for side, section in ((sides.donor, table), (sides.target, own)):
            if section.ecu_applies == UNKNOWN:
                raise self.error(
                    "ecu_applies", '"unknown" cannot stand here: what a further table holds must be known', side
                )
        if table.ecu_applies is None:
            raise self.error(
                "ecu_applies",
                "missing: a pulse-width table must say what the ECU still applies to the cell: a list of "
                '"pressure", "lambda", "dead time", perhaps []',
            )
        if table.battery is None:
            sides.donor.record.assume("battery of a further table", sides.donor.place(f"{self.key}.battery"))
        donor = CompanionSide(
            inside=_inside(table.ecu_applies),
            battery_v=table.battery.value if table.battery else sides.donor_conditions.battery_v,
            openings_per_cycle=table.openings_per_cycle.value if table.openings_per_cycle else None,
            rail_pressure_pa=table.rail_pressure.value if table.rail_pressure else None,
        )
        # The same box cranks the target: what it does then is the donor's table's, unless the target says otherwise.
        # The rail is another one: without a word of its own it stands where the target's rail stands.
        battery = own.battery.value if own.battery else donor.battery_v if table.battery else None
        openings = own.openings_per_cycle.value if own.openings_per_cycle else donor.openings_per_cycle
        target = CompanionSide(
            inside=donor.inside if own.ecu_applies is None else _inside(own.ecu_applies),
            battery_v=sides.target_conditions.battery_v if battery is None else battery,
            openings_per_cycle=openings,
            rail_pressure_pa=own.rail_pressure.value if own.rail_pressure else None,
        )
        return donor, target

    def _reference_pressure(self, donor: CompanionSide) -> float:
        stated = self.table.reference_pressure
        if stated is None:
            return FORMULA_PRESSURE
        if donor.inside.pressure:
            raise self.error(
                "reference_pressure",
                "belongs to a pulse-width table to which the ECU applies pressure: leave it out, or correct "
                "ecu_applies",
            )
        return self.sides.donor.absolute(
            stated, f"{self.key}.reference_pressure", self.sides.donor_conditions.barometer_pa
        )

    def _storage(self, shown: Shown) -> Storage:
        return build_storage(self.sides.target, self.key, self.own, shown)


def _inside(applies: object) -> Inside:
    assert isinstance(applies, tuple)
    return Inside("pressure" not in applies, "lambda" not in applies, "dead time" not in applies)
