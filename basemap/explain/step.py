"""What a worked cell is made of: steps, the stage each stands in, and one side of the chain at one cell."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from basemap.frozen import frozen
from basemap.model.ecu import Sensed, Settings
from basemap.model.installation import FloatArray, Installation
from basemap.model.result import Chain
from basemap.model.table import FuelTable


class Stage(StrEnum):
    """Where in the chain a step stands."""

    DONOR_ECU = "Donor: its ECU turns the cell into a pulse"
    DONOR_HARDWARE = "Donor: its injectors turn the pulse into fuel, and so tell the air"
    TRANSFER = "From the donor's air to the target's"
    TARGET_HARDWARE = "Target: the pulse its injectors need"
    TARGET_ECU = "Target: the cell that makes its ECU command that pulse"


@frozen
class Step:
    """One line of the chain.

    Parameters
    ----------
    symbol, name
        As in the physics page of the documentation.
    value, unit
        Unrounded, in a unit for people.
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


@frozen
class Side:
    """One side of the chain at one cell."""

    word: str
    installation: Installation
    table: FuelTable
    settings: Settings
    chain: Chain
    row: int
    column: int

    def at(self, values: FloatArray) -> float:
        """The number of this cell."""
        return float(np.broadcast_to(values, self.chain.air_kg.shape)[self.row, self.column])

    def key(self, name: str) -> str:
        """A job-file key of this side."""
        return f"{self.word}.{name}"

    @property
    def sensed(self) -> Sensed:
        """What this side's ECU measures."""
        return Sensed(
            self.chain.pressure_across_pa, self.installation.conditions.charge_temperature_k, self.table.battery_v
        )
