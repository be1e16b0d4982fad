"""``basemap learn``: what the first drives teach."""

from pathlib import Path
from typing import Annotated

import typer

from basemap.cli.options import Force, JobFile, Json, folder
from basemap.cli.output import say, show

Logs = Annotated[
    list[Path] | None,
    typer.Argument(metavar="LOG...", help="Logs of drives: .csv, .tsv or .txt.", show_default=False, readable=False),
]
Columns = Annotated[
    Path | None,
    typer.Option(
        "--columns",
        metavar="FILE.toml",
        help="What the log's columns are, if its headers and units do not say: a file like [log.columns] in a job "
        "file.",
        show_default=False,
    ),
]
LoadedTable = Annotated[
    Path | None,
    typer.Option(
        "--loaded",
        metavar="TABLE",
        help="The table that was in the controller, if it was not the one that adapt or learn wrote.",
        show_default=False,
    ),
]
Proved = Annotated[
    str | None,
    typer.Option(
        "--probe-proved",
        metavar="POINTS",
        help='Two values of lambda at which the probe was checked and reads correctly, such as "0.80, 1.00". Without '
        "this, no fuel is taken out anywhere.",
        show_default=False,
    ),
]
AcceptHold = Annotated[
    list[str] | None,
    typer.Option(
        "--accept",
        metavar="NAME",
        help="Accept a crossed limit or a large change at your own risk, by its printed name. Give it once for each.",
        show_default=False,
    ),
]

Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        parser=folder,
        help="Folder for the files. Default: a new one next to the job, van-learnt for van.toml.",
        show_default=False,
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only the crossed limits and the files written.")]


def learn(
    job: JobFile,
    log: Logs = None,
    columns: Columns = None,
    loaded: LoadedTable = None,
    probe_proved: Proved = None,
    accept: AcceptHold = None,
    out: Out = None,
    force: Force = False,
    json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Learn from logs of the first drives.

    Compares the log with the first-start card, names the limits that were crossed, and corrects the table: missing fuel
    is added everywhere, but fuel is taken out only where the log shows it and the probe was proved. Writes a page to
    read on a phone (van.learnt.html), a workbook (van.learnt.xlsx), the result for other programs (van.learnt.json),
    the new table in the donor's own shape (fuel.new.csv) and, next to the job, van.learnt.toml, from which the next
    learn continues. Without a log it recalculates from that file. If a limit was crossed or a change is large, no table
    to load is written until you accept each one by name.

    Examples:
      basemap learn van.toml first_drive.csv
      basemap learn van.learnt.toml second_drive.csv --probe-proved "0.80, 1.00"

    Exit status:
      0  learnt
      3  a limit was crossed, or a change is large: no table to load is written
      2  the job or a log cannot be used; nothing was written
    """
    from basemap.cli.learning import LearnAsked, learn_and_write, status_of
    from basemap.report import json_text
    from basemap.report.learnt_json import learnt_as_json

    asked = LearnAsked(job, tuple(log or ()), columns, loaded, probe_proved, tuple(accept or ()), out, force)
    result, found, files = learn_and_write(asked)
    if json:
        say(json_text.to_text(learnt_as_json(result, found)))
    else:
        from basemap.report.terminal import learnt as terminal

        show(terminal.brief(found, files) if quiet else terminal.learnt(result, found, files))
    raise typer.Exit(status_of(found))
