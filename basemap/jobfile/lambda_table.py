"""The lambda table that goes with the new fuel table, if the target's intended lambda differs from the donor's.

An ECU that applies lambda to its cells takes it from a table of its own: the new fuel table gives the intended mixture
only with the target's lambda in that table. It is written like any further table, in its own shape and scale.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.constants import SAME
from basemap.jobfile.intended import Intended, MixtureTable
from basemap.model.axes import LoadAxis, interpolation
from basemap.model.further_table import Commanded, FurtherAxis, FurtherQuantity, FurtherTable
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.storage import round_half_away
from basemap.model.table import Shown

NAMES = ("lambda", "intended lambda", "lambda to load")
"""Names for the table if the job has none; it takes the first that is free."""
LEAST_DECIMALS = {FurtherQuantity.LAMBDA: 3, FurtherQuantity.AIR_FUEL_RATIO: 2}
"""Least decimals of a cell that those of the file would round."""
_MIXTURES = tuple(LEAST_DECIMALS)


def with_lambda_table(job: Job, of_donor: Intended, of_target: Intended) -> Job:
    """The job with the lambda table that belongs to its new fuel table among the further tables.

    Every further table that is the donor's intended lambda becomes the target's. If there is none and the ECU applies
    lambda, one is added, unless lambda is a single number: that is a setting.

    Parameters
    ----------
    job
        With both fuel tables.
    of_donor, of_target
        Their intended lambda; of a target that takes the donor's, the donor's.
    """
    if not (job.lambda_differs or job.needs_lambda_table):
        return job
    found = [one.name for one in job.further_tables if _is_intended(job, one, of_donor)]
    if not found and of_target.table is not None and of_target.table.name is not None:
        found = [of_target.table.name]  # another table of the donor's ECU, from which the target's is to command
    if found:
        changed = [_replaced(job, one, of_donor, of_target) if one.name in found else one for one in job.further_tables]
        return replace(job, further_tables=tuple(changed))
    if not job.needs_lambda_table or (_one_number(job) and (of_donor.table is None or job.other_quantity)):
        return job
    return replace(job, further_tables=(*job.further_tables, _added(job, of_donor, of_target)))


def _one_number(job: Job) -> bool:
    return bool(np.ptp(job.target.table.intended_lambda) == 0.0)


def _is_intended(job: Job, table: FurtherTable, of_donor: Intended) -> bool:
    """Whether a further table is the donor's intended lambda: by its name, or because every cell agrees."""
    if of_donor.table is not None and of_donor.table.name is not None:
        return table.name == of_donor.table.name
    donor, held = job.donor.table, table.origin or table
    stand_in = any(one.unknown and one.key == "donor.tables.fuel.lambda" for one in job.assumed)
    if held.quantity not in _MIXTURES or held.load_pa is None or not _alike(held, donor.points.axis) or stand_in:
        return False
    read = interpolation((held.load_pa, donor.load_pa), (held.axes[1].values, donor.rpm))
    mixture = read.of(held.values) / (held.basis or 1.0)
    slack = 0.5 * 10.0**-held.shown.decimals / (held.basis or 1.0) + SAME
    return bool(np.all(np.abs(mixture - donor.intended_lambda) <= slack))


def _alike(table: FurtherTable, axis: LoadAxis) -> bool:
    """Whether a table's loads can be read as those of an axis."""
    return table.load_axis is axis or {table.load_axis, axis} == {LoadAxis.MANIFOLD_PRESSURE, LoadAxis.PRESSURE_RATIO}


def _to_target(job: Job, axis: LoadAxis | None) -> float:
    """The target's pressure at a point over the donor's at the similar one; 1 on an axis of manifold pressure."""
    donor, target = job.donor.hardware.conditions, job.target.hardware.conditions
    if axis is LoadAxis.AIR_MASS:
        return target.charge_temperature_k / donor.charge_temperature_k
    return 1.0 if axis is LoadAxis.MANIFOLD_PRESSURE else target.barometer_pa / donor.barometer_pa


def _sampled(job: Job, of_donor: Intended, of_target: Intended, load_pa: FloatArray, rpm: FloatArray) -> FloatArray:
    """The target's intended lambda at other points: from its own table, else from its fuel table's cells."""
    own, fuel = of_target.table, job.target.table
    if own is None:
        return interpolation((fuel.load_pa, load_pa), (fuel.rpm, rpm)).of(fuel.intended_lambda)
    has = own.load_pa * _to_target(job, fuel.points.axis) if of_target is of_donor else own.load_pa
    return interpolation((has, load_pa), (own.axes[1].values, rpm)).of(own.mixture)


def _replaced(job: Job, table: FurtherTable, of_donor: Intended, of_target: Intended) -> FurtherTable:
    assert table.load_pa is not None
    load_pa = table.load_pa * _to_target(job, table.load_axis)
    per_lambda = job.target.hardware.fuel.stoichiometric if table.follows_fuel else table.basis or 1.0
    cells = _sampled(job, of_donor, of_target, load_pa, table.axes[1].values) * per_lambda
    shown = table.shown
    if table.storage.decimals is None and table.storage.step is None:
        shown = replace(shown, decimals=_decimals(cells, shown.decimals, table.quantity))
    return replace(table, shown=shown, commanded=Commanded(cells, load_pa, per_lambda))


def _decimals(cells: FloatArray, of_file: int, quantity: FurtherQuantity) -> int:
    """The file's own decimals where they hold the cells, else enough."""
    exact = np.allclose(round_half_away(cells, of_file), cells, rtol=0.0, atol=SAME)
    return of_file if exact else max(of_file, LEAST_DECIMALS[quantity])


class _LambdaScale(NamedTuple):
    """What the cells of the table hold: the ECU's own scale if the donor's file shows it, else the target's."""

    quantity: FurtherQuantity
    old_per_lambda: float
    new_per_lambda: float
    follows_fuel: bool


def _scale(job: Job, of_donor: Intended, of_target: Intended) -> _LambdaScale:
    known = of_target.table if job.other_quantity else of_donor.table or of_target.table
    if known is None:
        return _LambdaScale(FurtherQuantity.LAMBDA, 1.0, 1.0, follows_fuel=False)
    if not known.follows_fuel:
        return _LambdaScale(known.quantity, known.per_lambda, known.per_lambda, follows_fuel=False)
    ratios = job.donor.hardware.fuel.stoichiometric, job.target.hardware.fuel.stoichiometric
    return _LambdaScale(known.quantity, *ratios, follows_fuel=True)


def _added(job: Job, of_donor: Intended, of_target: Intended) -> FurtherTable:
    """A table in the shape of the target's lambda file, else of the donor's, else of the new fuel table."""
    scale = _scale(job, of_donor, of_target)
    shape = _shape(job, of_donor, of_target)
    load, rpm = shape.axes
    cells = _sampled(job, of_donor, of_target, shape.load_pa, rpm.values) * scale.new_per_lambda
    decimals = _decimals(cells, shape.decimals, scale.quantity)
    old = np.full(cells.shape, np.nan)
    if not job.other_quantity:
        own, fuel = of_donor.table, job.donor.table
        held = fuel.intended_lambda if own is None else own.mixture
        at = (fuel.load_pa, fuel.rpm) if own is None else (own.load_pa, own.axes[1].values)
        old = interpolation((at[0], shape.load_pa), (at[1], rpm.values)).of(held) * scale.old_per_lambda
    layout = shape.layout
    if scale.quantity is not shape.quantity or shape.name is not None:
        # The words in the file of another table would be wrong here.
        layout = _with_words(layout, _words(scale))
    taken = {one.name.casefold() for one in job.further_tables}
    return FurtherTable(
        name=next(name for name in NAMES if name not in taken),
        quantity=scale.quantity,
        values=old,
        axes=(load, rpm),
        shown=Shown("", 1.0, load.values, load.unit, decimals),
        load_pa=shape.load_pa,
        follows_fuel=scale.follows_fuel,
        basis=scale.old_per_lambda if scale.quantity is FurtherQuantity.AIR_FUEL_RATIO else None,
        layout=layout,
        commanded=Commanded(cells, shape.load_pa, scale.new_per_lambda),
    )


def _shape(job: Job, of_donor: Intended, of_target: Intended) -> MixtureTable:
    donor, target = of_donor.table, of_target.table
    counts_air = job.donor.table.points.axis is LoadAxis.AIR_MASS
    if target is not None and not (counts_air and target is donor):
        return target
    if donor is not None and _one_number(job) and not counts_air:
        return donor
    fuel, shown = job.target.table, job.target.shown
    return MixtureTable(
        axes=(FurtherAxis(fuel.points.axis.value, shown.load_unit, shown.load), FurtherAxis("rpm", "rpm", fuel.rpm)),
        load_pa=fuel.load_pa,
        mixture=fuel.intended_lambda,
        quantity=FurtherQuantity.LAMBDA,
        per_lambda=1.0,
        follows_fuel=False,
        layout=job.layout,
        decimals=LEAST_DECIMALS[FurtherQuantity.LAMBDA],
        name=fuel.name,
    )


def _with_words(layout: object, words: str) -> object:
    from basemap.tables.grid import GridLayout
    from basemap.tables.orientation import unit_of_text

    assert isinstance(layout, GridLayout)
    return layout.with_words(words, "" if unit_of_text(layout.corner) else layout.corner)


def _words(scale: _LambdaScale) -> str:
    if scale.quantity is FurtherQuantity.LAMBDA:
        return "Intended lambda"
    return f"Intended air/fuel ratio: {scale.new_per_lambda:g} at lambda 1"
