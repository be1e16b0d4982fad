"""The page of a result."""

from __future__ import annotations

import json
from dataclasses import asdict
from hashlib import sha256

from basemap.adaptation.first_start_card import first_start_card
from basemap.explain.cell import central_cell
from basemap.model.finding import Verdict
from basemap.model.result import Result
from basemap.report.brief import brief
from basemap.report.card_in_words import as_json as card_as_json
from basemap.report.card_in_words import mark
from basemap.report.json_text import plain
from basemap.report.page.chains import chain, chains
from basemap.report.page.frame import render
from basemap.report.page.grids import grids
from basemap.report.page.plots import dead_time_curves, mixture_curves, spans
from basemap.report.page.said import findings, passages, to_type_in
from basemap.report.words import number


def page_html(result: Result, date: str | None = None) -> str:
    """A result as one complete page of HTML.

    Parameters
    ----------
    date
        ISO 8601; today where none is given. Nothing else differs from one run to the next.
    """
    said = brief(result)
    row, column = central_cell(result)
    shown = result.job.target.shown
    return render(
        "page.html.jinja",
        date,
        "page.js",
        title=result.job.title,
        refused=result.verdict is Verdict.REFUSE,
        parts=passages(result, said),
        to_type_in=to_type_in(result, said),
        load_unit=shown.load_unit,
        card=first_start_card(result),
        mark=mark,
        grids=list(grids(result)),
        chains=chains(result),
        worked=chain(result, row, column),
        worked_at=(number(float(result.job.rpm[column]), 5), number(float(shown.load[row]))),
        spans=spans(result),
        curves=[one for one in (dead_time_curves(result), mixture_curves(result)) if one is not None],
        findings=findings(result),
        sources=result.job.sources,
        fingerprint=fingerprint(result),
    )  # fmt: skip


def fingerprint(result: Result) -> str:
    """The name under which ticks are kept, so that ticks of one map are never shown on another."""
    content = [
        card_as_json(first_start_card(result)),
        plain(result.table.to_load),
        [asdict(setting) for setting in result.settings],
        [asdict(source) for source in result.job.sources],
    ]
    return sha256(json.dumps(content).encode("ascii")).hexdigest()[:32]
