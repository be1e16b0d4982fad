"""Two maps of the band over the table, before and after the drives, on one scale, with the visited points."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from basemap.model.drive import DriveLog, together
from basemap.model.installation import FloatArray
from basemap.model.learnt import LearntTable
from basemap.model.result import Result
from basemap.report.page.curves import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Tick
from basemap.report.page.grids import DEPTHS
from basemap.report.words import number

_ACROSS, _UP = 6, 8
"""How many labels the axes have room for."""


@dataclass(frozen=True)
class Shade:
    """One depth of the shading: how deep, 0 to 1, its meaning, and the cells of that depth as a path."""

    depth: float
    words: str
    cells: str


@dataclass(frozen=True)
class BandMap:
    """A shaded map of the table; cells without a band and cells out of reach are blank."""

    title: str
    label: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    shades: tuple[Shade, ...]
    points: str


def band_maps(result: Result, table: LearntTable, logs: tuple[DriveLog, ...]) -> tuple[BandMap, BandMap] | None:
    """The map before and the map after; `None` where nothing is known of any cell."""
    before, after = (
        np.where(result.table.reachable, 200.0 * values, np.nan)
        for values in (table.standard_before, table.standard_after)
    )
    known = np.concatenate([before[np.isfinite(before)], after[np.isfinite(after)]])
    if not known.size:
        return None
    step = max(1, math.ceil(float(known.max()) / DEPTHS - 1e-9))
    points = _points(result, logs)
    return _map("Band before", result, before, step, points), _map("Band now", result, after, step, points)


def _map(title: str, result: Result, values: FloatArray, step: int, points: str) -> BandMap:
    rows, columns = values.shape
    shown = result.job.target.shown
    across = tuple(Tick(_x(at, columns), number(float(result.job.rpm[at]), 5)) for at in _some(columns, _ACROSS))
    up = tuple(Tick(_y(at, rows) + 4.0, number(float(shown.load[at]))) for at in _some(rows, _UP))
    depth = np.where(np.isfinite(values), np.clip(np.ceil(values / step - 1e-9), 1, DEPTHS), 0)
    shades = tuple(Shade(at / DEPTHS, f"to {at * step} %", "".join(_runs(depth == at))) for at in range(1, DEPTHS + 1))
    return BandMap(f"{title}, ± % (k = 2)", f"rpm; up: {shown.load_unit}", across, up, shades, points)


def _some(count: int, most: int) -> range:
    """The points of an axis that get a label."""
    return range(0, count, math.ceil(count / most))


def _x(at: float, columns: int) -> float:
    return round(LEFT + (WIDTH - LEFT - RIGHT) * (at + 0.5) / columns, 1)


def _y(at: float, rows: int) -> float:
    return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (at + 0.5) / rows, 1)


def _runs(here: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Iterator[str]:
    """Cells as SVG rectangles; those beside each other in a row are one."""
    rows, columns = here.shape
    wide, high = (WIDTH - LEFT - RIGHT) / columns, (HEIGHT - TOP - BOTTOM) / rows
    edges = np.diff(np.pad(here.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    begins, ends = np.argwhere(edges == 1), np.argwhere(edges == -1)
    for (row, first), (_, last) in zip(begins.tolist(), ends.tolist(), strict=True):
        left, right = LEFT + first * wide, LEFT + last * wide
        foot = HEIGHT - BOTTOM - row * high
        # Absolute corners: neighbours are then rounded alike, and no gap shows between them.
        yield f"M{left:.1f} {foot - high:.1f}H{right:.1f}V{foot:.1f}H{left:.1f}z"


def _points(result: Result, logs: tuple[DriveLog, ...]) -> str:
    """The points that the drives visited, as dots; dots on top of each other are drawn once."""
    visited = together(logs).points
    table = result.job.target.table
    rows, columns = result.table.stored.shape
    column = np.interp(visited.rpm, table.rpm, np.arange(columns))
    row = np.interp(visited.pressure_pa, table.load_pa, np.arange(rows))
    x = LEFT + (WIDTH - LEFT - RIGHT) * (column + 0.5) / columns
    y = HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (row + 0.5) / rows
    dots = np.unique(np.round(np.column_stack([x, y]) * 0.5) * 2.0, axis=0)
    return "".join(f"M{across:g} {up:g}h0" for across, up in dots.tolist())
