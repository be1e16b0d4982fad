"""The tables of the page: change, new table and band, with the text and the shade of each cell."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from basemap.model.finding import Verdict
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.result import Result
from basemap.model.storage import stored_decimals
from basemap.report.words import number
from basemap.rounding import percent_up, signed_percent

if TYPE_CHECKING:
    from basemap.model.learnt import LearntTable

NO_CELL = "--"
DEPTHS = 6
"""Shades of one hue, from pale to deep."""


class GridCell(NamedTuple):
    """Text and CSS classes of a cell: `n` less, `p` more, `s` in one hue, `o` never reached, `v` visited."""

    text: str
    shade: str


class Grid(NamedTuple):
    """One table: rows are loads, lowest first; `key` is its name within the page."""

    key: str
    title: str
    unit: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[GridCell, ...]], ...]


def grids(result: Result) -> Iterator[Grid]:
    """The change, where old and new can be compared; the table to load; the band."""
    table, shown = result.table, result.job.target.shown
    stamp = " - DO NOT LOAD" if result.verdict is Verdict.REFUSE else ""
    if not result.job.other_quantity:
        change = table.change_percent
        title = "change" if table.richer is None else "change, before it is made richer at load"
        yield _grid(result, ("change", title, "%"), change, _change, _two_hues(change))
    decimals = stored_decimals(result.job.storage, shown)
    title = f"new {table.name}, {'' if table.richer is None else 'richer at load, '}as stored{stamp}"
    yield _grid(result, ("new", title, shown.unit), table.to_load, lambda value: f"{value:.{decimals}f}",
                _one_hue(table.to_load))  # fmt: skip
    band = result.band.adapted
    yield _grid(result, ("band", "how sure of λ, ± (k = 2)", "%"), band, percent_up, _one_hue(band))


def learnt_grids(result: Result, table: LearntTable, stamp: str) -> Iterator[Grid]:
    """The same after drives, with the visited cells in bold."""
    shown, decimals = result.job.target.shown, stored_decimals(result.job.storage, result.job.target.shown)
    change, band = table.change_percent, 2.0 * table.standard_after
    blocks = (
        (("change", "change", "%"), change, _change, _two_hues(change)),
        (("new", f"new {result.table.name}, as stored{stamp}", shown.unit), table.new,
         lambda value: f"{value:.{decimals}f}", _one_hue(table.new)),
        (("band", "how sure of λ now, ± (k = 2)", "%"), band, percent_up, _one_hue(band)),
    )  # fmt: skip
    for names, values, text, shade in blocks:
        yield _grid(result, names, values, text, shade, visited=table.visited)


def _change(percent: float) -> str:
    return signed_percent(1.0 + percent / 100.0).removesuffix(" %")


def _grid(
    result: Result,
    names: tuple[str, str, str],
    values: FloatArray,
    text: Callable[[float], str],
    shade: Callable[[float], str],
    visited: BoolArray | None = None,
) -> Grid:
    reached = result.table.reachable.tolist()
    loud = (np.zeros(values.shape, dtype=bool) if visited is None else visited).tolist()
    rows = tuple(
        (
            number(float(load)),
            tuple(
                GridCell(_text(value, text), f"{shade(value) if inside else 'o'}{' v' if been else ''}".strip())
                for value, inside, been in zip(row, reach, visits, strict=True)
            ),
        )
        for load, row, reach, visits in zip(result.job.target.shown.load, values.tolist(), reached, loud, strict=True)
    )
    return Grid(*names, tuple(number(float(rpm), 5) for rpm in result.job.rpm), rows)


def _text(value: float, text: Callable[[float], str]) -> str:
    if math.isnan(value):
        return NO_CELL
    return text(value) if math.isfinite(value) else "∞"


def _two_hues(values: FloatArray) -> Callable[[float], str]:
    """Shades of a change: less in one hue, more in another, deeper for a larger change."""
    known = np.abs(values[np.isfinite(values)])
    most = float(known.max()) if known.size else 0.0

    def shade(value: float) -> str:
        if not math.isfinite(value) or not most or abs(value) < 0.05:
            return ""
        return f"{'p' if value > 0 else 'n'}{math.ceil(abs(value) / most * DEPTHS)}"

    return shade


def _one_hue(values: FloatArray) -> Callable[[float], str]:
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)

    def shade(value: float) -> str:
        if math.isnan(value) or high == low:
            return ""
        return f"s{DEPTHS if math.isinf(value) else max(1, math.ceil((value - low) / (high - low) * DEPTHS))}"

    return shade
