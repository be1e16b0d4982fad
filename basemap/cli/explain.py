"""``basemap explain``: one cell's whole chain."""

from typing import Annotated

import typer

from basemap.cli.options import JobFile, Json
from basemap.cli.output import say, show


def explain(
    job: JobFile,
    rpm: Annotated[float, typer.Argument(metavar="RPM", help="Engine speed of the cell.", show_default=False)],
    load: Annotated[
        float, typer.Argument(metavar="LOAD", help="Load of the cell, in the table's own unit.", show_default=False)
    ],
    json: Json = False,
) -> None:
    """Write out one cell, from the donor's cell to the new one.

    Every number stands with its unit and where it came from, and with enough digits that a calculator gets the same.
    Between breakpoints the nearest cell is taken, and the answer says so.

    Example:
      basemap explain van.toml 3000 60
    """
    from basemap.adapt import adapt
    from basemap.cli.run import load as load_job
    from basemap.report import json_file
    from basemap.report.cell_in_words import as_json, as_text, cell_at

    result = adapt(load_job(job))
    cell = cell_at(result, rpm, load)
    if json:
        say(json_file.to_text(as_json(result, cell)))
    else:
        show(as_text(result, cell))
