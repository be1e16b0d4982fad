"""``basemap check``: whether the donor's map suits the target."""

import typer

from basemap.cli.options import Accept, All, JobFile, Json, Quiet, Samples, Seed, Tables
from basemap.cli.output import console, say, show
from basemap.errors import as_typed
from basemap.exit_status import ExitStatus


def check(
    job: JobFile,
    accept: Accept = None,
    json: Json = False,
    everything: All = False,
    tables: Tables = False,
    quiet: Quiet = False,
    samples: Samples = None,
    seed: Seed = None,
) -> None:
    """Say whether the donor's map suits the target engine.

    Prints both engines, the verdict with its uncertainty, the mixture that each combination of old and new table and
    settings would give, and what to do before the first start. Writes nothing.

    Examples:
      basemap check van.toml
      basemap check van.toml --all

    Exit status:
      0  the map suits as it is, at load too
      4  adapt it first, or usable unchanged, but not at load until measured
      3  do not use it
      2  the job or a table in it cannot be used
    """
    from basemap.adaptation.pipeline import check as judge
    from basemap.cli.run import drawing, load
    from basemap.model.finding import HowFar, Verdict
    from basemap.report import json_file, json_text

    with drawing(samples, seed) as asked:
        result = judge(load(job), accept or (), asked)
    if json:
        say(json_text.to_text(json_file.as_json(result)))
    else:
        from basemap.report.terminal import result as terminal

        page, wanted = console(), terminal.Asked(all=everything, tables=tables)
        after = "" if result.verdict is Verdict.REFUSE else f"basemap adapt {as_typed(job)}"
        show(terminal.quietly(result) if quiet else terminal.checked(result, after, page, wanted))
    if result.verdict is Verdict.REFUSE:
        raise typer.Exit(ExitStatus.DO_NOT_USE)
    sure = result.verdict is Verdict.SUITS and result.how_far is HowFar.LOAD
    raise typer.Exit(ExitStatus.OK if sure else ExitStatus.ADAPT_FIRST)
