"""The live workbook over the same cells as plain numbers, written by the same library."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path
from typing import Any
from unittest.mock import patch

import basemap
import basemap.workbook
from basemap.workbook import write_workbook
from basemap.workbook.core import cells
from basemap.workbook.formulas.live_cells import CellFormulas
from benchmarks.jobs import job_of_size
from benchmarks.measure import Row, interleaved, processor_time, ratio_row


def rows(folder: Path) -> Iterator[Row]:
    """Processor time of writing the live workbook over that of a plain one."""
    result = basemap.adapt(job_of_size(folder, 16))

    def live() -> None:
        write_workbook(result, BytesIO())

    def plain() -> None:
        with _without_formulas():
            write_workbook(result, BytesIO())

    found = interleaved({"live": processor_time(live), "plain": processor_time(plain)}, 8)
    yield ratio_row("live workbook, 16 by 16 / the same cells as plain numbers", found["live"], found["plain"], 2.0)


def _plain(ws: Any, row: int, col: int, _formula: str, value: float | str, style: Any = None) -> None:
    """A cell that would be live, written as its value."""
    if isinstance(value, str):
        cells.text(ws, row, col, value, style)
    else:
        cells.number(ws, row, col, value, style)


def _without_formulas() -> ExitStack:
    """No page makes the formula of a cell or writes one."""
    stack = ExitStack()
    package = basemap.workbook
    for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        page = importlib.import_module(module.name)
        if getattr(page, "live", None) is cells.live and page is not cells:
            stack.enter_context(patch.object(page, "live", _plain))
    for name in vars(CellFormulas):
        if not name.startswith("_") and name not in ("at", "job", "layout"):
            stack.enter_context(patch.object(CellFormulas, name, lambda *_arguments: ""))
    return stack
