"""Arguments and options that several commands share, so that they mean and say the same everywhere."""

from pathlib import Path
from typing import Annotated

import typer


def folder(named: str | Path) -> Path:
    """A folder to write into; an empty name, as from an unset shell variable, does not mean the current folder."""
    if not str(named):
        from basemap.errors import InputError

        raise InputError("the folder name is empty: name a folder, or . for the current one")
    return Path(named)


# Not "readable": whoever reads the file says why it cannot be read.
JobFile = Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.", show_default=False, readable=False)]

Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON instead of text.")]

All = Annotated[
    bool,
    typer.Option(
        "--all",
        help="Also print the details: every finding with its threshold, reason, source and remedy, the parts of the "
        "band, and the mixture over battery voltage.",
    ),
]

Tables = Annotated[bool, typer.Option("--tables", help="Also print the tables, and a picture of the changes.")]

Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print only the verdict.")]

Accept = Annotated[
    list[str] | None,
    typer.Option(
        "--accept",
        metavar="RULE",
        help="Accept a stop at your own risk, by its printed name. Give it once for each stop. Every file written "
        "records it.",
        show_default=False,
    ),
]

Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        parser=folder,
        help="Folder for the files. Default: a new one next to the job, van-adapted for van.toml.",
        show_default=False,
    ),
]

Force = Annotated[bool, typer.Option("--force", help="Replace existing files.")]

Samples = Annotated[
    str | None,
    typer.Option(
        "--samples",
        metavar="N",
        help="Calculate the band on lambda from this many random samples (Monte Carlo) instead of to first order.",
        show_default=False,
    ),
]

Seed = Annotated[
    str | None,
    typer.Option(
        "--seed", metavar="N", help="Seed of the random samples, so that a run can be repeated.", show_default=False
    ),
]
