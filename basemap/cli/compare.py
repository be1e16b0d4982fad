"""``basemap compare``: two tables side by side."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from basemap.cli.options import Json
from basemap.cli.output import console, say, show, standard_input
from basemap.errors import as_typed

if TYPE_CHECKING:
    from basemap.tables.numbers import DecimalMark


def compare(
    old: Annotated[str, typer.Argument(metavar="OLD", help="A .csv, .tsv, .txt or .xlsx file; - is standard input.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The table to compare.")],
    rows: Annotated[
        Literal["load", "rpm"] | None,
        typer.Option("--rows", help="What the rows are, if the files do not say.", show_default=False),
    ] = None,
    decimal: Annotated[
        list[str] | None,
        typer.Option("--decimal", metavar="MARK", help="The decimal mark, . or , if the files do not say. Give it "
                     "twice for OLD and NEW separately.", show_default=False),
    ] = None,
    sheet: Annotated[
        str | None, typer.Option("--sheet", metavar="NAME", help="Sheet in the workbooks.", show_default=False)
    ] = None,
    cells: Annotated[
        str | None,
        typer.Option("--cells", metavar="RANGE", help="Range of the table in the workbooks, such as B3:R19.",
                     show_default=False),
    ] = None,
    write_job: Annotated[
        Path | None,
        typer.Option("--write-job", metavar="NEW.toml", help="Of two workbooks: write a job file with the inputs that "
                     "were changed.", show_default=False),
    ] = None,
    job: Annotated[
        Path | None,
        typer.Option("--job", metavar="JOB.toml", help="The job file that the workbook was issued from, if it is "
                     "neither next to it nor one folder up.", show_default=False, readable=False),
    ] = None,
    json: Json = False,
) -> None:  # fmt: skip
    """Show two tables side by side, and how far they are apart.

    The tables must have the same axes. Order, separator and decimal mark may differ.

    Given two workbooks from "basemap adapt", as issued and as returned, it lists the changed inputs and cells.
    --write-job puts the changed inputs into a new job file, next to the one that the workbook was issued from: comments
    and order are kept, each change names the cell it comes from, and changes that no key can hold are listed. The new
    job is checked before it is written.

    Examples:
      basemap compare fuel.csv van-adapted/fuel.new.csv
      basemap compare van-adapted/van.xlsx returned.xlsx
      basemap compare van-adapted/van.xlsx returned.xlsx --write-job van.2.toml

    Exit status:
      0  compared, and the job file written that was asked for
      2  a file cannot be used; nothing was written
    """
    from basemap.errors import InputError
    from basemap.report import comparison, json_text
    from basemap.tables.read import read_grid

    marks = _marks(decimal or [])
    if old == new == "-":
        raise InputError("only one of the two tables can come from standard input")

    if write_job is not None or (sheet is None and cells is None and _is_ours(old) and _is_ours(new)):
        _workbooks(Path(old), Path(new), write_job, job, as_json=json)
        return
    if job is not None:
        raise InputError("needs --write-job: name the job file to write as well", place="--job")

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


def _workbooks(issued: Path, returned: Path, write_job: Path | None, job: Path | None, *, as_json: bool) -> None:
    """Say what was changed in a workbook, and carry it back where that is asked for."""
    from basemap.errors import InputError
    from basemap.report import json_text
    from basemap.workbook.returned import edits, words

    found = edits.compare_workbooks(issued, returned)
    if write_job is None:
        if job is not None:
            raise InputError("needs --write-job: name the job file to write as well", place="--job")
        say(json_text.to_text(words.as_json(found))) if as_json else show(words.as_text(found))
        return
    from basemap.cli.carrying_back import carry_back
    from basemap.report.terminal import result as terminal

    written = carry_back(found, job, write_job)
    name = None if written.path is None else str(written.path)
    if as_json:
        carried = words.carried_as_json(written.carried, name)
        say(json_text.to_text({**words.as_json(found), **carried}))
        return
    show(words.carried_as_text(found, written.carried, name))
    if written.result is not None:
        say("\n")
        show(terminal.quietly(written.result))
        say(f"WRITTEN  {name}\nNEXT  basemap adapt {as_typed(name)}\n")


def _is_ours(path: str) -> bool:
    """Whether it is a workbook of this program; one that cannot be read is refused later, when read as a table."""
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
        raise InputError("expected . or , once for both files, or twice: for OLD and for NEW", place="--decimal")
    return [known[mark] for mark in stated] or [None]
