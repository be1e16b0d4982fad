"""``basemap check``: whether the donor's map suits the target."""

import typer

from basemap.cli.options import Accept, JobFile, Json, Quiet, Samples, Seed
from basemap.cli.output import say, show
from basemap.exit_status import ExitStatus


def check(
    job: JobFile,
    accept: Accept = None,
    json: Json = False,
    quiet: Quiet = False,
    samples: Samples = None,
    seed: Seed = None,
) -> None:
    """Say whether the donor's map suits the target engine.

    Prints the verdict, what was found and what to do about it, and the mixture that each combination of old and new
    table and settings would give. Writes nothing.

    Example:
      basemap check van.toml

    Exit status:
      0  the map suits as it is
      4  adapt it first
      3  do not use it
      2  the job or a table in it cannot be used
    """
    from basemap.adaptation.pipeline import check as judge
    from basemap.cli.run import drawing, load
    from basemap.model.result import Verdict
    from basemap.report import json_file

    with drawing(samples, seed) as asked:
        result = judge(load(job), accept or (), asked)
    if json:
        say(json_file.to_text(json_file.as_json(result)))
    else:
        from basemap.report.terminal import result as terminal

        show(terminal.brief(result) if quiet else terminal.checked(result, f"basemap adapt {job}"))
    status = {
        Verdict.SUITS: ExitStatus.OK,
        Verdict.ADAPT: ExitStatus.ADAPT_FIRST,
        Verdict.REFUSE: ExitStatus.DO_NOT_USE,
    }
    raise typer.Exit(status[result.verdict])
