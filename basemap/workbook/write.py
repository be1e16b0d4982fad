"""Writes the workbook: the sheets in their order, and the file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import basemap
from basemap.model.result import Result
from basemap.workbook.core import style
from basemap.workbook.core.book import Book
from basemap.workbook.core.cells import clean
from basemap.workbook.core.layout import Layout
from basemap.workbook.inputs.inputs import input_cells
from basemap.workbook.pages.battery_and_heat import write_battery_and_heat
from basemap.workbook.pages.certainty import write_certainty
from basemap.workbook.pages.derived import write_derived
from basemap.workbook.pages.donor import write_donor_table
from basemap.workbook.pages.findings import write_findings
from basemap.workbook.pages.first_start import write_card
from basemap.workbook.pages.fuel import write_fuel
from basemap.workbook.pages.further_tables import write_further_tables
from basemap.workbook.pages.inputs import write_inputs
from basemap.workbook.pages.issued import write_issued
from basemap.workbook.pages.job import write_job
from basemap.workbook.pages.outcomes import write_outcomes
from basemap.workbook.pages.pulse import write_pulse
from basemap.workbook.pages.rows import write_rows
from basemap.workbook.pages.sensors import write_sensors
from basemap.workbook.pages.steps import write_breathing, write_lambda, write_load, write_steps, write_taught
from basemap.workbook.pages.summary import write_summary
from basemap.workbook.pages.tables import write_tables
from basemap.workbook.pages.worked import write_worked_cell

_OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,  # no temporary files
}


def write_workbook(result: Result, path: Path | BinaryIO) -> None:
    """Write the workbook that a tuner can check.

    Parameters
    ----------
    result
        The answer to a job.
    path
        The file to write, or a binary stream.

    Raises
    ------
    OSError
        Where the file cannot be written.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    # XlsxWriter adds to the mapping that it is given: the next workbook must not find that in it.
    font = {"default_format_properties": {"font_name": style.FONT, "font_size": style.FONT_SIZE}}
    workbook = xlsxwriter.Workbook(path if hasattr(path, "write") else str(path), {**_OPTIONS, **font})
    issued = datetime.now(UTC).astimezone().date()
    book = Book(workbook, result, basemap.__version__, issued, input_cells(result.job))
    workbook.set_properties(
        {"title": clean(result.job.title)[:250], "author": f"basemap {book.version}", "created": datetime.now(UTC)}
    )
    rows, cols = result.table.new.shape
    layout = Layout(rows, cols, old_outcomes=not result.job.other_quantity)
    _write_what_is_read(book, layout)
    _write_working(book, layout)
    try:
        workbook.close()
    except FileCreateError as error:
        raise OSError(f"cannot write {path}: {error}") from error


def _write_what_is_read(book: Book, layout: Layout) -> None:
    """The sheets that are read and printed, in the order in which they are needed."""
    write_summary(book, layout)
    write_tables(book, layout)
    write_card(book)
    write_inputs(book)
    write_further_tables(book)
    write_outcomes(book, layout)
    write_certainty(book, layout)
    write_worked_cell(book)


def _write_working(book: Book, layout: Layout) -> None:
    """The sheets with the working: at the end, with grey tabs, not printed."""
    write_findings(book)
    write_load(book, layout)
    write_battery_and_heat(book)
    write_sensors(book)
    write_pulse(book, layout)
    write_job(book)
    write_lambda(book, layout)
    write_breathing(book, layout)
    write_taught(book, layout)
    write_fuel(book)
    if book.not_live:
        write_donor_table(book)
        write_rows(book, layout)
    else:
        write_derived(book)
        write_rows(book, layout)
        write_steps(book, layout)
        write_issued(book, layout)
