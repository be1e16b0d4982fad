"""The parts of a worked cell: steps, the stage of each, and one side of the chain at one cell."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np

from basemap.explain import equations
from basemap.explain.equations import Equation
from basemap.explain.whole_side import WholeSide
from basemap.model.installation import FloatArray, Installation
from basemap.model.job import Job
from basemap.model.settings import Settings
from basemap.model.table import FuelTable
from basemap.model.table_result import Chain


class Stage(StrEnum):
    """The part of the chain that a step belongs to, with its heading."""

    DONOR_ECU = "Donor: its ECU turns the cell into a pulse"
    DONOR_HARDWARE = "Donor: its injectors turn the pulse into fuel, and the fuel tells the air"
    TRANSFER = "From the donor's air to the target's"
    TARGET_HARDWARE = "Target: the pulse its injectors need"
    TARGET_ECU = "Target: the cell that makes its ECU command that pulse"


class Step(NamedTuple):
    """One line of the chain.

    Parameters
    ----------
    symbol, name
        As in the physics page of the documentation.
    value, unit
        The number, unrounded, and the unit it is shown in.
    how
        The arithmetic in symbols; empty for an input.
    keys
        Job-file keys that the number comes from, so that its origin can be shown.
    """

    stage: Stage
    symbol: str
    name: str
    value: float
    unit: str
    how: str = ""
    keys: tuple[str, ...] = ()


def step(
    stage: Stage,
    equation: Equation,
    value: float,
    *keys: str,
    unit: str | None = None,
    formula: str | None = None,
    **filled: object,
) -> Step:
    """The step of an equation, with the braces of its words and formula `filled` in.

    Parameters
    ----------
    unit, formula
        Instead of those of the equation.
    """
    words, how = equation.words, equation.formula if formula is None else formula
    if filled:
        words, how = words.format(**filled), how.format(**filled)
    return Step(stage, equation.symbol, words, value, equation.unit if unit is None else unit, how, keys)


class CellSide(NamedTuple):
    """One side of the job, donor or target, at one cell."""

    word: str
    installation: Installation
    table: FuelTable
    settings: Settings
    chain: Chain
    row: int
    column: int
    whole: WholeSide

    @classmethod
    def of(cls, whole: WholeSide, row: int, column: int) -> CellSide:
        """One cell of a side."""
        return cls(whole.word, whole.installation, whole.table, whole.settings, whole.chain, row, column, whole)

    def at(self, values: FloatArray) -> float:
        """The number of this cell."""
        if np.ndim(values) == 2:  # as broadcast, in a tenth of the time: a page asks for thousands
            rows, columns = values.shape
            return float(values[self.row if rows > 1 else 0, self.column if columns > 1 else 0])
        return float(np.broadcast_to(values, self.chain.air_kg.shape)[self.row, self.column])

    def key(self, name: str) -> str:
        """A job-file key of this side."""
        return f"{self.word}.{name}"


def intended_lambda(side: CellSide, stage: Stage) -> Step:
    """The mixture that a cell is meant to give."""
    return step(stage, equations.LAMBDA, side.at(side.table.intended_lambda), side.key("tables.fuel.lambda"))


def cylinder_volumes(job: Job) -> Step:
    """How much larger a cylinder of the target is."""
    donor, target = job.donor.hardware.engine, job.target.hardware.engine
    ratio = target.cylinder_volume_m3 / donor.cylinder_volume_m3
    keys = ("target.engine.displacement", "donor.engine.displacement")
    return step(Stage.TRANSFER, equations.VOLUMES, ratio, *keys)


def charge_temperatures(job: Job) -> Step:
    """How much warmer the donor's charge was."""
    donor, target = job.donor.hardware.conditions, job.target.hardware.conditions
    ratio = donor.charge_temperature_k / target.charge_temperature_k
    return step(Stage.TRANSFER, equations.TEMPERATURES, ratio)
