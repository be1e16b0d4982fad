"""A column of the sheet Rows: a formula for every load, and the model's own value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from basemap.adaptation.hardware import Delivery, delivery
from basemap.model.installation import FloatArray
from basemap.model.job import Job, SideName
from basemap.model.result import Computed
from basemap.workbook.core.row_places import RowKey

Address = Callable[[RowKey, int], str]
Formula = Callable[[int], str]


class Live(NamedTuple):
    """Formula and value of a quantity in every row; words stand for a value that is not finite.

    Without a formula the values are as issued.
    """

    formula: Formula | None
    values: FloatArray


@dataclass(frozen=True)
class RowFormulas:
    """The common part of the classes that make the rows; `address` gives the address of a figure of a row."""

    computed: Computed
    address: Address

    @property
    def job(self) -> Job:
        """The job."""
        return self.computed.job

    @property
    def count(self) -> int:
        """The number of rows."""
        return int(self.job.donor.table.load_pa.size)

    def delivery(self, side: SideName) -> Delivery:
        """What one side's injectors pass in every row."""
        table = self.job.side(side).table
        return delivery(self.job.side(side).hardware, table.pressure_pa, table.rpm, table.battery_v)

    def of_rows(self, values: FloatArray) -> FloatArray:
        """One value of every row, from an array of cells."""
        shape = (self.count, max(values.shape[-1], 1)) if values.ndim > 1 else (self.count, 1)
        return np.broadcast_to(values, shape)[:, 0]
