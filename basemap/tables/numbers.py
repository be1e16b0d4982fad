"""Numbers written as text: which decimal mark a table uses, and the number in a cell."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Literal

from basemap.tables.cells import Cells, Place, shown

DecimalMark = Literal[",", "."]

_OTHER: dict[DecimalMark, DecimalMark] = {",": ".", ".": ","}
_BLANK_GROUPS = " \u00a0\u2009\u202f'\u2019"
_MINUS = "\u2212"

RPM_UNITS = frozenset({"rpm", "1/min", "min-1", "min^-1", "min⁻¹", "rev/min", "r/min", "u/min"})
LOAD_UNITS = frozenset(
    {"kpa", "bar", "mbar", "hpa", "pa", "psi", "inhg", "mmhg", "%", "mg", "g", "g/rev", "mg/cyl", "mg/stroke"}
)
_CELL_UNITS = frozenset({"ms", "us", "µs", "μs"})

_LOOSE = rf"[+\-{_MINUS}]?(?:[0-9]|[.,][0-9])[0-9.,{_BLANK_GROUPS}]*?(?:[eE][+-]?[0-9]+)?"
_UNIT = "|".join(re.escape(unit) for unit in sorted(RPM_UNITS | LOAD_UNITS | _CELL_UNITS, key=len, reverse=True))
_NUMBER_LIKE = re.compile(rf"(?P<number>{_LOOSE})(?P<unit>[ \u00a0]+1/min|[ \u00a0]*(?!1)(?:{_UNIT}))?", re.IGNORECASE)
_USUAL = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
_LONGEST = 40
"""The longest text that may be a number, so that no pattern is tried on a page of text."""


def is_number_like(text: str) -> bool:
    """Whether a text is meant as a number, with any decimal mark, perhaps followed by the unit of an axis."""
    return _USUAL.fullmatch(text) is not None or _matched(text) is not None


def split_unit(text: str) -> tuple[str, str]:
    """A number-like text without its unit, and the unit with the blank before it: ``1500`` and `` rpm``."""
    match = _matched(text)
    if match is None or match["unit"] is None:
        return text, ""
    number = match["number"].rstrip(_BLANK_GROUPS)
    return number, text[len(number) :]


def _matched(text: str) -> re.Match[str] | None:
    return _NUMBER_LIKE.fullmatch(text) if len(text) <= _LONGEST else None


def settled_by(text: str) -> DecimalMark | Literal["open"] | None:
    """The decimal mark that a text shows: "open" where it may be either, None where it shows none or is not a number.

    A number is open if it has one mark with exactly three digits after it and one to three before it, such as 2,500.
    """
    settled = _settled_by(text)
    if settled is None or settled == "open" or _GRAMMAR[settled].fullmatch(text):
        return settled
    return None


def _settled_by(text: str) -> DecimalMark | Literal["open"] | None:
    commas, points = text.count(","), text.count(".")
    if not commas and not points:
        return None
    if commas and points:
        return "," if text.rfind(",") > text.rfind(".") else "."
    mark: DecimalMark = "," if commas else "."
    if commas + points > 1:
        return _OTHER[mark]
    before, after = text.split(mark)
    grouped = re.fullmatch(rf"[+\-{_MINUS}]?[1-9][0-9]{{0,2}}", before) and re.fullmatch("[0-9]{3}", after)
    return "open" if grouped else mark


def decide_mark(
    cells: Cells, places: Iterable[Place], *, stated: DecimalMark | None, open_point: bool
) -> tuple[DecimalMark, bool]:
    """The decimal mark of a whole table, and whether any of its cells shows it.

    Parameters
    ----------
    cells, places
        The sheet, and the places of the table's numbers.
    stated
        The mark that the user states; no cell may contradict it.
    open_point
        Whether 2.500 may be 2500 in this file; else a point is always decimal.

    Raises
    ------
    InputError
        Where cells contradict each other, or where 2,500 may be 2.5 or 2500.
    """
    first = _first_signs(cells, places)
    if stated is not None:
        _refuse_contradiction(cells, first, stated)
        return stated, True
    return _mark_from(cells, first, open_point)


def _first_signs(cells: Cells, places: Iterable[Place]) -> dict[str, Place]:
    """The first cell that shows each mark as decimal, and the first that leaves it open."""
    first: dict[str, Place] = {}
    for place in places:
        cell = cells.at.get(place)
        if not isinstance(cell, str) or _adds_nothing(cell, first) or not is_number_like(cell):
            continue
        number = split_unit(cell)[0]
        settled = settled_by(number)
        if settled == "open":
            first.setdefault(f"open{'.' if '.' in number else ','}", place)
        elif settled:
            first.setdefault(settled, place)
    return first


def _adds_nothing(text: str, first: dict[str, Place]) -> bool:
    """Whether a text has no mark, or only the mark that another cell has settled; no pattern is used, for speed."""
    commas, points = text.count(","), text.count(".")
    return (points == 0 and (commas == 0 or (commas == 1 and "," in first))) or (
        commas == 0 and points == 1 and "." in first
    )


def _refuse_contradiction(cells: Cells, first: dict[str, Place], stated: DecimalMark) -> None:
    other = first.get(_OTHER[stated])
    if other is not None:
        raise cells.error(
            other, f'the cell holds {shown(cells.text_at(other))}, which cannot be read with decimal = "{stated}"'
        )


def _mark_from(cells: Cells, first: dict[str, Place], open_point: bool) -> tuple[DecimalMark, bool]:
    if "," in first and "." in first:
        later, earlier = sorted((first[","], first["."]), reverse=True)
        raise cells.error(
            later,
            f"the cell holds {shown(cells.text_at(later))}, but {cells.address(earlier)} holds "
            f"{shown(cells.text_at(earlier))}: use the same decimal mark in the whole file",
        )
    if "," in first:
        return ",", True
    if "." in first:
        return ".", True
    open_places = [first[key] for key in ("open,", "open.") if key in first and (key == "open," or open_point)]
    if open_places:
        place = min(open_places)
        raise cells.error(place, _open_question(cells.text_at(place)))
    return ".", "open." in first


def _open_question(text: str) -> str:
    number = split_unit(text)[0]
    small, large = number.replace(",", ".").rstrip("0").rstrip("."), number.replace(",", "").replace(".", "")
    mark: DecimalMark = "," if "," in number else "."
    return (
        f"the cell holds {shown(text)}, which may be {small} or {large}, and no other cell of the file decides it: "
        f'say decimal = "{mark}" for {small}, or decimal = "{_OTHER[mark]}" for {large}'
    )


def _grammar(mark: DecimalMark) -> re.Pattern[str]:
    groups = "|".join(rf"[0-9]{{1,3}}(?:{re.escape(group)}[0-9]{{3}})+" for group in (*_BLANK_GROUPS, _OTHER[mark]))
    return re.compile(
        rf"(?P<sign>[+\-{_MINUS}]?)(?:(?P<whole>{groups}|[0-9]+)(?:{re.escape(mark)}(?P<part>[0-9]*))?"
        rf"|{re.escape(mark)}(?P<bare>[0-9]+))(?P<power>[eE][+-]?[0-9]{{1,4}})?"
    )


_GRAMMAR: dict[DecimalMark, re.Pattern[str]] = {",": _grammar(","), ".": _grammar(".")}
_PLAIN = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


def parse(text: str, mark: DecimalMark) -> float | None:
    """The number that a text is with this decimal mark; None where it is not one.

    An overflow gives infinity and an underflow NaN; the caller refuses both.
    """
    if mark == "," and "." not in text:
        text, mark = text.replace(",", "."), "."
    if mark == "." and _PLAIN.fullmatch(text):
        return float(text)
    match = _GRAMMAR[mark].fullmatch(text)
    if match is None:
        return None
    whole = re.sub("[^0-9]", "", match["whole"] or "")
    part = match["part"] or match["bare"] or ""
    sign = "-" if match["sign"] in ("-", _MINUS) else ""
    value = float(f"{sign}{whole or '0'}.{part or '0'}{match['power'] or ''}")
    if value == 0.0 and (whole + part).strip("0"):
        return math.nan
    return value


def decimals_of(text: str, mark: DecimalMark) -> int:
    """How many decimals a number has as written: 2 for 85.50. The text must be a number."""
    if "e" not in text.lower():
        return len(text.rpartition(mark)[2]) if mark in text else 0
    digits, _, power = text.lower().partition("e")
    return max(0, decimals_of(digits, mark) - int(power))
