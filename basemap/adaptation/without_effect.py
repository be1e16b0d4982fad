"""Settings that a job states without effect: no number of the result depends on them.

They are found by trying: each setting is changed, to see whether any number changes with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

import numpy as np

from basemap.adaptation.chain import decode, encode, settled, transfer
from basemap.adaptation.further_tables import adapt_further_tables
from basemap.adaptation.outcomes import OnTarget, four_outcomes
from basemap.adaptation.setting_fields import in_force, to_enter
from basemap.model.injectors import DeadTime
from basemap.model.installation import FloatArray, Told
from basemap.model.job import SIDES, Job, SideName
from basemap.model.settings import InForce, Settings
from basemap.model.table import TableQuantity

MOVED_BY = 1.25
Move = Callable[[Told, Settings], Told]
"""What an ECU was told and its settings → what it was told, with one setting changed."""


def _dead_time(told: Told, held: Settings) -> Told:
    data = held.dead_time
    moved = DeadTime(data.battery_v, data.time_s * MOVED_BY, data.pressure_pa)
    return replace(told, dead_time=moved, dead_time_points_v=None)


def _flow(told: Told, held: Settings) -> Told:
    # Any flow will do: the question is only whether another one changes any number.
    return replace(told, flow=MOVED_BY * (held.flow_kg_s / 700.0 if told.flow is None else told.flow))


_MOVES: dict[str, Move] = {
    "displacement": lambda told, held: replace(told, displacement_m3=held.displacement_m3 * MOVED_BY),
    "static_flow": _flow,
    "stoichiometric": lambda told, held: replace(told, stoichiometric=held.stoichiometric * MOVED_BY),
    "openings_per_cycle": lambda told, held: replace(told, openings_per_cycle=held.openings_per_cycle * MOVED_BY),
    "dead_time": _dead_time,
    "formula_factor": lambda told, held: replace(told, formula_factor=held.formula_factor * MOVED_BY),
}
_IN_THE_FORMULA = frozenset({"displacement", "static_flow", "stoichiometric", "openings_per_cycle"})
"""Settings that multiply or divide every volumetric efficiency: these need not be tried."""


def without_effect(job: Job, held: InForce) -> tuple[str, ...]:
    """Job-file keys of settings without effect; one in the list ``cannot_be_told`` is named with its key."""
    as_it_is = cache(lambda: _numbers(job))
    return tuple(key for key, side, name in _stated(job) if not _moves_anything(job, held, side, name, as_it_is))


def _stated(job: Job) -> Iterator[tuple[str, SideName, str]]:
    """Every setting that the job states for itself: its key, whose it is, its name."""
    own = job.declared - job.copied
    for side in SIDES:
        for name in _MOVES:
            key = f"{side}.settings.{name}"
            if key in own and not _in_formula(job, name) and not (side == "donor" and _is_hardware(job, name)):
                yield key, side, name
    for name in sorted(job.cannot_be_told):
        if name in _MOVES and not _in_formula(job, name) and "target.settings.cannot_be_told" in own:
            yield f'"{name}" in target.settings.cannot_be_told', "target", name


def _in_formula(job: Job, name: str) -> bool:
    tables = job.donor.table, job.target.table
    return name in _IN_THE_FORMULA and all(one.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY for one in tables)


def _is_hardware(job: Job, name: str) -> bool:
    """Whether the fitted part is assumed from this setting: then it does have an effect."""
    section = "fuel" if name == "stoichiometric" else "engine" if name == "displacement" else "injectors"
    return any(one.key.startswith(f"donor.{section}") and "as the settings" in one.value for one in job.assumed)


def _moves_anything(
    job: Job, held: InForce, side: SideName, name: str, as_it_is: Callable[[], list[FloatArray]]
) -> bool:
    told = job.side(side).told
    settings = held.donor if side == "donor" else held.new
    if name == "dead_time" and (told.battery_factor is not None or told.dead_time_points_v is not None):
        return True  # its voltages or factors show in the settings to enter
    moved = _MOVES[name](told, settings)
    before, after = as_it_is(), _numbers(job.with_side(side, told=moved))
    return len(before) != len(after) or not all(
        one.shape == other.shape and np.allclose(one, other, rtol=1e-12, atol=0.0, equal_nan=True)
        for one, other in zip(before, after, strict=True)
    )


def _numbers(job: Job) -> list[FloatArray]:
    """The numbers that a user sees: new cells, outcomes, settings to enter and further tables."""
    settings = in_force(job)
    job = settled(job, settings)
    air = transfer(job, decode(job, settings).air_kg)
    encoded = encode(job, settings, air)
    ratios = four_outcomes(OnTarget(job, air, encoded.delivery), encoded.cells, settings)
    rows = [
        np.atleast_1d(value)
        for row in to_enter(job, settings)
        for value in (row.old, row.in_force)
        if value is not None
    ]
    return [encoded.cells, *ratios.values(), *rows, *(one.new for one in adapt_further_tables(job))]
