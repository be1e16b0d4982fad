"""The lambda table that belongs to the new fuel table, in words."""

from __future__ import annotations

from basemap.model.further_table import FurtherResult
from basemap.model.result import Result
from basemap.report.extremes import extreme_in_words, extremes
from basemap.report.grid_file import further_table_name


def tables_to_load(result: Result) -> tuple[FurtherResult, ...]:
    """The further tables that hold the target's intended lambda."""
    return tuple(found for found in result.further_tables if found.table.commanded is not None)


def to_load(result: Result) -> list[str]:
    """For each of them: which file to load, and the mixture without it."""
    return [f"{found.name}: load {further_table_name(found)}.{_without(result)}" for found in tables_to_load(result)]


def _without(result: Result) -> str:
    left = result.table.lambda_table_left
    found = None if left is None else extremes(result, left)
    if found is None:
        return ""
    unit = result.job.target.shown.load_unit
    said = [extreme_in_words(one, unit) for one in found if abs(one.ratio - 1.0) > 0.0005]
    return f" Left as it was, the mixture is at worst {'; '.join(said)}." if said else ""
