"""A band on λ in every cell of a job, and the one measurement that helps most."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.adaptation.outcomes import CRUISE_PLACE, IDLE_PLACE, WIDE_OPEN_PLACE, places
from basemap.adaptation.regions import Regions
from basemap.adaptation.throttle import over_throttle
from basemap.belief.breathing import Believed, without
from basemap.belief.budget import COVERAGE, Budget, budgets
from basemap.belief.further import further_bands
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.leanest import lean_end
from basemap.belief.monte_carlo import SHORT_PULSE_SAMPLES, Distribution, Drawing, half_width, simulate
from basemap.belief.world import Forward
from basemap.constants import LEAN_STOP
from basemap.model.band import Band, Share
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.rounding import percent_up

WORST = "worst cell"

HELPS = 0.95
"""A measurement that leaves more than this share of a band does not help: a drawn band is good to 2 %."""


def bands(computed: Computed, drawing: Drawing | None = None) -> Band:
    """Calculate the bands of a job: first order, and Monte Carlo for short pulses or on request.

    Of a job with drives this is the band without them, whose shares and lean end at load follow from the drives.
    """
    job, table = computed.job, computed.table
    forward, cells, adapted, as_loaded, short = _first_order(computed)
    believed = forward.believed
    simulated = np.isfinite(table.new) if drawing else short
    drawn = _drawn(forward, cells, simulated, drawing or Drawing(SHORT_PULSE_SAMPLES))
    central = table.lambda_ratio["new_table_new_settings"]
    band = _where_drawn(adapted, drawn, simulated, central)
    leanest, _ = table.expected_extremes
    worst, worst_cell = worst_of(band, table.reachable)
    # After drives only they narrow the band (`taught.py`): what measuring would do, which is drawn anew, is not asked.
    known = worst_cell is not None and not job.drives
    at = {**{name: place.cell for name, place in places(job).items()}, WORST: worst_cell or (0, 0)}
    left: dict[str, FloatArray] = {}
    for name, cell in at.items():
        left[name] = COVERAGE * adapted.standard_if_measured(cell)
        if known and simulated[cell] and name != CRUISE_PLACE:
            left[name] = _drawn_left(forward, cells, cell, float(central[cell]), float(band[cell]), left[name], drawing)
    shares = _shares(adapted, at, left) if known else ()
    first = _first(shares, {name: float(band[cell]) for name, cell in at.items()})
    return Band(
        adapted=band,
        of_parts=without(believed, band),
        as_loaded=np.full_like(band, np.nan) if as_loaded is None else as_loaded.expanded,
        simulated=simulated,
        worst=worst,
        worst_cell=worst_cell,
        shares=shares,
        advice=_advice(shares, first, {name: float(band[cell]) for name, cell in at.items()}),
        samples=drawn.samples if drawn else 0,
        leaner_limit=LEAN_STOP,
        leaner=drawn.leaner if drawn else np.full_like(band, np.nan),
        further=further_bands(computed, drawing),
        first=first,
        measurable={
            entry.name: COVERAGE * np.abs(part)
            for entry, part in zip(adapted.inputs, adapted.contributions, strict=True)
            if entry.measured_to is not None
        },
        lean_at_load=None if job.drives else lean_end(adapted, believed, band, leanest, Regions(computed).at_load),
    )


def bands_at(computed: Computed, cells: Iterable[tuple[int, int]]) -> list[float]:
    """The band on λ in some cells alone: that of `bands`, without what else it works out."""
    forward, adapted_cells, adapted, _, short = _first_order(computed, with_old=False)
    asked = list(cells)
    drawn = None
    if any(short[cell] for cell in asked):
        drawn = _drawn(forward, adapted_cells, short, Drawing(SHORT_PULSE_SAMPLES))
    band = _where_drawn(adapted, drawn, short, computed.table.lambda_ratio["new_table_new_settings"])
    return [float(band[cell]) for cell in asked]


class _FirstOrder(NamedTuple):
    """The forward model of a job, the new cells in SI and their budget, and those whose pulses are too short for it.

    `as_loaded` is the budget of the old cells with the donor's settings; `None` if these are not known, or it is not
    asked for.
    """

    forward: Forward
    cells: FloatArray
    budget: Budget
    as_loaded: Budget | None
    short: BoolArray


def _first_order(computed: Computed, *, with_old: bool = True) -> _FirstOrder:
    job, table = computed.job, computed.table
    forward = Forward(job, computed.in_force, Believed.again(job, table.breathing))
    cells = table.new * job.target.shown.per_unit
    loaded = [forward.new(cells)]
    if with_old and not np.isnan(table.lambda_ratio["old_table_old_settings"]).all():
        loaded.append(forward.old())
    found, *old = budgets(job, forward, loaded)
    short = found.short_pulses & table.reachable & np.isfinite(table.new)
    return _FirstOrder(forward, cells, found, old[0] if old else None, short)


def _where_drawn(found: Budget, drawn: Distribution | None, simulated: BoolArray, central: FloatArray) -> FloatArray:
    """The band of first order, and what was drawn where that was simulated; `central` is λ of the job as stated."""
    return found.expanded if drawn is None else np.where(simulated, half_width(drawn, central), found.expanded)


def worst_of(band: FloatArray, reachable: BoolArray) -> tuple[float, tuple[int, int] | None]:
    """The widest band of the cells that the target reaches, and its cell; NaN and `None` if none is known."""
    judged = np.where(reachable, band, np.nan)
    if not np.isfinite(judged).any():
        return float("nan"), None
    row, column = (int(at) for at in np.unravel_index(np.nanargmax(judged), judged.shape))
    return float(judged[row, column]), (row, column)


def _drawn(forward: Forward, cells: FloatArray, wanted: BoolArray, drawing: Drawing) -> Distribution | None:
    """Monte Carlo of the rows with a wanted cell, put back into the whole table; `None` if no cell is wanted."""
    rows = np.asarray(wanted.any(axis=1))
    if not rows.any():
        return None
    part = _rows_of(forward.job, rows)
    model = Forward(part, forward.settings, forward.believed.rows(rows, part))
    drawn = simulate(part, model, model.new(cells[rows]), drawing.samples, drawing.seed, LEAN_STOP, drawing.progress)

    def whole(values: FloatArray) -> FloatArray:
        laid = np.full(cells.shape, np.nan)
        laid[rows] = np.where(wanted[rows], values, np.nan)
        return laid

    return drawn.each(whole)


def _rows_of(job: Job, rows: BoolArray) -> Job:
    """The job with only some rows of the target's table; of the donor's too, if the tables go cell for cell."""
    # Over throttle opening every row is compared with the wide-open one.
    both = job.cell_for_cell and not over_throttle(job.donor.table)
    donor_table = job.donor.table.rows(rows) if both else job.donor.table
    return replace(
        job, donor=replace(job.donor, table=donor_table), target=replace(job.target, table=job.target.table.rows(rows))
    )


def _drawn_left(
    forward: Forward,
    cells: FloatArray,
    worst: tuple[int, int],
    central: float,
    band: float,
    first_order: FloatArray,
    drawing: Drawing | None,
) -> FloatArray:
    """What measuring each input would leave of a drawn band, drawn once more: first order misses its lean tail.

    Only the measurements that help by first order are drawn; the others leave the band as it is.
    """
    rows = np.arange(cells.shape[0]) == worst[0]
    part = _rows_of(forward.job, rows)
    model = Forward(part, forward.settings, forward.believed.rows(rows, part))
    own = uncertain_inputs(part, model.believed)
    loaded, asked = model.new(cells[worst[0] : worst[0] + 1]), drawing or Drawing(SHORT_PULSE_SAMPLES)
    left = np.full(first_order.shape, band)
    for index in np.flatnonzero(first_order < HELPS * first_order.max(initial=0.0)).tolist():
        entry = own[index]
        better = replace(entry, standard=entry.standard_if_measured)
        inputs = (*own[:index], better, *own[index + 1 :])
        drawn = simulate(part, model, loaded, asked.samples, asked.seed, LEAN_STOP, inputs=inputs)
        left[index] = half_width(drawn, np.array(central))[0, worst[1]]
    return left


def _shares(found: Budget, at: Mapping[str, tuple[int, int]], left: Mapping[str, FloatArray]) -> tuple[Share, ...]:
    """Every input with its shares: the most helpful measurement first, inputs that cannot be measured last."""
    share = found.shares
    rows = [
        Share(
            name=entry.name,
            keys=entry.keys,
            standard=entry.standard / entry.per_unit,
            unit=entry.unit,
            assumed=entry.assumed,
            places={name: float(share[(index, *cell)]) for name, cell in at.items() if name != WORST},
            after={} if entry.measured_to is None else {name: float(left[name][index]) for name in at if name != WORST},
            slopes={
                name: float(found.contributions[(index, *cell)]) / entry.standard * entry.per_unit
                for name, cell in at.items()
            },
            measured_to=None if entry.measured_to is None else entry.measured_to / entry.per_unit,
            worst_after=None if entry.measured_to is None else float(left[WORST][index]),
        )
        for index, entry in enumerate(found.inputs)
    ]
    return tuple(sorted(rows, key=lambda row: (row.worst_after is None, row.worst_after or 0.0)))


def _first(shares: tuple[Share, ...], before: Mapping[str, float]) -> dict[str, str]:
    """Place → the input whose measurement would narrow the band there most; left out if none would."""
    found = {}
    for place in (IDLE_PLACE, WIDE_OPEN_PLACE):
        helpful = [row for row in shares if row.after.get(place, np.inf) < HELPS * before[place]]
        if helpful:
            found[place] = min(helpful, key=lambda row: row.after[place]).name
    return found


def _advice(shares: tuple[Share, ...], first: Mapping[str, str], before: Mapping[str, float]) -> str:
    """What to measure first for load and for idle: the input whose measurement would narrow the band there most."""
    if not shares:
        return "No band is known: there is no cell to judge."
    return " ".join(_advised(shares, first.get(place), place, before[place]) for place in (WIDE_OPEN_PLACE, IDLE_PLACE))


def _advised(shares: tuple[Share, ...], name: str | None, place: str, before: float) -> str:
    words = f"{place.capitalize()} (±{percent_up(before)} %):" if np.isfinite(before) else f"{place.capitalize()}:"
    if name is None:
        return f"{words} only a log of the running engine can narrow it."
    row = next(row for row in shares if row.name == name)
    return (
        f"{words} measure the {name} first; known to ±{row.measured_to:.2g} {row.unit} (standard), "
        f"±{percent_up(row.after[place])} % is left."
    )
