"""Spreads that are assumed where a job gives none, each with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

from basemap.model.installation import DonorState

RECTANGLE = math.sqrt(3.0)
"""Half-width of a rectangle over its standard uncertainty (GUM 4.3.7)."""


@dataclass(frozen=True)
class UsualSpread:
    """Half-width that is assumed where the job gives no spread, and why.

    `measured_to` is the half-width that a careful measurement leaves.
    """

    half_width: float
    relative: bool
    unit: str
    reason: str
    measured_to: float


DEFAULTS = {
    "flow": UsualSpread(0.03, True, "%", "sets are sold within some ±3 % (common practice)", 0.01),
    "flow of an untuned donor": UsualSpread(
        0.05, True, "%", "which injectors it had is hearsay (common practice)", 0.01
    ),
    "rated pressure": UsualSpread(0.01, True, "%", "a flow bench's gauge (common practice)", 0.005),
    "rail pressure": UsualSpread(0.03, True, "%", "a regulator's spread, ±0.1 bar at 3 bar (common practice)", 0.01),
    "rating fluid": UsualSpread(0.01, True, "%", "20 or 25 °C is 0.6 % in n-heptane; other fluids more", 0.002),
    "ethanol or methanol": UsualSpread(
        0.025, False, "vol %", "E5 and E10 may hold less than the name (EN 228: upper limits)", 0.01
    ),
    "ethanol in E85": UsualSpread(0.16, False, "vol %", "51 to 83 % may be sold under that name (ASTM D5798)", 0.01),
    "stoichiometric": UsualSpread(0.007, True, "%", "CH1.80 to CH1.95 moves petrol by −0.7 to +0.8 %", 0.003),
    "density": UsualSpread(0.02, True, "%", "most of the 720 to 775 kg/m³ that EN 228 allows", 0.002),
    "fuel temperature": UsualSpread(20.0, False, "K", "30 to 60 °C are met in rails; 10 K are 0.6 % of flow", 2.0),
    "displacement": UsualSpread(0.005, True, "%", "nominal against actual bore and stroke (common practice)", 0.001),
    "throttle bore": UsualSpread(
        0.01, True, "%", "bore, blade and stop of one throttle to the next (common practice)", 0.002
    ),
    "dead time": UsualSpread(0.05e-3, False, "ms", "part to part and bench to car (common practice)", 0.02e-3),
    "battery": UsualSpread(
        0.2, False, "V", "voltage at the injector against the ECU's reading (common practice)", 0.05
    ),
    "battery while the starter turns": UsualSpread(
        1.5, False, "V", "dead time inside the cell: a starter pulls the battery down to 8 to 11 V (practice)", 0.2
    ),
    "displacement on a page not read": UsualSpread(
        0.02, True, "%", "entered rounded, 2.0 l for 1998 cc (practice)", 0.0
    ),
    "flow on a page not read": UsualSpread(
        0.10, True, "%", "entered at another pressure, or bent until a table fits (common practice)", 0.0
    ),
    "stoichiometric ratio on a page not read": UsualSpread(
        0.03, True, "%", "14.7 is entered whatever the petrol holds (common practice)", 0.0
    ),
    "dead time on a page not read": UsualSpread(
        0.15e-3, False, "ms", "the dead times of similar injectors are entered (common practice)", 0.0
    ),
    "formula factor": UsualSpread(0.05, True, "%", "how far an ECU's own constants are from physics (practice)", 0.05),
}

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
