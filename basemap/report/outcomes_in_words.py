"""The mixture of every way to load the map, and how sure it is, for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from basemap.model.band import Band
from basemap.model.likeness import Breathing
from basemap.model.result import Result
from basemap.model.table_result import LambdaCase, Point
from basemap.report.brief.mixture import every_cell_was_drawn, leaner_in_words
from basemap.report.extremes import extremes
from basemap.report.terminal.layout import columns, heading, indented
from basemap.report.words import harmless, number, place_of
from basemap.rounding import percent_up, signed_percent

if TYPE_CHECKING:
    from rich.console import RenderableType

_CASES: dict[LambdaCase, str] = {
    "old_table_old_settings": "old table, old settings",
    "old_table_new_settings": "old table, new settings",
    "new_table_old_settings": "new table, old settings",
    "new_table_new_settings": "new table, new settings",
}


def mixture(result: Result) -> list[RenderableType]:
    """Leanest and richest cell of each outcome, of the stored table, and half way between its cells."""
    table = result.table
    cases = [(words, table.lambda_ratio[case]) for case, words in _CASES.items()]
    cases.append(("the same, as stored", table.stored_lambda_ratio))
    if table.lambda_table_left is not None:
        cases.append(("lambda table left as it was", table.lambda_table_left))
    rows = [_case(words, extremes(result, ratio)) for words, ratio in cases]
    rows.append(_case("half way between cells", table.between.extremes))
    return [
        *heading("mixture when it is loaded"),
        indented(
            "Lambda compared with the intended lambda, open loop, over the reachable cells: + is lean, - is rich. "
            f"Places are rpm / {result.job.target.shown.load_unit}."
        ),
        columns(rows, head=["", "leanest", "at", "richest", "at"], left=(0, 2, 4)),
    ]


def _case(words: str, found: tuple[Point, Point] | None) -> list[str]:
    if found is None:
        return [words, "not known", "", "not known", ""]
    lean, rich = found
    return [words, signed_percent(lean.ratio), _place(lean), signed_percent(rich.ratio), _place(rich)]


def _place(extreme: Point) -> str:
    return "" if signed_percent(extreme.ratio) == "0.0 %" else f"{extreme.rpm:g} / {extreme.load:g}"


def how_sure(result: Result) -> list[RenderableType]:
    """The widest band on λ after adapting, what to measure first, and what the band is made of."""
    band = result.band
    parts = heading("how sure the mixture is, once adapted")
    if band.worst_cell is None:
        return [*parts, indented("Not known: no reachable cell has a band.")]
    widest = (
        f"Lambda within ± {percent_up(band.worst)} % (k = 2) at worst, at {place_of(result.job, *band.worst_cell)}."
    )
    parts += [indented(widest), indented(harmless(band.advice))]
    if band.samples and np.isfinite(band.leaner).any() and not every_cell_was_drawn(result):  # else the brief says it
        parts.append(indented(f"{leaner_in_words(result)}."))
    return [*parts, Text(""), *_shares(band)]


SHARES_SHOWN = 6


def _shares(band: Band) -> list[RenderableType]:
    """The inputs with the largest shares in the band; an asterisk where the program assumed the spread."""
    largest = sorted(band.shares, key=lambda share: -max(share.places.values(), default=0.0))[:SHARES_SHOWN]
    if not largest:
        return []
    places = list(largest[0].places)
    rows = [
        [
            share.name + (" *" if share.assumed else ""),
            f"{number(share.standard, 2)} {share.unit}",
            *(f"{100 * share.places[place]:.0f}" for place in places),
        ]
        for share in largest
    ]
    note = "Share of the variance in %, u is the standard uncertainty of the input; * its spread is assumed."
    return [columns(rows, head=["what it is made of", "u", *places], left=(0,)), indented(note)]


def breathing_in_words(result: Result) -> str:
    """How far the cells allow for how the target breathes; empty where they do not."""
    factor, reachable = result.table.breathing_factor, result.table.reachable
    if factor is None:
        return ""
    known = factor[reachable & np.isfinite(factor)]
    breathing, estimated = result.table.breathing, result.job.breathing is not Breathing.SAME
    sources = [str(result.job.breathing)] if estimated and breathing.by_physics.any() else []
    if breathing.by_evidence.any():
        sources += [entry.name for entry in breathing.evidence]
    asked = estimated and not result.job.breathing_by_default
    begin = f"{'THIS TABLE IS AN ESTIMATE: breathing' if asked else 'How the target breathes'} ({', '.join(sources)})"
    if not known.size:
        return f"{begin} leaves every reachable cell without air."
    return (
        f"{begin} changes the air of the reachable cells by {signed_percent(float(known.min()))} to "
        f"{signed_percent(float(known.max()))}."
    )
