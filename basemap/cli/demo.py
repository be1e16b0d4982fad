"""``basemap demo``: a complete worked job."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from basemap.cli.options import Force
from basemap.cli.options import folder as into
from basemap.cli.output import console, show

if TYPE_CHECKING:
    from rich.console import RenderableType

JOB = "ferry_van.toml"
FILES = (
    JOB,
    "ferry_van_fuel.csv",
    "ferry_van_lambda.csv",
    "ferry_van_crank.csv",
    "ferry_van_prime.csv",
    "ferry_van_warm_up.csv",
)
WRITTEN = (
    "ferry_van.xlsx",
    "ferry_van.json",
    "fuel.new.csv",
    "crank.new.csv",
    "prime.new.csv",
    "warm_up.new.csv",
)
"""What the run of it writes."""


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where to write it.", parser=into)] = Path(
        "basemap-demo"
    ),
    force: Force = False,
) -> None:
    """Write a complete worked job, files and all, and run it.

    The van, its engines and its map are invented.

    Examples:
      basemap demo
      basemap demo my-first-look
    """
    from basemap.adaptation.pipeline import adapt
    from basemap.cli.run import Destination, load, write_all
    from basemap.errors import InputError
    from basemap.report.atomic import data, refuse_existing, write_together
    from basemap.report.terminal import result as terminal

    job = folder / JOB
    place = Destination(job, None, force)
    refuse_existing([*(folder / name for name in FILES), *map(place.path, WRITTEN)], force)
    write_together({folder / name: data(content) for name, content in contents().items()}, force=force)
    result = adapt(load(job))
    try:
        files = write_all(result, place)
    except InputError as error:
        raise InputError(f"{error.problem}; the worked job itself was written: {job}", file=error.file) from None
    show(terminal.adapted(result, files, "", console()), *_next(job, files))


def contents() -> dict[str, bytes]:
    """The files of the worked job, by name."""
    from importlib.resources import files

    packed = files("basemap.cli") / "demo_files"
    return {name: (packed / name).read_bytes() for name in FILES}


def _next(job: Path, files: list[Path]) -> "list[RenderableType]":
    from basemap.report.terminal.layout import heading, indented

    workbook = next(path for path in files if path.suffix == ".xlsx")
    return [
        *heading("what to look at next"),
        indented(f"1. Open {workbook} in a spreadsheet program: it is what a tuner would check."),
        indented(f"2. Read {job} beside it, change a number in it, and see what it does: basemap check {job}"),
        indented("3. Start a job of your own: basemap new my-van.toml"),
    ]
