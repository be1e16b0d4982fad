"""Further tables carried over by the same forward model as the main one: decode, transfer, encode."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.adaptation.chain import Encoded, dead_time_marks, decode, encode, transfer
from basemap.adaptation.outcomes import OnTarget
from basemap.adaptation.setting_fields import in_force
from basemap.constants import LINEAR_DUTY, ZERO_CELSIUS
from basemap.model.axes import LoadAxis, LoadPoints, interpolation
from basemap.model.further_table import FurtherAxis, FurtherQuantity, FurtherResult, FurtherSide, FurtherTable
from basemap.model.installation import BoolArray, FloatArray, Installation, Told
from basemap.model.job import Job
from basemap.model.likeness import Breathing
from basemap.model.marks import Mark
from basemap.model.settings import InForce, Settings
from basemap.model.storage import limits, stored
from basemap.model.table import FuelTable, TableQuantity
from basemap.model.table_result import Chain

COLD_K = ZERO_CELSIUS + 20.0
"""Coolant temperature below which fuel evaporates too poorly for arithmetic. Common practice, no source."""

SAME_FUEL = 0.02
"""How far the stoichiometric ratios of one fuel may differ, relative. Common practice, no source."""


class _Pulses(NamedTuple):
    """What only a table of pulses has, as in `FurtherResult`."""

    pulse_s: FloatArray
    dead_time_s: FloatArray
    old_lambda_ratio: FloatArray
    stored_lambda_ratio: FloatArray
    in_force: InForce | None = None


class Run(NamedTuple):
    """A further table of pulses carried over as if it were the main table.

    Parameters
    ----------
    job
        The job with the table as its main one, and the hardware in the state in which the table is used.
    settings
        The settings in force; an ECU keeps what it was told even while the rail pressure is different.
    donor
        The donor's chain.
    air_kg
        Of the target, kg.
    encoded
        The target's cells and chain.
    """

    job: Job
    settings: InForce
    donor: Chain
    air_kg: FloatArray
    encoded: Encoded


def adapt_further_tables(job: Job) -> tuple[FurtherResult, ...]:
    """All further tables of a job, in its order."""
    return tuple(adapt_further_table(job, table) for table in job.further_tables)


def adapt_further_table(job: Job, table: FurtherTable) -> FurtherResult:
    """One further table.

    Pulse widths go through the ECU and the hardware of both sides at their own battery voltage, and at the barometer if
    there is no load axis. Percentages and lambda stay the same to the last bit. An air/fuel ratio follows the fuel only
    if its scale does. The table that is the donor's intended lambda becomes the target's.
    """
    if table.quantity is FurtherQuantity.PULSE_WIDTH:
        return _pulses(job, table)
    new = table.values
    if table.commanded is not None:
        new = table.commanded.cells
    elif table.follows_fuel:
        new = table.values * (job.target.hardware.fuel.stoichiometric / job.donor.hardware.fuel.stoichiometric)
    nothing = np.full_like(new, np.nan)
    return _result(job, table, new, {}, _Pulses(nothing, nothing, nothing, nothing))


def commanded_lambda(job: Job, tables: Sequence[FurtherResult]) -> FloatArray:
    """The lambda that the target's ECU commands in its fuel cells, from the lambda table to load as it is stored."""
    fuel = job.target.table
    for found in tables:
        to_load = found.table.commanded
        if to_load is not None and not fuel.inside.intended_lambda:
            read = interpolation((to_load.load_pa, fuel.load_pa), (found.table.axes[1].values, fuel.rpm))
            return read.of(found.stored / to_load.per_lambda)
    return fuel.intended_lambda


def fuel_changes(job: Job) -> bool:
    """Whether the target burns another fuel, or may because the job does not state the donor's."""
    ratio = job.target.hardware.fuel.stoichiometric / job.donor.hardware.fuel.stoichiometric
    return not job.donor.fuel_known or abs(ratio - 1.0) > SAME_FUEL


def _pulses(job: Job, table: FurtherTable) -> FurtherResult:
    shape = table.values.shape
    found = run_of(job, table)
    run, settings, air, encoded = found.job, found.settings, found.air_kg, found.encoded
    # Where the donor's ECU commands nothing, so must the target's: an injector that stays shut has no dead time.
    zero = table.values == 0
    new = np.where(zero, 0.0, encoded.cells.reshape(shape) / table.shown.per_unit)
    pulse = np.where(zero & table.target.inside.dead_time, 0.0, encoded.chain.pulse_s.reshape(shape))
    marks = _pulse_marks(run, found.donor, encoded.chain, shape)
    marks |= {
        Mark.DONOR_NO_FUEL: ~(encoded.chain.air_kg.reshape(shape) > 0),
        Mark.NO_PULSE: np.isnan(new) & (encoded.chain.air_kg.reshape(shape) > 0),
    }
    if table.load_pa is None:
        # A pulse before the engine turns, or once in a while, fills no cycle.
        marks = {mark: where for mark, where in marks.items() if mark not in _OF_A_CYCLE}
    on = OnTarget(run, air, encoded.delivery)

    def ratio(cells: FloatArray, told: Settings) -> FloatArray:
        found = on.lambda_ratio(
            (cells * table.shown.per_unit).reshape(air.shape), run.target.table.intended_lambda, told
        )
        return np.where(air > 0, found, np.nan).reshape(shape)

    old, kept = ratio(table.values, settings.old), ratio(stored(new, table.storage, table.shown), settings.new)
    return _result(
        job, table, new, marks, _Pulses(pulse, encoded.chain.dead_time_s.reshape(shape), old, kept, settings)
    )


_OF_A_CYCLE = (Mark.DONOR_ABOVE_LINE, Mark.DONOR_SATURATED, Mark.ABOVE_LINE, Mark.SATURATED)


def run_of(job: Job, table: FurtherTable, settings: InForce | None = None) -> Run:
    """Decode, transfer and encode a further table of pulses.

    Parameters
    ----------
    settings
        In force while the table is used, if an earlier run of it has worked them out.
    """
    run, settings, donor = _decoded(job, table, settings)
    air = transfer(run, donor.air_kg)
    if table.origin is not None and table.donor.inside.dead_time:
        air = np.where(_beside_no_fuel(job, table, table.origin, settings).reshape(air.shape), np.nan, air)
    return Run(run, settings, donor, air, encode(run, settings, air))


def over_coolant(axis: FurtherAxis, values: FloatArray, coolant_k: float) -> float:
    """A cell of a table over coolant temperature, as an ECU reads it: between the points, held at the ends."""
    assert axis.coolant_k is not None
    order = np.argsort(axis.coolant_k)
    return float(np.interp(coolant_k, axis.coolant_k[order], values[order]))


def at_coolant(table: FurtherTable, coolant_k: float) -> FurtherTable:
    """A table over coolant temperature with one point: the cell that the donor's ECU reads there."""
    donor = table.origin or table
    cell = over_coolant(donor.axes[0], donor.values, coolant_k)
    point = np.array([coolant_k])
    axis = FurtherAxis(donor.axes[0].name, "K", point, point)
    return replace(table, values=np.array([cell]), axes=(axis,), origin=None, outside=None)


def _decoded(job: Job, table: FurtherTable, settings: InForce | None = None) -> tuple[Job, InForce, Chain]:
    """The job as in `Run`, the settings in force, and the donor's chain."""
    run = _as_a_run(job, table)
    # The ECU keeps its settings while the engine cranks; only the hardware is then at another rail pressure.
    settings = settings or in_force(run)
    run = replace(
        run,
        donor=replace(run.donor, hardware=_while_used(run.donor.hardware, table.donor)),
        target=replace(run.target, hardware=_while_used(run.target.hardware, table.target)),
    )
    return run, settings, decode(run, settings)


def _beside_no_fuel(job: Job, table: FurtherTable, origin: FurtherTable, settings: InForce) -> BoolArray:
    """Points of a table's own between a cell of the donor that delivers and one that does not.

    With the dead time inside the cells, the interpolated pulse gives less fuel than the interpolated fuel, and nothing
    says which of the two the donor's engine ran on: such a cell must be set on the engine.
    """
    delivers = _decoded(job, origin, settings)[2].air_kg.ravel() > 0
    share = np.interp(table.axes[0].values, origin.axes[0].values, delivers.astype(float))
    beside: BoolArray = (share > 0) & (share < 1)
    return beside


def _as_a_run(job: Job, table: FurtherTable) -> Job:
    """The job with a further table in the main one's place."""
    coolant = table.axis is not None and table.axis.coolant_k is not None
    warm = (
        job.donor.hardware.conditions.charge_temperature_k
        if coolant
        else job.target.hardware.conditions.charge_temperature_k
    )
    donor = _fuel_table(job, table, job.donor.hardware, table.donor)
    target = _fuel_table(job, table, job.target.hardware, table.target)
    conditions = replace(job.target.hardware.conditions, charge_temperature_k=warm)
    return replace(
        job,
        donor=replace(job.donor, told=_told(job, job.donor.told, ("donor",)), table=donor),
        target=replace(
            job.target,
            hardware=replace(job.target.hardware, conditions=conditions),
            told=_told(job, job.target.told, ("donor", "target")),
            table=replace(target, values=np.full_like(target.values, np.nan)),
        ),
        # An estimate of the breathing is one of the running engine.
        breathing=Breathing.SAME,
    )


def _fuel_table(job: Job, table: FurtherTable, installation: Installation, side: FurtherSide) -> FuelTable:
    """A further table over pressure; without a load axis it is used at the barometer, at the cranking speed."""
    values = table.values * table.shown.per_unit
    rpm, load, points = np.array([job.target.hardware.engine.cranking_rpm]), table.load_pa, None
    if load is None:
        load, values = np.full(values.size, installation.conditions.barometer_pa), values[:, np.newaxis]
        # Every point is at the barometer of its side: the same pressure ratio, with air in proportion to the barometer.
        alike = np.ones_like(load)
        points = LoadPoints(LoadAxis.PRESSURE_RATIO, lookup=alike, similar=alike, charge=load)
    else:
        rpm = table.axes[1].values
    return FuelTable(
        name=table.name,
        quantity=TableQuantity.PULSE_WIDTH,
        values=values,
        rpm=rpm,
        load_pa=load,
        inside=side.inside,
        intended_lambda=np.ones_like(values),
        battery_v=side.battery_v,
        reference_pressure_pa=table.reference_pressure_pa,
        own_points=points,
    )


def _told(job: Job, told: Told, sides: tuple[str, ...]) -> Told:
    """The ECU corrects a pulse for the charge temperature only if the job says so, whatever its VE formula does."""
    stated = any(f"{side}.settings.corrects_charge_temperature" in job.declared for side in sides)
    pulses = job.donor.table.quantity is TableQuantity.PULSE_WIDTH
    return told if stated or pulses else replace(told, corrects_charge_temperature=False)


def _while_used(installation: Installation, side: FurtherSide) -> Installation:
    injectors, fuel = installation.injectors, installation.fuel
    if side.openings_per_cycle is not None:
        injectors = replace(injectors, openings_per_cycle=side.openings_per_cycle)
    if side.rail_pressure_pa is not None:
        fuel = replace(fuel, rail_pressure_pa=side.rail_pressure_pa)
    return replace(installation, injectors=injectors, fuel=fuel)


def _pulse_marks(run: Job, donor: Chain, target: Chain, shape: tuple[int, ...]) -> dict[Mark, BoolArray]:
    shortest = run.target.hardware.injectors.shortest_pulse_s or 0.0
    beyond, far_below = dead_time_marks(run, target)
    with np.errstate(invalid="ignore"):
        marks = {
            Mark.DONOR_ABOVE_LINE: (donor.duty > LINEAR_DUTY) & (donor.duty < 1),
            Mark.DONOR_SATURATED: donor.duty >= 1,
            Mark.ABOVE_LINE: (target.duty > LINEAR_DUTY) & (target.duty < 1),
            Mark.SATURATED: target.duty >= 1,
            Mark.NO_PRESSURE: target.pressure_across_pa <= 0,
            Mark.SHORT_PULSE: target.pulse_s < shortest,
            Mark.EXTRAPOLATED: beyond,
            Mark.DELIVERY_NOT_KNOWN: far_below,
        }
    return {mark: where.reshape(shape) for mark, where in marks.items()}


def _result(
    job: Job, table: FurtherTable, new: FloatArray, marks: dict[Mark, BoolArray], pulses: _Pulses
) -> FurtherResult:
    storage = table.storage
    lowest, highest = limits(storage, table.shown)
    with np.errstate(invalid="ignore"):
        if lowest is not None:
            marks |= {Mark.BELOW_MINIMUM: new < lowest}
        if highest is not None:
            marks |= {Mark.ABOVE_MAXIMUM: new > highest}
    if table.outside is not None:
        marks |= {Mark.OUTSIDE: table.outside}
    axis = table.axis
    if axis is not None and axis.coolant_k is not None and fuel_changes(job):
        marks |= {Mark.CALIBRATE: axis.coolant_k < COLD_K}
    same_cells = new is table.values and (table.origin is None or table.scaled)
    untouched = same_cells and storage == type(storage)()
    return FurtherResult(
        table=table,
        new=new,
        stored=new if untouched else stored(new, storage, table.shown),
        pulse_s=pulses.pulse_s,
        dead_time_s=pulses.dead_time_s,
        old_lambda_ratio=pulses.old_lambda_ratio,
        stored_lambda_ratio=pulses.stored_lambda_ratio,
        marks={mark: where for mark, where in marks.items() if where.any()},
        in_force=pulses.in_force,
    )
