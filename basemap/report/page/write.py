"""The page itself: one file that asks the network for nothing and lets only its own style and script run."""

from __future__ import annotations

import json
from base64 import b64encode
from dataclasses import asdict
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from basemap import __version__
from basemap.adaptation.first_start_card import first_start_card
from basemap.explain.cell import central_cell
from basemap.model.result import Result, Verdict
from basemap.report.brief import brief
from basemap.report.card_in_words import as_json as card_as_json
from basemap.report.card_in_words import mark
from basemap.report.json_file import plain, today
from basemap.report.page.chains import chain, chains
from basemap.report.page.grids import grids
from basemap.report.page.plots import dead_time_curves, mixture_curves, spans
from basemap.report.page.said import entries, findings, parts
from basemap.report.words import harmless, number

if TYPE_CHECKING:
    from jinja2 import Environment

_TEMPLATES = files("basemap.report.page") / "templates"


def page_html(result: Result, date: str | None = None) -> str:
    """A result as a page of HTML, complete in itself.

    Parameters
    ----------
    date
        ISO 8601; today where none is given. Nothing else differs from one run to the next.
    """
    said = brief(result)
    row, column = central_cell(result)
    shown = result.job.target.shown
    style, script = _part("page.css"), _part("page.js")
    return _environment().get_template("page.html.jinja").render(
        title=result.job.title,
        refused=result.verdict is Verdict.REFUSE,
        parts=parts(said),
        entries=entries(result, said),
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
        version=__version__,
        date=today() if date is None else date,
        fingerprint=fingerprint(result),
        style=style,
        script=script,
        policy=policy(style, script),
    )  # fmt: skip


def policy(style: str, script: str) -> str:
    """What a browser may do for the page: apply this style and run this script, and nothing else."""
    return (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def fingerprint(result: Result) -> str:
    """Names what was ticked: ticks of one map are never shown on another."""
    content = [
        card_as_json(first_start_card(result)),
        plain(result.table.to_load),
        [asdict(setting) for setting in result.settings],
        [asdict(source) for source in result.job.sources],
    ]
    return sha256(json.dumps(content).encode("ascii")).hexdigest()[:32]


def _part(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def _environment() -> Environment:
    from jinja2 import DictLoader, Environment, StrictUndefined

    names = ("page.html.jinja", "brief.html.jinja", "card.html.jinja", "tables.html.jinja")
    environment = Environment(
        loader=DictLoader({name: _part(name) for name in names}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_fit,
    )
    environment.filters["safe_text"] = _trusted
    return environment


def _fit(value: object) -> object:
    """Other people's words without what would turn the text around; what is markup already stays."""
    return value if hasattr(value, "__html__") or not isinstance(value, str) else harmless(value)


def _trusted(text: str) -> object:
    """Style and script, which are ours."""
    from markupsafe import Markup

    return Markup(text)
