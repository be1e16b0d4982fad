"""The tables of dead times on the sheet of inputs: where each is, and the names of its parts."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from xlsxwriter.utility import xl_range_abs

from basemap.model.injectors import DeadTime
from basemap.model.installation import FloatArray
from basemap.model.job import Job, SideName
from basemap.model.result import Computed
from basemap.workbook.core.interpolate import value_at
from basemap.workbook.inputs.inputs import INPUTS_TOP, input_cells
from basemap.workbook.inputs.quantities import Group

SHEET = "Inputs"
FIRST_COL, LAST_COL = 1, 11
"""The columns in which the tables are side by side; those that do not fit begin below."""
_HEAD_ROWS = 3
"""Title, heads of the columns, units or pressures."""
_FOOT_ROWS = 3
"""Dead times at the battery voltage, whether the voltages rise, a gap."""
_UNITS = {"ms": 1e-3, "us": 1e-6, "µs": 1e-6, "s": 1.0}


@dataclass(frozen=True)
class Block:
    """One table of dead times.

    Parameters
    ----------
    side, prefix
        Whose it is, and the beginning of its names.
    heading
        Its title.
    dead_time
        Its points.
    key
        Job-file key of its section.
    top, col
        Row of its first voltage, and column of its voltages; the times are to the right.
    unit
        Of its times, as in the job.
    follows
        Prefix of the block whose points it repeats, because it is the same part; it is no input then.
    filled_from
        Prefix of the block from which its times are interpolated at its own voltages.
    """

    side: SideName
    prefix: str
    heading: str
    dead_time: DeadTime
    key: str
    top: int
    col: int
    unit: str
    follows: str = ""
    filled_from: str = ""

    @property
    def size(self) -> float:
        """Size of the unit of its times, ms."""
        return _UNITS[self.unit] * 1e3

    @property
    def count(self) -> int:
        """Number of voltages."""
        return int(self.dead_time.battery_v.size)

    @property
    def over_pressure(self) -> bool:
        """Whether it has several pressures."""
        return self.dead_time.pressure_pa is not None and self.dead_time.pressure_pa.size > 1

    @property
    def rail_col(self) -> int:
        """Column of its times at the rail pressure; that of the times themselves where they have no pressure."""
        return self.col + 1 + (len(self.dead_time.time_s) if self.over_pressure else 0)

    @property
    def last_col(self) -> int:
        """Its last column."""
        return max(self.rail_col, self.col + len(self.dead_time.time_s))

    @property
    def last_row(self) -> int:
        """The row of its last voltage."""
        return self.top + self.count - 1

    @property
    def pressure_row(self) -> int:
        """The row of its pressures: between its headings and its first voltage."""
        return self.top - 1

    @property
    def volts(self) -> str:
        """Name of its voltages."""
        return f"{self.prefix}_dead_time_volts"

    @property
    def pressures(self) -> str:
        """Name of its pressures, kPa."""
        return f"{self.prefix}_dead_time_pressures"

    @property
    def at_rail(self) -> str:
        """Name of its times at the rail pressure, ms; that of the given times where they have no pressure."""
        return f"{self.prefix}_dead_time_at_rail" if self.over_pressure else self.times

    @property
    def times(self) -> str:
        """Name of its times as given."""
        return f"{self.prefix}_dead_time_given"

    @property
    def at_battery(self) -> str:
        """Name of its times at the battery voltage, one for each pressure."""
        return f"{self.prefix}_dead_time_at_battery"

    def area(self, col: int, first: int = 0, last: int | None = None) -> str:
        """Absolute address of some rows of a column."""
        end = self.count - 1 if last is None else last
        return f"'{SHEET}'!{xl_range_abs(self.top + first, col, self.top + end, col)}"

    @property
    def ordered(self) -> tuple[str, str] | None:
        """Addresses of all voltages but the last and of all but the first, to check that they rise."""
        if self.count == 1:
            return None
        return self.area(self.col, 0, self.count - 2), self.area(self.col, 1, self.count - 1)

    def times_at_rail_ms(self, rail_pressure_pa: float) -> FloatArray:
        """Times at the rail pressure, not yet cut at zero, ms."""
        dead = self.dead_time
        if not self.over_pressure:
            return np.asarray(dead.time_s[0] * 1e3)
        assert dead.pressure_pa is not None
        return np.array([value_at(dead.pressure_pa, column, rail_pressure_pa) for column in dead.time_s.T]) * 1e3


def top_of_dead_times(job: Job) -> int:
    """The row below the other inputs: after a heading for each group, a row for each quantity, and a gap."""
    row = INPUTS_TOP
    cells = input_cells(job)
    for group in Group:
        rows = {cell.name.split("_", 1)[1] for cell in cells if cell.group is group}
        row += len(rows) + 2 if rows else 0
    return row


def blocks_of(computed: Computed) -> tuple[Block, ...]:
    """Every table of dead times, from left to right, then from top to bottom."""
    job = computed.job
    blocks: list[Block] = []
    if _told_for_hardware(job):
        # Only the settings are known, and stand for the injectors too.
        blocks.append(_block(job, "donor", "donor", "Donor's settings and injectors", "donor.settings.dead_time"))
    elif job.donor.dead_time_known:
        blocks.append(_block(job, "donor", "donor", "Donor's injectors", "donor.injectors.dead_time"))
    if job.donor.told.dead_time is not None and not _told_for_hardware(job):
        blocks.append(_block(job, "donor", "donor_settings", "Donor's settings", "donor.settings.dead_time"))
    blocks.append(_block(job, "target", "target", "Target's injectors", "target.injectors.dead_time"))
    key, told = "target.settings.dead_time", computed.in_force.new.dead_time
    if job.target.told.dead_time is not None:
        blocks.append(_block(job, "target", "target_settings", "Target's settings", key))
    elif job.target.told.dead_time_points_v is not None:
        name = "Target's own voltages"
        blocks.append(Block("target", "target_settings", name, told, key, 0, 0, "ms", filled_from="target"))
    return _placed(blocks, top_of_dead_times(job) + 2)


def _placed(blocks: list[Block], head: int) -> tuple[Block, ...]:
    """The blocks with their places: side by side from a row on, then below."""
    placed: list[Block] = []
    col = FIRST_COL
    for one in blocks:
        width = one.last_col - one.col + 1
        if placed and col + width - 1 > LAST_COL:
            head = max(other.last_row for other in placed) + _FOOT_ROWS + 1
            col = FIRST_COL
        placed.append(replace(one, top=head + _HEAD_ROWS, col=col))
        col += width + 1
    return tuple(placed)


def _told_for_hardware(job: Job) -> bool:
    own = any(key.startswith("donor.injectors.dead_time.") for key in job.inputs)
    told = any(key.startswith("donor.settings.dead_time.") for key in job.inputs)
    return told and not own


def _block(job: Job, side: SideName, prefix: str, heading: str, key: str) -> Block:
    """A block without its place."""
    told = {"donor_settings": job.donor.told.dead_time, "target_settings": job.target.told.dead_time}.get(prefix)
    hardware = job.side(side).hardware.injectors.dead_time
    same = (
        prefix == "target" and "injectors" in job.same_as_donor and not any(k.startswith(f"{key}.") for k in job.inputs)
    )
    follows = "donor" if same and job.donor.dead_time_known else ""
    return Block(side, prefix, heading, told or hardware, key, 0, 0, _unit(job, key), follows)


def _unit(job: Job, key: str) -> str:
    units = {
        one.unit for name, one in job.inputs.items() if name.startswith(f"{key}.time") and not math.isnan(one.value)
    }
    return units.pop() if len(units) == 1 and units <= set(_UNITS) else "ms"


def block(blocks: tuple[Block, ...], prefix: str) -> Block:
    """The block of a prefix."""
    return next(one for one in blocks if one.prefix == prefix)
