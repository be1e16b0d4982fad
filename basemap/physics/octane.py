"""Octane numbers of petrol and alcohol: how far RON and the index of American pumps lie apart."""

from __future__ import annotations

from collections.abc import Mapping

RON_ABOVE_INDEX = 5.0
"""How far the research octane of petrol lies above its anti-knock index, the mean of research and motor octane.

EN 228 asks for 95 with 85 of petrol with up to 10 % ethanol; super plus has 98 with 88.
"""
_ALCOHOLS_ABOVE_INDEX = {"ethanol": 9.0, "methanol": 7.0}
"""The same of alcohols: Heywood, table D.4, has RON 107 with MON 89 and 106 with 92 (from memory)."""
_PETROL_MAY_HAVE = 0.10
"""Share of alcohol up to which EN 228 calls it petrol."""


def ron_above_index(parts: Mapping[str, float]) -> float:
    """How far the research octane of a fuel lies above its anti-knock index, (R+M)/2; petrol if nothing is known of it.

    Parameters
    ----------
    parts
        Component → share by volume [-].

    Returns
    -------
    float
        Difference of the two octane numbers [-].

    Notes
    -----
    An estimate, in proportion to the alcohol beyond what petrol may have. EN 15293 asks for RON 104 with MON 88 of E85,
    8 above (from memory).

    Examples
    --------
    >>> round(ron_above_index({"petrol": 0.15, "ethanol": 0.85}), 1), ron_above_index({"petrol": 0.9, "ethanol": 0.1})
    (8.3, 5.0)
    """
    shares = {name: parts.get(name, 0.0) for name in _ALCOHOLS_ABOVE_INDEX}
    alcohol = sum(shares.values())
    if alcohol <= _PETROL_MAY_HAVE:
        return RON_ABOVE_INDEX
    above = sum(share * _ALCOHOLS_ABOVE_INDEX[name] for name, share in shares.items()) / alcohol
    beyond = (alcohol - _PETROL_MAY_HAVE) / (1.0 - _PETROL_MAY_HAVE)
    return RON_ABOVE_INDEX + beyond * (above - RON_ABOVE_INDEX)
