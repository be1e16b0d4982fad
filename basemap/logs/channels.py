"""The channels that a log may have: their units, the headers that name them, and the range of their values."""

from __future__ import annotations

import re
from dataclasses import dataclass

from basemap.constants import ZERO_CELSIUS

Size = tuple[float, float]
"""A unit: SI = factor · value + offset."""

_PRESSURES: dict[str, Size] = {
    "kpa": (1e3, 0.0),
    "pa": (1.0, 0.0),
    "hpa": (100.0, 0.0),
    "mbar": (100.0, 0.0),
    "bar": (1e5, 0.0),
    "psi": (6894.757293168, 0.0),
    "inhg": (3386.389, 0.0),
}
_TEMPERATURES: dict[str, Size] = {
    "degc": (1.0, ZERO_CELSIUS),
    "c": (1.0, ZERO_CELSIUS),
    "k": (1.0, 0.0),
    "degf": (5.0 / 9.0, ZERO_CELSIUS - 32.0 * 5.0 / 9.0),
    "f": (5.0 / 9.0, ZERO_CELSIUS - 32.0 * 5.0 / 9.0),
}
_PERCENT: dict[str, Size] = dict.fromkeys(("%", "percent", "pct"), (1.0, 0.0))
_TRIM: dict[str, Size] = {**dict.fromkeys(_PERCENT, (0.01, 1.0)), "factor": (1.0, 0.0)}
_PLAIN: dict[str, Size] = dict.fromkeys(("", "-", "1", ":1", "lambda", "afr"), (1.0, 0.0))


@dataclass(frozen=True)
class Channel:
    """One quantity that a log may hold.

    Parameters
    ----------
    name
        As in ``[log.columns]``.
    words
        Its name as messages and reports show it.
    units
        Unit in lower case → its size.
    named
        Pattern of a header that names it, lower case.
    low, high
        Range in which nearly all of its values lie, SI.
    usual
        Unit to assume if neither the header nor the file names one; `None` if that would be a guess.
    gap_s
        Longest gap between two values that is filled by linear interpolation; a longer one stays unknown.
    """

    name: str
    words: str
    units: dict[str, Size]
    named: str
    low: float
    high: float
    usual: str | None
    gap_s: float = 0.4

    @property
    def shown(self) -> str:
        """Its units as messages show them."""
        proper = {"kpa": "kPa", "pa": "Pa", "hpa": "hPa", "inhg": "inHg", "degc": "degC", "degf": "degF", "k": "K",
                  "v": "V", "mv": "mV"}  # fmt: skip
        return ", ".join(proper.get(unit, unit) for unit in self.units if unit not in ("", "-", "c", "f", "pct"))

    def size(self, unit: str) -> Size | None:
        """Size of a unit; `None` if this channel has no such unit."""
        plain = plain_unit(unit)
        if self.units is _PLAIN and plain.startswith("afr"):  # such as AFR (petrol): the basis is asked for
            return _PLAIN["afr"]
        return self.units.get(plain)


_SPELT: dict[str, str] = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "usec": "us", "hh:mm:ss": "h:m:s",
    "volt": "v", "volts": "v", "revs/min": "rpm", "celsius": "degc", "degcelsius": "degc", "fahrenheit": "degf",
    "degfahrenheit": "degf", "kelvin": "k", "psia": "psi", "psig": "psi", "bara": "bar", "barg": "bar",
    "kpaa": "kpa", "kpag": "kpa",
}  # fmt: skip
"""Other spellings of a unit, in lower case without blanks → the spelling that the channels list."""

_REFERS = re.compile(r"(absolute|abs|gauge|vacuum)\.?$")


def plain_unit(unit: str) -> str:
    """A unit in lower case and its usual spelling, without the word that says what a pressure counts from."""
    lower = _bare(unit).replace("°", "deg").replace("µ", "u").replace("μ", "u")
    joined = re.sub(r"\s+|(?<=deg)\.", "", lower)
    joined = _REFERS.sub("", joined)
    return _SPELT.get(joined, joined)


def reference_in(unit: str) -> str | None:
    """What a pressure counts from, if its unit says so: absolute, gauge or vacuum; else `None`."""
    lower = _bare(unit).rstrip(".")
    if lower in ("psia", "bara", "kpaa") or re.search(r"\babs(olute)?$", lower):
        return "absolute"
    if lower in ("psig", "barg", "kpag"):
        return "gauge"
    return next((word for word in ("gauge", "vacuum") if lower.endswith(word)), None)


def _bare(unit: str) -> str:
    return unit.strip().strip("[]()").lower()


CHANNELS = {
    channel.name: channel
    for channel in (
        Channel(
            "time", "time", {"s": (1.0, 0.0), "ms": (1e-3, 0.0), "h:m:s": (1.0, 0.0)}, r"^time\b|^t$", 0.0, 1e12, None
        ),
        Channel(
            "rpm",
            "engine speed",
            dict.fromkeys(("rpm", "1/min", "rev/min", "min-1", "r/min"), (1.0, 0.0)),
            r"\brpm\b|engine speed|^(engine )?revs$|^speed$|^n$",
            0.0,
            20_000.0,
            "rpm",
        ),
        Channel(
            "manifold_pressure", "manifold pressure", _PRESSURES, r"\bmap\b|manifold|^boost\b",
            5e3, 5e5, None,
        ),
        Channel("lambda", "lambda", _PLAIN, r"lambda|λ|wideband", 0.4, 25.0, ""),
        Channel(
            "air_fuel_ratio", "air/fuel ratio", _PLAIN, r"air[ /-]*(to )?fuel ratio|\bafr\b", 4.0, 400.0, ""
        ),
        Channel(
            "battery", "battery voltage", {"v": (1.0, 0.0), "mv": (1e-3, 0.0)}, r"batt|volt|\b[uv] ?bat|supply",
            4.0, 25.0, "V", 2.5,
        ),
        Channel(
            "coolant_temperature", "coolant temperature", _TEMPERATURES, r"coolant|\bect\b|\bclt\b|water|engine temp",
            220.0, 450.0, None, 12.0,
        ),
        Channel(
            "charge_temperature", "charge temperature", _TEMPERATURES,
            r"charge temp|intake|inlet|air temp|\bair$|\biat\b|\bmat\b|\bact\b", 220.0, 450.0, None, 12.0,
        ),
        Channel("pulse", "commanded pulse", {"ms": (1e-3, 0.0), "us": (1e-6, 0.0), "s": (1.0, 0.0)},
                r"pulse|inject|opening time|\b(inj ?|i)?pw\b|\bt ?inj\b", 0.0, 0.2, None),
        Channel("throttle", "throttle opening", _PERCENT, r"throttle|\btps?\b", -5.0, 105.0, "%", 1.0),
        Channel("trim", "closed-loop trim", _TRIM,
                r"\btrim\b", 0.4, 2.0, None, 1.0),
        Channel(
            "fuel_pressure", "fuel pressure, gauge", _PRESSURES, r"fuel pressure|rail pressure", 0.0, 2e6, None, 2.5
        ),
    )
}  # fmt: skip

OTHERS = r"target|intended|desired|set ?point|wanted|error|correct|\btrim\b"
"""Words in a header that mean a target or a correction, not the measured quantity."""

NEEDED = ("time", "rpm", "manifold_pressure", "battery", "coolant_temperature", "charge_temperature")
"""Channels that every log must have, besides lambda or air_fuel_ratio."""
