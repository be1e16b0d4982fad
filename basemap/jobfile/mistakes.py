"""Every mistake of a job file that can be found once the first has stopped it, in the order of the file.

A job is read in one order, in which a part may rely on those before it, and the first mistake stops that. Here each
part is looked at by itself. A part is skipped if one that it relies on is wrong, so that no mistake is reported that
only follows from another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, ParamSpec, TypeVar

from basemap.errors import InputError, Mistakes
from basemap.jobfile import schema, table_sections
from basemap.jobfile.engine import TopRow, build_conditions, build_engine
from basemap.jobfile.fuel import FoundFuel, build_fuel
from basemap.jobfile.further_table_file import StatedSides
from basemap.jobfile.further_tables import Builder, check_names, donor_tables, target_tables, with_further_tables
from basemap.jobfile.injectors import build_injectors
from basemap.jobfile.intended import intended_lambda
from basemap.jobfile.load_axis import KEY, LoadScale, load_axis, targets_axis
from basemap.jobfile.provenance import Provenance, refuse_spreads
from basemap.jobfile.sections import StatedSide, WhyNeeded, both_sides, why_needed
from basemap.jobfile.sensors import build_sensors
from basemap.jobfile.settings import build_setting_fields
from basemap.jobfile.table import Files, ReadTable, read_table
from basemap.jobfile.tables_and_parts import (
    axis_conditions_on,
    check_axis,
    donor_table,
    take_inputs,
    target_table,
    top_rows,
    what_is_applied,
)
from basemap.jobfile.target_points import build_storage, target_grid
from basemap.jobfile.throttle import check_applies
from basemap.model.further_table import FurtherTable
from basemap.model.installation import Conditions

_Of = ParamSpec("_Of")
_Part = TypeVar("_Part")
_FUEL_IN_USE = "fuel in use"
_NOT_MEANT = 14.7
"""A stoichiometric ratio for scales that do not depend on it."""
_NO_ROW = TopRow(0.0, "the table")
_NOTHING_NEEDED = WhyNeeded(None, None, None, None)


def all_mistakes(parsed: schema.JobFile, provenance: Provenance, files: Files, first: InputError) -> InputError:
    """The mistake that stopped a job, together with all others that can be seen.

    Parameters
    ----------
    parsed, files
        As for `assemble`.
    provenance
        A fresh one, thrown away afterwards.
    first
        What stopped the job.
    """
    looked = _Look(parsed, provenance, files)
    looked.at_everything()
    found: dict[str, tuple[str | None, InputError]] = {}
    for place, error in looked.found:
        found.setdefault(str(error), (place, error))
    found.setdefault(str(first), (first.place if first.file == provenance.file else None, first))
    if len(found) == 1:
        return first
    ordered = sorted(found.values(), key=lambda one: _position(provenance.data, one[0]))
    return Mistakes([error for _, error in ordered], of=provenance.file)


def _position(data: Mapping[str, Any], place: str | None) -> tuple[int, ...]:
    """Place of a key in the file; a missing key comes at the end of its section, a problem without a key at the end."""
    position: list[int] = []
    section: Any = data
    for part in (place or " ").split("."):
        if not isinstance(section, Mapping):
            break
        keys = list(section)
        position.append(keys.index(part) if part in section else len(keys))
        section = section.get(part)
    return tuple(position)


@dataclass
class _Look:
    """One look at each part of a job.

    Parameters
    ----------
    found
        Mistakes, each with its key in the job file.
    """

    parsed: schema.JobFile
    provenance: Provenance
    files: Files
    found: list[tuple[str | None, InputError]] = field(default_factory=list)

    def at_everything(self) -> None:
        """Look at each part that relies on nothing that is wrong."""
        sides = self._at("target", both_sides, self.parsed, self.provenance)
        if sides is None:
            return
        shared = self.parsed.conditions or schema.ConditionsSection.left_out()
        donors, targets = (self._at(f"{side.name}.conditions", build_conditions, side, shared) for side in sides)
        self._sensors("donor", self.parsed.donor, donors)
        self._sensors("target", self.parsed.target, targets)
        self._at("target.settings", build_setting_fields, sides[1])
        if donors is not None and targets is not None:
            self._with_conditions(sides, (donors, targets))

    def _sensors(self, name: str, section: schema.Donor | schema.Target | None, own: Conditions | None) -> None:
        if section is not None and own is not None:
            self._at(f"{name}.sensors", build_sensors, section.sensors, self.provenance, name, own.barometer_pa)

    def _with_conditions(self, sides: tuple[StatedSide, StatedSide], conditions: tuple[Conditions, Conditions]) -> None:
        self._at("conditions", self._spreads, conditions)
        tables = self._tables(sides, conditions)
        needed = _NOTHING_NEEDED if tables is None else self._why_needed(sides, tables)
        fuels = self._parts(sides, needed)
        tops = (_NO_ROW, _NO_ROW)
        if tables is not None and tables.axes is not None and tables.grids is not None:
            tops = top_rows(tables.table, tables.own, tables.axes, tables.grids)
        for side, own, top in zip(sides, conditions, tops, strict=True):
            self._at(f"{side.name}.engine", build_engine, side, own, top)
        self._mixtures(sides, conditions, tables, fuels)

    def _spreads(self, conditions: tuple[Conditions, Conditions]) -> None:
        take_inputs(self.parsed, self.provenance, conditions)
        refuse_spreads(self.provenance)

    def _tables(
        self, sides: tuple[StatedSide, StatedSide], conditions: tuple[Conditions, Conditions]
    ) -> _Tables | None:
        (donor, target), (of_donor, of_target) = sides, (f"donor.{KEY}", f"target.{KEY}")
        own = self._at(of_target, target_table, self.parsed, target)
        table = self._at(of_donor, donor_table, self.parsed, donor)
        if table is None or own is None:
            return None
        applies = self._at(of_donor, what_is_applied, donor, table)
        found = _Tables(table, own, applies)
        if (of_axis := self._at(of_donor, axis_conditions_on, donor, conditions[0])) is None:
            return found
        if (axis := self._at(of_donor, load_axis, donor, table, of_axis)) is None:
            return found
        before = len(self.found)
        if applies is not None:
            self._at(of_donor, check_axis, donor, axis, applies)
            self._at(of_donor, check_applies, donor, axis, applies)
        if len(self.found) > before:  # either may be wrong, the axis or what is applied
            return found
        # Standard input has been read already, and cannot be read again.
        grid = None if table.file == "-" else self._at(f"{of_donor}.file", read_table, donor, table, axis, self.files)
        of_own_axis = self._at(of_target, axis_conditions_on, target, conditions[1], donor)
        if grid is None or of_own_axis is None:
            return found
        own_axis = self._at(of_target, targets_axis, target, own.load_unit, axis, of_own_axis)
        if own.quantity is None:
            self._at(of_target, build_storage, target, KEY, own, grid.shown)
        if (
            own_axis is None
            or (own_grid := self._at(of_target, target_grid, target, own, grid, axis, own_axis)) is None
        ):
            return found
        return _Tables(table, own, applies, (axis, own_axis), (grid, own_grid))

    def _why_needed(self, sides: tuple[StatedSide, StatedSide], tables: _Tables) -> WhyNeeded:
        if tables.applies is None:
            return _NOTHING_NEEDED
        other = tables.own.quantity is not None and tables.own.quantity != tables.table.quantity
        needed = why_needed(*sides, tables.table, tables.applies, other_ecu=other)
        return with_further_tables(needed, donor_tables(self.parsed))

    def _parts(self, sides: tuple[StatedSide, StatedSide], needed: WhyNeeded) -> tuple[FoundFuel, FoundFuel] | None:
        """Look at fuels and injectors; return the fuels if both are sound."""
        donor, target = sides
        fuel = self._at("donor.fuel", build_fuel, donor, needed.fuel, needed.rail_pressure)
        own_fuel = self._at("target.fuel", build_fuel, target)
        if fuel is not None:
            rail = fuel.fuel.rail_pressure_pa
            self._at("donor.injectors", build_injectors, donor, rail, needed.flow, needed.dead_time)
        if own_fuel is not None:
            self._at("target.injectors", build_injectors, target, own_fuel.fuel.rail_pressure_pa)
        return None if fuel is None or own_fuel is None else (fuel, own_fuel)

    def _mixtures(
        self,
        sides: tuple[StatedSide, StatedSide],
        conditions: tuple[Conditions, Conditions],
        tables: _Tables | None,
        fuels: tuple[FoundFuel, FoundFuel] | None,
    ) -> None:
        """Check further tables and intended mixtures; if a fuel has mistakes, only those that do not depend on it."""
        ratios = None
        if fuels is not None:
            ratios = fuels[0].with_stand_in(fuels[1].fuel).stoichiometric, fuels[1].fuel.stoichiometric
        further = self._further(StatedSides(*sides, *conditions, self.files), ratios and ratios[0])
        if tables is None or tables.axes is None or tables.grids is None:
            return
        stated: tuple[table_sections.DonorTable | table_sections.TargetTable, ...] = tables.table, tables.own
        for i, (side, table) in enumerate(zip(sides, stated, strict=True)):
            wanted = table.intended_lambda
            read = "-" in (wanted, getattr(wanted, "file", None))
            left_out = wanted is None and side.name == "target"
            if read or left_out or (further is None and getattr(wanted, "table", None) is not None):
                continue
            if ratios is None and getattr(wanted, "basis", None) == _FUEL_IN_USE:
                continue
            ratio = ratios[i] if ratios is not None else _NOT_MEANT
            place = f"{side.name}.{KEY}.lambda"
            self._at(
                place,
                intended_lambda,
                side,
                table,
                tables.grids[i],
                tables.axes[i],
                self.files,
                ratio,
                further or (),
            )

    def _further(self, sides: StatedSides, stoichiometric: float | None) -> tuple[FurtherTable, ...] | None:
        """The further tables, if all are sound."""
        before = len(self.found)
        self._at("donor.tables", check_names, self.parsed, self.provenance)
        if len(self.found) > before:
            return None
        own = target_tables(self.parsed)
        built: list[FurtherTable | None] = []
        for name, table in donor_tables(self.parsed).items():
            if table.file == "-" or (stoichiometric is None and table.basis == _FUEL_IN_USE):
                built.append(None)
                continue
            builder = Builder(sides, name, table, own.get(name, table_sections.TargetFurtherTable.left_out()))
            built.append(self._at(f"donor.tables.{name}.file", builder.build, stoichiometric or _NOT_MEANT))
        sound = [one for one in built if one is not None]
        return tuple(sound) if len(sound) == len(built) else None

    def _at(self, place: str, build: Callable[_Of, _Part], *args: _Of.args, **named: _Of.kwargs) -> _Part | None:
        """One part, or `None` if it is wrong; `place` is its key, for a mistake in another file than the job."""
        try:
            return build(*args, **named)
        except InputError as error:
            self.found.append((error.place if error.file == self.provenance.file else place, error))
            return None


class _Tables(NamedTuple):
    """The main table of both sides, as far as it is sound; parameters as for `Stated`."""

    table: table_sections.DonorTable
    own: table_sections.TargetTable
    applies: tuple[str, ...] | str | None
    axes: tuple[LoadScale, LoadScale] | None = None
    grids: tuple[ReadTable, ReadTable] | None = None
