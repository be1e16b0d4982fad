"""``basemap explain``: one cell's whole chain."""

import re
from typing import Annotated

import typer

from basemap.cli.options import Accept, JobFile, Json
from basemap.cli.output import say, show


def explain(
    job: JobFile,
    at: Annotated[
        list[str],
        typer.Argument(
            metavar="RPM LOAD",
            help="Engine speed and load of the cell, in the table's own unit; for a further table with one axis, just "
            "its point.",
            show_default=False,
        ),
    ],
    table: Annotated[
        str, typer.Option("--table", metavar="NAME", help="A further table of the job, such as crank.")
    ] = "fuel",
    accept: Accept = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Show every number of the chain with its unit and origin.")
    ] = False,
    json: Json = False,
) -> None:
    """Show how one cell is calculated, from the old to the new.

    Prints one line per step, with enough digits to repeat it on a calculator; with --all also every number that goes
    in, with its unit and origin. Between breakpoints it takes the nearest cell, and says so. A stop against the map, or
    one that you accept, comes first.

    Examples:
      basemap explain van.toml 3000 60
      basemap explain van.toml --table crank -20
    """
    from basemap.adaptation.pipeline import adapt
    from basemap.cli.run import load as load_job
    from basemap.report import cell_in_words, further_cell_in_words, json_text

    values = [_number(one) for one in at]
    result = adapt(load_job(job), accept or ())
    if table == result.table.name:
        cell = cell_in_words.cell_at(result, *cell_in_words.rpm_and_load(values))
        if json:
            say(json_text.to_text(cell_in_words.as_json(result, cell)))
        else:
            show(cell_in_words.as_text(result, cell, everything=everything))
        return
    found = further_cell_in_words.further_table(result, table)
    index, nearest = further_cell_in_words.cell_of(found, values)
    if json:
        say(json_text.to_text(further_cell_in_words.as_json(result, found, index, nearest=nearest)))
    else:
        show(further_cell_in_words.as_text(result, found, index, nearest=nearest, everything=everything))


def _number(written: str) -> float:
    from basemap.errors import InputError
    from basemap.jobfile.quantities import comma_problem

    try:
        return float(written)
    except ValueError:
        if comma := re.fullmatch(r"([+-]?[0-9]+),([0-9]+)", written):
            raise InputError(comma_problem(written, *comma.groups()), place="explain") from None
        raise InputError(
            f'"{written}" is neither a number nor an option: expected RPM and LOAD, such as 3000 60', place="explain"
        ) from None
