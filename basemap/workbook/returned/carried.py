"""The inputs that a tuner changed in a workbook, as changes of the job file that it was issued from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from basemap.constants import SAME
from basemap.errors import InputError
from basemap.model.job import SIDES
from basemap.model.key_edit import KeyEdit
from basemap.model.result import Computed
from basemap.workbook.inputs.dead_time_blocks import blocks_of
from basemap.workbook.inputs.input_cell import NO, YES, InputCell
from basemap.workbook.inputs.inputs import input_cells
from basemap.workbook.returned.carried_dead_time import take_dead_time
from basemap.workbook.returned.carried_fuel import is_of_fuel, take_fuel, take_number
from basemap.workbook.returned.carrying import Carrying, Changed, Place, path
from basemap.workbook.returned.edits import Edit, WorkbookDifference, said
from basemap.workbook.returned.numbers import InputLimits, typed_number, typed_word

_WHY_LEFT: Mapping[str, str] = {
    "old_table": "it is in the file of the donor's table: change it there",
    "budget_spreads": 'a spread belongs after its value, as in "280 cc/min ± 3 %": write it there',
}


@dataclass(frozen=True)
class Carried:
    """The edits that go into the job file, and those that cannot.

    Parameters
    ----------
    edits
        Changes of keys, in the order in which they are made.
    changed
        The same in words.
    left
        Edits that no key of the job file can hold, each with the reason.
    wanted
        The values that the inputs of the new job must have, by their places in the workbook.
    """

    edits: tuple[KeyEdit, ...]
    changed: tuple[Changed, ...]
    left: tuple[tuple[Edit, str], ...]
    wanted: Mapping[Place, float | str]


def carried(found: WorkbookDifference, computed: Computed) -> Carried:
    """Turn the edits of a returned workbook into changes of its job file.

    Parameters
    ----------
    found
        The issued and the returned workbook, compared.
    computed
        What follows from the job that the workbook was issued from.

    Raises
    ------
    InputError
        Where a cell holds something that its input cannot be: another unit, a formula, words, a number out of range.
    """
    work = Carrying(found.books[1], computed.job, {cell.name: cell for cell in input_cells(computed.job)})
    _refuse_other(found, computed)
    blocks = {name: one for one in blocks_of(computed) for name in (one.volts, one.times)}
    fuels: dict[str, list[Edit]] = {side: [] for side in SIDES}
    for edit in found.edits:
        cell, block = work.cells.get(edit.area), blocks.get(edit.area)
        if edit.kind == "remark":
            continue
        if edit.kind == "formula overwritten":
            work.leave(edit, "it follows from the inputs: change those")
        elif cell is not None and is_of_fuel(cell):
            fuels[cell.side].append(edit)
        elif cell is not None:
            _take(work, edit, cell)
        elif block is not None:
            take_dead_time(work, edit, block)
        else:
            work.leave(edit, _why_left(edit.area))
    for side, edits in fuels.items():
        if edits:
            take_fuel(work, side, edits)
    return Carried(tuple(work.edits), tuple(work.changed), tuple(work.left), work.wanted)


def refuse_unlike(found: WorkbookDifference, done: Carried, new: Computed) -> None:
    """Refuse a job that does not hold what the returned workbook shows.

    Raises
    ------
    InputError
        Naming the first input that differs.
    """
    values = _input_values(new)
    for (area, row, col), wanted in done.wanted.items():
        if not _alike(values.get((area, row, col)), wanted):
            at = found.books[1].names[area]
            raise InputError(
                f"{area} holds {said(wanted)}, which its key in the job file cannot express: change it by hand",
                file=found.returned,
                place=f"sheet {at.sheet}",
            )


def _refuse_other(found: WorkbookDifference, computed: Computed) -> None:
    """Refuse an issued workbook whose inputs are not those of the job: one of another version of the program."""
    issued = found.books[0]
    for (area, row, col), value in _input_values(computed).items():
        at = issued.names.get(area)
        if at is None or not _alike(issued.shown((at.sheet, at.row + row, at.col + col)), value):
            raise InputError(
                f"does not hold {area} as its job file does: another version of this program wrote it; issue it again "
                'with "basemap adapt"',
                file=found.issued,
            )


def _alike(one: object, other: float | str) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    return one == other


def _input_values(computed: Computed) -> dict[Place, float | str]:
    """The value of every input that a workbook of this job would have."""
    values: dict[Place, float | str] = {}
    for cell in input_cells(computed.job):
        values[cell.name, 0, 0] = cell.value if isinstance(cell.value, str) else float(cell.value)
    for one in blocks_of(computed):
        for row, volts in enumerate(one.dead_time.battery_v):
            values[one.volts, row, 0] = float(volts)
            for col, times_s in enumerate(one.dead_time.time_s):
                values[one.times, row, col] = float(times_s[row]) * 1e3 / one.size
    return values


def _take(work: Carrying, edit: Edit, cell: InputCell) -> None:
    if isinstance(cell.value, str):
        word = typed_word(work.book, edit.at, cell.choices)
        change = KeyEdit(path(cell.key), {YES: True, NO: False}.get(word, word), work.origin(edit.at))
        work.change(edit, change, (cell.value, word))
        work.want(edit, word)
    else:
        take_number(work, edit, cell, _of_both(work, edit, cell))


def _of_both(work: Carrying, edit: Edit, cell: InputCell) -> str:
    """The key for both sides, where the job states it so and both cells have the same value now; else empty."""
    shared, stem = cell.key.partition(".")[2], cell.name.partition("_")[2]
    if not shared.startswith("conditions.") or shared not in work.job.inputs:
        return ""
    value = typed_number(work.book, edit.at, InputLimits.of(cell))
    for side in SIDES:
        other = work.cells.get(f"{side}_{stem}")
        if other is None or other.follows or other.key in work.job.inputs:
            return ""
        shown = work.book.shown(work.book.first(other.name))
        if (
            other.key != f"{side}.{shared}"
            or not isinstance(shown, float)
            or not math.isclose(shown, value, rel_tol=SAME)
        ):
            return ""
    return shared


def _why_left(area: str) -> str:
    if area.endswith("_lambda_table"):
        return "it is in the file of the lambda table: change it there"
    return _WHY_LEFT.get(area, "no key of the job file holds it")
