"""``basemap adapt``: the new table and the settings that belong to it."""

import typer

from basemap.cli.options import Accept, All, Force, JobFile, Json, Out, Quiet, Samples, Seed, Tables
from basemap.cli.output import console, say, show
from basemap.errors import as_typed


def adapt(
    job: JobFile,
    out: Out = None,
    force: Force = False,
    accept: Accept = None,
    json: Json = False,
    everything: All = False,
    tables: Tables = False,
    quiet: Quiet = False,
    samples: Samples = None,
    seed: Seed = None,
) -> None:
    """Calculate the new table and the settings that go with it.

    Writes a workbook for the tuner (van.xlsx), a page with the first-start card to read on a phone at the engine
    (van.html), the result for other programs (van.json), and the new table in the donor's own shape, to paste back
    where the old one came from (fuel.new.csv). If there is a stop, workbook and page are stamped and no table to load
    is written, unless you accept each stop by name.

    Examples:
      basemap adapt van.toml
      basemap adapt van.toml --out for-the-tuner --force

    Exit status:
      0  done
      3  there is a stop: do not use the map
      2  the job or a table in it cannot be used; nothing was written
    """
    from basemap.adaptation.pipeline import adapt as carry_over
    from basemap.cli.run import Destination, drawing, load, status_of, write_all
    from basemap.report import json_file, json_text

    with drawing(samples, seed) as asked:
        result = carry_over(load(job), accept or (), asked)
    files = write_all(result, Destination(job, out, force))
    if json:
        say(json_text.to_text(json_file.as_json(result)))
    else:
        from basemap.report.terminal import result as terminal

        page, wanted = console(), terminal.Asked(all=everything, tables=tables)
        after = "" if status_of(result) else f"basemap card {as_typed(job)}"
        show(terminal.quietly(result, files) if quiet else terminal.adapted(result, files, after, page, wanted))
    raise typer.Exit(status_of(result))
