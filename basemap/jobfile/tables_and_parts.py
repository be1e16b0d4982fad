"""The tables and the parts of both sides as a job file states them, read in the order in which one needs another."""

from __future__ import annotations

from typing import NamedTuple

from basemap.jobfile import schema, table_sections
from basemap.jobfile.ecu_applies import APPLICABLE
from basemap.jobfile.engine import TopRow, build_conditions, build_engine
from basemap.jobfile.fuel import build_fuel
from basemap.jobfile.further_table_file import StatedSides
from basemap.jobfile.further_tables import build_further_tables, check_names, donor_tables, with_further_tables
from basemap.jobfile.injectors import Hardware, build_injectors
from basemap.jobfile.load_axis import KEY, AxisConditions, LoadScale, axis_conditions, load_axis, targets_axis
from basemap.jobfile.provenance import Provenance, refuse_spreads
from basemap.jobfile.quantities import UNKNOWN, Measured
from basemap.jobfile.sections import StatedSide, WhyNeeded, both_sides, why_needed
from basemap.jobfile.table import Files, ReadTable, read_table
from basemap.jobfile.target_points import target_grid
from basemap.jobfile.throttle import check_applies, refuse_boost
from basemap.model.axes import ESTIMATE_MARGIN, LoadAxis
from basemap.model.further_table import FurtherTable
from basemap.model.installation import Conditions, Cycle, Installation
from basemap.model.table import TableQuantity


class Fitted(NamedTuple):
    """The hardware of both sides, and which of the donor's numbers are known rather than stand-ins."""

    donor: Installation
    target: Installation
    donor_flow_known: bool
    donor_fuel_known: bool
    donor_dead_time_known: bool


class Stated(NamedTuple):
    """What a job file states about both sides, before they are built.

    Parameters
    ----------
    donor, target
        The sections of either side.
    conditions, axes, grids
        For donor and target: the conditions, the meaning of the load axis, and the table, which is empty for the
        target.
    table, own, applies
        ``[donor.tables.fuel]``, ``[target.tables.fuel]``, and what the donor's ECU applies to a cell, or "unknown".
    """

    parsed: schema.JobFile
    provenance: Provenance
    files: Files
    donor: StatedSide
    target: StatedSide
    conditions: tuple[Conditions, Conditions]
    table: table_sections.DonorTable
    own: table_sections.TargetTable
    applies: tuple[str, ...] | str
    axes: tuple[LoadScale, LoadScale]
    grids: tuple[ReadTable, ReadTable]
    fitted: Fitted
    further_tables: tuple[FurtherTable, ...]


def read_stated(parsed: schema.JobFile, provenance: Provenance, files: Files) -> Stated:
    """Read the sections of both sides; parameters as of `assemble`."""
    donor, target = both_sides(parsed, provenance)
    check_names(parsed, provenance)
    shared = parsed.conditions or schema.ConditionsSection.left_out()
    conditions = build_conditions(donor, shared), build_conditions(target, shared)
    take_inputs(parsed, provenance, conditions)
    refuse_spreads(provenance)
    table, own = donor_table(parsed, donor), target_table(parsed, target)
    applies = what_is_applied(donor, table)
    axis = load_axis(donor, table, axis_conditions_on(donor, conditions[0]))
    check_axis(donor, axis, applies)
    check_applies(donor, axis, applies)
    grid = read_table(donor, table, axis, files)
    own_axis = targets_axis(target, own.load_unit, axis, axis_conditions_on(target, conditions[1], donor))
    own_grid = target_grid(target, own, grid, axis, own_axis)
    tops = top_rows(table, own, (axis, own_axis), (grid, own_grid))
    further = donor_tables(parsed)
    other_ecu = own.quantity is not None and own.quantity != table.quantity
    needed = with_further_tables(why_needed(donor, target, table, applies, other_ecu=other_ecu), further)
    fitted = _installations(donor, target, conditions, tops, needed)
    if axis.kind is LoadAxis.THROTTLE:
        refuse_boost(donor, fitted.donor)
        refuse_boost(target, fitted.target)
    sides = StatedSides(donor, target, *conditions, files)
    further_tables = build_further_tables(parsed, sides, fitted.donor.fuel.stoichiometric)
    return Stated(
        parsed=parsed,
        provenance=provenance,
        files=files,
        donor=donor,
        target=target,
        conditions=conditions,
        table=table,
        own=own,
        applies=applies,
        axes=(axis, own_axis),
        grids=(grid, own_grid),
        fitted=fitted,
        further_tables=further_tables,
    )


def take_inputs(parsed: schema.JobFile, provenance: Provenance, conditions: tuple[Conditions, Conditions]) -> None:
    """Keep every stated value as an input of the job."""
    if parsed.conditions is not None:
        provenance.take(parsed.conditions, "conditions", None)
    for name, section, own in zip(("donor", "target"), (parsed.donor, parsed.target), conditions, strict=True):
        if section is not None:
            provenance.take(section, name, own.barometer_pa)
    if parsed.options is not None:
        provenance.take(parsed.options, "options", None)


def donor_table(parsed: schema.JobFile, donor: StatedSide) -> table_sections.DonorTable:
    """``[donor.tables.fuel]``, refused without its quantity."""
    tables = parsed.donor.tables if parsed.donor else None
    if tables is None or tables.fuel is None:
        raise donor.error(KEY, "missing: describe the donor's main table, with file, quantity, load and lambda")
    table = tables.fuel
    if table.quantity is None:
        raise donor.error(
            f"{KEY}.quantity", 'missing: this is never assumed; say "volumetric efficiency" or "pulse width"'
        )
    _refuse_scale(donor, table.basis)
    return table


def target_table(parsed: schema.JobFile, target: StatedSide) -> table_sections.TargetTable:
    """``[target.tables.fuel]``."""
    tables = parsed.target.tables if parsed.target else None
    own = tables.fuel if tables is not None else None
    if own is None:
        return table_sections.TargetTable.left_out()
    _refuse_scale(target, own.basis)
    return own


def _refuse_scale(side: StatedSide, basis: object) -> None:
    if isinstance(basis, Measured) or basis == "fuel in use":
        raise side.error(
            f"{KEY}.basis", "a ratio is only for a table in air/fuel ratio, and this table holds something else"
        )


def what_is_applied(donor: StatedSide, table: table_sections.DonorTable) -> tuple[str, ...] | str:
    """What the donor's ECU still applies to a cell."""
    if table.ecu_applies is not None:
        return table.ecu_applies
    if table.quantity == TableQuantity.PULSE_WIDTH:
        raise donor.error(
            f"{KEY}.ecu_applies",
            'missing: for a pulse-width table state what the ECU still applies to the cell: a list of "pressure", '
            '"lambda", "dead time", [] for none, or "unknown"',
        )
    donor.assume("ecu applies, VE", f"{KEY}.ecu_applies")
    return APPLICABLE


def axis_conditions_on(side: StatedSide, conditions: Conditions, donor: StatedSide | None = None) -> AxisConditions:
    """The conditions of a load axis; a target that states no cycle has the donor's, or the default."""
    cycle = side.engine.cycle or (donor.engine.cycle if donor else None) or Cycle.FOUR_STROKE
    return axis_conditions(side, conditions, cycle)


def check_axis(side: StatedSide, axis: LoadScale, applies: tuple[str, ...] | str) -> None:
    """Refuse pressure applied on an air-mass axis, which does not give the manifold pressure."""
    if axis.kind is not LoadAxis.AIR_MASS or not (applies == UNKNOWN or "pressure" in applies):
        return
    what = '"unknown"' if applies == UNKNOWN else '"pressure"'
    raise side.error(
        f"{KEY}.ecu_applies",
        f"{what} cannot be used with an air-mass axis, which does not give the manifold pressure: say what the ECU "
        'still applies to a cell, such as ["lambda", "dead time"]',
    )


def _installations(
    donor: StatedSide,
    target: StatedSide,
    conditions: tuple[Conditions, Conditions],
    top_rows: tuple[TopRow, TopRow],
    needed: WhyNeeded,
) -> Fitted:
    engines = (
        build_engine(donor, conditions[0], top_rows[0]),
        build_engine(target, conditions[1], top_rows[1]),
    )
    if engines[0].cycle != engines[1].cycle:
        raise target.error(
            "engine.cycle",
            f"a {engines[0].cycle} donor's table cannot be carried over to a {engines[1].cycle} engine: this program "
            "does not change between two-stroke and four-stroke",
        )
    donor_fuel = build_fuel(donor, needed.fuel, needed.rail_pressure)
    hardware = build_injectors(donor, donor_fuel.fuel.rail_pressure_pa, needed.flow, needed.dead_time)
    target_fuel = build_fuel(target).fuel
    target_hardware: Hardware = build_injectors(target, target_fuel.rail_pressure_pa)
    return Fitted(
        donor=Installation(conditions[0], engines[0], hardware.injectors, donor_fuel.with_stand_in(target_fuel)),
        target=Installation(conditions[1], engines[1], target_hardware.injectors, target_fuel),
        donor_flow_known=hardware.flow_known,
        donor_fuel_known=donor_fuel.ratio_known,
        donor_dead_time_known=hardware.dead_time_known,
    )


def top_rows(
    table: table_sections.DonorTable,
    own: table_sections.TargetTable,
    axes: tuple[LoadScale, LoadScale],
    grids: tuple[ReadTable, ReadTable],
) -> tuple[TopRow, TopRow]:
    """How far either side's table reaches; parameters as of `Stated`."""
    margin = ESTIMATE_MARGIN if axes[0].kind is LoadAxis.AIR_MASS else 1.0
    return (
        TopRow(float(grids[0].load_pa[-1]) / margin, _which_unit(axes[0], "donor.tables.fuel", table.load_unit)),
        TopRow(float(grids[1].load_pa[-1]) / margin, _which_of_the_target(own, axes[1], table)),
    )


def _which_unit(axis: LoadScale, table: str, load_unit: str | None) -> str:
    """The key that states the quantity or unit of a table's loads, and its value."""
    key, says = ("load", axis.kind.value) if load_unit is None else ("load_unit", load_unit)
    return f'{table}.{key}, which is "{says}"'


def _which_of_the_target(own: table_sections.TargetTable, axis: LoadScale, donors: table_sections.DonorTable) -> str:
    if own.load_points is not None:
        return f'target.tables.fuel.load_points, which are read in "{axis.unit}"'
    if own.load_unit is not None:
        return _which_unit(axis, "target.tables.fuel", own.load_unit)
    return _which_unit(axis, "donor.tables.fuel", donors.load_unit)
