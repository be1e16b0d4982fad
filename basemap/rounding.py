"""Numbers in words, always rounded towards the danger."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

NOISE = 1e-9
"""What the arithmetic of a whole chain may leave of a λ ratio that is 1, and less than any table stores."""


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


def percent_up(fraction: float, decimals: int = 1) -> str:
    """A fraction as a percentage whose high side is the dangerous one, without the sign.

    >>> percent_up(0.951), percent_up(1.00004)
    ('95.1', '100.1')
    """
    return _quantized(fraction, decimals, ROUND_CEILING, scale=100)


def percent_down(fraction: float, decimals: int = 1) -> str:
    """A fraction as a percentage whose low side is the dangerous one, without the sign.

    >>> percent_down(0.59999)
    '59.9'
    """
    return _quantized(fraction, decimals, ROUND_FLOOR, scale=100)


def excess(ratio: float, decimals: int = 1) -> str:
    """How many per cent a ratio is away from 1, never rounded down (except for the noise of a division).

    >>> excess(1.3), excess(11.2 / 14.0), excess(1.3004)
    ('30.0', '20.0', '30.1')
    """
    if not math.isfinite(ratio):
        return rounded_up(ratio, decimals)
    # 11.2/14 is 0.7999999999999999: what is below 1e-12 comes from the arithmetic.
    return _rounded(round(abs(_decimal(ratio) - 1), 12) * 100, decimals, ROUND_CEILING)


def without_noise(value: float) -> float:
    """A number without what the arithmetic may have left beyond `NOISE`, for what passes no limit.

    >>> rounded_up(1.0000000000000004, 3), rounded_up(without_noise(1.0000000000000004), 3)
    ('1.001', '1.000')
    """
    return round(value, 9)


def signed_percent(ratio: float) -> str:
    """How far a ratio is from one, with its sign, never rounded towards one (except for `NOISE`).

    >>> [signed_percent(ratio) for ratio in (1.024, 1.02401, 0.9, 1.0 + 1e-10, 1.0 + 1e-8)]
    ['+2.4 %', '+2.5 %', '-10.0 %', '0.0 %', '+0.1 %']
    >>> signed_percent(math.inf), signed_percent(math.nan)
    ('no fuel', 'not known')
    """
    if not math.isfinite(ratio):
        return "not known" if math.isnan(ratio) else "no fuel"
    if abs(ratio - 1.0) < NOISE:
        return "0.0 %"
    return f"{'+' if ratio > 1.0 else '-'}{excess(ratio)} %"


def change(percent: float, decimals: int = 1) -> str:
    """A change in per cent with its sign, never printed smaller than it is; only no change at all is 0.

    >>> change(2.4), change(2.41), change(5.000000000000004), change(-1e-12), change(0.0), change(-2.1, 0)
    ('+2.4', '+2.5', '+5.0', '-0.1', '0.0', '-3')
    """
    if not percent:
        return rounded_up(0.0, decimals)
    # Of 5.000000000000004 the last digits come from the arithmetic; of a change of 1e-12 they are all there is.
    size = max(round(abs(percent), 9), NOISE)
    return f"{'+' if percent > 0.0 else '-'}{rounded_up(size, decimals)}"


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
    return f"{excess(ratio)} % lean" if math.isfinite(ratio) else "no fuel at all"


def off(ratio: float) -> str:
    """How far off a λ ratio is.

    >>> off(1.25), off(0.5)
    ('25.0 % lean', '50.0 % rich')
    """
    return lean(ratio) if ratio > 1.0 else f"{excess(ratio)} % rich"


def _quantized(value: float, decimals: int, rounding: str, scale: int = 1) -> str:
    if not math.isfinite(value):
        return "infinite" if value > 0 else "unknown" if math.isnan(value) else "minus infinite"
    return _rounded(_decimal(value) * scale, decimals, rounding)


def _decimal(value: float) -> Decimal:
    """The shortest decimal that is this number, so that 1.123 is 1.123 and rounding up does not make it 1.124."""
    return Decimal(repr(float(value)))


def _rounded(value: Decimal, decimals: int, rounding: str) -> str:
    if not value.is_finite():
        return "infinite"
    return f"{value.quantize(Decimal(1).scaleb(-decimals), rounding=rounding) + 0:f}"
