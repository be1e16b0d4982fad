"""LibreOffice, held open: does what standard input asks, line by line; run by the Python that knows LibreOffice.

Arguments: the program soffice, and a folder for its profile. Each line of standard input is a request as JSON, each line
of standard output its answer:

* ``{"workbook": …, "cells": [RANGE, …], "edits": [[[[SHEET, ROW, COL, VALUE], …], [[SHEET, FIRST_ROW, FIRST_COL, LAST_ROW,
  LAST_COL], …]], …]}``: every formula is calculated again: of each range its rows, each row a list of values; and for each
  edit the areas beside it, each a list of rows. An edit is taken back before the next.
* ``{"workbook": …, "into": …}``: calculated again and saved, as the suffix says: ``.xlsx`` or ``.pdf``.
"""

from __future__ import annotations

import functools
import json
import os
import pathlib
import signal
import subprocess
import sys
import time
import uuid
from typing import Any

FILTERS = {".xlsx": "Calc MS Excel 2007 XML", ".pdf": "calc_pdf_Export"}


def main(soffice: str, profile: str) -> None:
    """Answer requests until there are no more."""
    pipe = f"basemap_tests_{uuid.uuid4().hex}"  # others may run at the same time
    command = [
        soffice, f"-env:UserInstallation={pathlib.Path(profile).as_uri()}", "--headless", "--norestore", "--nologo",
        f"--accept=pipe,name={pipe};urp;",
    ]  # fmt: skip
    # In a group of its own: what is started here starts the office itself as its child.
    office = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        desktop = connected(pipe)
        for line in sys.stdin:
            print(json.dumps(answer(desktop, json.loads(line))), flush=True)
        desktop.terminate()
        office.wait(30)
    finally:
        if office.poll() is None:
            end(office)


def end(office: subprocess.Popen[bytes]) -> None:
    """End an office that does not end by itself, with its children where a system has groups of processes."""
    if sys.platform == "win32":
        office.kill()
    else:
        os.killpg(office.pid, signal.SIGKILL)


def connected(pipe: str) -> Any:
    """The running office, once it answers."""
    import uno  # type: ignore[import-not-found]
    from com.sun.star.connection import NoConnectException  # type: ignore[import-not-found]

    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    give_up = time.monotonic() + 60
    while True:
        try:
            context = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except NoConnectException:
            if time.monotonic() > give_up:
                raise
            time.sleep(0.2)


def answer(desktop: Any, request: dict[str, Any]) -> Any:
    """What is asked of one workbook."""
    book = desktop.loadComponentFromURL(pathlib.Path(request["workbook"]).as_uri(), "_blank", 0, options(Hidden=True))
    if book is None:
        raise RuntimeError(f"LibreOffice cannot open {request['workbook']}")
    try:
        # By default a cached value is believed, even a wrong one.
        book.calculateAll()
        if "into" in request:
            into = pathlib.Path(request["into"])
            return book.storeToURL(into.as_uri(), options(FilterName=FILTERS[into.suffix]))
        sheets = {sheet.Name: sheet for sheet in book.Sheets}
        if request["edits"]:
            for sheet in sheets.values():
                sheet.unprotect("")
        # To meet an object for the first time takes longer than to use it.
        area = functools.cache(
            lambda sheet, row, col, last_row, last_col: sheets[sheet].getCellRangeByPosition(
                col, row, last_col, last_row
            )
        )
        # All at once: to ask each sheet how far it reaches takes three times as long.
        found = [values(cells) for cells in book.Sheets.getCellRangesByName(";".join(request["cells"]))]
        return found, [after(area, edit, areas) for edit, areas in request["edits"]]
    finally:
        book.close(False)


def options(**named: Any) -> tuple[Any, ...]:
    """Options as LibreOffice takes them."""
    from com.sun.star.beans import PropertyValue  # type: ignore[import-not-found]

    return tuple(PropertyValue(Name=name, Value=value) for name, value in named.items())


def values(cells: Any) -> list[list[Any]]:
    """What stands in a range; of an error its sign."""
    # An error has no value.
    return [
        [cells.getCellByPosition(col, row).String if value is None else value for col, value in enumerate(line)]
        for row, line in enumerate(cells.DataArray)
    ]


def after(area: Any, edit: list[list[Any]], areas: list[list[Any]]) -> list[Any]:
    """What the areas hold after an edit."""
    cells = [area(sheet, row, col, row, col) for sheet, row, col, _ in edit]
    before = [cell.FormulaArray for cell in cells]
    for cell, (*_, value) in zip(cells, edit, strict=True):
        cell.setDataArray(((value,),))
    # As for a person, an edit makes stale what follows from it; of that, what is read is calculated first.
    found = [[list(row) for row in area(*each).DataArray] for each in areas]
    for cell, formulas in zip(cells, before, strict=True):
        cell.setFormulaArray(formulas)
    return found


if __name__ == "__main__":
    main(*sys.argv[1:])
