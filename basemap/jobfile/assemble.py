"""A job file becomes a `Job`: the donor, then the target, then what takes both to see."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from basemap.adaptation.breathing import problem
from basemap.adaptation.throttle import needs_pressure, over_throttle
from basemap.constants import FORMULA_PRESSURE
from basemap.errors import InputError
from basemap.jobfile import schema, table_sections
from basemap.jobfile.ecu_applies import TargetController, choose_meaning, inside_of
from basemap.jobfile.intended import Intended, intended_lambda
from basemap.jobfile.lambda_table import with_lambda_table
from basemap.jobfile.load_axis import KEY, LoadScale
from basemap.jobfile.provenance import Provenance
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.sensors import build_sensors, refuse_unlike_sensors
from basemap.jobfile.settings import assume_page, build_setting_fields, donor_told, what_matters
from basemap.jobfile.settings_checks import (
    check_battery_factor,
    check_fuel_density,
    check_setting_fields,
    check_short_pulses,
)
from basemap.jobfile.table import Files, ReadTable
from basemap.jobfile.tables_and_parts import Stated, check_axis, read_stated
from basemap.jobfile.target_points import build_storage, intended_on_axes
from basemap.jobfile.throttle import check_applies, row_pressures
from basemap.model.installation import Conditions, DonorState, Told
from basemap.model.job import Job, Side
from basemap.model.likeness import Breathing, Likeness
from basemap.model.table import FuelTable, Inside, TableQuantity


def assemble(parsed: schema.JobFile, provenance: Provenance, files: Files) -> Job:
    """A checked job file becomes a job: the donor is read, then the target, then the pair is checked.

    Parameters
    ----------
    parsed
        The job file, every key read.
    provenance
        Collects inputs, assumptions, notes and sources.
    files
        Where tables are read from.
    """
    stated = read_stated(parsed, provenance, files)
    donor, of_donor = _donor_side(stated)
    controller = _target_controller(stated)
    told, storage = controller.told(donor.told), build_storage(stated.target, KEY, stated.own, controller.shown)
    state, setting_fields = _state(parsed, stated.donor), build_setting_fields(stated.target)
    options, likeness = parsed.options or schema.Options.left_out(), _likeness(stated.target)
    donor = _with_cells_understood(stated, donor)
    target, of_target = _target_side(stated, controller, donor, told)
    job = Job(
        title=parsed.title or Path(provenance.file).stem,
        donor=donor,
        target=target,
        storage=storage,
        cannot_be_told=frozenset(stated.target.settings.cannot_be_told or ()),
        donor_state=state,
        declared=frozenset(provenance.declared),
        copied=frozenset(provenance.copied),
        inputs=provenance.inputs,
        assumed=tuple(provenance.assumed),
        sources=tuple(provenance.sources),
        notes=provenance.notes,
        stem=Path(provenance.file).stem,
        same_as_donor=stated.target.copied,
        layout=stated.grids[1].layout,
        further_tables=stated.further_tables,
        breathing=Breathing(options.breathing or "same"),
        breathing_both_ways=bool(options.breathing_both_ways),
        likeness=likeness,
        richer_at_load=options.richer_at_load.value if options.richer_at_load else 0.0,
        cylinder_trims=_cylinder_trims(parsed),
        setting_fields=setting_fields,
        lambda_follows_fuel=of_donor.table is not None and of_donor.table.follows_fuel,
    )
    if parsed.log or parsed.learnt:
        from basemap.jobfile.drives import with_drives

        job = with_drives(job, parsed.log, parsed.learnt, provenance.file)
    _refuse_what_does_not_go_together(stated.donor, stated.target, job)
    return _by_physics(with_lambda_table(job, of_donor, of_target or of_donor))


def _donor_side(stated: Stated) -> tuple[Side, Intended]:
    """The donor, with the intended lambda of its table and where it is from."""
    side, table, fitted = stated.donor, stated.table, stated.fitted
    axis, grid, conditions = stated.axes[0], stated.grids[0], stated.conditions[0]
    told = donor_told(side, str(table.quantity), what_matters(fitted.donor, fitted.target))
    fuel_table = _fuel_table(side, table, stated.applies, grid, conditions)
    multiplies = over_throttle(fuel_table) and needs_pressure(fuel_table)
    pressures = row_pressures(side, table, multiplies, grid, axis, stated.files)
    stoichiometric = fitted.donor.fuel.stoichiometric
    intended = intended_lambda(side, table, grid, axis, stated.files, stoichiometric, stated.further_tables)
    sections = stated.parsed.donor.sensors if stated.parsed.donor else None
    return Side(
        hardware=fitted.donor,
        told=told,
        table=replace(fuel_table, own_pressure_pa=pressures, intended_lambda=intended.cells),
        shown=grid.shown,
        sensors=build_sensors(sections, stated.provenance, "donor", conditions.barometer_pa),
        flow_known=fitted.donor_flow_known,
        fuel_known=fitted.donor_fuel_known,
        dead_time_known=fitted.donor_dead_time_known,
    ), intended


def _target_controller(stated: Stated) -> TargetController:
    quantity = TableQuantity(str(stated.table.quantity))
    return TargetController(
        stated.target, stated.own, quantity, stated.grids[1].shown, stated.conditions[1].barometer_pa
    )


def _with_cells_understood(stated: Stated, donor: Side) -> Side:
    """The donor once it is known what its cells hold: found out from them if the job says "unknown"."""
    if stated.applies == UNKNOWN:
        inside = choose_meaning(stated.donor, donor, stated.own.intended_lambda is not None)
        donor = replace(donor, table=replace(donor.table, inside=inside))
    _assume_reference_pressure(stated.donor, stated.table, donor.table)
    assume_page(stated.donor, donor.table, stated.further_tables)
    return donor


def _target_side(stated: Stated, controller: TargetController, donor: Side, told: Told) -> tuple[Side, Intended | None]:
    """The target, and the lambda that the job gives it; `None` if it takes the donor's."""
    side, own, hardware = stated.target, stated.own, stated.fitted.target
    grid, axis = stated.grids[1], stated.axes[1]
    table, intended = _own_table(side, own, donor.table, (grid, axis), stated.conditions[1]), None
    if own.intended_lambda is not None:
        stoichiometric = hardware.fuel.stoichiometric
        intended = intended_lambda(side, own, grid, axis, stated.files, stoichiometric, stated.further_tables)
        mixture = intended.cells
    else:
        mixture = intended_on_axes(side, donor, table, controller.shown, hardware.engine)
    sections = stated.parsed.target.sensors if stated.parsed.target else None
    sensors = build_sensors(sections, stated.provenance, "target", stated.conditions[1].barometer_pa)
    refuse_unlike_sensors(dict(donor.sensors), sensors, stated.provenance)
    return Side(
        hardware, told, controller.table(replace(table, intended_lambda=mixture)), controller.shown, sensors
    ), intended


def _refuse_what_does_not_go_together(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """Refuse combinations that show only with both sides."""
    if (found := problem(job)) is not None:
        raise InputError(found[1], file=donor.provenance.file, place=found[0])
    check_short_pulses(donor, target, job)
    check_battery_factor(donor, target, job)
    check_fuel_density(donor, target, job)
    check_setting_fields(target, job)
    _check_likeness(target, job)


def _check_likeness(target: StatedSide, job: Job) -> None:
    """Refuse an engine that is called the same and is not: its band would be a quarter of what two engines need."""
    if job.likeness is not Likeness.SAME_ENGINE:
        return
    now, was = job.target.hardware.engine.cylinders, job.donor.hardware.engine.cylinders
    if now != was:
        raise target.error(
            "engine.likeness",
            f'"same engine" contradicts the number of cylinders, {now} instead of {was}: correct it, or write '
            'likeness = "same head and cams" or "another engine"',
        )


def _fuel_table(
    donor: StatedSide,
    table: table_sections.DonorTable,
    applies: tuple[str, ...] | str,
    grid: ReadTable,
    conditions: Conditions,
) -> FuelTable:
    reference = FORMULA_PRESSURE
    if table.reference_pressure is not None:
        if table.quantity != TableQuantity.PULSE_WIDTH or (applies != UNKNOWN and inside_of(tuple(applies)).pressure):
            raise donor.error(
                f"{KEY}.reference_pressure",
                "is only for a pulse-width table to which the ECU applies pressure: leave it out, or correct "
                "ecu_applies",
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


def _assume_reference_pressure(donor: StatedSide, table: table_sections.DonorTable, read: FuelTable) -> None:
    pulse = read.quantity is TableQuantity.PULSE_WIDTH
    if pulse and not read.inside.pressure and table.reference_pressure is None:
        donor.assume("reference pressure", f"{KEY}.reference_pressure")


def _own_table(
    target: StatedSide,
    own: table_sections.TargetTable,
    donor_table: FuelTable,
    axes: tuple[ReadTable, LoadScale],
    conditions: Conditions,
) -> FuelTable:
    """The target's table, still empty: it means what the donor's does, with its own axes, battery and ECU."""
    grid, axis = axes
    if own.ecu_applies == UNKNOWN:
        raise target.error(
            f"{KEY}.ecu_applies", 'must not be "unknown" here: leave the key out if it is the same as the donor\'s'
        )
    if own.ecu_applies is not None:
        check_axis(target, axis, own.ecu_applies)
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


def _likeness(target: StatedSide) -> Likeness:
    """What the engines share: as stated, else the same engine if the target takes the donor's, else another one."""
    if target.engine.likeness is not None:
        return Likeness(target.engine.likeness)
    if "engine" in target.copied:
        return Likeness.SAME_ENGINE
    target.provenance.assume("likeness", "target.engine.likeness")
    return Likeness.ANOTHER_ENGINE


def _by_physics(job: Job) -> Job:
    """The job with the effect of residual gas, if it states all inputs for that and does not switch it off."""
    if "options.breathing" in job.declared or not _stated_for_residual_gas(job) or _same_residual_gas(job):
        return job
    found = replace(job, breathing=Breathing.RESIDUAL_GAS, breathing_by_default=True)
    return job if problem(found) is not None else found


def _same_residual_gas(job: Job) -> bool:
    sides = job.donor.hardware, job.target.hardware
    found = {(side.engine.compression_ratio, side.conditions.barometer_pa) for side in sides}
    return len(found) == 1


def _stated_for_residual_gas(job: Job) -> bool:
    """Whether both compression ratios and both barometers stand in the job."""
    conditions = ("conditions.barometer", "conditions.altitude")
    return all(
        f"{side}.engine.compression_ratio" in job.declared
        and any(key in job.declared for place in conditions for key in (place, f"{side}.{place}"))
        for side in ("donor", "target")
    )


def _state(parsed: schema.JobFile, donor: StatedSide) -> DonorState:
    stated = parsed.donor.state if parsed.donor else None
    if stated is None:
        donor.provenance.assume("state", "donor.state")
    return DonorState(stated or "unknown")
