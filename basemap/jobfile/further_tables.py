"""``[donor.tables.NAME]`` and ``[target.tables.NAME]``: the tables beside the main one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from basemap.errors import InputError
from basemap.jobfile.further_table import Builder
from basemap.jobfile.further_table_file import StatedSides
from basemap.jobfile.needs import Needs
from basemap.jobfile.record import Record
from basemap.jobfile.schema import DonorFurtherTable, JobFile, TargetFurtherTable
from basemap.model.further_table import FurtherQuantity, FurtherTable

MOST_CELLS = 25_600
"""Of all further tables together: four as large as one may be."""
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


def with_further_tables(needs: Needs, tables: Mapping[str, DonorFurtherTable]) -> Needs:
    """Why the donor's inputs are needed once further tables are read through them."""
    for name, table in tables.items():
        if table.quantity == FurtherQuantity.PULSE_WIDTH:
            why = f"the table {name} is read through the injectors and the fuel that it was made with"
            # A dead time that the ECU adds, and was told as it is, cancels.
            added = table.ecu_applies is not None and "dead time" in table.ecu_applies
            needs = Needs(
                flow=needs.flow or why,
                fuel=needs.fuel or why,
                dead_time=needs.dead_time or (None if added else why),
                rail_pressure=needs.rail_pressure or why,
            )
        elif table.quantity == FurtherQuantity.AIR_FUEL_RATIO and table.basis == "fuel in use":
            needs = replace(needs, fuel=needs.fuel or f'the basis "fuel in use" of the table {name} means it')
    return needs


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
        further_table = Builder(sides, name, table, own.get(name, TargetFurtherTable())).build(stoichiometric)
        cells += max(further_table.values.size, (further_table.origin or further_table).values.size)
        if cells > MOST_CELLS:
            raise InputError(
                f"with it the further tables have {cells} cells: expected at most {MOST_CELLS} together; leave out "
                "tables, or rows and columns of theirs",
                file=sides.donor.record.file,
                place=f"donor.tables.{name}",
            )
        built.append(further_table)
    return tuple(built)
