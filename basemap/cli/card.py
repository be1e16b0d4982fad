"""``basemap card``: what to read before and while the engine first runs."""

from basemap.cli.options import Accept, JobFile, Json
from basemap.cli.output import say, show


def card(job: JobFile, accept: Accept = None, json: Json = False) -> None:
    """Show the first-start card: what to read, and when to stop.

    It tells when to stop, what to read with the key on, and what to expect while cranking and at idle, with the band of
    the mixture (k = 2). The workbook has the same card as a sheet that prints on one page.

    Example:
      basemap card van.toml
    """
    from basemap.adaptation.first_start_card import first_start_card
    from basemap.adaptation.pipeline import adapt
    from basemap.cli.run import load
    from basemap.report import json_text
    from basemap.report.card_in_words import as_json, as_text

    result = adapt(load(job), accept or ())
    made = first_start_card(result)
    if json:
        say(json_text.to_text(as_json(made)))
    else:
        show(as_text(made, result.job))
