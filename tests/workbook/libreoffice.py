"""LibreOffice as a second calculator: it opens workbooks, forgets what was cached, and calculates every formula again."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import cast

import pytest
from openpyxl import load_workbook

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")

needs_libreoffice = pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is not on this machine")

# 0 means: always recalculate when a workbook is loaded. By default a cached value is believed, even a wrong one.
_FORCED = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item>
</oor:items>
"""

_AT_ONCE = 16
"""Workbooks in one call: with some sixty LibreOffice 7.4 has been seen to end with an error."""

Value = float | str | None
Entry = tuple[str, int, int, float | str]
Area = list[list[float | str]]


@cache
def python_of_libreoffice() -> str | None:
    """The Python that can speak with LibreOffice, on Debian the system's with the package python3-uno."""
    for python in ("/usr/bin/python3", "/usr/lib/libreoffice/program/python", "/opt/libreoffice/program/python"):
        if Path(python).exists() and not subprocess.run([python, "-c", "import uno"], capture_output=True).returncode:
            return python
    return None


needs_open_workbook = pytest.mark.skipif(
    SOFFICE is None or python_of_libreoffice() is None,
    reason="LibreOffice with its Python (python3-uno) is not on this machine",
)


def areas_after(
    workbook: Path, edits: Sequence[Sequence[Entry]], areas: Sequence[str], folder: Path
) -> list[list[Area]]:
    """Type each edit into a workbook that LibreOffice holds open, calculate, read areas by name, take the edit back.

    Cells that are locked refuse an edit, as they do for a person.
    """
    python = python_of_libreoffice()
    assert python is not None
    profile = folder / "profile"
    plan = {"soffice": SOFFICE, "profile": str(profile), "workbook": str(workbook), "read": areas, "edits": edits}
    done = subprocess.run(
        [python, str(Path(__file__).with_name("edit_open_workbook.py"))],
        input=json.dumps(plan),
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return cast(list[list[Area]], json.loads(done.stdout))


def recalculated(workbooks: Sequence[Path], folder: Path) -> list[Path]:
    """The workbooks, every formula calculated afresh, in few calls of LibreOffice with a profile of its own."""
    assert SOFFICE is not None
    profile, out = folder / "profile", folder / "recalculated"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(_FORCED, encoding="utf-8")
    command = [SOFFICE, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", "xlsx"]
    for start in range(0, len(workbooks), _AT_ONCE):
        some = map(str, workbooks[start : start + _AT_ONCE])
        subprocess.run([*command, "--outdir", str(out), *some], check=True, capture_output=True, timeout=300)
    results = [out / workbook.name for workbook in workbooks]
    # LibreOffice ends well even where it could not read a file.
    assert [path for path in results if not path.exists()] == []
    return results


def values(workbook: Path) -> dict[tuple[str, str], Value]:
    """Every cell of a workbook: (sheet, address) → the value that is stored for it."""
    book = load_workbook(workbook, data_only=True)
    return {
        (sheet.title, cell.coordinate): cast(Value, cell.value)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def formula_cells(workbook: Path) -> dict[tuple[str, str], str]:
    """Every formula of a workbook: (sheet, address) → formula."""
    book = load_workbook(workbook)
    return {
        (sheet.title, cell.coordinate): str(cell.value)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }


def unlike(
    issued: dict[tuple[str, str], Value], again: dict[tuple[str, str], Value], cells: Iterable[tuple[str, str]]
) -> list[str]:
    """Cells whose two values differ: numbers by more than 1e-9 of their size, text at all."""
    found = []
    for cell in cells:
        before, after = issued.get(cell), again.get(cell)
        if not _same(before, after):
            found.append(f"{cell[0]}!{cell[1]}: {before!r} became {after!r}")
    return found


def _same(before: Value, after: Value) -> bool:
    if isinstance(before, int | float) and isinstance(after, int | float):
        return abs(before - after) <= 1e-9 * max(abs(before), abs(after)) + 1e-12
    return before == after
