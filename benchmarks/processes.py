"""Whole processes: starting up, and one job from its file to its workbook."""

from __future__ import annotations

import compileall
import zipfile
from collections.abc import Iterator
from pathlib import Path

import basemap
from benchmarks.jobs import NAME, write_job
from benchmarks.measure import Row, interleaved, ratio_row, whole_process

REPETITIONS = 12
PROGRAM = ["-m", "basemap"]

PLAIN_WORKBOOK = """
import jinja2, numpy, numpy.typing, rich.console, rich.padding, rich.table, rich.text, tomllib, typer, xlsxwriter
# pydantic loads what it is made of when it is first asked for: these are the names that basemap asks for.
from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, ValidationError
workbook = xlsxwriter.Workbook("plain.xlsx", {{"in_memory": True}})
for sheet in range({sheets}):
    worksheet = workbook.add_worksheet()
    for cell in range({cells} // {sheets}):
        worksheet.write_number(cell // 16, cell % 16, 0.1 * cell)
workbook.close()
"""
"""The floor of `basemap adapt`: what it needs is imported, and as many cells are written as its workbook has."""


def rows(folder: Path) -> Iterator[Row]:
    """Processor time of whole processes over their floors."""
    # As pip installs it. Without bytecode every start compiles the whole program again.
    compileall.compile_dir(str(Path(basemap.__file__).parent), quiet=1)
    found = interleaved(
        {
            "typer": whole_process(["-c", "import typer"], folder),
            "--version": whole_process([*PROGRAM, "--version"], folder),
            "--help": whole_process([*PROGRAM, "--help"], folder),
        },
        2 * REPETITIONS,
    )
    for word in ("--version", "--help"):
        yield ratio_row(f"basemap {word} / import typer", found[word], found["typer"], 1.2)

    adapt = [*PROGRAM, "adapt", write_job(folder).name, "--force", "--quiet"]
    whole_process(adapt, folder)()
    sheets, cells = _size(folder / f"{Path(NAME).stem}-adapted" / f"{Path(NAME).stem}.xlsx")
    found = interleaved(
        {
            "floor": whole_process(["-c", PLAIN_WORKBOOK.format(sheets=sheets, cells=cells)], folder),
            "adapt": whole_process(adapt, folder),
        },
        REPETITIONS,
    )
    name = f"basemap adapt, 16 by 16 / its imports and {cells} plain cells"
    yield ratio_row(name, found["adapt"], found["floor"], 1.4)


def _size(workbook: Path) -> tuple[int, int]:
    """Sheets and cells of a workbook, those that hold a format only among them."""
    with zipfile.ZipFile(workbook) as parts:
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
        return len(sheets), sum(parts.read(name).count(b"<c ") for name in sheets)
