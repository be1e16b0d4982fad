"""What was changed in a workbook, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from basemap.report.json_text import SCHEMA
from basemap.report.words import harmless
from basemap.workbook.returned.carried import Carried
from basemap.workbook.returned.edits import Edit, Kind, WorkbookDifference

if TYPE_CHECKING:
    from rich.console import Group, RenderableType

_MOST_SAID = 40
_HEADINGS: dict[Kind, str] = {
    "input": "inputs changed",
    "table cell": "cells changed",
    "remark": "remarks of the tuner",
    "formula overwritten": "formulas replaced by something else",
}


def as_json(found: WorkbookDifference) -> dict[str, Any]:
    """The changes as JSON."""
    return {
        "schema": SCHEMA,
        "issued": found.issued,
        "returned": found.returned,
        "edits": [_edit_as_json(edit) for edit in found.edits],
    }


def carried_as_json(done: Carried, written: str | None) -> dict[str, Any]:
    """What went into the job file, as JSON; without a file where nothing did."""
    return {
        "job_file": written,
        "changed_keys": [
            {"key": one.key, "before": one.before, "after": one.after, "place": one.place} for one in done.changed
        ],
        "not_carried": [{**_edit_as_json(edit), "why": why} for edit, why in done.left],
    }


def _edit_as_json(edit: Edit) -> dict[str, Any]:
    return {"kind": edit.kind, "name": edit.name, "place": edit.place, "before": edit.before, "after": edit.after}


def as_text(found: WorkbookDifference) -> Group:
    """The changes for the terminal, kind by kind."""
    from rich.console import Group

    from basemap.report.terminal.layout import indented

    if not found.edits:
        return Group(*_head(found), indented("No input and no cell was changed."))
    parts = [*_head(found), *(part for kind in _HEADINGS for part in _of_kind(found, kind))]
    if any(edit.kind == "formula overwritten" for edit in found.edits):
        parts.append(indented("A formula that was replaced no longer follows the inputs: check what depends on it."))
    return Group(*parts)


def carried_as_text(found: WorkbookDifference, done: Carried, written: str | None) -> Group:
    """The remarks, what went into the job file, and what did not with the reason, for the terminal."""
    from rich.console import Group

    from basemap.report.terminal.layout import indented

    parts = [*_head(found), *_of_kind(found, "remark")]
    if written is None:
        parts.append(indented("No input of the job was changed: no job file is written."))
    else:
        changed = [f"{one.key}: {one.before} → {one.after} ({one.place})" for one in done.changed]
        parts += _listed("carried into the job file", changed)
    if done.left:
        parts += _listed("not carried over", [f"{edit}; {why}" for edit, why in done.left])
    return Group(*parts)


def _head(found: WorkbookDifference) -> list[RenderableType]:
    from rich.text import Text

    return [
        Text(f"issued:   {harmless(found.issued)}", style="bold"),
        Text(f"returned: {harmless(found.returned)}", style="bold"),
    ]


def _of_kind(found: WorkbookDifference, kind: Kind) -> list[RenderableType]:
    edits = [str(edit) for edit in found.edits if edit.kind == kind]
    return _listed(_HEADINGS[kind], edits) if edits else []


def _listed(title: str, lines: list[str]) -> list[RenderableType]:
    """Lines below a heading; of very many only the first."""
    from basemap.report.terminal.layout import heading, indented

    parts = [*heading(title), *(indented(harmless(line)) for line in lines[:_MOST_SAID])]
    if len(lines) > _MOST_SAID:
        parts.append(indented(f"and {len(lines) - _MOST_SAID} more: --json lists them all."))
    return parts
