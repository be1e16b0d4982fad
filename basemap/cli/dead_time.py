"""``basemap dead-time``: dead times over battery voltage, and the mixture error they leave."""

from basemap.cli.options import JobFile, Json
from basemap.cli.output import say, show


def dead_time(job: JobFile, json: Json = False) -> None:
    """Show dead times over voltage, and the mixture error they leave.

    *Hardware* is the injectors' dead time; *told* is the controller's. If the two differ, the mixture changes with
    battery voltage, most of all at idle, where pulses are short.

    Example:
      basemap dead-time van.toml
    """
    from basemap.adaptation.pipeline import compute
    from basemap.cli.run import load
    from basemap.report import json_text
    from basemap.report.dead_times import as_json, as_text

    computed = compute(load(job))
    if json:
        say(json_text.to_text(as_json(computed)))
    else:
        show(as_text(computed))
