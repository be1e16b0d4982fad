"""Names of units as people write them, and what a pressure is measured from."""

from __future__ import annotations

import difflib
import re

from basemap.adaptation.quantities.kinds import FORMS, PRESSURES, Kind
from basemap.adaptation.quantities.units import UNITS, size_in
from basemap.errors import InputError

_SPELLINGS = {
    "°C": "degC",
    "°F": "degF",
    "²": "2",
    "³": "3",
    "µ": "u",
    "μ": "u",
    "\N{OHM SIGN}": "ohm",
    "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
}

_OTHER_NAMES = {
    **dict.fromkeys(("litre", "litres", "liter", "liters"), "l"),
    **dict.fromkeys(("ccm", "CC", "cm^3"), "cc"),
    **{"mL": "ml", "ci": "cuin", "in": "inch", "inches": "inch", "feet": "ft"},
    **{"lbs": "lb", "pound": "lb", "pounds": "lb", "gram": "g", "grams": "g"},
    **dict.fromkeys(("Hr", "hrs", "hour", "hours"), "h"),
    **{"minute": "min", "minutes": "min", "sec": "s", "seconds": "s", "msec": "ms", "usec": "us", "microseconds": "us"},
    **{"PSI": "psi", "Psi": "psi", "Bar": "bar", "BAR": "bar", "bars": "bar", "kpa": "kPa", "KPa": "kPa", "Kpa": "kPa"},
    **{"KPA": "kPa", "hpa": "hPa", "Mbar": "mbar", "inhg": "inHg", "InHg": "inHg", "mmhg": "mmHg"},
    **{"RPM": "rpm", "Rpm": "rpm", "volt": "V", "volts": "V", "v": "V", "ohms": "ohm", "Ohm": "ohm", "Ohms": "ohm"},
    **{"HP": "hp", "Hp": "hp", "KW": "kW", "kw": "kW", "Kw": "kW", "ps": "PS"},
}
"""Other spellings of a unit that can mean only one thing; a letter case that would mean another size is left out."""

_WORD = re.compile(r"[^/\s]+")
_CUBIC_INCH = re.compile(r"cu(?:bic|\.)? ?in(?:ch(?:es)?|\.)?")

_TEMPERATURES = {"f": "degF", "c": "degC", "fahrenheit": "degF", "celsius": "degC", "kelvin": "K"}
"""What people write for a unit of temperature."""

_REFERENCES = ("gauge", "absolute", "vacuum")
_SHORT_REFERENCES = {"abs": "absolute", "Absolute": "absolute", "Gauge": "gauge", "gage": "gauge"}


def by_its_own_name(unit: str) -> str:
    """``lb/h`` for ``lbs/hr``; what a pressure refers to may be shortened too."""
    unit = _CUBIC_INCH.sub("cuin", unit)
    unit = _WORD.sub(lambda word: _OTHER_NAMES.get(word[0], word[0]), unit)
    *first, last = unit.split() or [""]
    return " ".join([*first, _SHORT_REFERENCES[last]]) if first and last in _SHORT_REFERENCES else unit


def clean_unit(unit: str) -> str:
    """A unit in the spelling of the program."""
    for spelling, plain in _SPELLINGS.items():
        unit = unit.replace(spelling, plain)
    return unit.strip()


def split_reference(unit: str) -> tuple[str, str]:
    """A unit without ``gauge``, ``absolute`` or ``vacuum``, and that word; empty if there is none."""
    words = unit.split()
    if words and words[-1] in _REFERENCES:
        return clean_unit(" ".join(words[:-1])), words[-1]
    return clean_unit(unit), ""


def reference_of(name: str, said: str, kind: Kind, text: str) -> str:
    """What a pressure is measured from: ``absolute``, ``gauge`` or ``vacuum``; empty for any other quantity."""
    if kind not in PRESSURES:
        if said:
            raise InputError(f'"{text}": "{said}" is only for a pressure')
        return ""
    if kind is Kind.RAIL_PRESSURE:
        if said not in ("", "gauge"):
            raise InputError(
                f'"{text}": this pressure is always gauge (above the air around the engine): give it as gauge'
            )
        return ""
    if kind is Kind.BAROMETER:
        if said not in ("", "absolute"):
            raise InputError(f'"{text}": the barometer is always an absolute pressure: give the station pressure')
        return "absolute"
    if not said and name != "kPa":
        said_ways = f'"{name} absolute", "{name} gauge" or "{name} vacuum"'
        raise InputError(f'"{text}" must say which kind of pressure it is: {said_ways}')
    return said or "absolute"


def size_of(name: str, kind: Kind, text: str) -> tuple[float, bool]:
    """Size of a unit in the kind's SI unit, and whether a flow is a mass flow."""
    for part in name.split("/"):
        if part not in UNITS:
            raise InputError(_unknown_unit(part, kind, text))
    for index, si in enumerate(FORMS[kind].si):
        if (size := size_in(name, si)) is not None:
            return size, index == 1
    raise InputError(f'"{text}" is {_dimension(name)}, not {kind} such as "{FORMS[kind].example}"')


def _unknown_unit(part: str, kind: Kind, text: str) -> str:
    """The sentence about an unknown unit, with the nearest one of the right kind."""
    fitting = [unit for unit in UNITS if any(size_in(unit, si) is not None for si in FORMS[kind].si)]
    folded = {known.lower(): known for known in fitting or UNITS}
    near = difflib.get_close_matches(part.lower(), folded, n=1, cutoff=0.6)
    near = [_TEMPERATURES[part.lower()]] if kind is Kind.TEMPERATURE and part.lower() in _TEMPERATURES else near
    hint = f'did you mean "{folded[near[0].lower()]}"?' if near else f'write it as in "{FORMS[kind].example}"'
    return f'"{text}": unknown unit "{part}"; {hint}'


def _dimension(name: str) -> str:
    """The words for what a unit measures."""
    for kind, form in FORMS.items():
        if form.second is None and any(size_in(name, si) is not None for si in form.si):
            return str(kind)
    named = {"W": "a power", "Nm": "a torque"}
    return next((words for si, words in named.items() if size_in(name, si) is not None), "another quantity")
