"""Understand what people type: a piece of an answer becomes the value of a key of the job file."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.adaptation.quantities.units import size_in
from basemap.cli.questions import Answered, Piece, Question
from basemap.errors import InputError
from basemap.jobfile.load_axis import AIR_UNITS, OPENING_UNITS
from basemap.jobfile.quantities import UNKNOWN, axis_scale, parse_quantity
from basemap.physics.fuel import BLENDS, find_blend
from basemap.physics.injector import PLAUSIBLE_DEAD_TIME_S

Values = dict[str, Any]
"""Key of the job file → value; `None` if the key is left out."""

_NOT_KNOWN = {
    *("unknown", "unkown", "don't know", "dont know", "do not know", "i don't know", "i dont know", "no idea"),
    *("not known", "not sure", "??", "n/a", "-"),
}
_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBER_WORD = re.compile(rf"\b({'|'.join(_NUMBERS)})\b(?!-)", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]{1,2})(?![0-9.,])")
_SPACED_AT = re.compile(r"\s*(?:@|\bat\b)\s*", re.IGNORECASE)
_NEXT_NUMBER = re.compile(r"(?<=[A-Za-z])\s+(?=[0-9]|[vV][0-9])")
"""Where the next thing begins without a comma: ``1998 cc 4 cyl``."""
_CYLINDERS = re.compile(r"(?:[vilr]|flat)?[- ]?([0-9]{1,2})(?:[- ]?cyl(?:inder)?s?\.?)?", re.IGNORECASE)
_INJECTORS = re.compile(r"([0-9]{1,2}) ?(?:injectors?|inj\.?)(?: in all)?", re.IGNORECASE)
_NO_CHARACTER = re.compile("[\ud800-\udfff]")
"""What Python makes of bytes that are not in the encoding of the terminal."""
_PUMP = re.compile(
    r"(?P<name>(?:super|eurosuper|premium|regular|unleaded|pump|plus|petrol|gasoline|fuel)(?:\s+(?:plus|petrol|gasoline|fuel))?)?"
    r"\s*(?:(?P<octane>8[0-9]|9[0-9]|10[0-2])(?:\s*(?P<method>ron|aki|\(r\+m\)/2))?)?",
    re.IGNORECASE,
)
_SURELY_RON = 95
"""From here up no pump shows (R+M)/2: 87 to 94 in North America, common practice."""

_SUPER = "E5"
"""Petrol sold as Super holds at most 5 % of ethanol unless its name says more (EN 228)."""
_NO_ETHANOL = {"e0", "petrol without ethanol", "gasoline without ethanol", "pure petrol", "pure gasoline"}
_OF_A_FILE = re.compile(r"(sheet|cells|rows|decimal)\s*[= ]\s*(.+)", re.IGNORECASE)


def is_unknown(text: str) -> bool:
    """Whether an answer says that it is not known."""
    return text.strip().casefold().rstrip(".") in _NOT_KNOWN


def plainly(text: str) -> str:
    """Numbers as a job file takes them: ``2,0 l`` and ``four`` are 2.0 l and 4.

    >>> plainly("2,0 l, four"), plainly("1,998 cc")
    ('2.0 l, 4', '1,998 cc')
    """
    text = _NUMBER_WORD.sub(lambda word: str(_NUMBERS.index(word[1].lower()) + 1), text.strip())
    return _DECIMAL_COMMA.sub(r"\1.\2", text)


def understood(question: Question, answer: str) -> Values:
    """The values in an answer; a key that the answer calls unknown is `UNKNOWN`.

    Raises
    ------
    InputError
        If part of the answer is not a value that the question asks for.
    """
    if _NO_CHARACTER.search(answer):
        raise InputError("that contains bytes that are not text here: type it again")
    if is_unknown(answer):
        return {piece.key: UNKNOWN for piece in question.pieces if not piece.extra}
    found: Values = {}
    for part in _parts(question, answer):
        open_pieces = [piece for piece in question.pieces if piece.key not in found]
        found |= _one(open_pieces, part)
    return found


def _parts(question: Question, answer: str) -> list[str]:
    """The parts of an answer that says several things, at commas, and at the @ of a flow."""
    if len(question.pieces) == 1 or question.pieces[0].form is Answered.FUEL:
        return [answer.strip()]
    text = plainly(answer)
    if all(piece.kind not in (Kind.POWER_AT_SPEED, Kind.TORQUE_AT_SPEED) for piece in question.pieces):
        text = _NEXT_NUMBER.sub(", ", _SPACED_AT.sub(", ", text))
    words = sorted((re.escape(word) for piece in question.pieces for word, _ in piece.choices), key=len, reverse=True)
    if words:
        text = re.sub(rf"[,;]?\s+({'|'.join(words)})(?=\s*(?:[,;]|$))", r", \1", text, flags=re.IGNORECASE)
    return [part.strip() for part in re.split(r"[,;]\s+|\s+and\s+|[,;](?![0-9])", text) if part.strip()]


def _one(pieces: list[Piece], part: str) -> Values:
    """The value of one part, for the first piece that it fits; else the problem with the likeliest piece."""
    if is_unknown(part):
        return {piece.key: UNKNOWN for piece in pieces if not piece.extra}
    problems = []
    for piece in pieces:
        try:
            return _FORMS[piece.form](piece, part)
        except InputError as problem:
            problems.append(problem)
    raise problems[0] if problems else InputError(f'"{part}" is one thing too many: type the answer again')


def _quantity(piece: Piece, text: str) -> Values:
    written = re.sub(_SPACED_AT, " @ ", plainly(text))
    found = parse_quantity(written, piece.kind, file=None, place=None)
    return {piece.key: found.value if re.fullmatch(r"[0-9]+(\.[0-9]+)?", written) else written}


def _count(piece: Piece, text: str) -> Values:
    match = _CYLINDERS.fullmatch(plainly(text))
    if match is None:
        raise InputError(f'"{text}" is not a whole number such as {piece.example}')
    return {piece.key: int(match[1])}


def _injectors(piece: Piece, text: str) -> Values:
    match = _INJECTORS.fullmatch(plainly(text))
    if match is None:
        raise InputError(f'"{text}" is not a number of injectors, such as 8 injectors')
    return {piece.key: int(match[1])}


def _text(piece: Piece, text: str) -> Values:
    return {piece.key: text}


def _choice(piece: Piece, text: str) -> Values:
    words = dict(piece.choices)
    typed = " ".join(text.casefold().replace("/", " ").split())
    if typed in words:
        return {piece.key: words[typed]}
    near = {value for word, value in piece.choices if word.startswith(typed)}
    if len(near) != 1:
        known = dict.fromkeys(word for word, value in piece.choices if word == value or _yes_or_no(word, value))
        raise InputError(f'"{text}" is not one of: {", ".join(known)}')
    return {piece.key: near.pop()}


def _yes_or_no(word: str, value: object) -> bool:
    return isinstance(value, bool) and word in ("yes", "no")


def _several(piece: Piece, text: str) -> Values:
    names = [] if text.casefold() in ("none", "nothing") else [one.strip().casefold() for one in text.split(",")]
    known = dict(piece.choices)
    for name in names:
        if name not in known:
            raise InputError(f'"{name}" is not one of: {", ".join(known)}')
    return {piece.key: list(dict.fromkeys(names))}


def _fuel(piece: Piece, text: str) -> Values:
    typed = re.sub(r"^(?:super|eurosuper|premium|unleaded) (?=[em] ?[0-9])", "", " ".join(text.casefold().split()))
    if match := _PUMP.fullmatch(typed):
        # What a pump calls petrol may or may not hold ethanol, which is what "unknown" stands for.
        found: Values = {piece.key: _SUPER if "super" in typed else UNKNOWN}
        return found | ({piece.key.replace("blend", "octane"): _octane(match)} if match["octane"] else {})
    if typed in _NO_ETHANOL:
        return {piece.key: "petrol"}
    name = typed.replace(" ", "") if re.fullmatch(r"[em] ?[0-9]+", typed) else text.strip()
    parts = find_blend(name)
    return {piece.key: next((known for known, held in BLENDS.items() if held == parts), name)}


def _octane(match: re.Match[str]) -> int | str:
    """RON, or (R+M)/2 as AKI; refused where a pump may mean either."""
    number, method = int(match["octane"]), match["method"]
    if method is None and number < _SURELY_RON:
        raise InputError(
            f'"{match.string}" may be RON, or (R+M)/2 as American pumps show it: type {number} RON or {number} AKI'
        )
    return number if method in (None, "ron") else f"{number} AKI"


def _dead_time(piece: Piece, text: str) -> Values:
    times, volts = [], []
    for pair in re.split(r"[\s;]+", re.sub(r",\s", " ", plainly(text))):
        voltage, colon, time = pair.partition(":")
        if not colon:
            raise InputError(f'"{pair}" is not a point: write battery voltage, colon, milliseconds, such as 12:1.20')
        volts.append(f"{plainly(voltage)} V")
        times.append(f"{plainly(time)} ms")
        parse_quantity(volts[-1], Kind.VOLTAGE, file=None, place=None)
        found = parse_quantity(times[-1], Kind.TIME, file=None, place=None)
        shortest, longest = PLAUSIBLE_DEAD_TIME_S
        # Far from 12 V it may be longer or shorter, but three orders of magnitude off is always a mistake.
        if not shortest / 10.0 <= found.value <= longest * 4.0:
            raise InputError(
                f'"{pair}" says {plainly(time)} ms, but injectors take {shortest * 1e3:g} to {longest * 1e3:g} ms at '
                "12 V. The unit is the likeliest mistake: type milliseconds, such as 0.85 for 850 microseconds"
            )
    return {piece.key: {"battery": volts, "time": times}}


def _mixture(piece: Piece, text: str) -> Values:
    number = plainly(text).removeprefix("lambda").strip()
    if re.fullmatch(r"[0-9.]+", number) is None:
        return {piece.key: text.strip()}
    try:
        value = float(number)
    except ValueError:
        value = math.inf
    if not math.isfinite(value):
        raise InputError(f'"{text}" is not a number such as {piece.example}')
    return {piece.key: value}


def _axis(piece: Piece, text: str) -> Values:
    unit, low = text.strip(), text.strip().casefold()
    of_unit = f"{piece.key}_unit"
    if low in ("throttle", "tps", "tp", "throttle %", "% throttle", "throttle opening", *OPENING_UNITS):
        return {piece.key: "throttle", of_unit: "%"}
    if low in ("ratio", "pressure ratio", "map/baro"):
        return {piece.key: "pressure ratio", of_unit: "ratio"}
    if low in AIR_UNITS:
        return {piece.key: "air mass", of_unit: low}
    axis_scale(unit)
    return {piece.key: "manifold pressure", of_unit: unit}


def _file(piece: Piece, text: str) -> Values:
    name, *rest = (part.strip().strip("\"'") for part in re.split(r",\s+", text.strip()))
    found: Values = {piece.key: name}
    for part in rest:
        match = _OF_A_FILE.fullmatch(part)
        if match is None:
            raise InputError(f'"{part}" is not one of: sheet Fuel, cells B3:R19, rows load, decimal ,')
        found[f"{piece.key.rpartition('.')[0]}.{match[1].lower()}"] = match[2].strip().strip("\"'")
    return found


_FORMS: Mapping[Answered, Callable[[Piece, str], Values]] = {
    Answered.QUANTITY: _quantity,
    Answered.COUNT: _count,
    Answered.INJECTORS: _injectors,
    Answered.TEXT: _text,
    Answered.CHOICE: _choice,
    Answered.SEVERAL: _several,
    Answered.FUEL: _fuel,
    Answered.DEAD_TIME: _dead_time,
    Answered.MIXTURE: _mixture,
    Answered.AXIS: _axis,
    Answered.FILE: _file,
}


def in_words(key: str, value: Any) -> str:
    """A value as it was understood; a quantity also in the unit that the program shows it in."""
    if isinstance(value, dict):
        return ", ".join(f"{time} at {volts}" for volts, time in zip(value["battery"], value["time"], strict=True))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(value) or "none"
    for end, thing in ((".cylinders", "cylinder"), (".count", "injector"), (".openings_per_cycle", "opening")):
        if key.endswith(end):
            return f"{value} {thing}{'' if value == 1 else 's'}"
    if key.endswith(".octane"):
        return f"{value} RON" if isinstance(value, int) else str(value)
    quantity = QUANTITIES.get(key.partition(".")[2])
    if isinstance(value, float):
        return f"{value:g}"
    if quantity is None or not isinstance(value, str) or not value[:1].isdigit():
        return str(value)
    found = parse_quantity(value, quantity.range.kind, file=None, place=None)
    if found.second is not None:
        return f"{found.shown:g} {found.unit} @ {found.second.shown:g} {found.second.unit}"
    shown = f"{found.shown:g} {found.unit}".strip()
    base = {Kind.FLOW: "kg/s" if found.is_mass else "m3/s", Kind.VOLUME: "m3", Kind.RAIL_PRESSURE: "Pa"}
    unit = "g/min" if found.is_mass else quantity.unit
    size = size_in(unit, base[quantity.range.kind]) if quantity.range.kind in base and unit else None
    other = "" if size is None or found.unit == unit else f" ({found.value / size:.4g} {unit})"
    return shown + other
