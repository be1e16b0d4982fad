"""Air: how much of it a cylinder draws, and what the barometer shows at a height.

Dry air as an ideal gas. The real gas is denser: by up to 1e-3 from 30 to 150 kPa and 0 to 60 °C, 1.5e-3 at 250 kPa.
Humidity is not in it: at 25…40 °C and 50 % relative humidity a cubic metre holds 1.6…3.7 % less dry air than this
says, so the mixture is richer by that much.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from basemap.errors import InputError

FloatArray = NDArray[np.float64]
Numbers = TypeVar("Numbers", float, FloatArray)

LOWEST_ALTITUDE_M = -500.0
"""A little below the lowest road on land."""

HIGHEST_ALTITUDE_M = 11_000.0
"""Top of the layer with a constant temperature gradient. ISO 2533."""


def standard_pressure(altitude_m: Numbers) -> Numbers:
    """Pressure of the standard atmosphere, ``p = p0·(1 − β·H/T0)^(g/(R·β))``.

    Parameters
    ----------
    altitude_m
        Geopotential altitude, −500…11 000; below 3000 m a height off a map differs by under 2e-4 in pressure [m].

    Returns
    -------
    float or array, as given
        Absolute pressure [Pa].

    Raises
    ------
    InputError
        Outside −500…11 000 m.

    Notes
    -----
    ISO 2533, troposphere.
    """
    outside = ~((np.asarray(altitude_m) >= LOWEST_ALTITUDE_M) & (np.asarray(altitude_m) <= HIGHEST_ALTITUDE_M))
    if outside.any():
        worst = float(np.asarray(altitude_m)[outside].flat[0])
        raise InputError(
            f"an altitude of {worst:g} m is outside {LOWEST_ALTITUDE_M:g}…{HIGHEST_ALTITUDE_M:g} m, "
            "where the standard atmosphere is known; give the barometer's absolute pressure instead"
        )
    exponent = STANDARD_GRAVITY / (R_DRY_AIR * LAPSE_RATE)
    pressure: Numbers = STANDARD_PRESSURE * (1.0 - LAPSE_RATE * altitude_m / STANDARD_TEMPERATURE) ** exponent
    return pressure


def density(pressure_pa: float | FloatArray, temperature_k: float | FloatArray) -> FloatArray:
    """Density of dry air as an ideal gas, ``ρ = p/(R·T)``.

    Parameters
    ----------
    pressure_pa
        Absolute pressure [Pa].
    temperature_k
        Temperature [K].

    Returns
    -------
    array
        Broadcast of the arguments [kg/m³].

    Notes
    -----
    R of ISO 2533. The real gas is denser by up to 1e-3 from 30 to 150 kPa and 0 to 60 °C, by 1.5e-3 at 250 kPa, 0 °C.
    """
    return np.asarray(pressure_pa / (R_DRY_AIR * np.asarray(temperature_k, dtype=np.float64)))
