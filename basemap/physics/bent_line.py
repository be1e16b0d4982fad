"""An injector whose flow line bends, and an ECU that lengthens short pulses by a table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from basemap.errors import InputError

FloatArray = NDArray[np.float64]

_ROUNDING = 1e-9
"""Rise over step of the pulse that is no rise: a flat piece typed in decimals comes out some 1e-13 off flat."""


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
        Broadcast of the arguments; NaN where the injector passes nothing, for no pulse would do [s].

    Notes
    -----
    The inverse of `mass_for` from τ on; trade practice, no source.
    """
    below = np.where(np.asarray(slopes.below) > 0.0, slopes.below, np.nan)
    above = np.where(np.asarray(slopes.above) > 0.0, slopes.above, np.nan)
    beyond = np.maximum(np.asarray(mass, dtype=np.float64) - slopes.at_mass, 0.0)
    return np.asarray(dead_time_s + np.minimum(mass, slopes.at_mass) / below + beyond / above)


def check_added_time(pulses_s: FloatArray, added_s: FloatArray) -> None:
    """Refuse a table of added time in which a longer pulse would not become longer.

    Parameters
    ----------
    pulses_s
        Rising pulses of the table, shape (n,) [s].
    added_s
        Time that the ECU adds at each, may be negative, shape (n,) [s].

    Raises
    ------
    InputError
        Where the table has no points or unequal counts, the pulses do not rise, or pulse plus added time does not.

    Notes
    -----
    Without it the lengthened pulse would not have one pulse behind it; no source needed.
    """
    pulses, added = np.asarray(pulses_s, dtype=np.float64), np.asarray(added_s, dtype=np.float64)
    if pulses.ndim != 1 or pulses.shape != added.shape or pulses.size == 0:
        raise InputError(
            f"{pulses.size} pulses and {added.size} added times do not make a table; give one time for every pulse"
        )
    if not (np.isfinite(pulses).all() and np.isfinite(added).all()):
        raise InputError("the table of added time has an empty or endless entry; give a time for every pulse")
    _refuse_fall(pulses, pulses, "the pulses of the table must rise, but after {0:g} ms comes {1:g} ms; sort them")
    _refuse_fall(
        pulses,
        pulses + added,
        "between {2:g} and {3:g} ms the pulse with the added time goes from {0:g} to {1:g} ms, but a longer pulse must "
        "come out longer; correct the added times",
    )


def _refuse_fall(pulses_s: FloatArray, series_s: FloatArray, problem: str) -> None:
    """Raise `problem` for the first step at which the series does not rise, or by no more than rounding."""
    fall = np.flatnonzero(~(np.diff(series_s) > _ROUNDING * np.abs(np.diff(pulses_s))))
    if fall.size:
        first = int(fall[0])
        ends = [*series_s[first : first + 2], *pulses_s[first : first + 2]]
        raise InputError(problem.format(*(1e3 * end for end in ends)))


def lengthened(pulse_s: float | FloatArray, pulses_s: FloatArray, added_s: FloatArray) -> FloatArray:
    """Pulse with the added time, ``t + a(t)``; a is linear between its points and held beyond them.

    Parameters
    ----------
    pulse_s
        t: pulse before the addition [s].
    pulses_s
        Rising pulses of the table, shape (n,) [s].
    added_s
        Time that the ECU adds at each, shape (n,) [s].

    Returns
    -------
    array
        Shape of `pulse_s` [s].

    Notes
    -----
    A table read as every table of an ECU is; common practice, no source.
    """
    return np.asarray(pulse_s + np.interp(pulse_s, pulses_s, added_s))


def before_lengthening(pulse_s: float | FloatArray, pulses_s: FloatArray, added_s: FloatArray) -> FloatArray:
    """The pulse that becomes `pulse_s` once the time is added: the exact inverse of `lengthened`.

    Parameters
    ----------
    pulse_s
        Pulse after the addition [s].
    pulses_s
        Rising pulses of the table, shape (n,) [s].
    added_s
        Time that the ECU adds at each, shape (n,) [s].

    Returns
    -------
    array
        Shape of `pulse_s` [s].

    Notes
    -----
    Between two points the added time is linear in the pulse before and therefore in the pulse after: no iteration.
    Common practice, no source.
    """
    return np.asarray(pulse_s - np.interp(pulse_s, np.add(pulses_s, added_s), added_s))
