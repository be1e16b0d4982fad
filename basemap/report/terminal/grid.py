"""A table of numbers on a terminal: compact, shaded where there is colour, and never wider than the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

import numpy as np
from rich.color import Color
from rich.style import Style
from rich.text import Text

from basemap.model.installation import BoolArray, FloatArray
from basemap.rounding import change

if TYPE_CHECKING:
    from rich.console import Console

NO_CELL = "--"
NO_CHANGE = "."
UNREACHED = "*"
_GAP = 4

# One hue from pale to deep, its luminance falling steadily: it reads the same to every kind of colour vision.
_PALE, _DEEP = (232, 244, 248), (8, 72, 120)
_BLACK, _WHITE = Color.from_rgb(0, 0, 0), Color.from_rgb(255, 255, 255)
# From this depth on white stands out from the shade at least as well as black, 4.5 to 1.
_WHITE_FROM = 0.7


class PrintedTable(NamedTuple):
    """A table to print.

    Parameters
    ----------
    values
        Shape (loads, speeds), lowest load first; NaN where there is no cell.
    rpm, load
        The axes.
    load_unit, unit
        Units of the load axis and of the values.
    decimals
        The most decimals to show.
    reachable
        Cells that the engine reaches; rows and columns without any are marked.
    signed
        Whether the values are changes, which are never shown smaller than they are.
    least_decimals
        The fewest decimals to show, since an air/fuel ratio of 14.7 is not 15.
    """

    values: FloatArray
    rpm: FloatArray
    load: FloatArray
    load_unit: str
    unit: str
    decimals: int
    reachable: BoolArray
    signed: bool = False
    least_decimals: int = 0


Heads = Literal["rpm", "rpm / 100", "rpm, on two lines"]


class _WrittenGrid(NamedTuple):
    """A table as text: its cells, heads and labels."""

    decimals: int
    head: Heads
    cells: list[list[str]]
    heads: list[str]
    labels: list[str]

    @property
    def label_width(self) -> int:
        return max(len(label) for label in self.labels)

    @property
    def cell_width(self) -> int:
        cells = max(len(cell) for row in self.cells for cell in row)
        heads = max(len(head) for head in self.heads)
        return 1 + max(cells, math.ceil(heads / 2) if self.head == "rpm, on two lines" else heads)

    @property
    def width(self) -> int:
        return self.label_width + self.cell_width * len(self.heads)

    def head_lines(self, columns: range) -> list[str]:
        """The engine speeds over some columns."""
        texts = [self.heads[column] for column in columns]
        if self.head != "rpm, on two lines":
            return [self._row(texts)]
        return [self._row([text if at % 2 == odd else "" for at, text in enumerate(texts)]) for odd in (0, 1)]

    def _row(self, texts: list[str]) -> str:
        line = " " * self.label_width
        for at, text in enumerate(texts, start=1):
            # A head may extend over the column on its left, which is empty on this line.
            end = self.label_width + at * self.cell_width
            line = line[: end - len(text)].ljust(end - len(text)) + text if text else line.ljust(end)
        return line


def lines(grid: PrintedTable, console: Console) -> list[Text]:
    """The table as lines of text, in blocks of columns where the page is too narrow for all."""
    layout = _best_layout(grid, console.width)
    blocks = math.ceil(grid.rpm.size / max(1, (console.width - layout.label_width) // layout.cell_width))
    # Blocks of equal width are easier to read than a full one and a nearly empty one.
    per_block = math.ceil(grid.rpm.size / blocks)
    shades = shades_of(grid, console)
    out = [Text(line) for line in _caption(grid, layout)]
    for first in range(0, grid.rpm.size, per_block):
        out += [Text(""), *_block(layout, shades, range(first, min(first + per_block, grid.rpm.size)))]
    return out + [Text(line) for line in _legend(grid)]


def side_by_side(titles: Sequence[str], grids: Sequence[PrintedTable], console: Console) -> list[Text]:
    """Several tables of the same shape, side by side where the page is wide enough, else one below the other."""
    layouts = [_layout(grid, grid.decimals, "rpm") for grid in grids]
    if sum(layout.width for layout in layouts) + _GAP * (len(grids) - 1) > console.width:
        stacked = []
        for title, grid in zip(titles, grids, strict=True):
            stacked += [Text(""), Text(title.upper(), style="bold"), *lines(grid, console)]
        return stacked
    out = [Text(""), *(Text(line) for line in _caption(grids[0], layouts[0])), Text("")]
    blocks = [
        [
            Text(title.upper().rjust(layout.label_width), style="bold"),
            *_block(layout, shades_of(grid, console), range(grid.rpm.size)),
        ]
        for title, grid, layout in zip(titles, grids, layouts, strict=True)
    ]
    for row in zip(*blocks, strict=True):
        line = Text()
        for part, layout in zip(row, layouts, strict=True):
            line.append_text(part)
            line.append(" " * (layout.width - len(part) + _GAP))
        out.append(line)
    return out + [Text(line) for line in _legend(grids[0])]


def _block(layout: _WrittenGrid, shades: list[list[Style]], columns: range) -> list[Text]:
    label_width, width = layout.label_width, layout.cell_width
    out = [Text(line, style="bold") for line in layout.head_lines(columns)]
    for label, cells, styles in zip(layout.labels, layout.cells, shades, strict=True):
        line = Text()
        line.append(label.rjust(label_width), style="bold")
        for column in columns:
            line.append(cells[column].rjust(width), style=styles[column])
        out.append(line)
    return out


def _best_layout(grid: PrintedTable, width: int) -> _WrittenGrid:
    """The layout with the most decimals with which all columns fit; with all decimals where none fits."""
    for decimals in range(grid.decimals, _fewest_decimals(grid) - 1, -1):
        for head in get_args(Heads):
            layout = _layout(grid, decimals, head)
            if layout.width <= width:
                return layout
    return _layout(grid, grid.decimals, "rpm")


def _layout(grid: PrintedTable, decimals: int, head: Heads) -> _WrittenGrid:
    return _WrittenGrid(
        decimals=decimals,
        head=head,
        cells=[[_cell(value, decimals, signed=grid.signed) for value in row] for row in grid.values.tolist()],
        heads=_labels(grid.rpm / 100 if head == "rpm / 100" else grid.rpm, np.any(grid.reachable, axis=0)),
        labels=_labels(grid.load, np.any(grid.reachable, axis=1)),
    )


def _labels(axis: FloatArray, reached: BoolArray) -> list[str]:
    return [f"{point:.6g}{'' if hit else UNREACHED}" for point, hit in zip(axis, reached, strict=True)]


def _cell(value: float, decimals: int, *, signed: bool) -> str:
    if not math.isfinite(value):
        return NO_CELL
    if signed:
        return change(value, decimals) if value else NO_CHANGE
    text = f"{value:.{decimals}f}"
    return text if float(text) else f"{0:.{decimals}f}"


def _fewest_decimals(grid: PrintedTable) -> int:
    """The fewest decimals with which a typical cell has two digits (a difference one), and as many as it needs."""
    sizes = np.abs(grid.values[np.isfinite(grid.values) & (grid.values != 0)])
    least = min(grid.decimals, grid.least_decimals)
    if not sizes.size:
        return least
    digits = 1 if grid.signed else 2
    return min(grid.decimals, max(least, digits - 1 - math.floor(math.log10(np.median(sizes)))))


def _caption(grid: PrintedTable, layout: _WrittenGrid) -> list[str]:
    cells = f"Cells in {grid.unit}. " if grid.unit else ""
    load = f"load in {grid.load_unit}" if grid.load_unit else "load"
    caption = [f"{cells}Down: {load}, lowest at the top. Across: {layout.head}."]
    if layout.decimals < grid.decimals:
        shown = " ".join(part for part in (f"{10.0**-layout.decimals:g}", grid.unit) if part)
        caption.append(f"Shown to {shown}; a wider terminal and the files show it all.")
    return caption


def _legend(grid: PrintedTable) -> list[str]:
    notes = []
    if not grid.reachable.all():
        notes.append(f"{UNREACHED} never reached by the target engine")
    if not np.isfinite(grid.values).all():
        notes.append(f"{NO_CELL} no value can be given")
    return ["; ".join(notes)] if notes else []


def shades_of(grid: PrintedTable, console: Console) -> list[list[Style]]:
    """The style of every cell, from pale to deep; plain without colour."""
    rows, columns = grid.values.shape
    plain = [[Style()] * columns for _ in range(rows)]
    if console.no_color or console.color_system not in {"256", "truecolor"}:
        return plain
    known = np.isfinite(grid.values)
    if not known.any():
        return plain
    sizes = np.abs(grid.values) if grid.signed else grid.values
    low, high = float(sizes[known].min()), float(sizes[known].max())
    span = high - low or 1.0
    return [
        [_shade((value - low) / span) if math.isfinite(value) else Style(dim=True) for value in row]
        for row in sizes.tolist()
    ]


def _shade(depth: float) -> Style:
    red, green, blue = (round(pale + depth * (deep - pale)) for pale, deep in zip(_PALE, _DEEP, strict=True))
    return Style(color=_WHITE if depth > _WHITE_FROM else _BLACK, bgcolor=Color.from_rgb(red, green, blue))
