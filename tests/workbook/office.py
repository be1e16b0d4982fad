"""LibreOffice as a second calculator: it opens workbooks, forgets what was cached, and calculates every formula again."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from openpyxl.utils import get_column_letter

from tests.workbook.cells import Address, Value, areas_of, last_cells_of

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")

Entry = tuple[str, int, int, float | str]
"""Name, row and column within it, and what is typed there."""
Area = list[list[float | str]]


@cache
def python_of_libreoffice() -> str | None:
    """The Python that can speak with LibreOffice, on Debian the system's with the package python3-uno."""
    for python in ("/usr/bin/python3", "/usr/lib/libreoffice/program/python", "/opt/libreoffice/program/python"):
        if Path(python).exists() and not subprocess.run([python, "-c", "import uno"], capture_output=True).returncode:
            return python
    return None


needs_libreoffice = pytest.mark.skipif(
    SOFFICE is None or python_of_libreoffice() is None,
    reason="LibreOffice with its Python (python3-uno) is not on this machine",
)


@dataclass(frozen=True)
class Office:
    """A LibreOffice that is open: one for all tests of a process, for a start takes longer than any workbook."""

    process: subprocess.Popen[str]
    complaints: Path

    def calculate(
        self, workbook: Path, edits: Sequence[tuple[Sequence[Entry], Sequence[str]]] = ()
    ) -> tuple[dict[Address, Value], list[list[Area]]]:
        """Every cell of a workbook, calculated again; and after each edit the areas of some names.

        An edit is typed into the open workbook, whose sheets are no longer protected, and taken back before the next.
        """
        content = workbook.read_bytes()
        places, last = areas_of(content), last_cells_of(content)
        asked = [
            (
                [
                    (places[name][0], places[name][1] + row, places[name][2] + col, value)
                    for name, row, col, value in edit
                ],
                [places[name] for name in names],
            )
            for edit, names in edits
        ]
        cells = [f"'{sheet}'.A1:{cell}" for sheet, cell in last.items()]
        sheets, found = self._ask(workbook=str(workbook), cells=cells, edits=asked)
        values: dict[Address, Value] = {
            (sheet, f"{get_column_letter(col)}{row}"): value
            for sheet, rows in zip(last, sheets, strict=True)
            for row, line in enumerate(rows, start=1)
            for col, value in enumerate(line, start=1)
        }
        return values, found

    def save(self, workbook: Path, into: Path) -> Path:
        """A workbook, calculated again, as LibreOffice saves it: .xlsx, or printed as .pdf."""
        self._ask(workbook=str(workbook), into=str(into))
        return into

    def _ask(self, **request: object) -> Any:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline()
        assert answer, self.complaints.read_text(encoding="utf-8")
        return json.loads(answer)


@contextmanager
def opened_office(folder: Path) -> Iterator[Office]:
    """Start LibreOffice with a profile of its own in a folder, and end it."""
    python, complaints = python_of_libreoffice(), folder / "stderr.txt"
    assert python is not None
    assert SOFFICE is not None
    command = [python, str(Path(__file__).with_name("office_server.py")), SOFFICE, str(folder / "profile")]
    with (
        complaints.open("w", encoding="utf-8") as stream,
        subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=stream, text=True, encoding="utf-8"
        ) as process,
    ):
        yield Office(process, complaints)
