"""The few numbers of the target that are read first: idle, and the extremes over what it can reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.model.installation import FloatArray
from basemap.report.workbook.book import Book
from basemap.report.workbook.layout import Layout
from basemap.report.workbook.rows_page import tidy


@dataclass(frozen=True)
class Glance:
    """One number: its value or the words instead, unit, where it is found, and a sign where it is a warning."""

    name: str
    value: float | str
    unit: str
    place: str
    number_format: str = "0.00"
    sign: str = ""
    formula: str | None = None


def idle_cell(book: Book) -> tuple[int, int]:
    """The cell nearest to where the target idles: load and speed index."""
    job = book.result.job
    row = int(np.abs(job.target_table.load_pa - job.target.engine.idle_pressure_pa).argmin())
    return row, int(np.abs(job.rpm - job.target.engine.idle_rpm).argmin())


def glances(book: Book, layout: Layout) -> tuple[list[Glance], list[Glance]]:
    """The numbers of the first page: at idle, and the extremes."""
    return _idle(book), _extremes(book)


def _idle(book: Book) -> list[Glance]:
    table, row_col = book.result.table, idle_cell(book)
    engine = book.result.job.target.engine
    where = _place(book, *row_col)
    pulse, duty = float(table.pulse_s[row_col]) * 1e3, float(table.duty[row_col]) * 100
    return [
        Glance("Manifold pressure", engine.idle_pressure_pa / 1e3, "kPa", f"{engine.idle_rpm:g} rpm", "0.0"),
        Glance("Pulse at idle", _known(pulse), "ms", where, "0.000"),
        Glance("Duty at idle", _known(duty), "%", where, "0.0"),
    ]


def _extremes(book: Book) -> list[Glance]:
    table = book.result.table
    duty = np.where(table.reachable, table.duty * 100, np.nan)
    pulse = np.where(table.reachable, table.pulse_s * 1e3, np.nan)
    change = np.where(table.reachable, tidy(table.change_percent), np.nan)
    found = [
        ("Highest duty", duty, True, "%", "0.0"),
        ("Shortest pulse", pulse, False, "ms", "0.000"),
        ("Largest increase", change, True, "%", "+0.0;-0.0;0.0"),
        ("Largest decrease", change, False, "%", "+0.0;-0.0;0.0"),
    ]
    rows = [_extreme(book, *one) for one in found]
    rows[0] = _warned(rows[0], 100.0, 85.0)
    return rows


def _extreme(book: Book, name: str, values: FloatArray, highest: bool, unit: str, number_format: str) -> Glance:
    if not np.isfinite(values).any():
        return Glance(name, "not known", unit, "")
    flat = int(np.nanargmax(values) if highest else np.nanargmin(values))
    row, col = (int(index) for index in np.unravel_index(flat, values.shape))
    return Glance(name, float(values[row, col]), unit, _place(book, row, col), number_format)


def _warned(row: Glance, stop: float, caution: float) -> Glance:
    from dataclasses import replace

    if not isinstance(row.value, float) or row.value <= caution:
        return row
    return replace(row, sign="■" if row.value >= stop else "▲")


def _known(value: float) -> float | str:
    return value if np.isfinite(value) else "no pulse"


def _place(book: Book, row: int, col: int) -> str:
    job = book.result.job
    return f"{job.rpm[col]:g} rpm, {job.shown.load[row]:.6g} {job.shown.load_unit}"
