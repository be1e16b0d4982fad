"""``basemap rank``: the same target with several donors, best first."""

from pathlib import Path
from typing import Annotated

import typer

from basemap.cli.options import JobFile, Json
from basemap.cli.output import say, show


def rank(
    job: JobFile,
    donors: Annotated[
        list[Path],
        typer.Argument(
            metavar="DONOR...",
            help="Job files with one donor each, or folders of them.",
            show_default=False,
            readable=False,
        ),
    ],
    json: Json = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only the order and the verdicts.")] = False,
) -> None:
    """Rank several donors for the same target, best first.

    The target, its conditions and the options come from JOB.toml; parts that the target takes from that job's own donor
    stay the same. Each DONOR is a job file of which only the donor and its conditions are used. Donors are sorted by
    fewest stops, then fewest cautions, fewest cells outside the donor's data, and narrowest band on lambda. A donor
    that cannot be used is listed with the reason. Writes nothing.

    Examples:
      basemap rank van.toml donors
      basemap rank van.toml spare.toml pickup.toml --json
    """
    from basemap.cli.ranking import donor_files, judge_all, progress
    from basemap.errors import InputError
    from basemap.jobfile.other_donor import load_target
    from basemap.model.ranking import ranked
    from basemap.report import json_text, ranking

    target, files = load_target(job), donor_files(donors)
    with progress(len(files)) as advance:
        judged = judge_all(target, files, advance)
    found = ranked(str(target.data.get("title") or job.stem), str(job), judged)
    if not found.placed:
        count = "the donor cannot" if len(found.broken) == 1 else f"none of the {len(found.broken)} donors can"
        raise InputError(f"{count} be judged: {found.broken[0].problem}")
    if json:
        say(json_text.to_text(ranking.as_json(found)))
    else:
        show(ranking.brief(found) if quiet else ranking.as_text(found))
