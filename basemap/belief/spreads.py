"""Spreads that are assumed where a job gives none, each with its reason."""

from __future__ import annotations

import math

from basemap.model.installation import DonorState

RECTANGLE = math.sqrt(3.0)
"""Half-width of a rectangle over its standard uncertainty (GUM 4.3.7)."""


EFFICIENCY = {
    DonorState.TUNED: 0.03,
    DonorState.GENERIC: 0.08,
    DonorState.UNKNOWN: 0.10,
}
"""Standard uncertainty of the donor's volumetric efficiency as the target's, relative. Common practice, no source."""

STARTER_V = 11.0
"""A table that is used at this voltage or less is used while the starter turns. Common practice, no source."""

THROTTLE_TRANSFER = 0.10
"""Half-width of the transfer between two throttles, as a share of how far it departs from plain scaling.

Held against simulated engines with absolute areas it errs by 4 % of that where wide open is at the barometer, by 7 %
where the efficiency depends on load, by 8 % with a small throttle.
"""
