"""``[donor.tables.NAME]`` and ``[target.tables.NAME]``: the tables beside the main one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from basemap.constants import FORMULA_PRESSURE
from basemap.errors import InputError, NotSupportedYet
from basemap.jobfile.ecu_applies import inside_of
from basemap.jobfile.further_table_file import CELL_UNITS, Further, StatedSides
from basemap.jobfile.provenance import Provenance
from basemap.jobfile.quantities import UNKNOWN, Measured
from basemap.jobfile.schema import JobFile
from basemap.jobfile.sections import WhyNeeded
from basemap.jobfile.table_sections import DonorFurtherTable, TargetFurtherTable
from basemap.jobfile.target_points import build_storage, on_own_points
from basemap.model.further_table import FurtherQuantity, FurtherSide, FurtherTable, is_cranking
from basemap.model.table import Shown, Storage

_OF_PULSES = ("ecu_applies", "battery", "reference_pressure", "openings_per_cycle", "rail_pressure")


@dataclass(frozen=True)
class Builder(Further):
    """One further table being put together; `own` is what the target says of it."""

    own: TargetFurtherTable

    def build(self, stoichiometric: float) -> FurtherTable:
        """Build the table.

        Raises
        ------
        InputError
            If a key or a cell cannot be used.
        """
        quantity = self._quantity()
        self._refuse_what_does_not_belong(quantity)
        basis, follows = self._basis(quantity, stoichiometric)
        read = self.read()
        unit = self.unit(quantity, read)
        self.check(quantity, read, basis, CELL_UNITS[quantity][unit])
        load, load_unit = (read.axes[0].values, read.axes[0].unit)
        donor, target = self._both(quantity)
        shown = Shown(unit, CELL_UNITS[quantity][unit], load, load_unit, read.decimals)
        return on_own_points(
            self,
            self.own,
            FurtherTable(
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
            ),
        )

    def _quantity(self) -> FurtherQuantity:
        quantity = self.table.quantity
        if quantity is None:
            raise self.error(
                "quantity", 'missing: this is never assumed; say "pulse width", "percent", "lambda" or "air/fuel ratio"'
            )
        if self.own.quantity is not None and self.own.quantity != quantity:
            raise NotSupportedYet(
                "not supported yet: the target's table keeps the donor's quantity in this version",
                file=self.sides.target.provenance.file,
                place=self.sides.target.place(f"{self.key}.quantity"),
            )
        return FurtherQuantity(quantity)

    def _refuse_what_does_not_belong(self, quantity: FurtherQuantity) -> None:
        """Refuse keys of a pulse, or of an axis, in a table that has none."""
        for side, section in ((self.sides.donor, self.table), (self.sides.target, self.own)):
            for key in _OF_PULSES:
                if quantity is not FurtherQuantity.PULSE_WIDTH and getattr(section, key, None) is not None:
                    raise self.error(
                        key,
                        f'is only for a table in "pulse width", and this table holds something else: {quantity}',
                        side,
                    )
            ratio = isinstance(section.basis, Measured) or section.basis == "fuel in use"
            if ratio and quantity is not FurtherQuantity.AIR_FUEL_RATIO:
                raise self.error(
                    "basis", "a ratio is only for a table in air/fuel ratio, and this table holds something else", side
                )
        if self.table.axis is not None:
            for key in ("load", "load_unit", "rows"):
                if getattr(self.table, key) is not None:
                    raise self.error(
                        key,
                        "is given together with axis: a table has either one axis, or load and rpm; give one of "
                        "the two",
                    )
        elif self.table.axis_unit is not None:
            raise self.error("axis_unit", "is the unit of axis, and axis is missing")

    def _basis(self, quantity: FurtherQuantity, stoichiometric: float) -> tuple[float | None, bool]:
        """The ratio that an air/fuel scale means, and whether it follows the fuel."""
        if quantity is not FurtherQuantity.AIR_FUEL_RATIO:
            return None, False
        stated = self.table.basis
        if not isinstance(stated, Measured) and stated != "fuel in use":
            raise self.error(
                "basis",
                "missing: give the ratio that its air/fuel scale calls lambda 1 on any fuel, such as 14.7 (the cells "
                'then stay the same), or "fuel in use" (the cells change with the fuel)',
            )
        other = self.own.basis
        same = other == stated or (
            isinstance(other, Measured) and isinstance(stated, Measured) and other.value == stated.value
        )
        if (isinstance(other, Measured) or other == "fuel in use") and not same:
            raise self.error(
                "basis",
                "an air/fuel table keeps the donor's basis: leave this key out",
                self.sides.target,
            )
        return (stated.value, False) if isinstance(stated, Measured) else (stoichiometric, True)

    def _both(self, quantity: FurtherQuantity) -> tuple[FurtherSide, FurtherSide]:
        if quantity is not FurtherQuantity.PULSE_WIDTH:
            return FurtherSide(), FurtherSide()
        table, own, sides = self.table, self.own, self.sides
        for side, section in ((sides.donor, table), (sides.target, own)):
            if section.ecu_applies == UNKNOWN:
                raise self.error("ecu_applies", 'must not be "unknown" here: state what the further table holds', side)
        if table.ecu_applies is None:
            raise self.error(
                "ecu_applies",
                'missing: for a pulse-width table state what the ECU still applies to the cell: a list of "pressure", '
                '"lambda", "dead time", or [] for none',
            )
        stated = table.battery
        if stated is None:
            kind = "cranking" if is_cranking(self.name) else "further"
            place = sides.donor.place(f"{self.key}.battery")
            stated = sides.donor.provenance.assume(f"battery of a {kind} table", place)
        donor = FurtherSide(
            inside=inside_of(tuple(table.ecu_applies)),
            battery_v=stated.value if stated else sides.donor_conditions.battery_v,
            openings_per_cycle=table.openings_per_cycle.value if table.openings_per_cycle else None,
            rail_pressure_pa=table.rail_pressure.value if table.rail_pressure else None,
        )
        # The same ECU cranks the target: it does what it did on the donor, unless the target says otherwise.
        # The rail is another one: unless this table states its pressure, it has that of the target's rail.
        battery = own.battery.value if own.battery else donor.battery_v if stated else None
        openings = own.openings_per_cycle.value if own.openings_per_cycle else donor.openings_per_cycle
        target = FurtherSide(
            inside=donor.inside if own.ecu_applies is None else inside_of(tuple(own.ecu_applies)),
            battery_v=sides.target_conditions.battery_v if battery is None else battery,
            openings_per_cycle=openings,
            rail_pressure_pa=own.rail_pressure.value if own.rail_pressure else None,
        )
        return donor, target

    def _reference_pressure(self, donor: FurtherSide) -> float:
        stated = self.table.reference_pressure
        if stated is None:
            return FORMULA_PRESSURE
        if donor.inside.pressure:
            raise self.error(
                "reference_pressure",
                "is only for a pulse-width table to which the ECU applies pressure: leave it out, or correct "
                "ecu_applies",
            )
        return self.sides.donor.absolute(
            stated, f"{self.key}.reference_pressure", self.sides.donor_conditions.barometer_pa
        )

    def _storage(self, shown: Shown) -> Storage:
        return build_storage(self.sides.target, self.key, self.own, shown)


MOST_CELLS = 25_600
"""Most cells of all further tables together: four of the largest tables."""
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _-]{0,38}[A-Za-z0-9_-])?")
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})


def donor_tables(parsed: JobFile) -> Mapping[str, DonorFurtherTable]:
    """The further tables as the job file has them, in its order."""
    tables = parsed.donor.tables if parsed.donor else None
    return tables.model_extra or {} if tables is not None else {}


def target_tables(parsed: JobFile) -> Mapping[str, TargetFurtherTable]:
    """What the target says of further tables."""
    tables = parsed.target.tables if parsed.target else None
    return tables.model_extra or {} if tables is not None else {}


def check_names(parsed: JobFile, provenance: Provenance) -> None:
    """Refuse a name that cannot be a file's, and a table of the target that the donor does not have."""
    names = {"fuel": "fuel"}
    for name in donor_tables(parsed):
        place = f"donor.tables.{name}"
        if _NAME.fullmatch(name) is None:
            raise InputError(
                "is used as a file name: use at most 40 letters, digits, spaces, - and _",
                file=provenance.file,
                place=place,
            )
        if name.casefold() in _DEVICES:
            raise InputError(
                "is used as a file name, and some systems reserve that name for a device: give it another name",
                file=provenance.file,
                place=place,
            )
        if name.casefold() in names:
            raise InputError(
                f'differs from "{names[name.casefold()]}" only in capitals, and so would their file names: give it '
                "another name",
                file=provenance.file,
                place=place,
            )
        names[name.casefold()] = name
    for name in target_tables(parsed):
        if name not in donor_tables(parsed):
            raise InputError(
                f"there is no [donor.tables.{name}]: the donor must have the table too",
                file=provenance.file,
                place=f"target.tables.{name}",
            )


def with_further_tables(needed: WhyNeeded, tables: Mapping[str, DonorFurtherTable]) -> WhyNeeded:
    """Reasons why the donor's inputs are needed once further tables are decoded with them."""
    for name, table in tables.items():
        if table.quantity == FurtherQuantity.PULSE_WIDTH:
            why = f"the table {name} is decoded with the injectors and the fuel that it was made for"
            # A dead time that the ECU adds, and was told correctly, cancels.
            added = table.ecu_applies is not None and "dead time" in table.ecu_applies
            needed = WhyNeeded(
                flow=needed.flow or why,
                fuel=needed.fuel or why,
                dead_time=needed.dead_time or (None if added else why),
                rail_pressure=needed.rail_pressure or why,
            )
        elif table.quantity == FurtherQuantity.AIR_FUEL_RATIO and table.basis == "fuel in use":
            needed = replace(needed, fuel=needed.fuel or f'the basis "fuel in use" of the table {name} refers to it')
    return needed


def build_further_tables(parsed: JobFile, sides: StatedSides, stoichiometric: float) -> tuple[FurtherTable, ...]:
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
    built = []
    cells = 0
    for name, table in donor_tables(parsed).items():
        further_table = Builder(sides, name, table, own.get(name, TargetFurtherTable.left_out())).build(stoichiometric)
        cells += max(further_table.values.size, (further_table.origin or further_table).values.size)
        if cells > MOST_CELLS:
            raise InputError(
                f"with this table the further tables have {cells} cells: expected at most {MOST_CELLS} in all; leave "
                "out tables, or some of their rows and columns",
                file=sides.donor.provenance.file,
                place=f"donor.tables.{name}",
            )
        built.append(further_table)
    return tuple(built)
