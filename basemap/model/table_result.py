"""The main table, adapted: its cells, its chains, and the mixture at and between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from basemap.model.belief import BreathingBelief
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark

if TYPE_CHECKING:
    from basemap.model.taught import Taught

LambdaCase = Literal[
    "old_table_old_settings", "old_table_new_settings", "new_table_old_settings", "new_table_new_settings"
]

LAMBDA_CASES: tuple[LambdaCase, ...] = (
    "old_table_old_settings",
    "old_table_new_settings",
    "new_table_old_settings",
    "new_table_new_settings",
)


@dataclass(frozen=True)
class Chain:
    """One side's numbers from pulse to air, each of shape (loads, speeds) after broadcasting.

    Parameters
    ----------
    pressure_across_pa
        Δp across the injector, Pa.
    line_flow_kg_s, static_flow_kg_s
        ṁ of the flow line and fully open, one injector, kg/s.
    dead_time_s, told_dead_time_s
        τ of the hardware and of the settings, s.
    pulse_s
        Commanded pulse of one opening, dead time included, s.
    fuel_kg, air_kg
        Per cylinder and cycle, kg.
    window_s
        Time between the starts of two openings, Tc/k, s.
    """

    pressure_across_pa: FloatArray
    line_flow_kg_s: FloatArray
    static_flow_kg_s: FloatArray
    dead_time_s: FloatArray
    told_dead_time_s: FloatArray
    pulse_s: FloatArray
    fuel_kg: FloatArray
    air_kg: FloatArray
    window_s: FloatArray

    @property
    def duty(self) -> FloatArray:
        """Pulse over window; above 1 if the injector never closes."""
        return self.pulse_s / self.window_s


@dataclass(frozen=True)
class Point:
    """A λ ratio at an engine speed (rev/min) and a load in the unit shown."""

    ratio: float
    rpm: float
    load: float


@dataclass(frozen=True)
class Between:
    """λ of the stored table at the cells and half way between neighbouring ones, with the settings to enter.

    Parameters
    ----------
    rpm, load_pa, load
        Axes with the points half way between: rev/min, Pa, and the load in the unit shown. Every other point is a
        cell's own.
    lambda_ratio
        λ actual / λ intended, shape (loads, speeds) of these axes; +∞ where no fuel is delivered, NaN where a
        neighbour is empty or cannot be reached.
    """

    rpm: FloatArray
    load_pa: FloatArray
    load: FloatArray
    lambda_ratio: FloatArray

    @property
    def only_between(self) -> FloatArray:
        """`lambda_ratio` with NaN at the cells themselves."""
        ratio = self.lambda_ratio.copy()
        ratio[::2, ::2] = float("nan")
        return ratio

    @property
    def extremes(self) -> tuple[Point, Point] | None:
        """Leanest and richest point between the cells; `None` if there is none."""
        import numpy as np

        ratio = self.only_between
        known = ~np.isnan(ratio)
        if not known.any():
            return None

        def at(index: int) -> Point:
            row, column = np.unravel_index(index, ratio.shape)
            return Point(float(ratio[row, column]), float(self.rpm[column]), float(self.load[row]))

        lean, rich = np.where(known, ratio, -np.inf).argmax(), np.where(known, ratio, np.inf).argmin()
        return at(int(lean)), at(int(rich))


@dataclass(frozen=True)
class CommonFactor:
    """A factor that brings all cells within the limits of the table, and the setting that compensates for it.

    Multiply every cell by `factor`, and enter the number `enter`, in `unit`, for the setting instead of that in
    `Computed.settings`.
    """

    factor: float
    setting: str
    unit: str
    enter: float


@dataclass(frozen=True)
class Richer:
    """The new table with more fuel at load than intended; arrays of shape (loads, speeds).

    Parameters
    ----------
    share
        Extra fuel as a share of the intended fuel.
    new, stored
        Cells in the unit shown, unrounded and as stored.
    pulse_s, duty
        Of the target with these cells.
    """

    share: FloatArray
    new: FloatArray
    stored: FloatArray
    pulse_s: FloatArray
    duty: FloatArray


@dataclass(frozen=True)
class TableResult:
    """One table, adapted. Arrays have shape (loads, speeds), lowest load first; NaN where there is no number.

    Parameters
    ----------
    old, new, stored
        In the unit shown (``%``, ``ms``), which differs where the quantity does. `new` is unrounded and unclipped;
        `stored` is rounded and clipped as the table holds it.
    lambda_ratio
        λ actual / λ intended on the target for the four outcomes; +∞ where no fuel is delivered.
    stored_lambda_ratio
        The same for the stored table with the settings to enter.
    donor, target
        The donor as it was tuned; the target with the new table and the settings to enter.
    implied_ve
        Volumetric efficiency that the donor's cells imply, referred to the manifold, fraction.
    reachable, visited
        Cells the target can reach; cells for which the donor has data.
    between
        The stored table half way between its cells.
    common_factor
        Offered if cells do not fit the table.
    keeps_quantity
        Whether old and new cells are the same quantity, so that a change in per cent means something.
    breathing
        How the target is believed to breathe, and what the new cells hold of it.
    richer
        The cells to load where the job wants them richer at load.
    taught
        What drives taught about the cells, which the new ones hold; `None` before any drive.
    lambda_table_left
        λ actual / λ intended of the new table with the new settings where the ECU's lambda table is left as it was;
        `None` if that is as intended, or where another ECU's is not known.
    """

    name: str
    old: FloatArray
    new: FloatArray
    stored: FloatArray
    lambda_ratio: Mapping[LambdaCase, FloatArray]
    stored_lambda_ratio: FloatArray
    donor: Chain
    target: Chain
    implied_ve: FloatArray
    reachable: BoolArray
    visited: BoolArray
    marks: Mapping[Mark, BoolArray]
    between: Between
    breathing: BreathingBelief
    common_factor: CommonFactor | None = None
    keeps_quantity: bool = True
    lambda_table_left: FloatArray | None = None
    richer: Richer | None = None
    taught: Taught | None = None

    @property
    def to_load(self) -> FloatArray:
        """What the grid file holds: the stored cells, richer at load where the job asks for that."""
        return self.stored if self.richer is None else self.richer.stored

    @property
    def breathing_factor(self) -> FloatArray | None:
        """Factor on the air of every cell for how the target breathes; `None` if it is 1 everywhere."""
        return self.breathing.factor

    @property
    def taught_factor(self) -> FloatArray | None:
        """Factor on the fuel of every cell by what drives taught; `None` before any drive."""
        return None if self.taught is None else self.taught.factor

    @property
    def lambda_expected(self) -> FloatArray:
        """λ that is expected of the new table over the arithmetic one, shape (loads, speeds)."""
        import numpy as np

        return self.breathing.lambda_expected if self.taught is None else np.asarray(np.exp(self.taught.left))

    @property
    def pulse_s(self) -> FloatArray:
        """Pulse of the target with the new table and the settings to enter, s."""
        return self.target.pulse_s

    @property
    def duty(self) -> FloatArray:
        """Duty of the target with the new table and the settings to enter, a fraction."""
        return self.target.duty

    @property
    def expected_extremes(self) -> tuple[FloatArray, FloatArray]:
        """Leanest and richest λ ratio that is expected, new settings entered: of the cells unrounded and as stored."""
        import numpy as np

        expected = self.lambda_expected
        new, kept = self.lambda_ratio["new_table_new_settings"] * expected, self.stored_lambda_ratio * expected
        return np.fmax(new, kept), np.fmin(new, kept)

    @property
    def change_percent(self) -> FloatArray:
        """New against old, %; NaN if the old cell is 0, there is no new cell, or it is a different quantity."""
        import numpy as np

        from basemap.model.table import change_percent

        if not self.keeps_quantity:
            return np.full(self.new.shape, np.nan)
        return np.where(self.old == 0.0, np.nan, change_percent(self.old, self.new))
