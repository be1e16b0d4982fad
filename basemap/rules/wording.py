"""Numbers in findings: never rounded to the safe side."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal


def rounded_up(value: float, decimals: int) -> str:
    """A number whose high side is the dangerous one: never printed lower than it is.

    >>> rounded_up(1.1004, 3), rounded_up(1.1000001, 3), rounded_up(1.123, 3)
    ('1.101', '1.101', '1.123')
    """
    return _quantized(value, decimals, ROUND_CEILING)


def rounded_down(value: float, decimals: int) -> str:
    """A number whose low side is the dangerous one: never printed higher than it is.

    >>> rounded_down(0.64999, 2), rounded_down(101.325, 1)
    ('0.64', '101.3')
    """
    return _quantized(value, decimals, ROUND_FLOOR)


def _quantized(value: float, decimals: int, rounding: str) -> str:
    if not math.isfinite(value):
        return "infinite" if value > 0 else "unknown" if math.isnan(value) else "minus infinite"
    # repr gives the shortest decimal that is this number: 1.123 stays 1.123 and does not become 1.124.
    digits = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), rounding=rounding)
    return f"{digits + 0:f}"


def cells(count: int) -> str:
    """So many cells, in words that agree with the number.

    >>> cells(1), cells(12)
    ('1 cell', '12 cells')
    """
    return "1 cell" if count == 1 else f"{count} cells"


def lean(ratio: float) -> str:
    """How lean a λ ratio above 1 is.

    >>> lean(1.1004), lean(float("inf"))
    ('10.1 % lean', 'no fuel at all')
    """
    return f"{rounded_up(100.0 * (ratio - 1.0), 1)} % lean" if math.isfinite(ratio) else "no fuel at all"


def off(ratio: float) -> str:
    """How far off a λ ratio is.

    >>> off(1.25), off(0.5)
    ('25.0 % lean', '50.0 % rich')
    """
    return lean(ratio) if ratio > 1.0 else f"{rounded_up(100.0 * (1.0 - ratio), 1)} % rich"


def cut_advice(load_pa: float | None, rpm: float | None) -> str:
    """The cut that keeps an engine where it is known; what is printed meets the limit when it is typed.

    >>> cut_advice(101_325.0, None)
    'state target.engine.load_cut = "101.3 kPa" or lower, and have the ECU enforce it.'
    """
    ways = []
    if rpm is not None:
        ways.append(f'state target.engine.rev_cut = "{rounded_down(rpm, 0)} rpm" or lower')
    if load_pa is not None:
        ways.append(f'state target.engine.load_cut = "{rounded_down(load_pa / 1e3, 1)} kPa" or lower')
    return (
        f"Or {', or '.join(ways)}, and have the ECU enforce it."
        if ways
        else "No cut helps: the whole table is affected."
    )
