"""``basemap schema``: the job file, or what the program writes as JSON, as JSON Schema."""

from typing import Annotated

import typer

from basemap.cli.output import say
from basemap.errors import InputError


def schema(
    result: Annotated[bool, typer.Option("--result", help="The schema of what adapt and check write.")] = False,
    learnt: Annotated[bool, typer.Option("--learnt", help="The schema of what learn writes.")] = False,
) -> None:
    """Print a JSON Schema of the job file, or of the JSON results.

    An editor that uses it completes the keys and shows what each one is. "basemap new" writes it next to the job file,
    whose first line names it.

    Example:
      basemap schema > basemap.schema.json
    """
    from basemap.report.json_text import to_text

    if result and learnt:
        raise InputError("--result and --learnt are two schemas: ask for one at a time")
    say(to_text(_asked_for(result=result, learnt=learnt)))


def _asked_for(*, result: bool, learnt: bool) -> dict[str, object]:
    if result:
        from basemap.report.result_schema import result_schema

        return result_schema()
    if learnt:
        from basemap.report.learnt_schema import learnt_schema

        return learnt_schema()
    from basemap.jobfile.json_schema import job_file_schema

    return job_file_schema()
