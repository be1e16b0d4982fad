"""``basemap compare``: two tables side by side."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from basemap.cli.options import Json
from basemap.cli.output import console, say, show, standard_input

if TYPE_CHECKING:
    from basemap.tables.numbers import DecimalMark


def compare(
    old: Annotated[str, typer.Argument(metavar="OLD", help="A .csv, .tsv, .txt or .xlsx file; - is standard input.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The same.")],
    rows: Annotated[
        Literal["load", "rpm"] | None,
        typer.Option("--rows", help="What the rows are, where the files leave it open.", show_default=False),
    ] = None,
    decimal: Annotated[
        list[str] | None,
        typer.Option("--decimal", metavar="MARK", help="The decimal mark, . or , where the files leave it open. Given "
                     "twice, it is of OLD and of NEW.", show_default=False),
    ] = None,
    sheet: Annotated[
        str | None, typer.Option("--sheet", metavar="NAME", help="Sheet of the workbooks.", show_default=False)
    ] = None,
    cells: Annotated[
        str | None,
        typer.Option("--cells", metavar="RANGE", help="Where the table stands in the workbooks, such as B3:R19.",
                     show_default=False),
    ] = None,
    json: Json = False,
) -> None:  # fmt: skip
    """Show two tables side by side, and how far they are apart.

    The tables must have the same axes. Order, separator and decimal mark may differ.

    Of two workbooks that "basemap adapt" wrote, as issued and as returned, it
    says which inputs and cells were changed.

    Examples:
      basemap compare fuel.csv van-adapted/fuel.new.csv
      basemap compare van-adapted/van.xlsx returned.xlsx
    """
    from basemap.errors import InputError
    from basemap.report import comparison, json_text
    from basemap.tables.read import read_grid

    marks = _marks(decimal or [])
    if old == new == "-":
        raise InputError("only one of the two tables can come from standard input")

    if sheet is None and cells is None and _is_ours(old) and _is_ours(new):
        from basemap.workbook import returned

        difference = returned.compare_workbooks(Path(old), Path(new))
        if json:
            say(json_text.to_text(returned.as_json(difference)))
        else:
            show(returned.as_text(difference))
        return

    def read(path: str, mark: "DecimalMark | None") -> comparison.Table:
        grid = read_grid(path, sheet=sheet, cells=cells, rows=rows, decimal=mark, stdin=standard_input())
        return comparison.Table(
            grid.name, grid.sha256, grid.rpm, grid.load, grid.values, grid.unit, grid.layout.decimals
        )

    found = comparison.compare(read(old, marks[0]), read(new, marks[-1]))
    if json:
        say(json_text.to_text(comparison.as_json(found)))
    else:
        show(comparison.as_text(found, console()))


def _is_ours(path: str) -> bool:
    """Whether it is a workbook of this program; what cannot be read is said when it is read as a table."""
    from basemap.errors import InputError
    from basemap.tables.guard import MOST_BYTES
    from basemap.tables.plain_file import bytes_at_most
    from basemap.tables.workbook import is_ours

    if not path.lower().endswith(".xlsx"):
        return False
    try:
        return is_ours(bytes_at_most(path, MOST_BYTES))
    except (OSError, ValueError, InputError):
        return False


def _marks(stated: list[str]) -> "list[DecimalMark | None]":
    """The decimal marks stated, for both files or for each."""
    from basemap.errors import InputError

    known: dict[str, DecimalMark] = {".": ".", ",": ","}
    if len(stated) > 2 or any(mark not in known for mark in stated):
        raise InputError("expected . or , once for both files, or twice: of OLD and of NEW", place="--decimal")
    return [known[mark] for mark in stated] or [None]
