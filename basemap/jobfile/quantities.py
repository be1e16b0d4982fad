"""Quantities as text, such as ``"43.5 psi ± 0.5"``, become SI numbers."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache

from basemap.adaptation.quantities.kinds import FORMS, Kind
from basemap.adaptation.quantities.quantity import Range
from basemap.adaptation.quantities.units import UNITS, ZERO_K, kelvin
from basemap.errors import InputError
from basemap.jobfile.unit_names import by_its_own_name, clean_unit, reference_of, size_of, split_reference

UNKNOWN = "unknown"
NO_DEFAULT = 'must not be "unknown", as there is no default: give the value, or leave the key out if it is optional'


@dataclass(frozen=True)
class Measured:
    """One quantity as written, in SI.

    Parameters
    ----------
    text
        As written.
    value
        SI. A gauge or vacuum pressure is relative to the atmosphere until `absolute` is called.
    shown, unit
        The number and unit as written; the unit of a pressure with its ``gauge``, ``absolute`` or ``vacuum``.
    half_width, k2
        The spread, SI, `None` if none is given; with `k2` an expanded uncertainty (k = 2).
    is_mass
        Of a flow: whether it is mass per time.
    reference
        ``gauge`` or ``vacuum`` while the value is relative to the barometer, else empty.
    second
        The second quantity of ``"104 kW @ 6500 rpm"`` or ``"24 lb/h = 252 cc/min"``.
    """

    text: str
    value: float
    shown: float
    unit: str
    half_width: float | None = None
    k2: bool = False
    is_mass: bool = False
    reference: str = ""
    second: Measured | None = None

    def absolute(self, barometer_pa: float) -> Measured:
        """The same pressure against vacuum; the second of a pair likewise."""
        sign = {"": 0.0, "gauge": 1.0, "vacuum": -1.0}[self.reference]
        value = barometer_pa + sign * self.value if sign else self.value
        second = self.second.absolute(barometer_pa) if self.second else None
        return replace(self, value=value, reference="", second=second)


_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(
    rf"(?P<number>{_NUMBER})\s*(?P<unit>[^±=]*?)"
    rf"(?:\s*(?:±|\+/-)\s*(?P<spread>{_NUMBER})\s*(?P<spread_unit>[^±=]*?)(?:\s+k\s*=\s*(?P<k>\S+))?)?"
)
_COMMA = re.compile(r"([0-9]+),([0-9]+)")
_LONGEST = 200
"""A text with more characters is not matched with patterns: the time that some take grows with the square."""
_EQUALS = re.compile(r"(?<!k)\s*(?<!k )=\s*")


def parse_quantity(
    text: object, kind: Kind, *, file: str | None, place: str | None, barometer_pa: float | None = None
) -> Measured:
    """Read one quantity, such as ``"280 cc/min ± 3 %"``.

    Parameters
    ----------
    text
        A string with a unit; a bare number only where the kind has no unit.
    kind
        What it has to be.
    file, place
        For the error message.
    barometer_pa
        Turns a gauge or vacuum pressure into an absolute one, Pa; without it the pressure stays relative.

    Raises
    ------
    InputError
        If it is not such a quantity; the message shows how one is written.
    """
    try:
        measured = _read(text, kind)
    except InputError as error:
        raise error.within(file=file, place=place) from None
    return measured if barometer_pa is None else measured.absolute(barometer_pa)


def check_range(measured: Measured, within: Range) -> None:
    """Refuse a value outside its plausible range.

    Raises
    ------
    InputError
        Naming the range.
    """
    if not within.holds(measured.value):
        raise InputError(f'"{measured.text}" is outside the plausible range {within.low} to {within.high}')


def axis_scale(unit: str) -> tuple[float, str]:
    """Size of a pressure unit of a table's axis, Pa, and its reference (``absolute``, ``gauge``, ``vacuum``).

    Raises
    ------
    InputError
        If the unit is not one of pressure, or does not say what it is measured from.
    """
    if len(unit) > _LONGEST:
        raise InputError(f'has {len(unit)} characters, too many to be a unit of pressure such as "kPa"')
    name, reference = split_reference(by_its_own_name(unit))
    size = size_of(name, Kind.ABSOLUTE_PRESSURE, unit)[0]
    return size, reference_of(name, reference, Kind.ABSOLUTE_PRESSURE, unit) or "absolute"


def _read(text: object, kind: Kind) -> Measured:
    form = FORMS[kind]
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise InputError(f"must be {kind} such as {_example(kind)}")
    if isinstance(text, str) and len(text) > _LONGEST:
        raise InputError(f"has {len(text)} characters, too many to be {kind} such as {_example(kind)}")
    if isinstance(text, str) and text.strip() == UNKNOWN:
        raise InputError(NO_DEFAULT)
    if isinstance(text, str) and form.second:
        return _read_pair(text, kind, form.second)
    if isinstance(text, str) and kind is Kind.FLOW and _EQUALS.search(text):
        return _read_two_flows(text)
    return _read_one(str(text), kind)


def _example(kind: Kind) -> str:
    """An example as a job file would write it: in quotes if it has a unit."""
    form = FORMS[kind]
    return f'"{form.example}"' if form.si else form.example


def _read_pair(text: str, kind: Kind, second: Kind) -> Measured:
    """``900 rpm @ 35 kPa``."""
    parts = text.split("@")
    if len(parts) != 2:
        raise InputError(f'"{text}" is not {kind} such as "{FORMS[kind].example}"')
    return replace(_read_one(parts[0].strip(), kind), text=text, second=_read_one(parts[1].strip(), second))


def _read_two_flows(text: str) -> Measured:
    """``24 lb/h = 252 cc/min``: the same flow as mass and as volume; a spread of either is the flow's."""
    first, second = (_read_one(part.strip(), Kind.FLOW) for part in _EQUALS.split(text, maxsplit=1))
    if first.is_mass == second.is_mass:
        raise InputError(f'"{text}" must state one flow twice, once as mass and once as volume: "24 lb/h = 252 cc/min"')
    if second.half_width is not None:
        if first.half_width is not None:
            raise InputError(f'"{text}" gives two spreads for one flow: give it once')
        relative = second.half_width / second.value if second.value else 0.0
        first = replace(first, half_width=relative * first.value, k2=second.k2)
    return replace(first, text=text, second=second)


@lru_cache(maxsize=1024)
def _read_one(text: str, kind: Kind) -> Measured:
    """A value with its spread; a job says much the same again and again, and an interview builds it a hundred times."""
    form = FORMS[kind]
    if comma := _COMMA.search(text):
        raise InputError(comma_problem(text, *comma.groups()))
    match = _QUANTITY.fullmatch(text.strip())
    if match is None:
        raise InputError(f'"{text}" is not {kind} such as {_example(kind)}')
    shown, written_unit = float(match["number"]), by_its_own_name(match["unit"].strip())
    if not math.isfinite(shown):
        raise InputError(f'"{text}" is too large to be {kind}')
    if not form.si:
        return _without_unit(text, kind, match)
    name, reference = split_reference(written_unit)
    if not name:
        raise InputError(f'"{text}" has no unit: write it with one, such as "{form.example}"')
    size, is_mass = size_of(name, kind, text)
    referred = reference_of(name, reference, kind, text)
    return Measured(
        text=text,
        value=kelvin(shown, name) if kind is Kind.TEMPERATURE else shown * size,
        shown=shown,
        unit=written_unit,
        half_width=_half_width(match, name, kind, size),
        k2=_is_k2(match),
        is_mass=is_mass,
        reference="" if referred == "absolute" else referred,
    )


def comma_problem(text: str, whole: str, part: str) -> str:
    """The sentence about a number with a comma: `whole` before it, `part` after it."""
    if len(part) == 3:
        return (
            f'"{text}": a comma is neither a decimal point nor a thousands separator: write {whole}.{part} or '
            f"{whole}{part}"
        )
    return f'"{text}": use a decimal point, not a comma: write {whole}.{part}'


def _without_unit(text: str, kind: Kind, match: re.Match[str]) -> Measured:
    allowed = ("", "%") if kind is Kind.PERCENT else ("",)
    if match["unit"] not in allowed:
        raise InputError(f'"{text}" must be {kind} without a unit, such as {FORMS[kind].example}')
    size = 0.01 if kind is Kind.PERCENT else 1.0
    value = float(match["number"])
    half_width = None if match["spread"] is None else _spread(match)
    if half_width is not None and match["spread_unit"] == "%" and kind is Kind.NUMBER:
        half_width *= abs(value) / 100.0
    elif match["spread_unit"] not in (None, *allowed):
        raise InputError(f'"{text}": give the spread in the unit of the value')
    return Measured(
        text=text,
        value=value * size,
        shown=value,
        unit="%" if kind is Kind.PERCENT else "",
        half_width=None if half_width is None else half_width * size,
        k2=_is_k2(match),
    )


def _spread(match: re.Match[str]) -> float:
    spread = float(match["spread"])
    if spread < 0:
        raise InputError(f'"{match.string.strip()}": a spread must not be negative')
    if not math.isfinite(spread):
        raise InputError(f'"{match.string.strip()}": the spread is too large')
    return spread


def _is_k2(match: re.Match[str]) -> bool:
    if match["k"] not in (None, "2"):
        raise InputError(
            f'"{match.string.strip()}": give the spread as a half-width, or as an expanded uncertainty with k=2'
        )
    return match["k"] is not None


def _half_width(match: re.Match[str], name: str, kind: Kind, size: float) -> float | None:
    """Half-width in SI. That of a temperature is a difference of temperatures."""
    if match["spread"] is None:
        return None
    text, spread, unit = match.string.strip(), _spread(match), by_its_own_name(match["spread_unit"].strip())
    if unit == "%":
        if kind is Kind.TEMPERATURE:
            raise InputError(
                f'"{text}": a temperature cannot have a spread in %: give a difference, such as "± 5 degC"'
            )
        return spread / 100.0 * abs(float(match["number"])) * size
    if kind is Kind.TEMPERATURE:
        difference = clean_unit(unit) or name
        if difference not in ZERO_K:
            raise InputError(f'"{text}": give the spread of a temperature in K, degC or degF')
        return spread * UNITS[difference].size
    if not unit:
        return spread * size
    other, is_mass = size_of(split_reference(unit)[0], kind, text)
    if is_mass != size_of(name, kind, text)[1]:
        raise InputError(f'"{text}": give the spread in a unit of the same kind as the value, or in %')
    return spread * other


__all__ = [
    "UNKNOWN",
    "Measured",
    "axis_scale",
    "check_range",
    "comma_problem",
    "parse_quantity",
]
