"""Octane as a pump shows it: RON in Europe, the mean of RON and MON in America."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.jobfile.quantities import Measured
from basemap.jobfile.readers import fail, read_number
from basemap.physics.octane import ron_above_index

_OCTANE = re.compile(r"\s*(?P<number>[0-9.].*?)\s*(?P<method>RON|AKI|\(R\+M\)/2)?\s*", re.IGNORECASE)


def read_octane(value: object) -> Measured:
    """``95`` is RON; ``"91 AKI"`` is the mean of RON and MON, (R+M)/2, that American pumps show."""
    match = _OCTANE.fullmatch(value) if isinstance(value, str) else None
    number, method = (match["number"], match["method"] or "") if match else (value, "")
    if isinstance(number, str) and re.search(r"[A-Za-z](?<!k)", number):  # a spread may end with (k = 2)
        fail(f'"{value}" is no octane: write RON, such as 95, or what an American pump shows, such as "91 AKI"')
    measured = read_number(number, QUANTITIES["fuel.octane"].range)
    if method.upper() in ("", "RON"):
        return replace(measured, text=str(value))
    return replace(measured, text=str(value), unit="AKI")


def research_octane(stated: Measured, parts: Mapping[str, float]) -> float:
    """RON of a fuel, estimated from its composition where (R+M)/2 is stated."""
    return stated.value + (ron_above_index(parts) if stated.unit == "AKI" else 0.0)
