"""The band on λ, and the shares of its inputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from basemap.model.further_table import FurtherBand
from basemap.model.installation import BoolArray, FloatArray


@dataclass(frozen=True)
class LeanEnd:
    """How lean the leanest of a group of cells may be (k = 2).

    Parameters
    ----------
    ratio
        λ over the intended that the leanest of them exceeds with a probability of 2.3 %.
    cell
        (row, column) of the cell that is most likely to be that lean.
    """

    ratio: float
    cell: tuple[int, int]


@dataclass(frozen=True)
class Share:
    """One uncertain input in the budget of λ after adapting.

    Parameters
    ----------
    name, keys
        In words, and the job-file keys that state it.
    standard, unit
        Standard uncertainty of the input, in `unit`.
    assumed
        Whether its spread is a default of the program.
    places
        Place (idle, cruise, wide open) → share of the variance there, 0…1.
    after
        Place → the expanded band there if this input were measured; empty if it cannot be measured.
    slopes
        Place, and ``worst cell`` → ∂ln λ/∂x there, relative λ per `unit`.
    measured_to, worst_after
        Standard uncertainty that a careful measurement leaves, in `unit`, and the expanded band of the worst
        reachable cell then; `None` if the input cannot be measured.
    """

    name: str
    keys: tuple[str, ...]
    standard: float
    unit: str
    assumed: bool
    places: Mapping[str, float]
    after: Mapping[str, float]
    slopes: Mapping[str, float]
    measured_to: float | None
    worst_after: float | None


@dataclass(frozen=True)
class Band:
    """The band on λ: expanded uncertainties U (k = 2) of ln λ, shape (loads, speeds); its ends are λ·exp(±U).

    Parameters
    ----------
    adapted, as_loaded
        Of the new table with the settings to enter, and of the donor's table with the donor's settings.
    of_parts
        `adapted` from the inputs that can be measured on parts: all but how the target breathes.
    simulated
        Cells whose band comes from Monte Carlo, because their pulse is too short for first order.
    worst, worst_cell
        Largest band of a reachable cell and its (row, column); NaN and `None` if no cell has one.
    shares
        The inputs, most useful to measure first.
    advice
        What to measure first, at load and at idle.
    first
        Place → the input whose measurement would help most there; a place where only the engine can tell is left out.
    measurable
        Input that can be measured on the bench → the band that it alone causes, shape (loads, speeds).
    samples
        Worlds drawn by Monte Carlo; 0 where none was needed or asked for.
    leaner_limit, leaner
        A λ ratio, and the probability of being leaner than it, shape (loads, speeds); NaN where nothing was drawn.
    further
        Band of each further table of pulses, by its name.
    lean_at_load
        The lean end of all cells at load together, before any is written richer; `None` if no mixture is known
        there.
    """

    adapted: FloatArray
    of_parts: FloatArray
    as_loaded: FloatArray
    simulated: BoolArray
    worst: float
    worst_cell: tuple[int, int] | None
    shares: tuple[Share, ...]
    advice: str
    samples: int
    leaner_limit: float
    leaner: FloatArray
    further: Mapping[str, FurtherBand] = field(default_factory=dict)
    first: Mapping[str, str] = field(default_factory=dict)
    measurable: Mapping[str, FloatArray] = field(default_factory=dict)
    lean_at_load: LeanEnd | None = None
