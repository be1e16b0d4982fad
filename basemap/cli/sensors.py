"""``basemap sensors``: the map's sensor scales against the fitted sensors, and the tables to enter."""

import typer

from basemap.cli.options import JobFile, Json
from basemap.cli.output import say, show
from basemap.exit_status import ExitStatus


def sensors(job: JobFile, json: Json = False) -> None:
    """Compare the map's sensor scales with the fitted sensors.

    A borrowed map brings its own sensor scales along. For every sensor in the job this shows how far the map misreads
    it, how far that puts the mixture off, the table to enter at the map's own voltages, and the largest error left
    between them. Writes nothing.

    Example:
      basemap sensors van.toml

    Exit status:
      0  done
      3  there is a stop for a sensor
      2  the job or a table in it cannot be used
    """
    from basemap.adaptation.pipeline import check
    from basemap.cli.run import load
    from basemap.report import json_text
    from basemap.report.sensors_in_words import as_json, as_text, sensors_stop

    result = check(load(job))
    if json:
        say(json_text.to_text(as_json(result)))
    else:
        show(as_text(result))
    raise typer.Exit(ExitStatus.DO_NOT_USE if sensors_stop(result) else ExitStatus.OK)
