"""Old and new table with old and new settings: the map loaded untouched, and the map half loaded."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from basemap.constants import ZERO_CELSIUS
from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import SideName
from basemap.model.table import TableQuantity
from basemap.model.table_result import LambdaCase
from basemap.rounding import cells, off
from basemap.rules.case import Case, pairs
from basemap.rules.grading import worst
from basemap.rules.rule import MODEL, UNTOUCHED, Answer, Missing, Rule, Trip

SUITS_WITHIN = 0.03
HALF_LOADED = 0.10


def suits(case: Case) -> bool:
    """Whether the old table with the old settings is known and within 3 % of the intended λ in all reachable cells."""
    ratio = case.table.lambda_ratio["old_table_old_settings"][case.reachable]
    return ratio.size > 0 and bool(np.all((ratio >= 1.0 - SUITS_WITHIN) & (ratio <= 1.0 + SUITS_WITHIN)))


def _beyond(ratio: FloatArray, share: float) -> BoolArray:
    """Which ratios are further from 1 than a share; NaN never is."""
    return np.asarray((ratio > 1.0 + share) | (ratio < 1.0 - share))


_HALVES: tuple[tuple[LambdaCase, str], ...] = (
    ("new_table_old_settings", "the new table with the old settings"),
    ("old_table_new_settings", "the old table with the new settings"),
)


def _half_loaded(case: Case) -> Iterator[Answer]:
    told: list[str] = []
    past = np.zeros_like(case.reachable)
    largest = 0.0
    for which, words in _HALVES:
        ratio = case.ratio(which)
        if case.computed.cancelled and not np.isfinite(ratio).any():
            yield Missing(case.computed.cancelled)
            continue
        beyond, error = _beyond(ratio, HALF_LOADED), np.abs(ratio - 1.0)
        if beyond.any():
            cell = worst(error, beyond, above=True)
            told.append(f"{words} gives {off(float(ratio[cell]))} at {case.address(cell)}")
            past |= beyond
            largest = max(largest, float(error[cell]))
    if told:
        yield Trip(
            Severity.CAUTION,
            f"Half loaded, {'; '.join(told)} (limit {100 * HALF_LOADED:g} %).",
            value=100.0 * largest,
            limit=100.0 * HALF_LOADED,
            cells=pairs(past),
        )


HALF_LOADED_RULE = Rule(
    name="half-loaded",
    title="Half loaded",
    threshold=f"λ more than {100 * HALF_LOADED:g} % off in a reachable cell with the new table and the old settings, "
    "or with the old table and the new settings: one caution.",
    why="The classic accident: somebody loads the table and forgets the settings, or the other way round.",
    source=MODEL,
    remedy="With the engine off, enter the settings and the new table together, and read both back before the first "
    "start.",
    judge=_half_loaded,
)


def _lambda_table(case: Case) -> Iterator[Answer]:
    left = case.table.lambda_table_left
    if left is None:
        return
    names = [table.name for table in case.job.further_tables if table.commanded is not None]
    what = f"The table {names[0]}" if names else "The intended lambda among the settings"
    ratio = np.where(case.reachable, left, np.nan)
    past = _beyond(ratio, SUITS_WITHIN)
    if not past.any():
        return
    # Lean cells come first: they do the damage.
    lean = past & (ratio > 1.0)
    cell = worst(np.abs(ratio - 1.0), lean if lean.any() else past, above=True)
    yield Trip(
        Severity.CAUTION,
        f"{what} belongs to the new fuel table: with the donor's lambda left in the ECU, the new table and settings "
        f"give {off(float(ratio[cell]))} at {case.address(cell)} (limit {100 * SUITS_WITHIN:g} %).",
        value=100.0 * abs(float(ratio[cell]) - 1.0),
        limit=100.0 * SUITS_WITHIN,
        cells=pairs(past),
    )


LAMBDA_TABLE = Rule(
    name="lambda-table",
    title="Lambda table",
    threshold="An ECU that applies lambda to the cells, and a target whose intended lambda differs from the donor's: "
    f"caution where λ is more than {100 * SUITS_WITHIN:g} % off in a reachable cell with the lambda table left as it "
    "was.",
    why="The new fuel table gives the intended mixture only with the target's lambda in the ECU. Left as it was, the "
    "ECU commands the donor's mixture, even with everything else entered correctly.",
    source=MODEL,
    remedy="With the engine off, load the lambda table that is written next to the fuel table together with it (or "
    "enter the single number among the settings), and read it back before the first start.",
    judge=_lambda_table,
)


def _as_loaded(case: Case) -> Iterator[Answer]:
    ratio = case.ratio("old_table_old_settings")
    cancelled = case.computed.cancelled
    if cancelled and not np.isfinite(ratio).any():
        yield Missing(
            cancelled,
            "The effect of the untouched map is not known: the numbers that the job leaves out cancel in the adapted "
            "table only.",
        )
        return
    past = _beyond(ratio, SUITS_WITHIN)
    if not past.any():
        return
    sides = ((past & (ratio > 1.0), True), (past & (ratio < 1.0), False))
    ends = [worst(ratio, side, above) for side, above in sides if side.any()]
    told = [f"{off(float(ratio[cell]))} at {case.address(cell)}" for cell in ends]
    largest = max(abs(float(ratio[cell]) - 1.0) for cell in ends)
    yield Trip(
        Severity.CAUTION if _beyond(ratio, HALF_LOADED).any() else Severity.NOTE,
        f"If loaded as it is, the mixture is more than {100 * SUITS_WITHIN:g} % off in {cells(int(past.sum()))} of "
        f"{int(case.reachable.sum())}: at worst {' and '.join(told)}.",
        as_loaded=True,
        value=100.0 * largest if math.isfinite(largest) else math.inf,
        limit=100.0 * SUITS_WITHIN,
        cells=pairs(past),
    )


AS_LOADED = Rule(
    name="loaded-as-it-is",
    title="Loaded as it is",
    threshold=f"λ of the untouched map more than {100 * SUITS_WITHIN:g} % off in a reachable cell: note; more than "
    f"{100 * HALF_LOADED:g} % off: caution. This decides between *suits as it is* and *adapt first*.",
    why="It shows what the untouched map would do in every cell, not only at load.",
    source=MODEL,
    remedy=UNTOUCHED,
    judge=_as_loaded,
)


def _another_quantity(case: Case) -> Iterator[Answer]:
    job = case.job
    if not job.other_quantity:
        return
    side: SideName = "donor" if job.donor.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY else "target"
    told = job.side(side).told
    stated = f"{side}.settings.formula_factor" in job.declared
    celsius, rail = (
        job.target.hardware.conditions.charge_temperature_k - ZERO_CELSIUS,
        job.target.hardware.fuel.rail_pressure_pa / 1e5,
    )
    yield Trip(
        Severity.NOTE,
        f"The donor's cells are {job.donor.table.quantity} in {job.donor.shown.unit}, the target's "
        f"{job.target.table.quantity} in {job.target.shown.unit}: two different ECUs. The donor's table cannot be "
        "loaded as it is. The formula factor of the ECU that works in efficiency is taken as "
        f"{told.formula_factor:g}, {'as the job states' if stated else 'which is an assumption'}; a cell of the "
        f"target is for the target's own charge temperature, {celsius:.1f} °C, and rail pressure, {rail:.2f} bar.",
    )


ANOTHER_QUANTITY = Rule(
    name="another-quantity",
    title="Different quantities",
    threshold="The target's table holds a different quantity from the donor's: note.",
    why="Between two ECUs the formula factor does not cancel and shifts the whole table; within one ECU it cancels.",
    source=MODEL,
    remedy="Check κ of the ECU that works in volumetric efficiency: hold a steady point, read λ and state "
    "settings.formula_factor. Tune the whole table by one factor before you tune single cells.",
    judge=_another_quantity,
)
