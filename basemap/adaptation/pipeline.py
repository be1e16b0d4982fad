"""Decode, transfer, encode: the only place that orders the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from basemap.adaptation.between_cells import between_cells
from basemap.adaptation.breathing import both, changed, read_for_air
from basemap.adaptation.chain import dead_time_marks, decode, encode, settled, transfer
from basemap.adaptation.common_factor import common_factor
from basemap.adaptation.fuel_demand import fuel_demand
from basemap.adaptation.further_tables import adapt_further_tables, commanded_lambda
from basemap.adaptation.implied import volumetric_efficiency
from basemap.adaptation.outcomes import OnTarget, four_outcomes, lambda_table_left, old_as_looked_up, voltage_sweep
from basemap.adaptation.reach import reachable_cells, visited_cells
from basemap.adaptation.richer import richer_at_load
from basemap.adaptation.sensors import sensor_results
from basemap.adaptation.setting_fields import in_force, to_enter
from basemap.adaptation.temperature import temperature_sweep
from basemap.adaptation.throttle import donor_ratio, nearly_shut_rows, over_throttle, target_ratio
from basemap.adaptation.without_effect import without_effect
from basemap.belief.bands import bands
from basemap.belief.breathing import Believed
from basemap.belief.monte_carlo import Drawing
from basemap.constants import LINEAR_DUTY
from basemap.errors import InputError
from basemap.model.axes import Interpolation
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.marks import Mark
from basemap.model.result import Computed, Result
from basemap.model.storage import limits, stored
from basemap.model.table_result import Chain, TableResult
from basemap.rules.judge import judge

if TYPE_CHECKING:
    from basemap.model.taught import Taught


def adapt(job: Job, accept: Sequence[str] = (), drawing: Drawing | None = None) -> Result:
    """Carry the donor's fuel table over to the target, and judge the outcome.

    Nothing is written. The verdict answers whether the donor's map can be used; `Result.frame` gives the tables.

    Parameters
    ----------
    job
        From `basemap.load_job`, or built in Python.
    accept
        Names of the stops that the user accepts at their own risk; recorded in the result.
    drawing
        A Monte Carlo run of the band, if first order is not enough.

    Raises
    ------
    InputError
        Where `accept` names something that is not a rule, or `drawing` is given for a job with drives.
    """
    computed = compute(job)
    band = bands(computed, drawing)
    if job.drives:
        if drawing is not None:
            raise InputError("the band after drives follows from the drives, not from random samples: leave it out",
                             place="--samples")  # fmt: skip
        from basemap.belief.taught import AfterDrives

        after = AfterDrives.of(computed)
        computed = compute(job, after.taught)
        band = after.band(band, computed)
    judged = judge(
        computed,
        accept,
        relative_uncertainty=band.adapted,
        measure_first=band.first,
        measurable=band.measurable,
        of_parts=band.of_parts,
        lean_at_load=band.lean_at_load,
        further_uncertainty={name: further.of_parts for name, further in band.further.items()},
    )
    return Result(
        **vars(computed),
        verdict=judged.verdict,
        findings=judged.findings,
        not_judged=judged.not_judged,
        accepted=judged.accepted,
        limits=judged.limits,
        band=band,
        how_far=judged.going.how_far,
        how_far_because=judged.going.because,
        lean_ends={"at load": judged.going.at_load, "light load": judged.going.light_load},
    )


def check(job: Job, accept: Sequence[str] = (), drawing: Drawing | None = None) -> Result:
    """Say whether the donor's map suits the target: verdict, findings and the four outcomes.

    The same calculation as `adapt`: a map is judged by what becomes of it.
    """
    return adapt(job, accept, drawing)


def compute(job: Job, drives: Taught | None = None) -> Computed:
    """All numbers of a job before any rule judges them, with what its drives taught if that is given."""
    settings = in_force(job)
    job = settled(job, settings)
    donor = decode(job, settings)
    breathing = Believed.from_air(job, donor.air_kg).breathing
    factor = both(breathing.factor, None if drives is None else drives.factor)
    air = transfer(job, donor.air_kg, factor)
    known = _known_donor(job, donor)
    encoded = encode(job, settings, air)
    on = OnTarget(job, air, encoded.delivery)
    reachable, visited = reachable_cells(job), _visited_on_target(job)
    per_unit = job.target.shown.per_unit
    new = encoded.cells / per_unit
    kept = stored(new, job.storage, job.target.shown)
    ratios = four_outcomes(on, encoded.cells, settings)
    enter = to_enter(job, settings)
    further = adapt_further_tables(job)
    table = TableResult(
        name=job.donor.table.name,
        old=old_as_looked_up(job, _as_shown(job)),
        new=new,
        stored=kept,
        lambda_ratio=ratios,
        stored_lambda_ratio=on.lambda_ratio(kept * per_unit, commanded_lambda(job, further), settings.new),
        lambda_table_left=lambda_table_left(on, encoded.cells, settings),
        donor=_between_cells(job, known),
        target=encoded.chain,
        implied_ve=_on_target(job, volumetric_efficiency(job.donor.hardware, job.donor.table, donor.air_kg)),
        reachable=reachable,
        visited=visited,
        marks={},
        keeps_quantity=not job.other_quantity,
        between=between_cells(job, air, kept * per_unit, settings.new, reachable),
        common_factor=common_factor(job, new, enter, reachable),
        breathing=breathing,
        richer=richer_at_load(job, settings, air),
        taught=drives,
    )
    table = _with_marks(job, table, known.duty, encoded.below_minimum)
    return Computed(
        job=job,
        table=table,
        on_donor_axes=None if job.keeps_donor_grid else compute(job.on_donor_axes()),
        settings=enter,
        sweep=voltage_sweep(on, encoded.cells, settings, reachable),
        cancelled=_cancelled(job),
        in_force=settings,
        temperature_sweep=temperature_sweep(
            job, settings, donor.air_kg, factor, encoded.cells, ratios["new_table_new_settings"], reachable
        ),
        fuel_demand=fuel_demand(job.target.hardware, job.target.table, encoded.chain),
        sensors=sensor_results(job),
        further_tables=further,
        without_effect=without_effect(job, settings),
    )


def _as_shown(job: Job) -> FloatArray:
    """The donor's cells in the unit shown, exactly as in its file if there is one."""
    table = job.donor.table
    return table.values / job.donor.shown.per_unit if table.as_read is None else table.as_read


def _known_donor(job: Job, donor: Chain) -> Chain:
    """The donor's chain without the stand-ins for inputs that the job leaves out because they cancel."""
    if job.donor.flow_known and job.donor.fuel_known and job.donor.dead_time_known:
        return donor
    unknown = np.full_like(donor.air_kg, np.nan)
    return Chain(
        pressure_across_pa=donor.pressure_across_pa,
        line_flow_kg_s=unknown,
        static_flow_kg_s=unknown,
        dead_time_s=donor.dead_time_s if job.donor.dead_time_known else unknown,
        told_dead_time_s=donor.told_dead_time_s if job.donor.dead_time_known else unknown,
        pulse_s=unknown,
        fuel_kg=donor.fuel_kg if job.donor.fuel_known else unknown,
        air_kg=donor.air_kg,
        window_s=donor.window_s,
    )


def _on_target(job: Job, values: FloatArray) -> FloatArray:
    """Numbers of the donor's cells at the similar points of the target's axes."""
    return values if job.cell_for_cell else job.at_similar_points.of(values)


def _between_cells(job: Job, donor: Chain) -> Chain:
    """The donor at the similar points of the target's axes; its air is read in proportion to the charge of the axis."""
    if job.cell_for_cell:
        return donor
    similar = job.at_similar_points
    between = Chain(**{name: similar.of(values) for name, values in vars(donor).items()})
    per_charge = similar.of(donor.air_kg / job.donor.table.points.charge[:, np.newaxis])
    return replace(between, air_kg=per_charge * job.donor_charge[:, np.newaxis])


def _visited_on_target(job: Job) -> BoolArray:
    """Cells of the target's table that are read only from cells within the donor's data."""
    interpolation, visited = read_for_air(job), visited_cells(job)
    return interpolation.all_of(visited) & ~interpolation.outside


def _cancelled(job: Job) -> tuple[str, ...]:
    """The donor's inputs that are left out because they cancel."""
    known = {
        "donor.injectors.static_flow": job.donor.flow_known,
        "donor.fuel": job.donor.fuel_known,
        "donor.injectors.dead_time": job.donor.dead_time_known,
    }
    return tuple(key for key, is_known in known.items() if not is_known)


def _with_marks(job: Job, table: TableResult, donor_duty: FloatArray, below_minimum: BoolArray) -> TableResult:
    """The table with the marks of every cell; a cell that is read from a marked cell of the donor gets its mark."""
    target, interpolation = table.target, read_for_air(job)
    shortest = job.target.hardware.injectors.shortest_pulse_s
    lowest, highest = limits(job.storage, job.target.shown)
    nothing = np.zeros(table.new.shape, dtype=bool)
    no_cell = np.isnan(table.new)
    no_air = ~(target.air_kg > 0)
    layout_differs, not_throttled, nearly_shut = _throttle_marks(job, interpolation)
    no_breath = nothing if table.breathing_factor is None else np.isnan(table.breathing_factor)
    beyond, far_below = dead_time_marks(job, target)
    with np.errstate(invalid="ignore"):
        marks = {
            Mark.NOT_REACHABLE: ~table.reachable,
            Mark.NOT_VISITED: ~table.visited & ~interpolation.outside,
            Mark.OUTSIDE: interpolation.outside,
            Mark.DONOR_ABOVE_LINE: interpolation.any_of((donor_duty > LINEAR_DUTY) & (donor_duty < 1)),
            Mark.DONOR_SATURATED: interpolation.any_of(donor_duty >= 1),
            Mark.DONOR_NO_FUEL: no_air & ~no_breath & ~layout_differs,
            Mark.LAYOUT_DIFFERS: layout_differs,
            Mark.NOT_THROTTLED: not_throttled,
            Mark.BREATHING_NOT_KNOWN: no_breath,
            Mark.BREATHING_ESTIMATED: changed(table.breathing_factor, table.new.shape) & ~no_breath,
            Mark.ABOVE_LINE: (target.duty > LINEAR_DUTY) & (target.duty < 1),
            Mark.SATURATED: target.duty >= 1,
            Mark.NO_PRESSURE: target.pressure_across_pa <= 0,
            Mark.NO_PULSE: no_cell & ~no_air & (target.pressure_across_pa > 0),
            Mark.NO_FUEL: reduce(np.logical_or, map(np.isinf, table.lambda_ratio.values())),
            Mark.MINIMUM_PULSE: below_minimum,
            Mark.SHORT_PULSE: nothing if shortest is None else target.pulse_s < shortest,
            Mark.EXTRAPOLATED: beyond,
            Mark.DELIVERY_NOT_KNOWN: far_below,
            Mark.BELOW_MINIMUM: nothing if lowest is None else table.new < lowest,
            Mark.ABOVE_MAXIMUM: nothing if highest is None else table.new > highest,
            Mark.CALIBRATE: nearly_shut & ~no_cell,
        }
    return replace(table, marks={mark: where for mark, where in marks.items() if where.any()})


def _throttle_marks(job: Job, interpolation: Interpolation) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Marks of a throttle axis: empty because the throttles differ, as full as wide open, fed by the idle valve."""
    shape = job.target.table.values.shape
    if not over_throttle(job.donor.table):
        nothing = np.zeros(shape, dtype=bool)
        return nothing, nothing, nothing
    ratio = donor_ratio(job)
    known = np.isfinite(target_ratio(job, ratio)) | ~np.isfinite(ratio)
    as_open = ratio >= 1.0
    as_open[-1] = False
    shut = nearly_shut_rows(job.target.table)[:, np.newaxis] & np.ones(shape, dtype=bool)
    return interpolation.any_of(~known), interpolation.any_of(as_open), shut
