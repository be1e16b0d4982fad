"""Spreads of uncertainties that no key of the job states, each with its reason."""

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
"""Standard uncertainty of the volumetric efficiency that the donor's table means, relative. Common practice, no source.
"""

STARTER_V = 11.0
"""A table for this voltage or less is used while the starter turns. Common practice, no source."""

THROTTLE_TRANSFER = 0.10
"""Half-width of the transfer between two throttles, as a share of how far it departs from plain scaling.

Compared with simulated engines with absolute areas, it errs by 4 % of that if wide open is at the barometer, by 7 % if
the efficiency depends on load, and by 8 % with a small throttle.
"""
