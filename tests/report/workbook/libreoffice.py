"""LibreOffice as a second calculator: it opens workbooks, forgets what was cached, and calculates every formula again."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable, Sequence
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


def recalculated(workbooks: Sequence[Path], folder: Path) -> list[Path]:
    """The workbooks, every formula calculated afresh, in few calls of LibreOffice with a profile of its own."""
    return _converted(workbooks, folder, "xlsx", "{}.xlsx")


def recalculated_sheet(workbooks: Sequence[Path], folder: Path, sheets: Sequence[str], sheet: str) -> list[Path]:
    """One sheet of every workbook, calculated afresh, as .csv in full precision: half the time of a whole workbook."""
    filter_options = (
        f"csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,{sheets.index(sheet) + 1}"
    )
    return _converted(workbooks, folder, filter_options, f"{{}}-{sheet}.csv")


def _converted(workbooks: Sequence[Path], folder: Path, filter_options: str, name: str) -> list[Path]:
    assert SOFFICE is not None
    profile, out = folder / "profile", folder / "recalculated"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(_FORCED, encoding="utf-8")
    command = [SOFFICE, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", filter_options]
    for start in range(0, len(workbooks), _AT_ONCE):
        some = map(str, workbooks[start : start + _AT_ONCE])
        subprocess.run([*command, "--outdir", str(out), *some], check=True, capture_output=True, timeout=300)
    results = [out / name.format(workbook.stem) for workbook in workbooks]
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
