"""What a drive taught, on a terminal: what is dangerous first, then the card, the table, and where to drive next."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from basemap.model.learnt import Learnt
from basemap.model.result import Result
from basemap.report.learnt_in_words import (
    FOOTER,
    NO_FAULT,
    NOT_PROVED,
    NOTHING_CROSSED,
    cells,
    compared,
    controller,
    dangers,
    fault_in_words,
    lean_end,
    likely,
    next_points,
    nothing_crossed,
)
from basemap.report.terminal.layout import columns, hanging, heading, indented
from basemap.report.words import harmless

if TYPE_CHECKING:
    from rich.console import RenderableType

Parts = list["RenderableType"]

_LABEL = 9


def learnt(result: Result, found: Learnt, files: Sequence[Path]) -> Group:
    """Everything that `learn` prints."""
    return Group(
        Text(harmless(result.job.title), style="bold"),
        *_dangers(found),
        *_card(found),
        *_table(result, found),
        *_faults(found),
        *_controller(found),
        *_next(result, found),
        *_used(found),
        *_files(files),
        Text(""),
        indented(FOOTER, by=0),
    )


def brief(found: Learnt, files: Sequence[Path]) -> Group:
    """What ``--quiet`` prints: what is dangerous, what holds the table back, the files."""
    return Group(*_dangers(found), *(Text(str(path)) for path in files))


def _dangers(found: Learnt) -> Parts:
    clear = [Text(NOTHING_CROSSED)] if nothing_crossed(found) else []
    return [
        *(
            hanging(one.label, [harmless(one.says)], style="bold red" if one.stop else "bold", width=_LABEL)
            for one in dangers(found)
        ),
        *clear,
    ]


def _card(found: Learnt) -> Parts:
    seen = [one for one in found.card if one.within is not None]
    if not seen:
        return []
    rows = [[one.line, one.predicted, one.seen, "yes" if one.within else "NO"] for one in seen]
    return [
        *heading("against the card"),
        columns(rows, head=["line", "predicted", "seen", "within"], left=(0, 1, 2, 3)),
    ]


def _table(result: Result, found: Learnt) -> Parts:
    table = found.table
    if table is None:
        return []
    rows = [
        [one.name, str(one.count), one.were, one.change, one.band_before, one.band_now] for one in cells(result, table)
    ]
    head = ["cells", "", "were", "change", "band before", "band now"]
    said = [lean_end(result, table), "" if found.proved else NOT_PROVED]
    return [*heading("the table"), columns(rows, head=head, left=(0, 2, 3)), *(indented(one) for one in said if one)]


def _faults(found: Learnt) -> Parts:
    if not found.faults:
        return []
    said = [(what, test) for what, test in map(fault_in_words, likely(found))] or [(NO_FAULT, "")]
    return [
        *heading("what it looks like"),
        *(indented(f"{what} Test: {test}" if test else what) for what, test in said),
    ]


def _controller(found: Learnt) -> Parts:
    if found.controller is None:
        return []
    return [*heading("what the controller really commands"), indented(controller(found.controller))]


def _next(result: Result, found: Learnt) -> Parts:
    if not found.next_points:
        return []
    return [*heading("drive next, some seconds each"), columns(next_points(result, found), left=(2,))]


def _used(found: Learnt) -> Parts:
    return [*heading("compared"), *(indented(harmless(line)) for line in compared(found))]


def _files(files: Sequence[Path]) -> Parts:
    return [*heading("written"), *(indented(harmless(str(path))) for path in files)] if files else []
