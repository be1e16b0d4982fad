"""The units that a job may use, each with its exact size in SI units.

The sizes are those of NIST Special Publication 811 (2008), appendix B.8 and table 6, whose inch, pound and standard
gravity are exact; sizes that follow from those are written as products of them. A column of mercury is the conventional
one, of 13595.1 kg/m³. A test compares every unit with pint.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

Dimension = tuple[int, int, int, int, int, int, int]
"""Exponents of metre, kilogram, second, kelvin, volt, ohm and revolution; volt and ohm need no SI base units here."""

_POUND_KG, _INCH_M, _FOOT_M = 0.45359237, 0.0254, 0.3048
_GRAVITY = 9.80665
_MERCURY_KG = 13.5951
"""Mass of 1 mm of mercury on a square metre."""

_SIZES: dict[Dimension, dict[str, float]] = {
    (1, 0, 0, 0, 0, 0, 0): {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "km": 1e3, "inch": _INCH_M, "ft": _FOOT_M},
    (0, 0, 1, 0, 0, 0, 0): {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "hr": 3600.0},
    (0, 1, 0, 0, 0, 0, 0): {"g": 1e-3, "kg": 1.0, "mg": 1e-6, "lb": _POUND_KG, "oz": _POUND_KG / 16},
    (2, 0, 0, 0, 0, 0, 0): {"m2": 1.0, "cm2": 1e-4, "mm2": 1e-6, "in2": _INCH_M**2},
    (3, 0, 0, 0, 0, 0, 0): {
        **{"m3": 1.0, "cc": 1e-6, "cm3": 1e-6, "ml": 1e-6, "l": 1e-3, "L": 1e-3},
        **{"cuin": _INCH_M**3, "in3": _INCH_M**3},
    },
    (-1, 1, -2, 0, 0, 0, 0): {
        **{"Pa": 1.0, "hPa": 1e2, "kPa": 1e3, "bar": 1e5, "mbar": 1e2},
        "psi": _POUND_KG * _GRAVITY / _INCH_M**2,
        "inHg": 25.4 * _MERCURY_KG * _GRAVITY,
        "mmHg": _MERCURY_KG * _GRAVITY,
    },
    (0, 0, 0, 1, 0, 0, 0): {"K": 1.0, "degC": 1.0, "degF": 5 / 9},
    (0, 0, 0, 0, 1, 0, 0): {"V": 1.0, "mV": 1e-3},
    (0, 0, 0, 0, 0, 1, 0): {"ohm": 1.0, "kohm": 1e3},
    (0, 0, 0, 0, 0, 0, 1): {"rpm": 1.0},
    (2, 1, -2, 0, 0, 0, 0): {"Nm": 1.0, "lbft": _POUND_KG * _GRAVITY * _FOOT_M},
    (2, 1, -3, 0, 0, 0, 0): {
        **{"W": 1.0, "kW": 1e3},
        "hp": 550 * _FOOT_M * _POUND_KG * _GRAVITY,  # 550 foot pound-force a second
        "PS": 75 * _GRAVITY,  # 75 kilogram-force metres a second
    },
}


class Unit(NamedTuple):
    """A unit: its size in the SI unit of its dimension; for a temperature, the size of a difference."""

    size: float
    dimension: Dimension


UNITS = {name: Unit(size, dimension) for dimension, sizes in _SIZES.items() for name, size in sizes.items()}
"""Every unit that a job may use, alone or as ``one/other``."""

ZERO_K = {"K": 0.0, "degC": 273.15, "degF": 233.15 + 200 / 9}
"""Where the scale of each unit of temperature starts, K; that of degF at 459.67 · 5/9."""


@lru_cache(maxsize=256)
def unit_of(name: str) -> Unit:
    """The unit with a name such as ``cc/min``, whose parts are all in `UNITS`."""
    first, *others = (UNITS[part] for part in name.split("/"))
    size, dimension = first.size, first.dimension
    for other in others:
        size *= other.size**-1
        dimension = _over(dimension, other.dimension)
    return Unit(size, dimension)


def _over(one: Dimension, other: Dimension) -> Dimension:
    m, kg, s, k, v, ohm, turn = (above - below for above, below in zip(one, other, strict=True))
    return m, kg, s, k, v, ohm, turn


def size_in(name: str, other: str) -> float | None:
    """The size of a unit in another one; `None` if their dimensions differ."""
    unit = unit_of(name)
    return unit.size if unit.dimension == unit_of(other).dimension else None


def kelvin(shown: float, name: str) -> float:
    """A temperature in K."""
    return shown * UNITS[name].size + ZERO_K[name]


def si(text: str) -> float:
    """A quantity as the registry writes it, such as ``45 kPa``, in SI; a bare number stays as it is.

    >>> si("45 kPa"), si("-60 degC"), si("0.25")
    (45000.0, 213.14999999999998, 0.25)
    """
    number, _, unit = text.partition(" ")
    if not unit:
        return float(number)
    return kelvin(float(number), unit) if unit in ZERO_K else float(number) * unit_of(unit).size
