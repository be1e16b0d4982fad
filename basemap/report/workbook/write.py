"""The order of the sheets, and the file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

import basemap
from basemap.model.result import Result
from basemap.report.workbook import style
from basemap.report.workbook.book import Book, Paper
from basemap.report.workbook.card_page import write_card
from basemap.report.workbook.cautions_page import write_cautions
from basemap.report.workbook.cells import clean
from basemap.report.workbook.certainty_page import write_certainty
from basemap.report.workbook.companions_page import write_companions
from basemap.report.workbook.dead_time_page import write_dead_time
from basemap.report.workbook.derived_page import write_derived
from basemap.report.workbook.donor_page import write_donor_table
from basemap.report.workbook.fuel_page import write_fuel
from basemap.report.workbook.inputs import input_cells
from basemap.report.workbook.inputs_page import write_inputs
from basemap.report.workbook.issued_page import write_issued
from basemap.report.workbook.job_page import write_job
from basemap.report.workbook.layout import Layout
from basemap.report.workbook.outcomes_page import write_outcomes
from basemap.report.workbook.pulse_page import write_pulse
from basemap.report.workbook.rows_page import write_rows
from basemap.report.workbook.sensors_page import write_sensors
from basemap.report.workbook.steps_page import write_breathing, write_lambda, write_load, write_steps
from basemap.report.workbook.summary_page import write_summary
from basemap.report.workbook.tables_page import write_tables
from basemap.report.workbook.worked_page import write_worked_cell

_OPTIONS = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,  # no temporary files
    "default_format_properties": {"font_name": style.FONT, "font_size": style.FONT_SIZE},
}


def write_workbook(result: Result, path: Path | BinaryIO, *, paper: Paper = "A4") -> None:
    """Write the workbook that a tuner can check.

    Parameters
    ----------
    result
        The answer to a job.
    path
        A file to be written, or a binary stream.
    paper
        The paper that its pages are set up for.

    Raises
    ------
    OSError
        Where the file cannot be written.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    workbook = xlsxwriter.Workbook(path if hasattr(path, "write") else str(path), _OPTIONS)
    book = Book(
        workbook, result, paper, basemap.__version__, datetime.now(UTC).astimezone().date(), input_cells(result.job)
    )
    workbook.set_properties(
        {"title": clean(result.job.title)[:250], "author": f"basemap {book.version}", "created": datetime.now(UTC)}
    )
    layout = Layout(*result.table.new.shape)
    write_summary(book, layout)
    write_cautions(book)
    write_card(book)
    write_inputs(book)
    write_tables(book, layout)
    write_load(book, layout)
    write_outcomes(book, layout)
    write_pulse(book, layout)
    write_companions(book)
    write_dead_time(book)
    write_sensors(book)
    write_certainty(book, layout)
    write_worked_cell(book)
    write_job(book)
    write_lambda(book, layout)
    write_breathing(book, layout)
    write_fuel(book)
    if book.not_live:
        write_donor_table(book)
        write_rows(book, layout)
    else:
        write_derived(book)
        write_rows(book, layout)
        write_steps(book, layout)
        write_issued(book, layout)
    try:
        workbook.close()
    except FileCreateError as error:
        raise OSError(f"cannot write {path}: {error}") from error
