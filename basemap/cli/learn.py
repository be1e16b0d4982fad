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
        help="What the columns of the logs are, where headers and units leave it open: [log.columns] of a job file.",
        show_default=False,
    ),
]
LoadedTable = Annotated[
    Path | None,
    typer.Option(
        "--loaded",
        metavar="TABLE",
        help="The table that was in the controller, where it was not the one that adapt or learn wrote.",
        show_default=False,
    ),
]
Proved = Annotated[
    str | None,
    typer.Option(
        "--probe-proved",
        metavar="POINTS",
        help='Two values of lambda at which the probe was proved right, such as "0.80, 1.00". Without it no fuel is '
        "taken out anywhere.",
        show_default=False,
    ),
]
AcceptHold = Annotated[
    list[str] | None,
    typer.Option(
        "--accept",
        metavar="NAME",
        help="Take a crossed limit or a large change upon yourself, by the name it is printed with. Give it once for "
        "each.",
        show_default=False,
    ),
]

Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        parser=folder,
        help="Folder for the files. By default a new one beside the job: van-learnt for van.toml.",
        show_default=False,
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only what was crossed and what was written.")]


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

    Holds the log against the first-start card, names limits that were crossed, and corrects the table: fuel that is
    missing is added everywhere, fuel is taken out only where the log shows it and the probe was proved. Writes a page
    to read on a phone (van.learnt.html), a workbook (van.learnt.xlsx), the result for other programs (van.learnt.json),
    the new table in the donor's own shape (fuel.new.csv) and, beside the job, van.learnt.toml, from which the next
    learn goes on. Without a log it works out anew what that one holds. Where a limit was crossed or a change is large,
    you accept each by its name, or there is no table to load.

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
