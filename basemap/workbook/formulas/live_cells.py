"""The formulas of the cells of tables: from the old cell to the new one, and to its effect on the engine.

A formula refers to names, to its row and its column on the sheet Rows, and to the same cell of other tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from basemap.adaptation.richer import BEGINS, IN_FULL
from basemap.model.job import SIDES, Job, SideName
from basemap.model.result import Computed
from basemap.model.settings import InForce, Settings
from basemap.model.storage import limits, stored_decimals
from basemap.model.table import FuelTable
from basemap.workbook.core.layout import LAMBDA_GRIDS, GridName, Layout, TablePlace
from basemap.workbook.core.row_places import RowKey, row_cell, speed_cell
from basemap.workbook.inputs.ecu_inputs import has_own_lambda, uniform_lambda
from basemap.workbook.inputs.input_cell import is_cancelled, plain

NO_PULSE, NO_FUEL, NO_PRESSURE, NOT_KNOWN, NOTHING = "no pulse", "no fuel", "no pressure", "not known", "–"
TINY_CHANGE = 1e-11
"""A relative change below this is rounding noise, and is shown as none."""


def bent(time: str, whose: str) -> str:
    """The opening with both slopes, for as much fuel as an opening with the slope above the bend alone."""
    low, high = f"{whose}_bend_below", f"{whose}_bend_above"
    return f"MIN({time},{high})*{low}/{high}+MAX({time}-{high},0)"


def straightened(time: str, whose: str) -> str:
    """The opening with the slope above the bend alone, for as much fuel as an opening with both slopes."""
    low, high = f"{whose}_bend_below", f"{whose}_bend_above"
    return f"MIN({time},{low})*{high}/{low}+MAX({time}-{low},0)"


def at_least(pulse: str, cell: str, settings: Settings) -> str:
    """A pulse as an ECU with a minimum pulse commands it; for a cell of zero there is no pulse."""
    shortest = settings.minimum_pulse_s
    return f"MAX({pulse},{plain(1e3 * shortest)}*({cell}>0))" if shortest else pulse


@dataclass(frozen=True)
class CellFormulas:
    """The formulas of the tables of one job."""

    computed: Computed
    layout: Layout

    @property
    def job(self) -> Job:
        """The job."""
        return self.computed.job

    @property
    def _settings(self) -> InForce:
        return self.computed.in_force

    @cached_property
    def _cancelled(self) -> bool:
        return is_cancelled(self.job)

    def at(self, name: GridName, i: int, j: int) -> str:
        """Address of a table's cell."""
        return self.layout.place(name).cell(i, j)

    def intended(self, side: SideName, i: int, j: int) -> str:
        """The intended lambda of a cell."""
        found = self._intended[side]
        return found if isinstance(found, str) else found.cell(i, j)

    @cached_property
    def _intended(self) -> dict[SideName, str | TablePlace]:
        """Of each side: the name of the one number, or the place of the table."""
        found: dict[SideName, str | TablePlace] = {}
        for side in SIDES:
            whose: SideName = side if side == "donor" or has_own_lambda(self.job) else "donor"
            name = f"{whose}_intended_lambda_used"
            table = self.layout.place(LAMBDA_GRIDS[whose])
            found[side] = name if uniform_lambda(self.job, whose) else table
        return found

    def _over_command(self, table: FuelTable, side: SideName, i: int, j: int) -> str:
        """The division by the commanded lambda; empty where it is inside the cell."""
        return "" if table.inside.intended_lambda else f"/{self.intended(side, i, j)}"

    def donor_pulse(self, i: int, j: int) -> str:
        """The pulse that the donor's ECU commanded."""
        table = self.job.donor.table
        gain = row_cell("donor_gain", i)
        pulse = f"{self.at('old', i, j)}*{gain}{self._over_command(table, 'donor', i, j)}"
        if self._settings.donor.bend is not None:
            pulse = bent(pulse, "donor_set")
        pulse += "" if table.inside.dead_time else "+donor_set_dead_time"
        pulse = at_least(pulse, self.at("old", i, j), self._settings.donor)
        return f'=IF(ISNUMBER({gain}),{pulse},"{NOT_KNOWN}")'

    def air(self, i: int, j: int) -> str:
        """The air of one cylinder of the target in one cycle."""
        intended = self.intended("donor", i, j)
        if self._cancelled:
            inside = f"*{intended}" if self.job.donor.table.inside.intended_lambda else ""
            air = f"{self.at('old', i, j)}*{row_cell('donor_gain', i)}{inside}*air_transfer{self._breathing(i, j)}"
            return f'=IF(ISNUMBER({row_cell("donor_gain", i)}),{air},"{NOT_KNOWN}")'
        pulse, flow, dead = self.at("donor_pulse", i, j), row_cell("donor_flow", i), row_cell("donor_dead", i)
        time = f"({pulse}-{dead})"
        if self.job.donor.hardware.injectors.bent_line is not None:
            time = f"({straightened(time, 'donor')})"
        fuel = f"donor_hardware_openings*{flow}*{time}"
        # Where the donor has no pulse there is no flow either: its ECU corrects for a pressure of zero there.
        air = f"{intended}*donor_stoichiometric*{fuel}*air_transfer{self._breathing(i, j)}"
        return f'=IF(AND({flow}>0,N({pulse})>={dead}),{air},"{NOT_KNOWN}")'

    def _breathing(self, i: int, j: int) -> str:
        """The factors on the air, if any: for how the target breathes, and for what drives taught."""
        table = self.computed.table
        breathes = "" if table.breathing_factor is None else f"*{self.at('breathing', i, j)}"
        return breathes if table.taught is None else f"{breathes}*{self.at('taught', i, j)}"

    def opening(self, i: int, j: int) -> str:
        """The time for which the target's injectors must be open for this air, without the dead time."""
        air, flow = self.at("air", i, j), row_cell("flow", i)
        time = f"{air}/(target_stoichiometric*{self.intended('target', i, j)}*target_hardware_openings*{flow})"
        if self.job.target.hardware.injectors.bent_line is not None:
            time = bent(time, "target")
        return f'=IF(ISNUMBER({air}),IF({flow}>0,{time},"{NO_PRESSURE}"),"{NO_PULSE}")'

    def new(self, i: int, j: int) -> str:
        """The cell that makes the target's ECU command that opening."""
        return f"={self._cell_of(self.at('opening', i, j), i, j)}"

    def _richer(self, i: int, j: int) -> str:
        """The opening of a cell that is written richer at load, by a share that rises with the row's pressure."""
        share = plain(self.job.richer_at_load)
        ramp = f"({row_cell('map', i)}/target_barometer_used-{plain(BEGINS)})/{plain(IN_FULL - BEGINS)}"
        more = f"(1+{share}*MAX(0,MIN(1,{ramp})))"
        opening = self.at("opening", i, j)
        if self.job.target.hardware.injectors.bent_line is None:
            return f"{opening}*{more}"
        time = f"({straightened(opening, 'target')})*{more}"
        return f"({bent(time, 'target')})"

    def _cell_of(self, opening_ms: str, i: int, j: int) -> str:
        """The cell that commands an opening; words where there is none."""
        opening, pulse = self.at("opening", i, j), f"{row_cell('dead', i)}+{opening_ms}"
        table = self.job.target.table
        command = "" if table.inside.intended_lambda else f"*{self.intended('target', i, j)}"
        added = "" if table.inside.dead_time else "-target_set_dead_time"
        time = f"({pulse}{added})"
        if self._settings.new.bend is not None:
            time = f"({straightened(time, 'target_set')})"
        return (
            f"IF(ISNUMBER({opening}),IF(OR({pulse}{added}>0,{opening}=0),"
            f'{time}{command}/{row_cell("gain", i)},"{NO_PULSE}"),"{NO_PULSE}")'
        )

    def stored(self, i: int, j: int) -> str:
        """The new cell as the table stores it: the only rounding in the workbook."""
        new, storage, shown = self.at("new", i, j), self.job.storage, self.job.target.shown
        rounded, decimals = new, stored_decimals(storage, shown)
        if self.job.richer_at_load:
            rounded = self._cell_of(self._richer(i, j), i, j)
        if storage.step is not None:
            step = plain(storage.step)
            rounded = f"ROUND({rounded}/{step},0)*{step}"
        rounded = f"ROUND({rounded},{decimals})"
        lowest, highest = limits(storage, shown)
        if lowest is not None:
            rounded = f"MAX({plain(lowest)},{rounded})"
        if highest is not None:
            rounded = f"MIN({plain(highest)},{rounded})"
        return f'=IF(ISNUMBER({new}),{rounded},"{NO_PULSE}")'

    def change(self, i: int, j: int) -> str:
        """New against old, %."""
        new, old = self.at("new", i, j), self.at("old", i, j)
        ratio = f"{new}/{old}-1"
        return f'=IF(AND(ISNUMBER({new}),{old}>0),IF(ABS({ratio})<{plain(TINY_CHANGE)},0,100*({ratio})),"{NOTHING}")'

    def pulse(self, i: int, j: int) -> str:
        """The pulse that the target's ECU commands with the new table and the settings to enter."""
        return self._commanded("new", "gain", "target_set_dead_time", i, j)

    def duty(self, i: int, j: int) -> str:
        """The duty, %."""
        pulse = self.at("pulse", i, j)
        return f'=IF(ISNUMBER({pulse}),100*{pulse}/{speed_cell(self.layout, "window", j)},"{NO_PULSE}")'

    def pulse_old_old(self, i: int, j: int) -> str:
        """The pulse of the old table with the old settings."""
        return self._commanded("old", "gain_old", "old_set_dead_time", i, j)

    def pulse_old_new(self, i: int, j: int) -> str:
        """The pulse of the old table with the new settings."""
        return self._commanded("old", "gain", "target_set_dead_time", i, j)

    def pulse_new_old(self, i: int, j: int) -> str:
        """The pulse of the new table with the old settings."""
        return self._commanded("new", "gain_old", "old_set_dead_time", i, j)

    def _commanded(self, cells: GridName, gain: RowKey, dead: str, i: int, j: int) -> str:
        """Cell times gain, plus the dead time that the ECU adds; a new cell that is a number always has a gain."""
        table, cell, factor = self.job.target.table, self.at(cells, i, j), row_cell(gain, i)
        command = self._over_command(table, "donor" if cells == "old" else "target", i, j)
        pulse = f"{cell}*{factor}{command}"
        old_settings = gain == "gain_old"
        settings = self._settings.old if old_settings else self._settings.new
        if settings.bend is not None:
            pulse = bent(pulse, "donor_set" if old_settings else "target_set")
        pulse += "" if table.inside.dead_time else f"+{dead}"
        pulse = at_least(pulse, cell, settings)
        return f'=IF(ISNUMBER({factor if cells == "old" else cell}),{pulse},"{NO_PULSE}")'

    def ratio(self, pulses: GridName, i: int, j: int) -> str:
        """λ actual / λ intended: the open time that is needed, divided by the one that is commanded."""
        opening, pulse = self.at("opening", i, j), self.at(pulses, i, j)
        window, throughout = speed_cell(self.layout, "window", j), speed_cell(self.layout, "window", j)
        injectors = self.job.target.hardware.injectors
        if injectors.line_key != "static_flow":
            throughout += f"*{row_cell('static', i)}/{row_cell('flow', i)}"
        needed, commanded = opening, f"MAX({pulse}-{row_cell('dead', i)},0)"
        if injectors.bent_line is not None:
            needed, commanded = f"({straightened(opening, 'target')})", straightened(commanded, "target")
        delivered = f"IF({pulse}>={window},{throughout},{commanded})"
        # Only a division by an opening of zero can fail here.
        ratio = f'IFERROR({needed}/{delivered},"{NO_FUEL}")'
        otherwise = f'IF({opening}="{NO_PRESSURE}","{NO_FUEL}","{NOTHING}")'
        return f'=IF(ISNUMBER({pulse}),IF(N({opening})>0,{ratio},{otherwise}),"{NOTHING}")'

    def difference(self, i: int, j: int) -> str:
        """The live new cell minus the issued one."""
        new, issued = self.at("new", i, j), self.at("issued_new", i, j)
        return f'=IF({new}={issued},0,IFERROR({new}-{issued},"differs"))'
