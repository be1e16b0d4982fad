"""``basemap demo``: a complete worked job."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from basemap.cli.options import Force
from basemap.cli.options import folder as into
from basemap.cli.output import console, show
from basemap.errors import as_typed

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
    "ferry_van.html",
    "ferry_van.json",
    "fuel.new.csv",
    "crank.new.csv",
    "prime.new.csv",
    "warm_up.new.csv",
)
"""What adapting it writes."""
FIRST_DRIVE = "ferry_van_first_drive.csv"
TAUGHT = (
    "ferry_van.learnt.toml",
    "ferry_van-learnt/ferry_van.learnt.html",
    "ferry_van-learnt/ferry_van.learnt.json",
    "ferry_van-learnt/ferry_van.learnt.xlsx",
)
"""What learning from it writes."""


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write it to.", parser=into)] = Path(
        "basemap-demo"
    ),
    force: Force = False,
    first_drive: Annotated[
        bool, typer.Option("--first-drive", help="Also write the log of an invented first drive and learn from it.")
    ] = False,
) -> None:
    """Write a complete worked job with all its files, and run it.

    The van, its engines, its map and its first drive are invented.

    Examples:
      basemap demo
      basemap demo my-first-look
      basemap demo --first-drive
    """
    from basemap.adaptation.pipeline import adapt
    from basemap.cli.run import Destination, load, write_all
    from basemap.errors import InputError
    from basemap.report.atomic import data, refuse_existing, write_together
    from basemap.report.terminal import result as terminal

    job = folder / JOB
    place = Destination(job, None, force)
    names = (*FILES, FIRST_DRIVE) if first_drive else FILES
    taught = TAUGHT if first_drive else ()
    refuse_existing([*(folder / name for name in (*names, *taught)), *map(place.path, WRITTEN)], force)
    write_together({folder / name: data(content) for name, content in contents(names).items()}, force=force)
    result = adapt(load(job))
    try:
        files = write_all(result, place)
    except InputError as error:
        raise InputError(f"{error.problem}; but the worked job was written: {job}", file=error.file) from None
    if first_drive:
        _second_act(job, folder / FIRST_DRIVE, force=force)
        return
    show(terminal.adapted(result, files, "", console()), *_next(job, files))


def _second_act(job: Path, log: Path, *, force: bool) -> None:
    """Learn from the first drive, and say what to look at."""
    from basemap.cli.learning import LearnAsked, learn_and_write
    from basemap.report.terminal import learnt as terminal
    from basemap.report.terminal.layout import heading, indented

    result, found, written = learn_and_write(LearnAsked(job, (log,), force=force))
    page = next(path for path in written if path.suffix == ".html")
    show(
        terminal.learnt(result, found, written),
        *heading("what to look at next"),
        indented("1. The first lines: what must be put right before anybody drives on."),
        indented(f"2. {page}: the same with the drive and the band drawn, for a phone or a browser."),
        indented(f"3. {log}: the drive itself, as a logger writes it; the alternator's voltage climbs from 1:30 on."),
        indented(f"4. With a log of your own: basemap learn {as_typed(job)} your_log.csv"),
    )


def contents(names: tuple[str, ...] = FILES) -> dict[str, bytes]:
    """The files of the worked job, by name."""
    from importlib.resources import files

    packed = files("basemap.cli") / "demo_files"
    return {name: (packed / name).read_bytes() for name in names}


def _next(job: Path, files: list[Path]) -> "list[RenderableType]":
    from basemap.report.terminal.layout import heading, indented

    page, workbook = (next(path for path in files if path.suffix == suffix) for suffix in (".html", ".xlsx"))
    return [
        *heading("what to look at next"),
        indented(f"1. Open {page} in a browser, on a phone too: what to type in, the card to tick off, every cell."),
        indented(f"2. Open {workbook} in a spreadsheet program: this is what a tuner would check."),
        indented(f"3. Change a number in {job} and see the effect: basemap check {as_typed(job)}"),
        indented("4. Start a job of your own: basemap new my-van.toml"),
    ]
