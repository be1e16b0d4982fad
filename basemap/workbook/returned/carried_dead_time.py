"""Points of a dead time that a tuner changed, as numbers of the lists in the job file."""

from __future__ import annotations

from basemap.errors import InputError
from basemap.model.key_edit import Key, KeyEdit
from basemap.workbook.inputs.dead_time_blocks import Block
from basemap.workbook.pages.dead_time import TIME_LIMITS_MS, VOLT_LIMITS
from basemap.workbook.returned.book import Address
from basemap.workbook.returned.carrying import Carrying, Changed, figure, path
from basemap.workbook.returned.edits import Edit
from basemap.workbook.returned.numbers import InputLimits, typed_number

_VOLTS = InputLimits("V", *VOLT_LIMITS)


def take_dead_time(work: Carrying, edit: Edit, block: Block) -> None:
    """Carry a voltage or a time; all points, where the job file has none."""
    if not any(key.startswith(f"{block.key}.battery") for key in work.job.inputs):
        _take_all(work, edit, block)
        return
    is_time = edit.area == block.times
    limits = _times(block) if is_time else _VOLTS
    value = typed_number(work.book, edit.at, limits)
    at = _place_in_list(work, block, "battery", edit.row)
    key: Key = (*path(block.key), "battery", at)
    if is_time:
        key = (*path(block.key), "time", _place_in_list(work, block, "pressure", edit.col), at)
    before = edit.before if isinstance(edit.before, float) else None
    words = "empty" if before is None else figure(before, limits.unit), figure(value, limits.unit)
    said = f"{block.key}.{'time' if is_time else 'battery'}, entry {at + 1}"
    work.change(edit, KeyEdit(key, value, work.origin(edit.at), limits.unit, before), words, said)
    work.want(edit, value)


def _place_in_list(work: Carrying, block: Block, key: str, index: int) -> int:
    """The place of a point in the job file, whose lists may be in any order, while those of the workbook rise."""
    values = [one.value for name, one in work.job.inputs.items() if name.startswith(f"{block.key}.{key}[")]
    return sorted(range(len(values)), key=values.__getitem__)[index] if values else 0


def _take_all(work: Carrying, edit: Edit, block: Block) -> None:
    volts, times = work.book.names[block.volts], work.book.names[block.times]
    if times.cols != 1:
        raise InputError("has dead times at pressures that its job file does not hold", file=work.book.file)
    origin = work.origin(edit.at)
    lists = {"battery": _list(work, [*volts.cells()], _VOLTS), "time": _list(work, [*times.cells()], _times(block))}
    work.want(edit, typed_number(work.book, edit.at, _times(block) if edit.area == block.times else _VOLTS))
    if any(one.key == path(block.key) for one in work.edits):
        return
    work.edits.append(KeyEdit(path(block.key), None, origin))
    for key, figures in lists.items():
        work.edits.append(KeyEdit((*path(block.key), key), figures, origin))
        work.changed.append(Changed(f"{block.key}.{key}", "not stated", ", ".join(figures), edit.place))


def _list(work: Carrying, cells: list[Address], limits: InputLimits) -> list[str]:
    return [figure(typed_number(work.book, at, limits), limits.unit) for at in cells]


def _times(block: Block) -> InputLimits:
    low, high, why = TIME_LIMITS_MS
    return InputLimits(block.unit, low / block.size, high / block.size, why)
