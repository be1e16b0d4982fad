"""A band on λ in every cell of a job, and the one measurement that helps most."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.adaptation.outcomes import places
from basemap.adaptation.throttle import over_throttle
from basemap.belief.budget import COVERAGE, Budget, budget
from basemap.belief.further import further_bands
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.monte_carlo import SHORT_PULSE_SAMPLES, Distribution, Drawing, half_width, simulate
from basemap.belief.world import Forward
from basemap.constants import LEAN_STOP
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import Band, Computed, Share
from basemap.rounding import percent_up

WORST = "worst cell"

HELPS = 0.95
"""A measurement that leaves more than this of a drawn band does not help: draws are good to 2 % of it."""


def bands(computed: Computed, drawing: Drawing | None = None) -> Band:
    """Work out the bands of a job: first order, and Monte Carlo where the pulse is short, or wherever asked for."""
    job, table = computed.job, computed.table
    forward = Forward.of(job)
    cells = table.new * job.target.shown.per_unit
    adapted = budget(job, forward, forward.new(cells))
    as_loaded = np.full_like(adapted.expanded, np.nan)
    if not np.isnan(table.lambda_ratio["old_table_old_settings"]).all():  # else the donor's settings are not known
        as_loaded = budget(job, forward, forward.old()).expanded
    present = np.isfinite(table.new)
    simulated = present if drawing else adapted.short_pulses & table.reachable & present
    drawn = _drawn(job, cells, simulated, drawing or Drawing(SHORT_PULSE_SAMPLES))
    central = table.lambda_ratio["new_table_new_settings"]
    band = adapted.expanded if drawn is None else np.where(simulated, half_width(drawn, central), adapted.expanded)
    judged = np.where(table.reachable, band, np.nan)
    known = bool(np.isfinite(judged).any())
    row, column = (int(at) for at in np.unravel_index(np.nanargmax(judged), judged.shape)) if known else (0, 0)
    worst = float(judged[row, column]) if known else float("nan")
    left = _first_order_left(adapted, (row, column))
    if known and simulated[row, column]:
        left = _drawn_left(job, cells, (row, column), float(central[row, column]), worst, left, drawing)
    shares = _shares(job, adapted, (row, column), left) if known else ()
    return Band(
        adapted=band,
        as_loaded=as_loaded,
        simulated=simulated,
        worst=worst,
        worst_cell=(row, column) if known else None,
        shares=shares,
        advice=_advice(shares, worst),
        samples=drawn.samples if drawn else 0,
        leaner_limit=LEAN_STOP,
        leaner=drawn.leaner if drawn else np.full_like(band, np.nan),
        further=further_bands(computed, drawing),
    )


def _drawn(job: Job, cells: FloatArray, wanted: BoolArray, drawing: Drawing) -> Distribution | None:
    """Monte Carlo of the rows in which a cell is wanted, laid back into the whole table; `None` where none is."""
    rows = np.asarray(wanted.any(axis=1))
    if not rows.any():
        return None
    part = _rows_of(job, rows)
    forward = Forward.of(part)
    loaded = forward.new(cells[rows])
    drawn = simulate(part, forward, loaded, drawing.samples, drawing.seed, LEAN_STOP, drawing.progress)

    def whole(values: FloatArray) -> FloatArray:
        laid = np.full(cells.shape, np.nan)
        laid[rows] = np.where(wanted[rows], values, np.nan)
        return laid

    return drawn.each(whole)


def _rows_of(job: Job, rows: BoolArray) -> Job:
    """The job with some rows of its target's table only; the donor's too, where they go cell for cell."""
    # Behind a throttle every row is read against the wide-open one.
    both = job.cell_for_cell and not over_throttle(job.donor.table)
    donor_table = job.donor.table.rows(rows) if both else job.donor.table
    return replace(
        job, donor=replace(job.donor, table=donor_table), target=replace(job.target, table=job.target.table.rows(rows))
    )


def _first_order_left(found: Budget, worst: tuple[int, int]) -> FloatArray:
    """What measuring each input would leave of the worst cell's band, shape (inputs,)."""
    indices = range(len(found.inputs))
    return np.array([COVERAGE * float(found.standard_if_measured(index)[worst]) for index in indices])


def _drawn_left(
    job: Job,
    cells: FloatArray,
    worst: tuple[int, int],
    central: float,
    band: float,
    first_order: FloatArray,
    drawing: Drawing | None,
) -> FloatArray:
    """The same of a band that was drawn, drawn once more: first order misses its lean tail, and would not compare.

    Only for the measurements that first order says would help; the others leave the band as it is.
    """
    part = _rows_of(job, np.arange(cells.shape[0]) == worst[0])
    forward, own = Forward.of(part), uncertain_inputs(part)
    loaded, asked = forward.new(cells[worst[0] : worst[0] + 1]), drawing or Drawing(SHORT_PULSE_SAMPLES)
    left = np.full(first_order.shape, band)
    for index in np.flatnonzero(first_order < HELPS * first_order.max(initial=0.0)).tolist():
        better = replace(own[index], standard=min(own[index].standard, own[index].measured_to or np.inf))
        inputs = (*own[:index], better, *own[index + 1 :])
        drawn = simulate(part, forward, loaded, asked.samples, asked.seed, LEAN_STOP, inputs=inputs)
        left[index] = half_width(drawn, np.array(central))[0, worst[1]]
    return left


def _shares(job: Job, found: Budget, worst: tuple[int, int], left: FloatArray) -> tuple[Share, ...]:
    """Every input with its shares, the most helpful measurement first, what cannot be measured last."""
    at = {name: place.cell for name, place in places(job).items()}
    share = found.shares
    rows = [
        Share(
            name=entry.name,
            keys=entry.keys,
            standard=entry.standard / entry.per_unit,
            unit=entry.unit,
            assumed=entry.assumed,
            places={name: float(share[(index, *cell)]) for name, cell in at.items()},
            slopes={
                name: float(found.contributions[(index, *cell)]) / entry.standard * entry.per_unit
                for name, cell in {**at, WORST: worst}.items()
            },
            measured_to=None if entry.measured_to is None else entry.measured_to / entry.per_unit,
            worst_after=None if entry.measured_to is None else float(left[index]),
        )
        for index, entry in enumerate(found.inputs)
    ]
    return tuple(sorted(rows, key=lambda row: (row.worst_after is None, row.worst_after or 0.0)))


def measure_first(band: Band) -> str | None:
    """Name of the input whose measurement would narrow the worst cell's band most, where one would."""
    first = band.shares[0] if band.shares else None
    helps = first is not None and first.worst_after is not None and first.worst_after < band.worst
    return first.name if first is not None and helps else None


def _advice(shares: tuple[Share, ...], before: float) -> str:
    """What to measure first, in one sentence, and what no measurement of parts can settle."""
    if not shares:
        return "No band is known: there is no cell to judge."
    first, largest = shares[0], max(shares, key=lambda share: max(share.places.values()))
    sentence = "No single measurement would narrow the band."
    if first.worst_after is not None and first.measured_to is not None and first.worst_after < before:
        sentence = (
            f"Measure the {first.name} first: known to ±{first.measured_to:.2g} {first.unit} (standard), the band of "
            f"the worst cell falls from ±{percent_up(before)} % to ±{percent_up(first.worst_after)} %."
        )
    if largest.measured_to is None:
        sentence += f" The largest share is the {largest.name}, which only the engine itself can settle."
    return sentence
