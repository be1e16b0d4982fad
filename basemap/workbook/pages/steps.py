"""Sheets with tables one below the other: the steps between, the intended lambda, the table to load."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.model.installation import FloatArray
from basemap.model.job import SideName
from basemap.model.likeness import Breathing
from basemap.model.result import Result
from basemap.model.storage import stored_decimals
from basemap.physics.bent_line import pulse_for
from basemap.rounding import rounded_down, rounded_up, without_noise
from basemap.workbook.core import style
from basemap.workbook.core.book import AS_ISSUED, HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.grid import WorkbookTable, axes_of, plain_scale, signs_of, write_grid
from basemap.workbook.core.layout import LAMBDA_GRIDS, GridName, Layout, row_height_px
from basemap.workbook.formulas.live_cells import NO_PRESSURE, NO_PULSE, NOT_KNOWN, NOTHING, CellFormulas
from basemap.workbook.inputs.ecu_inputs import has_own_lambda, uniform_lambda
from basemap.workbook.inputs.input_cell import is_cancelled
from basemap.workbook.pages.outcomes import block_widths
from basemap.workbook.pages.tables import axes_words, quantity_words

_ROW_PX = 22
_WIDEST = ("no pressure", "-0.00E+00")
"""The widest texts of a cell."""


def write_stack(
    book: Book,
    layout: Layout,
    title: str,
    grids: Sequence[tuple[GridName, WorkbookTable]],
    *,
    tab: str,
    aside: str | None = None,
    foot: Sequence[str] = (),
    samples: Sequence[str] = _WIDEST,
) -> None:
    """Write tables one below the other on the sheet of their places; each of `samples` fits in their columns."""
    axes = axes_of(book)
    sheet = layout.place(grids[0][0]).sheet
    widths = block_widths(layout, axes, list(samples), 1)
    page = open_page(book, sheet, widths, tab=tab)
    page_head(page, title, axes_words(book) if aside is None else aside)
    height = row_height_px(sum(widths), layout.rows, 180) if len(grids) == 1 else _ROW_PX
    for name, grid in grids:
        place = layout.place(name)
        for i in range(place.rows):
            page.ws.set_row_pixels(place.row + i, height)
        write_grid(page, place, axes, grid)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    last = layout.place(grids[-1][0]).last_row
    for row, words in enumerate(foot, start=last + 2):
        page.paragraph(row, (0, page.last_col), words, font_color=style.QUIET, font_size=9)
    finish_page(page, last + 1 + len(foot) if foot else last, repeat=(0, HEAD_ROWS - 1))


def write_breathing(book: Book, layout: Layout) -> None:
    """Write the factor on the air of every cell for how the target breathes, where there is one."""
    factor = book.result.table.breathing_factor
    if factor is None:
        return
    evidence = [entry.name for entry in book.result.table.breathing.evidence]
    estimated = [] if book.result.job.breathing is Breathing.SAME else [str(book.result.job.breathing)]
    caption = f"How the target breathes: {', '.join(estimated + evidence)}"
    grid = WorkbookTable(caption, "as issued, not live", factor, "0.0000", plain_scale, instead=NOT_KNOWN)
    foot = (
        "Volumetric efficiency of the target divided by the donor's at the same speed and load, as the new cells hold it: "
        "an estimate, not a measurement. It is a factor on the air of a cell, and does not follow an edit: run again.",
    )
    write_stack(book, layout, "How the target breathes", [("breathing", grid)], tab=style.CAUTION, foot=foot)


def write_taught(book: Book, layout: Layout) -> None:
    """Write the factor on the fuel of every cell that drives taught, where there were any."""
    drives = book.result.table.taught
    if drives is None:
        return
    grid = WorkbookTable(f"What drives taught: {', '.join(drives.logs)}", "as issued, not live", drives.factor, "0.0000",
                         plain_scale)  # fmt: skip
    foot = (
        "The factor on the fuel of a cell that the drives in the job taught. It does not follow an edit: run again.",
    )
    write_stack(book, layout, "What drives taught", [("taught", grid)], tab=style.CAUTION, foot=foot)


def write_steps(book: Book, layout: Layout) -> None:
    """Write the pulses between the tables."""
    formulas, job = CellFormulas(book.result, layout), book.result.job
    # The target's ECU makes no pulse of a cell of another quantity.
    old_new, old_old = (None, None) if job.other_quantity else (formulas.pulse_old_new, formulas.pulse_old_old)
    grids: list[tuple[GridName, WorkbookTable]] = [
        (
            "opening",
            _pulses("Opening that the target's air needs, dead time apart", opening_ms(book), formulas.opening),
        ),
        (
            "pulse_old_new",
            _pulses("Old table, new settings: pulse commanded", outcome_pulse_ms(book, "old", "new"), old_new),
        ),
    ]
    if not is_cancelled(job):
        donor = donor_pulse_ms(book)
        grids.insert(
            0, ("donor_pulse", _pulses("Donor, as tuned: pulse commanded", donor, formulas.donor_pulse, NOT_KNOWN))
        )
        grids += [
            (
                "pulse_old_old",
                _pulses(
                    "Old table, old settings: pulse commanded",
                    outcome_pulse_ms(book, "old", "old"),
                    old_old,
                ),
            ),
            (
                "pulse_new_old",
                _pulses(
                    "New table, old settings: pulse commanded",
                    outcome_pulse_ms(book, "new", "old"),
                    formulas.pulse_new_old,
                ),
            ),
        ]
    grids.sort(key=lambda pair: layout.place(pair[0]).row)
    write_stack(book, layout, "Steps between the tables", grids, tab=style.GREY_LINE)


def _pulses(caption: str, values: FloatArray, formula: Any, instead: str = NO_PULSE) -> WorkbookTable:
    instead = NOTHING if formula is None else instead
    return WorkbookTable(
        caption, "ms", values, "0.000", plain_scale, instead=instead, endless=NO_PRESSURE, formula=formula
    )


def donor_pulse_ms(book: Book) -> FloatArray:
    """Pulses of the donor, ms; NaN where its ECU corrects for a rail pressure of zero."""
    pulse = book.result.table.donor.pulse_s * 1e3
    return np.where(np.isfinite(pulse), pulse, np.nan)


def opening_ms(book: Book) -> FloatArray:
    """Time for which the target's injectors must be open, ms; infinite where no pressure is left across them."""
    job, target = book.result.job, book.result.table.target
    openings = job.target.hardware.injectors.per_cylinder * job.target.hardware.injectors.openings_per_cycle
    flowing = target.line_flow_kg_s > 0
    time = target.fuel_kg / (openings * np.where(flowing, target.line_flow_kg_s, np.nan))
    both = job.target.hardware.injectors.bent_line
    time = 1e3 * (time if both is None else pulse_for(time, 0.0, both.relative))
    return np.where(np.isfinite(target.air_kg) & ~flowing, np.inf, time)


def outcome_pulse_ms(book: Book, cells: str, settings: str) -> FloatArray:
    """Pulses of the old or new table with old or new settings, ms; NaN where none is commanded."""
    job, table = book.result.job, book.result.table
    if cells == "old" and job.other_quantity:
        return np.full_like(table.new, np.nan)
    in_force = getattr(book.result.in_force, settings)
    values = job.donor.table.values if cells == "old" else table.new * job.target.shown.per_unit
    command = (job.donor.table if cells == "old" else job.target.table).intended_lambda
    sensed = Sensed(
        table.target.pressure_across_pa, job.target.hardware.conditions.charge_temperature_k, job.target.table.battery_v
    )
    pulse = ecu.commanded_pulse(values, job.target.table, command, in_force, sensed) * 1e3
    return np.where(np.isfinite(pulse), pulse, np.nan)


def write_lambda(book: Book, layout: Layout) -> None:
    """Write the intended lambda where it is a table; a single number is on the sheet Inputs."""
    job = book.result.job
    if book.not_live:
        _target_lambda(book, layout)
        return
    sides: list[SideName] = ["donor", *(["target"] if has_own_lambda(job) else [])]  # type: ignore[list-item]
    grids: list[tuple[GridName, WorkbookTable]] = []
    for side in sides:
        if uniform_lambda(job, side):
            continue
        table = job.side(side).table
        both = "" if has_own_lambda(job) else ", and target's"
        within = QUANTITIES["tables.fuel.lambda"].range
        limits = (*within.limits, f"a mixture burns between λ {within.low} and {within.high}")
        grid = WorkbookTable(
            f"Intended λ, {side}'s{both}", f"input: may be changed, {within.low} to {within.high}", table.intended_lambda, "0.000", plain_scale,
            editable=True, limits=limits,
        )  # fmt: skip
        grids.append((LAMBDA_GRIDS[side], grid))
    if not grids:
        return
    write_stack(book, layout, "Intended lambda", grids, tab=style.CAUTION, samples=("0.000",))
    for name, _ in grids:
        book.names.define(book.workbook, f"{name}_table", layout.place(name).area())


def _target_lambda(book: Book, layout: Layout) -> None:
    """Write the target's intended lambda as issued; the donor's is on the sheet of its table."""
    job = book.result.job
    if uniform_lambda(job, "target"):
        return
    values = job.target.table.intended_lambda
    grid = WorkbookTable("Intended λ, target's", AS_ISSUED, values, "0.000", plain_scale)
    write_stack(book, layout, "Intended lambda", [("donor_lambda", grid)], tab=style.CAUTION, samples=("0.000",))
    book.names.define(book.workbook, "target_lambda_table", layout.place("donor_lambda").area())


def stored_words(result: Result) -> list[str]:
    """λ half way between the cells, and the factor with which all cells would fit, as issued."""
    said, found, factor = [], result.table.between.extremes, result.table.common_factor
    if found is not None:
        unit = result.job.target.shown.load_unit
        lean, rich = found
        ratios = rounded_down(without_noise(rich.ratio), 4), rounded_up(without_noise(lean.ratio), 4)
        places = (f"at {one.rpm:g} rpm, {one.load:g} {unit}" for one in (rich, lean))
        ends = " to ".join(f"{ratio} {place}" for ratio, place in zip(ratios, places, strict=True))
        said.append(f"Half way between the cells, as issued and not live: λ actual ÷ λ intended from {ends}.")
    if factor is not None:
        said.append(
            f"All cells fit when multiplied by {factor.factor:.6g}, if {factor.setting} is entered as "
            f"{factor.enter:.10g} {factor.unit}".rstrip()
            + " (as issued and not live)."
        )
    return said


def write_load(book: Book, layout: Layout) -> None:
    """Write the new table as the controller stores it, which the grid file holds too."""
    result, formulas = book.result, CellFormulas(book.result, layout)
    storage, shown = result.job.storage, result.job.target.shown
    decimals = stored_decimals(storage, shown)
    rounded = f"rounded to {decimals} decimal{'' if decimals == 1 else 's'}"
    if storage.step is not None:
        rounded = f"rounded to steps of {storage.step:g}"
    limits = [f"at least {storage.minimum:g}"] if storage.minimum is not None else []
    limits += [f"at most {storage.maximum:g}"] if storage.maximum is not None else []
    signs = signs_of(result.table.marks, result.table.new.shape)
    grid = WorkbookTable(
        "New table, as stored" if result.table.richer is None else "New table, richer at load, as stored", " · ".join([rounded, *limits]), result.table.to_load,
        "0." + "0" * decimals if decimals else "0", plain_scale, signs=signs, formula=formulas.stored,
    )  # fmt: skip
    samples = [f"{cell:.{decimals}f}{sign}" for row, at in zip(result.table.to_load, signs, strict=True)
               for cell, sign in zip(row, at, strict=True) if np.isfinite(cell)]  # fmt: skip
    if not np.isfinite(result.table.to_load).all():
        samples.append(grid.instead)
    write_stack(
        book,
        layout,
        "To load",
        [("stored", grid)],
        tab=style.TARGET_LINE,
        aside=f"{quantity_words(book)} · {axes_words(book)}",
        foot=stored_words(result),
        samples=samples,
    )
    book.names.define(book.workbook, "stored_table", layout.place("stored").area())
