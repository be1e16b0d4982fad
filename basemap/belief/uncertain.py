"""One uncertain input: how far it may be off, and what it moves.

A half-width is a rectangle, u = a/√3 (GUM 4.3.7); one written with ``k=2`` is halved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from basemap.belief.spreads import RECTANGLE
from basemap.belief.world import World
from basemap.model.installation import FloatArray
from basemap.model.job import Input

Shift = Callable[[World, FloatArray], World]
"""A world and amounts of shape (samples, 1, 1) → the world with an input moved by them."""


Draw = Callable[[int, np.random.Generator], FloatArray]
"""A number of samples and a generator → that many draws of an input."""


@dataclass(frozen=True)
class Uncertain:
    """One uncertain input.

    Parameters
    ----------
    name
        In words, with its side: "rail pressure of the donor".
    keys
        Job-file keys that state it; those of both sides if it is shared.
    standard
        Standard uncertainty, relative or in SI.
    unit
        Unit in which `standard` is shown: ``%`` or another.
    assumed
        Whether the spread is a default of this program.
    rectangular
        Whether its distribution is a rectangle; else normal.
    moves_pulse
        Whether it shifts the effective pulse itself, so that short pulses are not linear in it.
    shift
        Moves a world by amounts, relative or in SI as `standard` is.
    draw
        Draws amounts that differ from cell to cell, as `standard` is, shape (samples, loads, speeds); `None` if one
        number holds for all cells.
    measured_to
        Standard uncertainty that a careful measurement leaves, as `standard` is; `None` if it cannot be measured.
    """

    name: str
    keys: tuple[str, ...]
    standard: float
    unit: str
    assumed: bool
    shift: Shift
    rectangular: bool = True
    moves_pulse: bool = False
    measured_to: float | None = None
    draw: Draw | None = None

    @property
    def per_unit(self) -> float:
        """Size of one `unit`, relative or in SI as `standard` is."""
        return {"%": 0.01, "vol %": 0.01, "ms": 1e-3, "ms/bar": 1e-3, "kPa": 1e3}.get(self.unit, 1.0)

    @property
    def standard_if_measured(self) -> float:
        """Standard uncertainty after a careful measurement: 0 for a settings page; as it is if none can be made."""
        return self.standard if self.measured_to is None else min(self.standard, self.measured_to)


def standard_of(written: Input) -> float | None:
    """Standard uncertainty of an input as written, SI; `None` if it states no spread."""
    if written.half_width is None:
        return None
    return written.half_width / (2.0 if written.k2 else RECTANGLE)
