"""Advice that several rules give."""

from __future__ import annotations

from basemap.rounding import rounded_down


def cut_advice(load_pa: float | None, rpm: float | None, typed_load: str | None = None) -> str:
    """The cut that keeps an engine where its map is known; the printed number, typed in, meets the limit.

    >>> cut_advice(101_325.0, None)
    'state target.engine.load_cut = "101.3 kPa" or lower, and have the ECU enforce it.'
    """
    ways = []
    if rpm is not None:
        ways.append(f'state target.engine.rev_cut = "{rounded_down(rpm, 0)} rpm" or lower')
    if load_pa is not None:
        typed = typed_load or f"{rounded_down(load_pa / 1e3, 1)} kPa"
        ways.append(f'state target.engine.load_cut = "{typed}" or lower')
    return (
        f"{', or '.join(ways)}, and have the ECU enforce it."
        if ways
        else ("no cut helps: the whole table is affected.")
    )
