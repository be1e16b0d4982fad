"""Breathing: estimates of how volumetric efficiency changes with the head and the compression ratio.

Both are estimates for engines of one family, never a measurement.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from basemap.errors import InputError

FloatArray = NDArray[np.float64]


def donor_speed(
    speed_rpm: float | FloatArray, cylinder_volume_ratio: float | FloatArray, valve_area_ratio: float | FloatArray
) -> FloatArray:
    """Speed at which the donor has the target's inlet Mach index, ``N_d = N·(V_t/V_d)/(A_t/A_d)``.

    Parameters
    ----------
    speed_rpm
        N: speed of the target [rev/min].
    cylinder_volume_ratio
        Swept volume of one cylinder of the target over that of the donor [-].
    valve_area_ratio
        Effective inlet valve area of one cylinder of the target over that of the donor [-].

    Returns
    -------
    array
        Broadcast of the arguments: the speed at which to read the donor [rev/min].

    Notes
    -----
    Taylor, The Internal-Combustion Engine in Theory and Practice, chapter 6: efficiencies of similar engines fall on
    one curve over the index ``Z = 2·V·N/(60·A·a)``. The speed of sound a cancels between like temperatures.
    """
    return np.asarray(speed_rpm * np.divide(cylinder_volume_ratio, valve_area_ratio))


def residual_fraction(
    compression_ratio: float, exhaust_over_intake: float | FloatArray, gamma: float = 1.4
) -> FloatArray:
    """Effect of residual gas on volumetric efficiency, ``f = r/(r−1) − [(pe/p) + (γ−1)]/(γ(r−1))``.

    A factor: 1 where exhaust and intake pressure are the same, less in a throttled engine. What is applied is the
    target's over the donor's.

    Parameters
    ----------
    compression_ratio
        r, above 1 [-].
    exhaust_over_intake
        pe/p: exhaust over manifold pressure, both absolute [-].
    gamma
        γ: heat capacity ratio of the gas [-].

    Returns
    -------
    array
        Shape of `exhaust_over_intake`; NaN where the ideal cycle draws nothing [-].

    Raises
    ------
    InputError
        If the compression ratio is not above 1.

    Notes
    -----
    Heywood, equation 6.2 (ideal cycle, burned gas of the charge's own heat capacity, no valve overlap).
    """
    if not compression_ratio > 1.0:
        raise InputError(f"a compression ratio of {compression_ratio:g} cannot be; give one above 1, such as 9.5")
    strokes = compression_ratio - 1.0
    ratio = np.asarray(exhaust_over_intake, dtype=np.float64)
    factor = compression_ratio / strokes - (ratio + (gamma - 1.0)) / (gamma * strokes)
    return np.where(factor > 0.0, factor, np.nan)


def residual_ratio(
    compression_ratio: tuple[float, float],
    barometer: tuple[float, float],
    pressure: tuple[FloatArray, FloatArray],
) -> FloatArray:
    """Ratio of the effects of residual gas on the volumetric efficiency of two engines.

    Parameters
    ----------
    compression_ratio
        Of the donor and of the target [-].
    barometer
        Of the donor and of the target [Pa].
    pressure
        Manifold pressures of the donor and of the target at similar points, absolute [Pa].

    Returns
    -------
    array
        f_t/f_d, the broadcast of the pressures; NaN where the ideal cycle of either draws nothing [-].

    Notes
    -----
    `residual_fraction` of each engine with its exhaust at the barometer. Above the barometer it is 1, because the
    exhaust pressure of a boosted engine is not known.
    """
    donor, target = (
        residual_fraction(ratio, np.maximum(exhaust / load, 1.0))
        for ratio, exhaust, load in zip(compression_ratio, barometer, pressure, strict=True)
    )
    return np.asarray(target / donor)
