"""What a tuner typed into an input: a number in the unit of the cell, or a word of its list; else it is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass

from basemap.errors import InputError
from basemap.workbook.inputs.input_cell import InputCell
from basemap.workbook.returned.book import Address, ReturnedBook, address

_TYPED = re.compile(r"(?P<number>[+-]?[0-9]{1,15}(?:[.,][0-9]{1,15})?)\s*(?P<unit>\D.*)?")
_LONGEST = 60
"""The most characters of a text that are parsed and shown."""


@dataclass(frozen=True)
class InputLimits:
    """The limits of a cell: a number from `low` to `high` in `unit`, and the reason."""

    unit: str
    low: float
    high: float
    why: str
    whole: bool = False

    @classmethod
    def of(cls, cell: InputCell) -> InputLimits:
        """The limits of an input."""
        return cls(cell.unit, cell.low, cell.high, cell.why, cell.whole)


def typed_number(book: ReturnedBook, at: Address, limits: InputLimits) -> float:
    """The number in a cell of a returned workbook.

    Raises
    ------
    InputError
        Where it is not a number in the cell's unit, or is out of range; the message names the cell.
    """
    expected = f"expected a {'whole ' if limits.whole else ''}number{f' in {limits.unit}' if limits.unit else ''}"
    stored = book.stored(at)
    if book.is_formula(at):
        raise _refused(book, at, f"holds a formula: {expected}; type its result as a number")
    if stored is None:
        raise _refused(book, at, f"is empty: {expected}")
    if isinstance(stored.value, str) and stored.data_type != "e":
        value = _from_text(stored.value, limits.unit)
    elif stored.data_type == "n" and isinstance(stored.value, int | float) and "%" not in stored.number_format:
        value = float(stored.value) if abs(stored.value) < 1e15 else None
    else:
        value = None
    if value is None or (limits.whole and not value.is_integer()):
        raise _refused(book, at, f"holds {_shown(stored.value)}: {expected}")
    if not limits.low <= value <= limits.high:
        bounds = f"{limits.low:.6g} to {limits.high:.6g}{f' {limits.unit}' if limits.unit else ''}"
        raise _refused(book, at, f"holds {value:.10g}, outside {bounds}: {limits.why}")
    return value


def typed_word(book: ReturnedBook, at: Address, choices: tuple[str, ...]) -> str:
    """The word in a cell of a returned workbook.

    Raises
    ------
    InputError
        Where it is not one of the choices.
    """
    stored = book.stored(at)
    if stored is None or stored.value not in choices:
        held = "is empty" if stored is None else f"holds {_shown(stored.value)}"
        raise _refused(book, at, f"{held}: expected one of: {', '.join(choices)}")
    return str(stored.value)


def _from_text(words: str, unit: str) -> float | None:
    """A number that is stored as text: with a decimal comma, or followed by the unit of the cell."""
    found = _TYPED.fullmatch(words.strip().replace("\N{MINUS SIGN}", "-")) if len(words) <= _LONGEST else None
    if found is None or found["unit"] not in (None, unit):
        return None
    whole, comma, part = found["number"].partition(",")
    # "2,500" may be two and a half or two thousand five hundred.
    return None if comma and len(part) == 3 else float(f"{whole}.{part}" if comma else whole)


def _refused(book: ReturnedBook, at: Address, problem: str) -> InputError:
    return InputError(problem, file=book.file, place=f"cell {address(at)}")


def _shown(value: object) -> str:
    """A value from outside, cut short for a sentence."""
    words = " ".join(str(value).split())
    return f"“{words if len(words) <= _LONGEST else words[:_LONGEST] + '…'}”"
