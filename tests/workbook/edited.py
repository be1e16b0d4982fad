"""A workbook as it comes back, or as a test looks at it: cells typed over, or left out, in the file itself.

To open a workbook with a library takes longer than to write it, and to save it as long again.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from tests.workbook.cells import areas_of, sheet_titles

Entries = Mapping[tuple[str, int, int], float | str]
"""By name, row and column within it: what is typed there."""


def edited(issued: Path, into: Path, entries: Entries) -> Path:
    """A copy of a workbook that XlsxWriter wrote, with values typed into named areas."""
    content = issued.read_bytes()
    areas = areas_of(content)
    typed: dict[str, dict[str, float | str]] = {}
    for (name, row, col), value in entries.items():
        sheet, first_row, first_col, _, _ = areas[name]
        typed.setdefault(sheet, {})[f"{get_column_letter(first_col + col + 1)}{first_row + row + 1}"] = value

    def change(sheet: str, xml: str) -> str:
        for address, value in typed.get(sheet, {}).items():
            xml = _with_cell(xml, address, value)
        return xml

    into.write_bytes(with_sheets(content, change))
    return into


def opened(content: bytes, only: Collection[str] | None = None, *, merged: bool = False) -> Any:
    """The workbook as the library has it, to be looked at: with the cells of some sheets only, and not merged.

    Merging takes the library half of the time. Without it every cell has the style that the file gives it, of those that
    are merged also the ones that nobody sees.
    """
    kept = content if only is None else without_cells_but(content, only)
    return load_workbook(io.BytesIO(kept if merged else unmerged(kept)))


def unmerged(content: bytes) -> bytes:
    """The same workbook, no cells of which are merged."""
    return with_sheets(content, lambda _, xml: re.sub(r"<mergeCells.*</mergeCells>", "", xml, flags=re.DOTALL))


def without_cells_but(content: bytes, only: Collection[str]) -> bytes:
    """The same workbook with the cells of some sheets, by title; of each other sheet the head alone."""

    def change(sheet: str, xml: str) -> str:
        if sheet in only:
            return xml
        return re.sub(r"<sheetData>.*(?=</worksheet>)", "<sheetData/>", xml, flags=re.DOTALL)

    return with_sheets(content, change)


def with_sheets(content: bytes, change: Callable[[str, str], str]) -> bytes:
    """The same workbook, each sheet's XML changed by its title; not compressed, which would take longest.

    The same changes give the same bytes, whatever the time: what reads a file once then knows it.
    """
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as archive, zipfile.ZipFile(stream, "w") as written:
        titles = {f"xl/worksheets/sheet{at}.xml": title for at, title in enumerate(sheet_titles(archive), start=1)}
        for name in archive.namelist():
            part = archive.read(name)
            written.writestr(
                zipfile.ZipInfo(name), change(titles[name], part.decode()).encode() if name in titles else part
            )
    return stream.getvalue()


def _with_cell(xml: str, address: str, value: float | str) -> str:
    """A sheet with one cell typed over; its style stays."""
    held = (
        f' t="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is></c>'
        if isinstance(value, str)
        else f"><v>{value!r}</v></c>"
    )
    pattern = rf'(<c r="{address}"(?: s="[0-9]+")?)[^>]*?(?:/>|>.*?</c>)'
    xml, count = re.subn(pattern, lambda found: found[1] + held, xml, count=1, flags=re.DOTALL)
    assert count == 1, f"no cell {address}"
    return xml
