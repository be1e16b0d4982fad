"""How one value of the job file is read, and the sentence with which it is refused."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from pydantic_core import CoreSchema, PydanticCustomError
from pydantic_core.core_schema import no_info_plain_validator_function

from basemap.adaptation.quantities.fuel import STOICHIOMETRIC
from basemap.adaptation.quantities.injectors import (
    DEAD_TIME,
    FLOW,
    FLOW_BY_MASS,
    FLUID_DENSITY,
    RAIL_PRESSURE,
    RAIL_PRESSURES_ARE,
)
from basemap.adaptation.quantities.kinds import FORMS, Kind
from basemap.adaptation.quantities.quantity import Range
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.errors import InputError
from basemap.jobfile.quantities import UNKNOWN, Measured, check_range, parse_quantity
from basemap.jobfile.renamed import PAGE
from basemap.physics.injector import slipped_unit

PROBLEM = "problem"
NOT_SUPPORTED = "not_supported"


@dataclass(frozen=True, eq=False)
class Reader:
    """Reads one value as written; `takes` describes the same values as JSON Schema, for editors."""

    read: Callable[[Any], object]
    takes: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, _source: object, _handler: object) -> CoreSchema:
        # pydantic's own PlainValidator also works out how to write the value back, which a job file never needs.
        return no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, _core: object, _handler: object) -> dict[str, Any]:
        return dict(self.takes)


def fail(problem: str) -> NoReturn:
    """Refuse a value with a sentence of our own, which pydantic passes on."""
    raise PydanticCustomError(PROBLEM, "{problem}", {"problem": problem})


def quantity(key: str, also: str = "") -> Reader:
    """Read a quantity as the registry has it under `key`; the word `also` may stand in its place."""
    within = QUANTITIES[key].range

    def read(value: object) -> object:
        if also and value == also:
            return value
        return read_number(value, within)

    return Reader(read, takes=written_as(within.kind))


def written_as(kind: Kind) -> dict[str, Any]:
    """How a quantity is written: in quotes with its unit; if it has none, a bare number will do too."""
    form = FORMS[kind]
    return {"type": "string" if form.si else ["number", "string"], "examples": [form.example]}


def listed(entry: Mapping[str, Any], *or_alone: Mapping[str, Any]) -> dict[str, Any]:
    """A list of such values, or one of those that may stand alone."""
    return {"anyOf": [{"type": "array", "items": dict(entry)}, *map(dict, or_alone)]}


def read_number(value: object, within: Range) -> Measured:
    """Read one quantity. The range of a gauge or vacuum pressure is checked once the barometer is known."""
    try:
        measured = parse_quantity(value, within.kind, file=None, place=None)
        if not measured.reference:
            check_range(measured, within)
    except InputError as error:
        fail(error.problem)
    return measured


def _any(value: object, kind: Kind) -> Measured:
    """Read one quantity without checking its range."""
    try:
        return parse_quantity(value, kind, file=None, place=None)
    except InputError as error:
        fail(error.problem)


def not_yet(reason: str) -> Reader:
    """Refuse a key of a later version, with the reason."""

    def refuse(_value: object) -> NoReturn:
        raise PydanticCustomError(NOT_SUPPORTED, "{problem}", {"problem": f"not supported yet: {reason}"})

    return Reader(refuse, takes={"not": {}})


def one_of(*words: str, later: dict[str, str] | None = None) -> Reader:
    """One of some words; those in `later` are known but refused with their reason."""

    def read(value: object) -> str:
        if isinstance(value, str) and value in (later or {}):
            _refuse_later(value, (later or {})[value])
        if not isinstance(value, str) or value not in words:
            fail(f"{_quoted(value)} is not known: write {_either(words)}")
        return value

    return Reader(read, takes={"enum": list(words)})


def _refuse_later(value: str, reason: str) -> NoReturn:
    raise PydanticCustomError(NOT_SUPPORTED, "{problem}", {"problem": f'"{value}" is not supported yet: {reason}'})


def several_of(*words: str, renamed: Mapping[str, str] | None = None, unknown: bool = False) -> Reader:
    """A list of some words, none twice."""

    def read(value: object) -> object:
        if unknown and value == UNKNOWN:
            return value
        if not isinstance(value, list):
            fail(f'must be a list such as ["{words[0]}", "{words[1]}"]')
        for word in value:
            if isinstance(word, str) and renamed and word in renamed:
                fail(f'"{word}" is called "{renamed[word]}" now: write that in its place ({PAGE})')
            if word not in words:
                fail(f"{_quoted(word)} is not known: the list may contain {_either(words)}")
            if value.count(word) > 1:
                fail(f'"{word}" is in the list twice')
        return tuple(value)

    several: dict[str, Any] = {"type": "array", "items": {"enum": list(words)}, "uniqueItems": True}
    return Reader(read, takes={"anyOf": [several, {"const": UNKNOWN}]} if unknown else several)


def _quoted(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


def _either(words: tuple[str, ...]) -> str:
    quoted = [f'"{word}"' for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def list_of(key: str) -> Reader:
    """A list of quantities; one alone may stand without brackets."""
    within, entry = QUANTITIES[key].range, written_as(QUANTITIES[key].range.kind)
    return Reader(lambda value: _row(value, within), takes=listed(entry, entry))


def _row(value: object, within: Range) -> tuple[Measured, ...]:
    entries = value if isinstance(value, list) else [value]
    if not entries:
        fail("the list is empty")
    return tuple(_entry(index, entry, within) for index, entry in enumerate(entries, start=1))


def _entry(index: int, value: object, within: Range) -> Measured:
    try:
        return read_number(value, within)
    except PydanticCustomError as error:
        fail(f"entry {index} of the list: {error.message()}")


def read_times(value: object) -> tuple[tuple[Measured, ...], ...]:
    """Dead times: one list, or one list for each pressure."""
    rows = value if isinstance(value, list) and value and all(isinstance(row, list) for row in value) else [value]
    try:
        return tuple(_row(row, DEAD_TIME) for row in rows)
    except PydanticCustomError as error:
        fail(error.message() + _unit_of_dead_time(rows))


def _unit_of_dead_time(rows: list[object]) -> str:
    """The likeliest reason for an impossible time, as the end of a sentence; empty if no unit explains it."""
    for entry in (entry for row in rows for entry in (row if isinstance(row, list) else [row])):
        try:
            measured = parse_quantity(entry, Kind.TIME, file=None, place=None)
        except InputError:
            return ""
        if slip := slipped_unit(measured.value):
            return f"; the unit is the likeliest mistake: {slip}"
    return ""


def read_flow(value: object) -> Measured:
    """A flow as volume or as mass, or both of one injector."""
    measured = _any(value, Kind.FLOW)
    for flow in (measured, measured.second):
        if flow is not None:
            try:
                check_range(flow, FLOW_BY_MASS if flow.is_mass else FLOW)
            except InputError as error:
                fail(error.problem)
    return measured


def read_rail_pressure(value: object) -> object:
    """A rail pressure; that of direct injection is refused with its reason."""
    measured = _any(value, Kind.RAIL_PRESSURE)
    if measured.value > RAIL_PRESSURE.limits[1]:
        fail(
            f'"{measured.text}" is a rail pressure of direct injection, which this program does not cover: '
            f"{RAIL_PRESSURES_ARE}"
        )
    return read_number(value, RAIL_PRESSURE)


def read_rated_fluid(value: object) -> object:
    """A density, or the name of a fluid."""
    if isinstance(value, str) and not re.match(r"[+-]?[\d.]", value.strip()):
        return value.strip()
    return read_number(value, FLUID_DENSITY)


def read_charge_range(value: object) -> tuple[Measured, Measured]:
    """``-5 degC to 60 degC``: two temperatures, the colder one first."""
    ends = value.split(" to ") if isinstance(value, str) else []
    if len(ends) != 2:
        fail('must be two temperatures such as "-5 degC to 60 degC"')
    one, other = (read_number(end.strip(), QUANTITIES["conditions.charge_temperature_range"].range) for end in ends)
    return (one, other) if one.value <= other.value else (other, one)


def read_pump(value: object) -> Measured:
    """``120 l/h @ 3 bar``: a flow and the pressure at which it is given."""
    measured = read_number(value, QUANTITIES["fuel.pump"].range)
    pressure = measured.second
    if pressure is None or not RAIL_PRESSURE.holds(pressure.value):
        fail(f'"{measured.text}" must say at which pressure, {RAIL_PRESSURE.low} to {RAIL_PRESSURE.high}, '
             'such as "120 l/h @ 3 bar"')  # fmt: skip
    return measured


def read_storage_number(value: object) -> float:
    """A bare number in the unit of the cells."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        fail("must be a number in the unit of the table's cells, without quotes")
    if not math.isfinite(value):
        fail("must be a finite number; leave the key out if there is no limit")
    return float(value)


MOST_POINTS = 500


def read_points(value: object) -> tuple[float, ...]:
    """Points of an axis: bare numbers in the axis's unit, none twice."""
    if not isinstance(value, list) or len(value) < 2:
        fail("must be a list of two numbers or more, in the unit of the axis, without quotes")
    if len(value) > MOST_POINTS:
        fail(f"has {len(value)} points: expected at most {MOST_POINTS}, more than any controller's axis has")
    for number in value:
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not math.isfinite(number):
            fail(f"{_quoted(number)} is not a number: write numbers in the unit of the axis, without quotes")
    points = tuple(float(number) for number in value)
    if list(points) not in (sorted(set(points)), sorted(set(points), reverse=True)):
        fail("must rise from point to point")
    return points


def read_step(value: object) -> float:
    """The step of stored numbers."""
    step = read_storage_number(value)
    if not 1e-9 <= step <= 1e6:
        fail("must be above zero: the amount by which two neighbouring stored numbers differ, in the table's unit")
    return step


def read_as_written(value: object) -> tuple[object, ...]:
    """A list whose values are read later, once another key says what they are."""
    if not isinstance(value, list) or len(value) < 2:
        fail("must be a list of at least two values")
    return tuple(value)


def read_text(value: object) -> str:
    """Any text."""
    return value if isinstance(value, str) else fail("must be text in quotes")


def read_yes_no(value: object) -> bool:
    """True or false."""
    return value if isinstance(value, bool) else fail("must be true or false, without quotes")


def read_yes_no_or_unknown(value: object) -> object:
    """True, false or unknown."""
    if value == UNKNOWN or isinstance(value, bool):
        return value
    fail('must be true or false without quotes, or "unknown"')


def count(key: str) -> Reader:
    """A whole number in the range of the registry."""
    return whole(*QUANTITIES[key].range.whole)


def whole(low: int, high: int) -> Reader:
    """A whole number in a range."""

    def read(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            fail(f"must be a whole number from {low} to {high}, without quotes")
        return value

    return Reader(read, takes={"type": "integer", "minimum": low, "maximum": high})


def read_basis(value: object) -> object:
    """Where a section's numbers come from; in a table also the ratio of an air/fuel scale."""
    if value in ("measured", "printed", "told", "guessed", "fuel in use"):
        return value
    if isinstance(value, str):
        fail(f'"{value}" is not known: write "measured", "printed", "told" or "guessed"')
    return read_number(value, STOICHIOMETRIC)


def is_lambda_number(value: object) -> bool:
    """Whether an intended lambda is a number (with its spread), rather than the name of a file."""
    if isinstance(value, str):
        return re.fullmatch(r"\s*[+-]?[\d.,]+\s*((±|\+/-).*)?", value) is not None
    return isinstance(value, (int, float))


def lambda_number(value: object) -> Measured:
    """An intended lambda given as one number."""
    measured, within = _any(value, Kind.NUMBER), QUANTITIES["tables.fuel.lambda"].range
    if 6.0 <= measured.value <= 20.0:
        fail(
            f'"{measured.text}" looks like an air/fuel ratio: lambda lies between {within.low} and {within.high}; '
            "divide by the ratio that the scale calls lambda 1"
        )
    if not within.holds(measured.value):
        fail(f'"{measured.text}" is outside the plausible range {within.low} to {within.high} of an intended lambda')
    return measured
