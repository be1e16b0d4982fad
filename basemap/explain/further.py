"""One cell of a further table of pulses, step by step: the same chain, with the table in the main one's place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from basemap.adaptation.further_tables import Run, run_of
from basemap.explain.cell import worked_cell
from basemap.explain.equations import DUTY, LAMBDA
from basemap.explain.step import Step
from basemap.model.belief import BreathingBelief
from basemap.model.further_table import FurtherResult
from basemap.model.result import Computed

_ONE_CYCLE = (DUTY.symbol,)
"""Steps that need a running engine: left out for a table of pulses before it turns, or of single pulses."""


def worked_pulse(computed: Computed, found: FurtherResult, index: tuple[int, ...]) -> tuple[Step, ...]:
    """The chain of one pulse, from the donor's to the new one; empty if the donor commands none.

    Parameters
    ----------
    computed
        The whole job.
    found
        A further table of pulses.
    index
        Index of the cell: of its point, or of its load and its speed.
    """
    if found.old[index] == 0:
        return ()
    run = run_of(computed.job, found.table, found.in_force)
    row, column = (*index, 0)[:2]
    steps = worked_cell(_in_place(computed, found, run), row, column)
    return tuple(_of_the_table(steps, found))


def _in_place(computed: Computed, found: FurtherResult, run: Run) -> Computed:
    """The job with the further table in the main one's place, as far as the chain of a cell needs it."""
    whole = run.air_kg.shape
    table = replace(
        computed.table,
        new=found.new.reshape(whole),
        stored=found.stored.reshape(whole),
        donor=run.donor,
        target=run.encoded.chain,
        implied_ve=np.full(whole, np.nan),
        breathing=BreathingBelief.unmoved(whole),
    )
    shown = found.table.shown
    job = replace(run.job, donor=replace(run.job.donor, shown=shown), target=replace(run.job.target, shown=shown))
    return replace(computed, job=job, table=table, in_force=run.settings, cancelled=())


def _of_the_table(steps: tuple[Step, ...], found: FurtherResult) -> Iterator[Step]:
    """The steps of the main table, reworded for a further table."""
    for step in steps:
        if found.table.load_pa is None and step.symbol in _ONE_CYCLE:
            continue
        if step.symbol == LAMBDA.symbol:
            yield step._replace(name="the mixture that the donor ran on this table, whatever it was", keys=())
        else:
            yield step
