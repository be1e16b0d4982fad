"""The page of what the drives taught."""

from __future__ import annotations

from dataclasses import dataclass

from basemap.model.learnt import Learnt
from basemap.model.result import Result
from basemap.report.grid_file import grid_name
from basemap.report.learnt_in_words import (
    FOOTER,
    NO_FAULT,
    NOT_IN_A_LOG,
    NOT_PROVED,
    NOTHING_CROSSED,
    cells,
    clock,
    compared,
    controller,
    dangers,
    fault_in_words,
    lean_end,
    likely,
    next_points,
    nothing_crossed,
)
from basemap.report.page.along import drives
from basemap.report.page.band_map import band_maps
from basemap.report.page.frame import render
from basemap.report.page.grids import learnt_grids


@dataclass(frozen=True)
class _File:
    """A file that was read, and its SHA-256."""

    file: str
    sha256: str


def learnt_html(result: Result, found: Learnt, date: str | None = None) -> str:
    """What the drives taught, as one complete page of HTML without a script.

    Parameters
    ----------
    date
        ISO 8601; today where none is given. Nothing else differs from one run to the next.
    """
    table = found.table
    nothing_to_load = found.stopped or table is None
    stamp = " - NOT TO BE LOADED" if nothing_to_load else ""
    return render(
        "learnt.html.jinja",
        date,
        title=result.job.title,
        nothing_to_load=nothing_to_load,
        dangers=dangers(found),
        clear=NOTHING_CROSSED if nothing_crossed(found) else "",
        file=grid_name(result),
        not_proved="" if found.proved or table is None else NOT_PROVED,
        card=[one for one in found.card if one.within is not None],
        not_seen=list(dict.fromkeys(one.line for one in found.card if one.within is None)),
        clock=clock,
        drives=drives(found),
        cells=[] if table is None else cells(result, table),
        lean_end="" if table is None else lean_end(result, table),
        maps=None if table is None else band_maps(result, table, found.logs),
        faults=[fault_in_words(fault) for fault in likely(found)] or ([(NO_FAULT, "")] if found.faults else []),
        controller="" if found.controller is None else controller(found.controller),
        next_points=next_points(result, found),
        grids=[] if table is None else list(learnt_grids(result, table, stamp)),
        load_unit=result.job.target.shown.load_unit,
        not_in_a_log=NOT_IN_A_LOG,
        compared=compared(found),
        footer=FOOTER,
        sources=[*result.job.sources, *(_File(log.file, log.sha256) for log in found.logs)],
    )
