"""A job file with some of its keys changed; comments, order and everything else are kept."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, MutableMapping, MutableSequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from basemap.constants import SAME
from basemap.errors import InputError
from basemap.model.key_edit import Key, KeyEdit

if TYPE_CHECKING:
    from tomlkit.items import Item

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_DIGITS = 12
"""Significant digits of a written number: enough for what a person types, too few for the noise of a conversion."""


def edited(text: str, edits: Iterable[KeyEdit]) -> str:
    """The text of a job file after some changes of its keys.

    Parameters
    ----------
    text
        Of the job file, TOML.
    edits
        In the order in which they are made.

    Raises
    ------
    InputError
        If the file is written in a way that cannot be changed safely.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    wanted = tomllib.loads(text)
    try:
        document = tomlkit.parse(text)
        for asked in edits:
            edit = replace(asked, key=_as_listed(wanted, asked.key))
            if edit.value is None and _found(wanted, edit.key) is None:
                continue
            value = _value(wanted, edit)
            _set(wanted, edit.key, value)
            _write(document, edit, value)
        done = _line_ends_of(text, tomlkit.dumps(document))
        right = tomllib.loads(done) == wanted
    except (TOMLKitError, ValueError, LookupError, TypeError, AttributeError):
        right = False
    if not right:
        # The new text is read again by another parser and compared with the change that was meant.
        raise InputError(
            "is written in a way that a program cannot change safely: make the changes that "
            '"basemap compare" prints by hand'
        )
    return done


def _line_ends_of(text: str, done: str) -> str:
    """Give new lines the line ends of the file."""
    return done.replace("\r\n", "\n").replace("\n", "\r\n") if "\r\n" in text else done


def _as_listed(data: Mapping[str, Any], key: Key) -> Key:
    """The key of a place in a list of lists, if the file writes it as one list, or as one value without a list."""
    names = tuple(part for part in key if isinstance(part, str))
    places = tuple(part for part in key if isinstance(part, int))
    depth, held = 0, _found(data, names)
    while isinstance(held, list) and held:
        depth, held = depth + 1, held[0]
    return (*names, *places[len(places) - depth :]) if depth else names


def _value(data: Mapping[str, Any], edit: KeyEdit) -> Any:
    """The value to write: a number in the form of the old text."""
    if edit.value is None or not isinstance(edit.value, float):
        return edit.value
    old = _found(data, edit.key)
    return with_number(_found(data, edit.written_at) if old is None else old, edit)


def with_number(written: object, edit: KeyEdit) -> str | float | int:
    """`written` with another number in it; the text around the number is kept.

    >>> with_number("280 cc/min ± 3 %", KeyEdit(("flow",), 290.0, "", unit="cc/min", before=280.0))
    '290 cc/min ± 3 %'
    >>> with_number("24 lb/h = 252 cc/min", KeyEdit(("flow",), 30.0, "", unit="lb/h", before=24.0))
    '30 lb/h = 315 cc/min'
    >>> with_number(None, KeyEdit(("battery",), 13.5, "", unit="V"))
    '13.5 V'
    """
    value, before = edit.value, edit.before
    assert isinstance(value, float)
    if isinstance(written, str) and before is not None:
        start = _NUMBER.match(written.lstrip())
        if start is not None and before != 0 and math.isclose(float(start[0]), before, rel_tol=SAME):
            return _shortest(value) + _second(written.lstrip()[start.end() :], value / before)
    if edit.unit or edit.spread:
        return " ".join(part for part in (_shortest(value), edit.unit, edit.spread) if part)
    return int(value) if value.is_integer() and not isinstance(written, float) else float(_shortest(value))


def _second(rest: str, ratio: float) -> str:
    """The same flow as volume and as mass: the second changes as the first does."""
    first, sign, second = rest.partition(" = ")
    found = _NUMBER.match(second.lstrip())
    if not sign or found is None:
        return rest
    return f"{first}{sign}{_shortest(float(found[0]) * ratio)}{second.lstrip()[found.end() :]}"


def _shortest(value: float) -> str:
    return f"{value:.{_DIGITS}g}"


def _found(data: Any, key: Key) -> Any:
    """The value at a key; `None` if there is none."""
    for part in key:
        inside = isinstance(data, MutableMapping) and part in data
        if not inside and not (isinstance(data, list) and isinstance(part, int) and part < len(data)):
            return None
        data = data[part]
    return data if key else None


def _set(data: Any, key: Key, value: Any) -> None:
    """Change plain data as the file is to be changed."""
    *sections, last = key
    for part in sections:
        data = data.setdefault(part, {}) if isinstance(data, dict) else data[part]
    if value is None:
        data.pop(last, None)
    else:
        data[last] = value


def _write(document: Any, edit: KeyEdit, value: Any) -> None:
    """The same in the file's own text, with a comment that says where it comes from."""
    import tomlkit

    *sections, last = edit.key
    place, remarked = document, None
    for part in sections:
        if isinstance(place, MutableSequence) and isinstance(part, int):
            place = place[part]
            continue
        if part not in place:
            _add(place, str(part), tomlkit.table())
        remarked = (place, part)
        place = place[part]
    if value is None:
        place.pop(last, None)
        return
    if isinstance(place, MutableMapping) and not _is_inline(place):
        if last in place:
            place[last] = value
        else:
            _add(place, str(last), tomlkit.item(value))
        _remark(place.item(last) if hasattr(place, "item") else place[last], edit.origin)
        return
    # A list, or a section on one line, has room for a comment only after the whole.
    place[last] = value
    if remarked is not None:
        _remark(remarked[0][remarked[1]], edit.origin)


def _is_inline(place: object) -> bool:
    from tomlkit.items import InlineTable

    return isinstance(place, InlineTable)


def _remark(item: Item, origin: str) -> None:
    """Add a comment, after any that is already there."""
    held = item.trivia.comment.removeprefix("#").strip()
    if origin not in held:
        item.comment(f"{held}; {origin}" if held else origin)


def _add(place: Any, key: str, item: Item) -> None:
    """Add a key or section right behind the last one: comments further down belong to what follows."""
    from tomlkit.container import OutOfOrderTableProxy
    from tomlkit.items import AbstractTable

    if isinstance(place, OutOfOrderTableProxy):  # its parts stand here and there in the file
        place[key] = item
        return
    tail = _tail(place)
    place.append(key, item)
    below = item.value if isinstance(item, AbstractTable) else _innermost(place)
    for trivia in tail:
        below.append(None, trivia)


def _innermost(place: Any) -> Any:
    """The innermost last section within a section, which ends it."""
    from tomlkit.items import Table

    body = place.value if isinstance(place, Table) else place
    while body.body and isinstance(body.body[-1][1], Table):
        body = body.body[-1][1].value
    return body


def _tail(place: Any) -> list[Item]:
    """Take off the blank lines and comments at the end of a section."""
    from tomlkit.items import Comment, Whitespace

    body = _innermost(place).body
    taken: list[Item] = []
    while body and body[-1][0] is None and isinstance(body[-1][1], Comment | Whitespace):
        taken.insert(0, body.pop()[1])
    return taken
