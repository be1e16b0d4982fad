"""Words that several rules use."""

from __future__ import annotations

import math

from basemap.rounding import excess, rounded_down


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
    return f"{', or '.join(ways)}, and have the ECU enforce it." if ways else "no cut helps: all of it is affected."
