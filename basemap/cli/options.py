"""Arguments and options that several commands share, so that they mean and say the same everywhere."""

from pathlib import Path
from typing import Annotated

import typer


def folder(named: str | Path) -> Path:
    """A folder to write into; an empty name, as of a shell variable that is not set, is not the current one."""
    if not str(named):
        from basemap.errors import InputError

        raise InputError("the folder to write into has an empty name: name one, or . for the one that you are in")
    return Path(named)


# Not "readable": a file that may not be read is said by the one who reads it.
JobFile = Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.", show_default=False, readable=False)]

Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON instead of text.")]

All = Annotated[
    bool,
    typer.Option(
        "--all",
        help="Print everything behind the answer too: every finding with its threshold, reason, source and remedy, "
        "what the band is made of, the mixture over the battery's voltage.",
    ),
]

Tables = Annotated[bool, typer.Option("--tables", help="Print the tables too, and a picture of what changed.")]

Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print the verdict only.")]

Accept = Annotated[
    list[str] | None,
    typer.Option(
        "--accept",
        metavar="RULE",
        help="Take a stop upon yourself, by the name it is printed with. Give it once for each. It is recorded in "
        "everything that is written.",
        show_default=False,
    ),
]

Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        parser=folder,
        help="Folder for the files. By default a new one beside the job: van-adapted for van.toml.",
        show_default=False,
    ),
]

Force = Annotated[bool, typer.Option("--force", help="Replace files that exist already.")]

Samples = Annotated[
    str | None,
    typer.Option(
        "--samples",
        metavar="N",
        help="Work out the band on lambda by drawing so many possible truths (Monte Carlo), not to first order only.",
        show_default=False,
    ),
]

Seed = Annotated[
    str | None,
    typer.Option(
        "--seed", metavar="N", help="Where the draws start, so that a run can be repeated.", show_default=False
    ),
]
