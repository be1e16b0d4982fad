"""A table as a small picture: two characters a cell, shaded where there is colour, readable without."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from basemap.report.terminal.grid import PrintedTable, shades_of

if TYPE_CHECKING:
    from rich.console import Console

STEPS = 9
"""Steps from no change to the largest: so many that one digit is enough."""
_NICE = (1.0, 2.0, 5.0)
_SMALLEST = 0.1


def picture(grid: PrintedTable, console: Console) -> list[Text]:
    """Every cell as a sign and a number of steps, the highest load at the top; nothing if no cell changes by a step."""
    known = np.isfinite(grid.values)
    largest = float(np.abs(grid.values[known]).max()) if known.any() else 0.0
    if largest < _SMALLEST / 2:
        return []
    step = step_of(largest)
    shades = shades_of(grid, console)
    label = max(len(f"{load:g}") for load in grid.load)
    out = [
        Text(f"  A digit is {step:g} {grid.unit}, + more and - less; . below half a digit. Highest load at the top.")
    ]
    for row in range(grid.load.size - 1, -1, -1):
        line = Text("  ")
        line.append(f"{grid.load[row]:g}".rjust(label) + " ", style="bold")
        for column in range(grid.rpm.size):
            line.append(_cell(float(grid.values[row, column]), step), style=shades[row][column])
        out.append(line)
    ends = f"{grid.rpm[0]:g}", f"{grid.rpm[-1]:g} rpm"
    across = 2 * grid.rpm.size
    return [*out, Text(" " * (label + 3) + ends[0].ljust(max(across - len(ends[1]), len(ends[0]) + 1)) + ends[1])]


def step_of(largest: float) -> float:
    """A round step, of which the largest change has at most nine.

    >>> step_of(10.0), step_of(0.4), step_of(33.6)
    (2.0, 0.1, 5.0)
    """
    least = max(largest / STEPS, _SMALLEST)
    size = 10.0 ** math.floor(math.log10(least))
    return next(round(nice * size, 10) for nice in (*_NICE, 10.0) if nice * size >= least * (1.0 - 1e-9))


def _cell(value: float, step: float) -> str:
    if not math.isfinite(value):
        return "  "
    steps = round(value / step)
    return f"{steps:+d}" if steps else " ."


def shape(grid: PrintedTable, console: Console) -> list[Text]:
    """Every cell as a digit from 0, the smallest, to 9, the largest, shaded, the highest load at the top."""
    least, most = float(np.nanmin(grid.values)), float(np.nanmax(grid.values))
    shades = shades_of(grid, console)
    label = max(len(f"{load:g}") for load in grid.load)
    gap = " " if label + 5 + 2 * grid.rpm.size <= console.width else ""
    out = [Text("    0 is the smallest cell, 9 the largest; highest load on top")]
    for row in range(grid.load.size - 1, -1, -1):
        line = Text("    ")
        line.append(f"{grid.load[row]:g}".rjust(label) + " ", style="bold")
        for column in range(grid.rpm.size):
            way = (float(grid.values[row, column]) - least) / (most - least) if most > least else 0.0
            digit = f"{gap}{min(int(10 * way), STEPS)}" if math.isfinite(way) else f"{gap} "
            line.append(digit, style=shades[row][column])
        out.append(line)
    return out
