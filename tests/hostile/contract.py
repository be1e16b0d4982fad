"""What every reader promises: any bytes become a value, or an `InputError` in one line; nothing else is raised."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

from basemap.adaptation.pipeline import adapt
from basemap.errors import InputError
from basemap.jobfile.load import load_job
from basemap.report.grid_file import further_table_bytes, grid_bytes
from basemap.report.json_file import as_json
from basemap.report.json_text import to_text
from basemap.tables.line import read_line, render_line
from basemap.tables.read import read_grid
from basemap.tables.write import render_grid

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"


def message(read: Callable[[], object]) -> str | None:
    """The message with which something is refused; None where it is read."""
    try:
        read()
    except InputError as error:
        return str(error)
    return None


def grid(data: bytes) -> str | None:
    """A table with two axes, read and written back."""

    def read() -> None:
        found = read_grid("-", stdin=io.BytesIO(data))
        assert len(render_grid(found.values, found.layout)) > 0

    return message(read)


def line(data: bytes) -> str | None:
    """A table with one axis, read and written back."""

    def read() -> None:
        found = read_line("-", stdin=io.BytesIO(data))
        assert len(render_line(found.values, found.layout)) > 0

    return message(read)


def job(data: bytes, folder: Path) -> str | None:
    """A job file beside the tables of the samples."""
    path = folder / "job.toml"
    path.write_bytes(data)
    return message(lambda: load_job(path, stdin=io.BytesIO(b"")))


def result(data: bytes, folder: Path) -> str | None:
    """The same, worked out and turned into what is written."""
    path = folder / "job.toml"
    path.write_bytes(data)

    def read() -> None:
        found = adapt(load_job(path, stdin=io.BytesIO(b"")))
        grid_bytes(found)
        for further_table in found.further_tables:
            further_table_bytes(further_table)
        to_text(as_json(found))

    return message(read)
