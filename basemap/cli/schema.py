"""``basemap schema``: the job file as JSON Schema."""

from basemap.cli.output import say


def schema() -> None:
    """Print a JSON Schema of the job file, for an editor.

    An editor that knows it completes the keys and shows what each is. What `new` writes has it beside itself
    already, and names it in its first line.

    Example:
      basemap schema > basemap.schema.json
    """
    from basemap.jobfile.json_schema import job_file_schema
    from basemap.report.json_text import to_text

    say(to_text(job_file_schema()))
