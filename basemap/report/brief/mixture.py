"""The mixture of every way to load the map, how sure it is, and what to measure first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from basemap.adaptation.first_start import idle_point
from basemap.adaptation.outcomes import IDLE_PLACE, WIDE_OPEN_PLACE, places
from basemap.model.finding import Verdict
from basemap.model.installation import FloatArray
from basemap.model.result import Result
from basemap.model.table_result import LambdaCase, Point
from basemap.report.brief.statement import Statement, Topic
from basemap.report.brief.verdict import span
from basemap.report.extremes import extremes
from basemap.report.words import place_of
from basemap.rounding import NOISE, off, percent_up, rounded_down, rounded_up

_CASES: dict[LambdaCase, str] = {
    "old_table_old_settings": "map as it is",
    "new_table_old_settings": "new table, old settings",
    "old_table_new_settings": "old table, new settings",
    "new_table_new_settings": "both new",
}


def mixture(result: Result) -> Iterator[Statement]:
    """A statement for every way to load the map: its leanest and its richest cell."""
    return (_outcome(words, found) for words, found in outcomes(result))


def outcomes(result: Result) -> Iterator[tuple[str, tuple[Point, Point] | None]]:
    """Every way to load the map, with its leanest and richest cell.

    Of the new table with the new settings: as stored, and half way between the cells too.
    """
    for case, words in _CASES.items():
        found = extremes(result, result.table.lambda_ratio[case])
        yield words, _as_stored(result, found) if case == "new_table_new_settings" else found
    if result.table.lambda_table_left is not None:
        yield "lambda table as it was", extremes(result, result.table.lambda_table_left)


def _as_stored(result: Result, unrounded: tuple[Point, Point] | None) -> tuple[Point, Point] | None:
    """The leanest and the richest of the cells unrounded, the cells as stored, and the points between them."""
    table = result.table
    every = (unrounded, extremes(result, table.stored_lambda_ratio), table.between.extremes)
    known = [one for one in every if one is not None]
    if not known:
        return None
    leanest = max((lean for lean, _ in known), key=lambda one: one.ratio)
    return leanest, min((rich for _, rich in known), key=lambda one: one.ratio)


def _outcome(words: str, found: tuple[Point, Point] | None) -> Statement:
    if found is None:
        return Statement(Topic.MIXTURE, f"{words}: not known", columns=(words, "not known", "", "not known", ""))
    lean, rich = found
    columns = (words, _off(lean.ratio), _place(lean), _off(rich.ratio), _place(rich))
    return Statement(Topic.MIXTURE, f"{words}: {span(lean.ratio, rich.ratio)}", columns=columns)


def _off(ratio: float) -> str:
    return "as intended" if abs(ratio - 1.0) <= NOISE else off(ratio)


def _place(extreme: Point) -> str:
    return "" if abs(extreme.ratio - 1.0) <= NOISE else f"{extreme.rpm:g} / {extreme.load:g}"


def at_idle(result: Result) -> Iterator[Statement]:
    """What the engine does at warm idle with the new table and settings."""
    point = idle_point(result)
    if not math.isfinite(point.pulse_s) or result.verdict is Verdict.REFUSE:
        return
    said = f"pulse {1e3 * point.pulse_s:.2f} ms, duty {percent_up(point.duty)} %"
    comes, band = point.predicted_lambda, point.relative_band
    if math.isfinite(comes) and math.isfinite(band):
        low, high = rounded_down(comes * math.exp(-band), 2), rounded_up(comes * math.exp(band), 2)
        said += f", λ {comes:.2f} ({low} to {high})"
    elif math.isinf(comes):
        said += ", no fuel"
    yield Statement(Topic.IDLE, said)


def how_sure(result: Result) -> Iterator[Statement]:
    """The band on λ at idle and wide open, and what would narrow it there."""
    band = result.band
    if band.worst_cell is None:
        yield Statement(Topic.HOW_SURE, "not known: no reachable cell has a band")
        return
    at = places(result.job)
    parts = [f"{name} {_band(band.adapted, at[name].cell)}" for name in (IDLE_PLACE, WIDE_OPEN_PLACE) if name in at]
    if not parts:
        parts = [f"at worst {percent_up(band.worst)} % ({place_of(result.job, *band.worst_cell)})"]
    leaner = f". {leaner_in_words(result)}" if every_cell_was_drawn(result) else ""
    yield Statement(Topic.HOW_SURE, f"{', '.join(parts)}{leaner}{_drives(result)}")
    yield Statement(Topic.MEASURE, _measure_first(band.first) if result.table.taught is None else "log another drive")


def _drives(result: Result) -> str:
    """How much driving the band rests on; empty where there was none."""
    drives = result.table.taught
    if drives is None:
        return ""
    logs = "1 log" if len(drives.logs) == 1 else f"{len(drives.logs)} logs"
    return f", after {in_minutes(drives.seconds)} of steady driving ({logs})"


def in_minutes(seconds: float) -> str:
    """A time in words.

    >>> in_minutes(41.3), in_minutes(600.0)
    ('41 s', '10 minutes')
    """
    return f"{seconds:.0f} s" if seconds < 120.0 else f"{seconds / 60.0:.0f} minutes"


def every_cell_was_drawn(result: Result) -> bool:
    """Whether the band of every cell comes from random samples, as the user asked for."""
    band = result.band
    return bool(band.samples) and np.array_equal(band.simulated, np.isfinite(result.table.new))


def leaner_in_words(result: Result) -> str:
    """In the reachable cell that is most often lean: how many of the random samples are; no full stop."""
    band = result.band
    chance = np.where(result.table.reachable, band.leaner, np.nan)
    if not np.isfinite(chance).any():
        return "No reachable cell was sampled"
    row, column = (int(i) for i in np.unravel_index(np.nanargmax(chance), chance.shape))
    return (
        f"Of {band.samples} random samples, at most {percent_up(float(chance[row, column]))} % are more than "
        f"{100 * (band.leaner_limit - 1):.0f} % lean, at {place_of(result.job, row, column)}"
    )


def _band(band: FloatArray, cell: tuple[int, int]) -> str:
    value = float(band[cell])
    return f"{percent_up(value)} %" if np.isfinite(value) else "not known"


def _measure_first(first: Mapping[str, str]) -> str:
    idle, load = first.get(IDLE_PLACE), first.get(WIDE_OPEN_PLACE)
    if idle == load:
        return f"the {idle}" if idle else _LOG
    return f"at idle {f'the {idle}' if idle else _LOG}; at load {f'the {load}' if load else _LOG}"


_LOG = "log a drive"
"""What to do where no measurement on a bench would narrow the band much."""
