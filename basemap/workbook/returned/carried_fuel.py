"""A fuel that a tuner changed; the job file states it by name, by its parts, or by ratio and density."""

from __future__ import annotations

from basemap.model.key_edit import KeyEdit
from basemap.workbook.inputs.input_cell import AS_PARTS, AS_TYPED, InputCell
from basemap.workbook.returned.carrying import Carrying, Changed, figure, path
from basemap.workbook.returned.edits import Edit
from basemap.workbook.returned.numbers import InputLimits, typed_number, typed_word

_KEYS = ("blend", "parts", "stoichiometric", "density", "density_at")
_OWN_CELLS = {AS_PARTS: "_part_", AS_TYPED: "_typed_"}
"""Part of the names of the cells that belong to this way of stating a fuel; its name alone needs none."""


def is_of_fuel(cell: InputCell) -> bool:
    """Whether a cell says what the fuel is."""
    stem = cell.name.partition("_")[2]
    return stem == "fuel" or stem.startswith(("part_", "typed_"))


def take_fuel(work: Carrying, side: str, edits: list[Edit]) -> None:
    """Carry all edits of one side's fuel; those that belong to another way of stating it have no effect."""
    chosen = work.cells[f"{side}_fuel"]
    named = next((edit for edit in edits if edit.area == chosen.name), None)
    word = str(chosen.value) if named is None else typed_word(work.book, named.at, chosen.choices)
    own = _OWN_CELLS.get(word, "")
    if named is not None:
        _told_anew(work, named, chosen, word)
        work.want(named, word)
    for edit in edits:
        if edit is named:
            continue
        if not own or own not in edit.area:
            work.leave(edit, f"it has no effect: the fuel is {_in_words(word)}")
        elif named is None:
            take_number(work, edit, work.cells[edit.area])


def take_number(work: Carrying, edit: Edit, cell: InputCell, key: str = "") -> None:
    """Carry the number of an input cell to its key, or to another key."""
    assert isinstance(cell.value, float | int)
    value, written = typed_number(work.book, edit.at, InputLimits.of(cell)), key or cell.key
    both = path(cell.key.partition(".")[2]) if ".conditions." in cell.key else ()
    spread = cell.spread.replace("(k = 2)", "k=2")
    change = KeyEdit(
        path(written),
        value,
        work.origin(edit.at),
        _unit(cell),
        before=float(cell.value),
        spread=spread,
        written_at=both,
    )
    work.change(edit, change, (figure(cell.value, cell.unit), figure(value, cell.unit)), written)
    work.want(edit, value)


def _told_anew(work: Carrying, edit: Edit, chosen: InputCell, word: str) -> None:
    """Replace the keys of the old way of stating the fuel by those of the new one."""
    side, origin, own = chosen.side, work.origin(edit.at), _OWN_CELLS.get(word, "")
    work.edits += [KeyEdit((side, "fuel", key), None, origin) for key in _KEYS if own or key != "blend"]
    said = []
    for name, cell in work.cells.items():
        if not own or not name.startswith(side + own):
            continue
        value = typed_number(work.book, work.book.first(name), InputLimits.of(cell))
        if value or word == AS_TYPED:
            work.edits.append(KeyEdit(path(cell.key), value, origin, _unit(cell)))
            said.append(f"{figure(value, cell.unit)} {cell.key.rpartition('.')[2]}")
    if not own:
        work.edits.append(KeyEdit((side, "fuel", "blend"), word, origin))
    work.changed.append(Changed(f"{side}.fuel", _in_words(str(chosen.value)), ", ".join(said) or word, edit.place))


def _unit(cell: InputCell) -> str:
    """The unit for the job file, in which a share has none."""
    return "" if cell.unit == "vol %" else cell.unit


def _in_words(word: str) -> str:
    return {AS_PARTS: "told by its parts", AS_TYPED: "told by its ratio and density"}.get(word, word)
