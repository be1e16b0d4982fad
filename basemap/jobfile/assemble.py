"""The sections of a job file, put together in the order in which one needs another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from basemap.adaptation.breathing import problem
from basemap.adaptation.throttle import needs_pressure, over_throttle
from basemap.constants import FORMULA_PRESSURE
from basemap.errors import InputError
from basemap.jobfile import schema
from basemap.jobfile.drives import with_drives
from basemap.jobfile.ecu_applies import VE_APPLIES, TargetController, choose_reading, inside_of
from basemap.jobfile.engine import TopRow, build_conditions, build_engine
from basemap.jobfile.fuel import build_fuel
from basemap.jobfile.further_table_file import StatedSides
from basemap.jobfile.further_tables import build_further_tables, check_names, donor_tables, with_further_tables
from basemap.jobfile.injectors import Hardware, build_injectors
from basemap.jobfile.intended import intended_lambda
from basemap.jobfile.lambda_table import with_lambda_table
from basemap.jobfile.load_axis import KEY, Breath, LoadScale, breath_of, load_axis, targets_axis
from basemap.jobfile.provenance import Provenance, refuse_spreads
from basemap.jobfile.quantities import UNKNOWN, Measured
from basemap.jobfile.sections import DonorNeeds, StatedSide, both_sides, donor_needs
from basemap.jobfile.sensors import build_sensors, refuse_other_quantities
from basemap.jobfile.settings import (
    assume_page,
    build_setting_fields,
    check_battery_factor,
    check_fuel_density,
    check_setting_fields,
    check_short_pulses,
    donor_told,
    what_matters,
)
from basemap.jobfile.table import Files, ReadTable, read_table
from basemap.jobfile.target_points import build_storage, intended_on_axes, target_grid
from basemap.jobfile.throttle import check_applies, refuse_boost, row_pressures
from basemap.model.axes import ESTIMATE_MARGIN, LoadAxis
from basemap.model.installation import Conditions, Cycle, DonorState, Installation
from basemap.model.job import Job, Side
from basemap.model.likeness import Breathing
from basemap.model.sensor import SensorScale
from basemap.model.table import FuelTable, Inside, TableQuantity


@dataclass(frozen=True)
class _Hardware:
    """What is fitted on either side, and what of the donor's is known rather than a stand-in."""

    donor: Installation
    target: Installation
    donor_flow_known: bool
    donor_fuel_known: bool
    donor_dead_time_known: bool


def assemble(parsed: schema.JobFile, record: Provenance, files: Files) -> Job:
    """A checked job file becomes a job.

    Parameters
    ----------
    parsed
        The job file, every key read.
    record
        Fills up with inputs, assumptions, notes and sources.
    files
        Where tables are read from.
    """
    donor, target = both_sides(parsed, record)
    check_names(parsed, record)
    shared = parsed.conditions or schema.ConditionsSection()
    conditions = build_conditions(donor, shared), build_conditions(target, shared)
    _take_inputs(parsed, record, conditions)
    refuse_spreads(record)
    table, own = _donor_table(parsed, donor), _target_table(parsed, target)
    applies = _applies(donor, table)
    axis = load_axis(donor, table, _breath(donor, conditions[0]))
    _check_axis(donor, axis, applies)
    check_applies(donor, axis, applies)
    grid = read_table(donor, table, axis, files)
    own_axis = targets_axis(target, own.load_unit, axis, _breath(target, conditions[1], donor))
    own_grid = target_grid(target, own, grid, axis, own_axis)
    margin = ESTIMATE_MARGIN if axis.kind is LoadAxis.AIR_MASS else 1.0
    tops = (
        TopRow(float(grid.load_pa[-1]) / margin, _which_unit(axis, "donor.tables.fuel", table.load_unit)),
        TopRow(float(own_grid.load_pa[-1]) / margin, _which_of_the_target(own, own_axis, table)),
    )
    further = donor_tables(parsed)
    other_box = own.quantity is not None and own.quantity != table.quantity
    needs = with_further_tables(donor_needs(donor, target, table, applies, other_box=other_box), further)
    hardware = _installations(donor, target, conditions, tops, needs)
    if axis.kind is LoadAxis.THROTTLE:
        refuse_boost(donor, hardware.donor)
        refuse_boost(target, hardware.target)
    sides = StatedSides(donor, target, *conditions, files)
    further_tables = build_further_tables(parsed, sides, hardware.donor.fuel.stoichiometric)
    controller = TargetController(
        target, own, TableQuantity(str(table.quantity)), own_grid.shown, conditions[1].barometer_pa
    )
    told = donor_told(donor, str(table.quantity), what_matters(hardware.donor, hardware.target))
    fuel_table = _fuel_table(donor, table, applies, grid, conditions[0])
    multiplies = over_throttle(fuel_table) and needs_pressure(fuel_table)
    pressures = row_pressures(donor, table, multiplies, grid, axis, files)
    of_donor = intended_lambda(donor, table, grid, axis, files, hardware.donor.fuel.stoichiometric, further_tables)
    sensors = _sensors(parsed, record, conditions)
    donor_side = Side(
        hardware=hardware.donor,
        told=told,
        table=replace(fuel_table, own_pressure_pa=pressures, intended_lambda=of_donor.cells),
        shown=grid.shown,
        sensors=sensors[0],
        flow_known=hardware.donor_flow_known,
        fuel_known=hardware.donor_fuel_known,
        dead_time_known=hardware.donor_dead_time_known,
    )
    told_to_target, storage = controller.told(told), build_storage(target, KEY, own, controller.shown)
    state, setting_fields = _state(parsed, donor), build_setting_fields(target)
    if applies == UNKNOWN:
        inside = choose_reading(donor, donor_side, own.intended_lambda is not None)
        donor_side = replace(donor_side, table=replace(donor_side.table, inside=inside))
    _assume_reference_pressure(donor, table, donor_side.table)
    assume_page(donor, donor_side.table, further_tables)
    own_table = _own_table(target, own, donor_side.table, (own_grid, own_axis), conditions[1])
    of_target = None
    if own.intended_lambda is not None:
        of_target = intended_lambda(
            target, own, own_grid, own_axis, files, hardware.target.fuel.stoichiometric, further_tables
        )
        mixture = of_target.cells
    else:
        mixture = intended_on_axes(target, donor_side, own_table, controller.shown, hardware.target.engine)
    target_side = Side(
        hardware=hardware.target,
        told=told_to_target,
        table=controller.table(replace(own_table, intended_lambda=mixture)),
        shown=controller.shown,
        sensors=sensors[1],
    )
    job = Job(
        title=parsed.title or Path(record.file).stem,
        donor=donor_side,
        target=target_side,
        storage=storage,
        cannot_be_told=frozenset(target.settings.cannot_be_told or ()),
        donor_state=state,
        declared=frozenset(record.declared),
        copied=frozenset(record.copied),
        inputs=record.inputs,
        assumed=tuple(record.assumed),
        sources=tuple(record.sources),
        notes=record.notes,
        stem=Path(record.file).stem,
        same_as_donor=target.copied,
        layout=own_grid.layout,
        further_tables=further_tables,
        breathing=_breathing(parsed),
        cylinder_trims=_cylinder_trims(parsed),
        setting_fields=setting_fields,
        lambda_follows_fuel=of_donor.table is not None and of_donor.table.follows_fuel,
    )
    job = with_drives(job, parsed.log, parsed.learnt, record.file)
    _refuse_what_does_not_go_together(donor, target, job)
    return with_lambda_table(job, of_donor, of_target or of_donor)


def _refuse_what_does_not_go_together(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """What can only be seen of both sides."""
    if (found := problem(job)) is not None:
        raise InputError(found[1], file=donor.record.file, place=found[0])
    check_short_pulses(donor, target, job)
    check_battery_factor(donor, target, job)
    check_fuel_density(donor, target, job)
    check_setting_fields(target, job)


def _sensors(
    parsed: schema.JobFile, record: Provenance, conditions: tuple[Conditions, Conditions]
) -> tuple[dict[str, SensorScale], dict[str, SensorScale]]:
    donor = build_sensors(parsed.donor.sensors if parsed.donor else None, record, "donor", conditions[0].barometer_pa)
    target = build_sensors(
        parsed.target.sensors if parsed.target else None, record, "target", conditions[1].barometer_pa
    )
    refuse_other_quantities(donor, target, record)
    return donor, target


def _take_inputs(parsed: schema.JobFile, record: Provenance, conditions: tuple[Conditions, Conditions]) -> None:
    if parsed.conditions is not None:
        record.take(parsed.conditions, "conditions", None)
    for name, section, own in zip(("donor", "target"), (parsed.donor, parsed.target), conditions, strict=True):
        if section is not None:
            record.take(section, name, own.barometer_pa)
    if parsed.options is not None:
        record.take(parsed.options, "options", None)


def _donor_table(parsed: schema.JobFile, donor: StatedSide) -> schema.DonorTable:
    tables = parsed.donor.tables if parsed.donor else None
    if tables is None or tables.fuel is None:
        raise donor.error(KEY, "missing: the donor's main table, with its file, quantity, load and lambda")
    table = tables.fuel
    if table.quantity is None:
        raise donor.error(
            f"{KEY}.quantity", 'missing: it is never assumed; say "volumetric efficiency" or "pulse width"'
        )
    _refuse_scale(donor, table.basis)
    return table


def _target_table(parsed: schema.JobFile, target: StatedSide) -> schema.TargetTable:
    tables = parsed.target.tables if parsed.target else None
    own = tables.fuel if tables is not None else None
    if own is None:
        return schema.TargetTable()
    _refuse_scale(target, own.basis)
    return own


def _refuse_scale(side: StatedSide, basis: object) -> None:
    if isinstance(basis, Measured) or basis == "fuel in use":
        raise side.error(f"{KEY}.basis", "a ratio belongs to a table in air/fuel ratio, which this one is not")


def _applies(donor: StatedSide, table: schema.DonorTable) -> tuple[str, ...] | str:
    if table.ecu_applies is not None:
        return table.ecu_applies
    if table.quantity == TableQuantity.PULSE_WIDTH:
        raise donor.error(
            f"{KEY}.ecu_applies",
            'missing: a pulse-width table must say what the ECU still applies to the cell: a list of "pressure", '
            '"lambda", "dead time", perhaps [], or "unknown"',
        )
    donor.assume("ecu applies, VE", f"{KEY}.ecu_applies")
    return VE_APPLIES


def _breath(side: StatedSide, conditions: Conditions, donor: StatedSide | None = None) -> Breath:
    """What turns a load axis into air; a target without a cycle of its own has the donor's, or the default."""
    cycle = side.engine.cycle or (donor.engine.cycle if donor else None) or Cycle.FOUR_STROKE
    return breath_of(side, conditions, cycle)


def _check_axis(side: StatedSide, axis: LoadScale, applies: tuple[str, ...] | str) -> None:
    """An air-mass axis says nothing of the pressure in the manifold."""
    if axis.kind is not LoadAxis.AIR_MASS or not (applies == UNKNOWN or "pressure" in applies):
        return
    what = '"unknown"' if applies == UNKNOWN else '"pressure"'
    raise side.error(
        f"{KEY}.ecu_applies",
        f"{what} does not go with an air-mass axis, which says nothing of the pressure in the manifold: "
        'say what the ECU still applies to a cell, such as ["lambda", "dead time"]',
    )


def _installations(
    donor: StatedSide,
    target: StatedSide,
    conditions: tuple[Conditions, Conditions],
    top_rows: tuple[TopRow, TopRow],
    needs: DonorNeeds,
) -> _Hardware:
    engines = (
        build_engine(donor, conditions[0], top_rows[0]),
        build_engine(target, conditions[1], top_rows[1]),
    )
    if engines[0].cycle != engines[1].cycle:
        raise target.error(
            "engine.cycle",
            f"a {engines[0].cycle} donor's table cannot be carried over to a {engines[1].cycle} engine: "
            "a change between two-stroke and four-stroke is outside this program",
        )
    donor_fuel = build_fuel(donor, needs.fuel, needs.rail_pressure)
    hardware = build_injectors(donor, donor_fuel.fuel.rail_pressure_pa, needs.flow, needs.dead_time)
    target_fuel = build_fuel(target).fuel
    target_hardware: Hardware = build_injectors(target, target_fuel.rail_pressure_pa)
    return _Hardware(
        donor=Installation(conditions[0], engines[0], hardware.injectors, donor_fuel.with_stand_in(target_fuel)),
        target=Installation(conditions[1], engines[1], target_hardware.injectors, target_fuel),
        donor_flow_known=hardware.flow_known,
        donor_fuel_known=donor_fuel.ratio_known,
        donor_dead_time_known=hardware.dead_time_known,
    )


def _fuel_table(
    donor: StatedSide, table: schema.DonorTable, applies: tuple[str, ...] | str, grid: ReadTable, conditions: Conditions
) -> FuelTable:
    reference = FORMULA_PRESSURE
    if table.reference_pressure is not None:
        if table.quantity != TableQuantity.PULSE_WIDTH or (applies != UNKNOWN and inside_of(tuple(applies)).pressure):
            raise donor.error(
                f"{KEY}.reference_pressure",
                "belongs to a pulse-width table to which the ECU applies pressure: leave it out, "
                "or correct ecu_applies",
            )
        reference = donor.absolute(table.reference_pressure, f"{KEY}.reference_pressure", conditions.barometer_pa)
    return FuelTable(
        name="fuel",
        quantity=TableQuantity(str(table.quantity)),
        values=grid.values,
        rpm=grid.rpm,
        load_pa=grid.load_pa,
        inside=Inside() if isinstance(applies, str) else inside_of(applies),
        intended_lambda=np.ones_like(grid.values),
        battery_v=table.battery.value if table.battery else conditions.battery_v,
        reference_pressure_pa=reference,
        own_points=grid.points,
        applied_pa=conditions.barometer_pa if "barometer" in applies else None,
        as_read=grid.as_read,
    )


def _which_unit(axis: LoadScale, table: str, load_unit: str | None) -> str:
    """The key that says what the loads of a table are, and what it says."""
    key, says = ("load", axis.kind.value) if load_unit is None else ("load_unit", load_unit)
    return f'{table}.{key}, which is "{says}"'


def _which_of_the_target(own: schema.TargetTable, axis: LoadScale, donors: schema.DonorTable) -> str:
    if own.load_points is not None:
        return f'target.tables.fuel.load_points, which are read in "{axis.unit}"'
    if own.load_unit is not None:
        return _which_unit(axis, "target.tables.fuel", own.load_unit)
    return _which_unit(axis, "donor.tables.fuel", donors.load_unit)


def _assume_reference_pressure(donor: StatedSide, table: schema.DonorTable, read: FuelTable) -> None:
    pulse = read.quantity is TableQuantity.PULSE_WIDTH
    if pulse and not read.inside.pressure and table.reference_pressure is None:
        donor.assume("reference pressure", f"{KEY}.reference_pressure")


def _own_table(
    target: StatedSide,
    own: schema.TargetTable,
    donor_table: FuelTable,
    axes: tuple[ReadTable, LoadScale],
    conditions: Conditions,
) -> FuelTable:
    """The target's table, empty: the donor's meaning, its own axes, battery and what its ECU applies."""
    grid, axis = axes
    if own.ecu_applies == UNKNOWN:
        raise target.error(
            f"{KEY}.ecu_applies", '"unknown" cannot stand here: leave the key out where it is as the donor\'s'
        )
    if own.ecu_applies is not None:
        _check_axis(target, axis, own.ecu_applies)
        check_applies(target, axis, own.ecu_applies)
    applied = donor_table.applied_pa is not None if own.ecu_applies is None else "barometer" in own.ecu_applies
    return replace(
        donor_table,
        values=grid.values,
        rpm=grid.rpm,
        load_pa=grid.load_pa,
        own_points=grid.points,
        inside=donor_table.inside if own.ecu_applies is None else inside_of(tuple(own.ecu_applies)),
        battery_v=own.battery.value if own.battery else conditions.battery_v,
        applied_pa=conditions.barometer_pa if applied else None,
        own_pressure_pa=None,
        as_read=None,
    )


def _cylinder_trims(parsed: schema.JobFile) -> bool | None:
    stated = parsed.donor.cylinder_trims if parsed.donor else None
    return stated if isinstance(stated, bool) else None


def _breathing(parsed: schema.JobFile) -> Breathing:
    stated = parsed.options.breathing if parsed.options else None
    return Breathing(stated or "same")


def _state(parsed: schema.JobFile, donor: StatedSide) -> DonorState:
    stated = parsed.donor.state if parsed.donor else None
    if stated is None:
        donor.record.assume("state", "donor.state")
    return DonorState(stated or "unknown")
