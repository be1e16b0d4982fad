"""What the rules look at: the numbers of a job, how sure they are, and where in its table they are judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from basemap.adaptation.regions import Regions
from basemap.model.band import LeanEnd
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.job import Assumption
from basemap.model.marks import Mark
from basemap.model.table_result import LambdaCase
from basemap.rounding import rounded_down
from basemap.rules.identity import Explanation, explanations
from basemap.rules.implied_numbers import Anchor
from basemap.rules.wording import cut_advice


@dataclass(frozen=True)
class Case(Regions):
    """A job's numbers before the rules.

    Parameters
    ----------
    computed
        The numbers of the job.
    relative_uncertainty
        Expanded uncertainty (k = 2) of ln λ after adapting, shape (loads, speeds); `None` if it has not been worked
        out.
    first
        Place → the single measurement that would narrow it most there, if one would; `None` if that has not been worked
        out.
    measurable
        Input that can be measured on the bench → the uncertainty that it alone causes, shape (loads, speeds).
    of_parts
        `relative_uncertainty` from the inputs that can be measured on parts: all but how the target breathes.
    further_uncertainty
        The same of the further tables of pulses, by name; empty if it has not been worked out.
    all_at_load
        How lean the leanest cell at load may be; `None` if that has not been worked out.
    """

    relative_uncertainty: FloatArray | None = None
    first: Mapping[str, str] | None = None
    further_uncertainty: Mapping[str, FloatArray] = field(default_factory=dict)
    measurable: Mapping[str, FloatArray] = field(default_factory=dict)
    of_parts: FloatArray | None = None
    all_at_load: LeanEnd | None = None

    def ratio(self, which: LambdaCase) -> FloatArray:
        """One of the four outcomes; NaN in cells that the target cannot reach."""
        return np.where(self.reachable, self.table.lambda_ratio[which], np.nan)

    def marked(self, mark: Mark) -> BoolArray:
        """Reachable cells that carry a mark."""
        found = self.table.marks.get(mark)
        return np.zeros_like(self.reachable) if found is None else found & self.reachable

    @property
    def stand_in_lambda(self) -> Assumption | None:
        """The assumption made for the target's intended λ if the job calls it unknown; else `None`."""
        own = "target.tables.fuel.lambda"
        unknown = {entry.key: entry for entry in self.job.assumed if entry.unknown and entry.key.endswith(".lambda")}
        if own in unknown or own in self.job.declared:
            return unknown.get(own)
        return next(iter(unknown.values()), None)

    @cached_property
    def on_donor_axes(self) -> Case:
        """The same job with the target's table on the donor's own axes, where the donor is judged."""
        computed = self.computed.on_donor_axes
        return self if computed is None else Case(computed, first=self.first)

    @cached_property
    def explanations(self) -> tuple[Anchor | None, tuple[Explanation, ...]]:
        """The implausible number of the donor, and the single inputs that would explain it."""
        return explanations(self.job, self.computed.in_force)

    # The lean end of the band, about what is expected

    @cached_property
    def lean_ends(self) -> FloatArray:
        """Lean end of every cell by itself, λ over the intended; NaN where it is not known."""
        leanest, _ = self.table.expected_extremes
        if self.relative_uncertainty is None:
            return np.full(leanest.shape, np.nan)
        with np.errstate(over="ignore", invalid="ignore"):
            return np.where(self.reachable, leanest * np.exp(self.relative_uncertainty), np.nan)

    @cached_property
    def lean_at_load(self) -> LeanEnd | None:
        """Lean end wherever it is leanest at load, `richer_at_load` counted in; `None` if it is not known."""
        found = self.all_at_load
        if found is None:
            ends = np.where(self.at_load, self.lean_ends, np.nan)
            if np.isnan(ends).all():
                return None
            row, column = np.unravel_index(int(np.nanargmax(ends)), ends.shape)
            found = LeanEnd(float(ends[row, column]), (int(row), int(column)))
        return replace(found, ratio=found.ratio / (1.0 + self.job.richer_at_load))

    # Words

    def measure(self, place: str) -> str:
        """What to measure first for a place, one sentence."""
        if self.first is None:
            return "Measure the injectors' flow and dead time first."
        found = self.first.get(place)
        return "Only a log of the running engine can narrow it." if found is None else f"Measure the {found} first."

    def speed(self, rpm: float) -> str:
        """An engine speed, in words."""
        return f"{rpm:g} rpm"

    def load(self, pressure_pa: float) -> str:
        """A manifold pressure in the unit in which the table's loads are shown."""
        if (shown := self._in_shown_unit(pressure_pa)) is None:
            return kpa(pressure_pa)
        return f"{shown[0]:.4g} {self.job.target.shown.load_unit}".strip()

    def _in_shown_unit(self, pressure_pa: float) -> tuple[float, float] | None:
        """A manifold pressure in the unit of the loads, and how much a Pa is in it; `None` if they are no pressures."""
        shown, table = self.job.target.shown, self.job.target.table.load_pa
        if table.size < 2 or self.counts_air or self.by_throttle:
            return None
        slope = float((shown.load[-1] - shown.load[0]) / (table[-1] - table[0]))
        return float(shown.load[0] + slope * (pressure_pa - table[0])), slope

    def cut_advice(self, load_pa: float | None, rpm: float | None) -> str:
        """The cut that keeps an engine where its map is known, with its load in the unit of the table."""
        unit, shown = self.job.target.shown.load_unit, None if load_pa is None else self._in_shown_unit(load_pa)
        # A vacuum falls as the load rises, and a ratio is no pressure: such a cut is stated in kPa.
        rises = shown is not None and shown[1] > 0 and unit not in ("kPa", "")
        typed = f"{rounded_down(shown[0], 2)} {unit}" if shown is not None and rises else None
        return cut_advice(load_pa, rpm, typed)

    def address(self, cell: tuple[int, ...]) -> str:
        """Where a cell is: its speed, and its load in the unit shown."""
        row, column = cell
        return f"{self.speed(self.job.rpm[column])} and {self.load_of(row)}"

    def load_of(self, row: int) -> str:
        """The load of a row, as shown."""
        return f"{self.job.target.shown.load[row]:g} {self.job.target.shown.load_unit}".rstrip()


def pairs(cells: BoolArray) -> tuple[tuple[int, int], ...]:
    """(load index, speed index) of the cells that are set."""
    rows, columns = np.nonzero(cells)
    return tuple(zip(rows.tolist(), columns.tolist(), strict=True))


def kpa(pressure_pa: float) -> str:
    """A pressure in kPa absolute."""
    return f"{pressure_pa / 1e3:.4g} kPa"
