"""Tables beside the main one: cranking, priming, acceleration, warm-up, target mixtures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from basemap.constants import FORMULA_PRESSURE
from basemap.model.axes import LoadAxis
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.marks import Mark
from basemap.model.settings import InForce
from basemap.model.storage import stored_decimals
from basemap.model.table import Inside, Shown, Storage, change_percent


class FurtherQuantity(StrEnum):
    """The quantity of a further table."""

    PULSE_WIDTH = "pulse width"
    PERCENT = "percent"
    LAMBDA = "lambda"
    AIR_FUEL_RATIO = "air/fuel ratio"


@dataclass(frozen=True)
class FurtherAxis:
    """One axis of a further table.

    Parameters
    ----------
    name
        Such as ``coolant temperature``; ``rpm`` or ``manifold pressure`` in a table with two axes.
    unit
        As the job writes it.
    values
        In that unit, in the order of the arrays.
    coolant_k
        The values as coolant temperatures, K; `None` on any other axis.
    """

    name: str
    unit: str
    values: FloatArray
    coolant_k: FloatArray | None = None


@dataclass(frozen=True)
class FurtherSide:
    """What one side's ECU and hardware do while a table of pulses is used.

    Parameters
    ----------
    inside
        What is inside the cells.
    battery_v
        Battery voltage, V.
    openings_per_cycle, rail_pressure_pa
        Their values if they differ from the installation's; else `None`.
    """

    inside: Inside = field(default_factory=Inside)
    battery_v: float = 13.8
    openings_per_cycle: float | None = None
    rail_pressure_pa: float | None = None


def place_of(axes: Sequence[FurtherAxis], index: Sequence[int]) -> str:
    """Where a cell stands, in words: ``-20 degC``, or ``100 kPa, 3000 rpm``."""
    return ", ".join(f"{axis.values[i]:g} {axis.unit}" for axis, i in zip(axes, index, strict=True))


def is_cranking(name: str) -> bool:
    """Whether a table's name, which is the user's own, says that it is the cranking table."""
    return "crank" in name.casefold() or name.casefold().startswith("start")


@dataclass(frozen=True)
class Commanded:
    """The lambda table from which the ECU commands, with the target's intended lambda.

    Parameters
    ----------
    cells
        In the table's own scale, shape (loads, speeds).
    load_pa
        Loads at which the target's ECU looks it up, Pa.
    per_lambda
        The cell for lambda 1 on the target: 1, or the ratio that an air/fuel scale shows there.
    """

    cells: FloatArray
    load_pa: FloatArray
    per_lambda: float


@dataclass(frozen=True)
class FurtherTable:
    """A further table of the donor, with what the job states about the target's.

    Parameters
    ----------
    name, quantity
        Its name in the job, and the quantity of its cells.
    values
        In the unit shown; shape (points,), or (loads, speeds) lowest load first.
    axes
        One, or load and speed.
    load_pa
        Of a table with two axes: the load as absolute pressure, Pa. Where the axis counts something else, it is a
        stand-in that rises with it, of the donor at the similar point: the barometer times the opening or the ratio,
        or m·R·T/V on an air-mass axis.
    shown
        Units; `per_unit` is the SI value of a cell's unit for a pulse width, else 1.
    donor, target
        How ECU and hardware of either side work while it is used.
    follows_fuel
        For an air/fuel ratio: whether lambda 1 on its scale is the ratio of the fuel in use, so that the cells change
        with the fuel. If it is one ratio for every fuel, they stay as they are.
    basis
        For an air/fuel ratio: the ratio at lambda 1 on the donor.
    reference_pressure_pa
        For a pulse width: the pressure at which a cell is the pulse, Pa.
    layout
        How the donor's file is written, opaque to the model.
    origin
        The donor's table, if the target's has points of its own; `values` are then interpolated between its cells.
        `None` if it has the donor's points.
    outside
        Points beyond the donor's, where its edge is held; shape of `values`.
    commanded
        Of the table that is the donor's intended lambda: what it becomes where the target's is another one.
    """

    name: str
    quantity: FurtherQuantity
    values: FloatArray
    axes: tuple[FurtherAxis, ...]
    shown: Shown
    load_pa: FloatArray | None = None
    donor: FurtherSide = field(default_factory=FurtherSide)
    target: FurtherSide = field(default_factory=FurtherSide)
    storage: Storage = field(default_factory=Storage)
    follows_fuel: bool = False
    basis: float | None = None
    reference_pressure_pa: float = FORMULA_PRESSURE
    layout: object | None = None
    origin: FurtherTable | None = None
    outside: BoolArray | None = None
    commanded: Commanded | None = None

    @property
    def axis(self) -> FurtherAxis | None:
        """The only axis of a one-dimensional table."""
        return self.axes[0] if len(self.axes) == 1 else None

    @property
    def load_axis(self) -> LoadAxis | None:
        """What the load axis of a table with two counts."""
        return None if len(self.axes) == 1 else LoadAxis(self.axes[0].name)

    @property
    def scaled(self) -> bool:
        """Whether every cell is at the donor's point, with only the air-mass axis scaled."""
        return self.load_axis is LoadAxis.AIR_MASS and self.origin is not None and self.values is self.origin.values

    @property
    def decimals(self) -> int:
        """Decimals with which a cell is stored."""
        return stored_decimals(self.storage, self.shown)


@dataclass(frozen=True)
class FurtherResult:
    """A further table, adapted. Arrays have the shape of the donor's; NaN where there is no number.

    Parameters
    ----------
    table
        The table that was adapted.
    new, stored
        In the unit shown: unrounded and unclipped, and as the grid file holds it.
    pulse_s
        Of a pulse width: the target's commanded pulse at its battery voltage, dead time included, s; NaN for others.
    dead_time_s
        Of a pulse width: the target's dead time within that pulse, s; NaN for others.
    old_lambda_ratio, stored_lambda_ratio
        Of a pulse width: λ on the target over λ with which the donor ran on this table, for the old table with the old
        settings and for the stored table with the settings to enter; +∞ where no fuel is delivered, NaN for others.
    marks
        Mark → where it stands.
    in_force
        Of a pulse width: the settings in force while it is used; `None` for others.
    """

    table: FurtherTable
    new: FloatArray
    stored: FloatArray
    pulse_s: FloatArray
    dead_time_s: FloatArray
    old_lambda_ratio: FloatArray
    stored_lambda_ratio: FloatArray
    marks: Mapping[Mark, BoolArray] = field(default_factory=dict)
    in_force: InForce | None = None

    @property
    def name(self) -> str:
        """Its name in the job."""
        return self.table.name

    @property
    def quantity(self) -> FurtherQuantity:
        """The quantity of its cells."""
        return self.table.quantity

    @property
    def cranks(self) -> bool:
        """Whether it is a table of pulses for cranking."""
        return self.quantity is FurtherQuantity.PULSE_WIDTH and is_cranking(self.name)

    @property
    def axes(self) -> tuple[FurtherAxis, ...]:
        """One axis, or load and speed."""
        return self.table.axes

    @property
    def unit(self) -> str:
        """Unit of the cells; empty if they have none."""
        return self.table.shown.unit

    @property
    def old(self) -> FloatArray:
        """The donor's cells in the unit shown."""
        return self.table.values

    @property
    def battery_v(self) -> float:
        """Battery voltage of the target at which the pulses hold, V."""
        return self.table.target.battery_v

    @property
    def change_percent(self) -> FloatArray:
        """New against old, %; 0 where both are 0, NaN where only the old cell is 0 or there is no new cell."""
        return change_percent(self.old, self.new)

    def at(self, index: tuple[int, ...]) -> str:
        """Where a cell stands, in words: ``-20 degC``, or ``100 kPa, 3000 rpm``."""
        return place_of(self.axes, index)


@dataclass(frozen=True)
class FurtherBand:
    """How sure λ is where a further table of pulses is used; arrays have its shape, NaN where nothing is known.

    Parameters
    ----------
    expanded
        Expanded uncertainty (k = 2) of ln λ with the new table and the settings to enter.
    of_parts
        The same from the inputs that can be measured on parts: all but how the target breathes.
    simulated
        Cells whose band comes from Monte Carlo, because so little of the pulse delivers.
    inputs
        The uncertain inputs, in words.
    shares
        Share of each of them in the variance, first order, shape (inputs, …).
    """

    expanded: FloatArray
    of_parts: FloatArray
    simulated: BoolArray
    inputs: tuple[str, ...]
    shares: FloatArray
