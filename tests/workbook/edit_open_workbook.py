"""Edits typed into a workbook that LibreOffice holds open; run by the Python that knows LibreOffice, not imported.

Standard input: ``{"soffice": …, "profile": …, "workbook": …, "read": [NAME, …], "edits": [[[NAME, ROW, COL, VALUE], …], …]}``.
Standard output: for each edit the areas named in ``read``, each a list of rows; the edit is taken back before the next.
"""

from __future__ import annotations

import json
import pathlib
import subprocess
import sys
import time
import uuid
from typing import Any


def main() -> None:
    """Do the edits of standard input."""
    import uno  # type: ignore[import-not-found]  # noqa: F401 - it makes com.sun.star importable
    from com.sun.star.beans import PropertyValue  # type: ignore[import-not-found]

    plan = json.load(sys.stdin)
    pipe = f"basemap_tests_{uuid.uuid4().hex}"  # others may run at the same time
    command = [
        plan["soffice"], f"-env:UserInstallation={pathlib.Path(plan['profile']).as_uri()}", "--headless", "--norestore",
        "--nologo", f"--accept=pipe,name={pipe};urp;",
    ]  # fmt: skip
    office = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        desktop = connected(pipe)
        hidden = PropertyValue(Name="Hidden", Value=True)
        book = desktop.loadComponentFromURL(pathlib.Path(plan["workbook"]).as_uri(), "_blank", 0, (hidden,))
        json.dump([after(book, edit, plan["read"]) for edit in plan["edits"]], sys.stdout)
        book.close(False)
        desktop.terminate()
        office.wait(30)
    finally:
        office.kill()


def connected(pipe: str) -> Any:
    """The running office, once it answers."""
    import uno
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


def after(book: Any, edit: list[list[Any]], read: list[str]) -> list[Any]:
    """The areas after an edit."""
    cells = [(area(book, name).getCellByPosition(col, row), value) for name, row, col, value in edit]
    before = [cell.Formula for cell, _ in cells]
    for cell, value in cells:
        if isinstance(value, str):
            cell.String = value
        else:
            cell.Value = value
    book.calculateAll()
    found = [[list(row) for row in area(book, name).DataArray] for name in read]
    for (cell, _), formula in zip(cells, before, strict=True):
        cell.Formula = formula
    return found


def area(book: Any, name: str) -> Any:
    """The cells of a defined name."""
    return book.NamedRanges.getByName(name).getReferredCells()


if __name__ == "__main__":
    main()
