"""An injector whose flow line bends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class BentLine:
    """Flow of one slope up to a bend and of another above it, at one pressure and with one fluid.

    Parameters
    ----------
    below, above
        S_lo up to the bend, S_hi above it [kg/s].
    at_mass
        m_b: mass of one opening at which the slope changes [kg].
    """

    below: float | FloatArray
    above: float | FloatArray
    at_mass: float | FloatArray


def at_state(
    rated: BentLine,
    rated_pressure_pa: float | FloatArray,
    rated_density: float | FloatArray,
    pressure_across_pa: float | FloatArray,
    density: float | FloatArray,
) -> BentLine:
    """The slopes at another pressure and with another fluid: S and m_b times ``√(Δp/Δps)·√(ρ/ρs)``; 0 where Δp ≤ 0.

    The effective pulse at which the slope changes therefore stays.

    Parameters
    ----------
    rated
        The slopes as rated.
    rated_pressure_pa
        Δps: pressure across the injector at the rating [Pa].
    rated_density
        ρs: density of the rating fluid [kg/m³].
    pressure_across_pa
        Δp [Pa].
    density
        ρ: density of the fuel in the rail [kg/m³].

    Returns
    -------
    BentLine
        Broadcast of the arguments.

    Notes
    -----
    Orifice equation (Bernoulli) for the slopes. That the bend scales with them is common practice, no source.
    """
    pressure_ratio = np.maximum(pressure_across_pa, 0.0) / rated_pressure_pa
    factor = np.sqrt(np.asarray(pressure_ratio * density / rated_density))
    return BentLine(rated.below * factor, rated.above * factor, rated.at_mass * factor)


def mass_for(pulse_s: float | FloatArray, dead_time_s: float | FloatArray, slopes: BentLine) -> FloatArray:
    """Mass of one opening: ``S_lo·(t − τ)`` up to the bend, ``m_b + S_hi·(t − τ − m_b/S_lo)`` above, 0 up to τ.

    Parameters
    ----------
    pulse_s
        t: commanded pulse of one opening, shorter than the window [s].
    dead_time_s
        τ: time offset of the line below the bend [s].
    slopes
        At the pressure and with the fuel in the rail.

    Returns
    -------
    array
        Broadcast of the arguments [kg].

    Notes
    -----
    Two flow lines in the sense of SAE J1832 that meet at the bend; trade practice, no source.
    """
    effective = np.maximum(np.asarray(pulse_s, dtype=np.float64) - dead_time_s, 0.0)
    low = slopes.below * effective
    flow = np.where(np.asarray(slopes.below) > 0.0, slopes.below, np.nan)
    high = slopes.at_mass + slopes.above * (effective - slopes.at_mass / flow)
    return np.where(low > slopes.at_mass, high, low)


def pulse_for(mass: float | FloatArray, dead_time_s: float | FloatArray, slopes: BentLine) -> FloatArray:
    """Pulse for a mass: ``τ + m/S_lo`` up to the bend, ``τ + m_b/S_lo + (m − m_b)/S_hi`` above.

    Parameters
    ----------
    mass
        Fuel of one opening [kg].
    dead_time_s
        τ: time offset of the line below the bend [s].
    slopes
        At the pressure and with the fuel in the rail.

    Returns
    -------
    array
        Broadcast of the arguments; NaN where the injector passes nothing, because no pulse delivers the mass [s].

    Notes
    -----
    The inverse of `mass_for` from τ on; trade practice, no source.
    """
    below = np.where(np.asarray(slopes.below) > 0.0, slopes.below, np.nan)
    above = np.where(np.asarray(slopes.above) > 0.0, slopes.above, np.nan)
    beyond = np.maximum(np.asarray(mass, dtype=np.float64) - slopes.at_mass, 0.0)
    return np.asarray(dead_time_s + np.minimum(mass, slopes.at_mass) / below + beyond / above)
