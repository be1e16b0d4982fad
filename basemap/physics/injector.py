"""The injector: pressure across it, its flow line, its dead time, and what one opening delivers."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Standing = Literal["within", "extrapolated", "not known"]

KNOWN_BELOW_DATA_V = 1.0
"""How far below the lowest voltage of the data the dead time may be extrapolated, V. Common practice, no source."""

PLAUSIBLE_DEAD_TIME_S = 1e-4, 5e-3
"""Dead times at 12 V that a port or throttle-body injector may have, s. Common practice, no source."""


def slipped_unit(dead_time_s: float) -> str:
    """The wrong unit that would explain an implausible dead time; empty if none does.

    Parameters
    ----------
    dead_time_s
        As it was typed, in SI [s].

    Returns
    -------
    str
        The slip in words [-].

    Notes
    -----
    Follows from `PLAUSIBLE_DEAD_TIME_S`, common practice, no source.

    Examples
    --------
    >>> slipped_unit(0.85)
    'microseconds typed as milliseconds'
    >>> slipped_unit(0.00085), slipped_unit(0.00005)
    ('', '')
    """
    shortest, longest = PLAUSIBLE_DEAD_TIME_S
    if shortest <= dead_time_s <= longest:
        return ""
    for factor, slip in ((1e-3, "microseconds typed as milliseconds"), (1e3, "milliseconds typed as microseconds")):
        if shortest <= dead_time_s * factor <= longest:
            return slip
    return ""


def pressure_across(
    rail_pressure_pa: float | FloatArray,
    manifold_pa: float | FloatArray,
    barometer_pa: float | FloatArray,
    fixed: bool,
) -> FloatArray:
    """Pressure across the injector: ``Δp = p_rail``, or ``p_rail + p0 − p`` with a fixed regulator.

    Parameters
    ----------
    rail_pressure_pa
        Rail pressure, gauge, regulator hose off, pump running [Pa].
    manifold_pa
        Manifold absolute pressure [Pa].
    barometer_pa
        Barometric pressure, absolute [Pa].
    fixed
        Whether the regulator is referenced to the atmosphere instead of the manifold.

    Returns
    -------
    array
        Broadcast of the three pressures; ≤ 0 where the manifold holds the fuel back [Pa].

    Notes
    -----
    Balance of pressures; no source needed.
    """
    return np.where(fixed, rail_pressure_pa + (barometer_pa - np.asarray(manifold_pa)), rail_pressure_pa)


def mass_flow(
    rated_mass_flow: float | FloatArray,
    rated_pressure_pa: float | FloatArray,
    rated_density: float | FloatArray,
    pressure_across_pa: float | FloatArray,
    density: float | FloatArray,
) -> FloatArray:
    """Mass flow by the orifice equation on a rated point, ``ṁ = ṁs·√(Δp/Δps)·√(ρ/ρs)``; 0 where Δp ≤ 0.

    Parameters
    ----------
    rated_mass_flow
        ṁs: the rating as a mass of the rating fluid per time [kg/s].
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
    array
        Broadcast of the arguments [kg/s].

    Notes
    -----
    Incompressible flow through a hole with a constant discharge coefficient (Bernoulli).
    """
    pressure_ratio = np.maximum(pressure_across_pa, 0.0) / rated_pressure_pa
    return np.asarray(rated_mass_flow * np.sqrt(pressure_ratio * density / rated_density))


def dead_time(
    battery_v: float | FloatArray,
    pressure_across_pa: float | FloatArray,
    points_v: FloatArray,
    times_s: FloatArray,
    points_pa: FloatArray | None = None,
) -> FloatArray:
    """Dead time τ(U, Δp): linear between the points, end segments continued, never below zero.

    With data over pressure the interpolation is bilinear. A single point holds along its whole axis.

    Parameters
    ----------
    battery_v
        Battery voltage [V].
    pressure_across_pa
        Pressure across the injector; ignored where `points_pa` is `None` [Pa].
    points_v
        Rising voltages of the data, shape (n,) [V].
    times_s
        Dead times of the data, shape (m, n), one row per pressure, or (n,) for one row [s].
    points_pa
        Rising pressures of the data, shape (m,), or `None` if there is one row [Pa].

    Returns
    -------
    array
        Broadcast of battery voltage and pressure [s].

    Notes
    -----
    Dead time is the time offset of the linear flow line (SAE J1832). That it is linear between the points and
    beyond them is common practice, no source; `dead_time_standing` says how far to trust it.
    """
    across, times = np.asarray(pressure_across_pa, dtype=np.float64), np.asarray(times_s, dtype=np.float64)
    if times.ndim < 2:
        times = times[np.newaxis]
    rows = 1 if points_pa is None else len(points_pa)
    if times.shape != (rows, len(points_v)):
        raise ValueError(f"times_s has shape {times.shape}, the points have {(rows, len(points_v))}")
    battery = np.asarray(battery_v, dtype=np.float64)
    column, along = _segment(battery, np.asarray(points_v, dtype=np.float64))
    next_column = np.minimum(column + 1, times.shape[1] - 1)
    if points_pa is None:
        alone = times[0, column] * (1.0 - along) + times[0, next_column] * along
        return np.asarray(np.maximum(alone, np.zeros(across.shape)))
    row, up = _segment(across, np.asarray(points_pa, dtype=np.float64))
    next_row = np.minimum(row + 1, times.shape[0] - 1)
    low = times[row, column] * (1.0 - along) + times[row, next_column] * along
    high = times[next_row, column] * (1.0 - along) + times[next_row, next_column] * along
    return np.asarray(np.maximum(low * (1.0 - up) + high * up, 0.0))


def _segment(at: FloatArray, points: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Index of the segment that serves each value and the place along it, below 0 or above 1 beyond the points."""
    if len(points) == 1:
        return np.zeros(at.shape, dtype=np.intp), np.zeros(at.shape)
    index = np.asarray(np.searchsorted(points[1:-1], at, side="right"))  # beyond either end its own segment serves
    start = points[index]
    return index, np.asarray((at - start) / (points[index + 1] - start))


def dead_time_standing(battery_v: float, points_v: FloatArray) -> Standing:
    """How far a dead time at this voltage can be trusted.

    Parameters
    ----------
    battery_v
        Battery voltage [V].
    points_v
        Rising voltages of the data, shape (n,) [V].

    Returns
    -------
    str
        ``within`` the data; ``extrapolated`` above it or up to 1 V below; ``not known`` further below.

    Notes
    -----
    The limit of 1 V is common practice, no source.
    """
    lowest, highest = float(points_v[0]), float(points_v[-1])
    if lowest <= battery_v <= highest:
        return "within"
    return "not known" if battery_v < lowest - KNOWN_BELOW_DATA_V else "extrapolated"


def delivered(
    pulse_s: float | FloatArray,
    dead_time_s: float | FloatArray,
    line_flow: float | FloatArray,
    static_flow: float | FloatArray,
    window_s: float | FloatArray,
) -> FloatArray:
    """Mass that one opening delivers: 0 up to τ, ``ṁ·(t − τ)`` up to the window, static flow × window from there on.

    From the window on the injector is never told to close, so it is open throughout and its dead time is gone: the
    mass jumps up there by static flow × τ.

    Parameters
    ----------
    pulse_s
        t: commanded pulse of one opening [s].
    dead_time_s
        τ [s].
    line_flow
        ṁ of the flow line [kg/s].
    static_flow
        Flow fully open [kg/s].
    window_s
        Time from the start of one opening to the start of the next [s].

    Returns
    -------
    array
        Broadcast of the arguments [kg].

    Notes
    -----
    SAE J1832 (flow line, time offset, static flow). Between 85 and 100 % of the window no data sheet says what an
    injector does; the line is used.
    """
    pulse = np.asarray(pulse_s, dtype=np.float64)
    by_line = np.asarray(line_flow * np.maximum(pulse - dead_time_s, 0.0))
    throughout = pulse >= window_s
    if not throughout.any() and np.broadcast(by_line, throughout, static_flow).shape == by_line.shape:
        return by_line
    return np.where(throughout, np.multiply(static_flow, window_s), by_line)


def pulse_for(mass: float | FloatArray, dead_time_s: float | FloatArray, line_flow: float | FloatArray) -> FloatArray:
    """Pulse that delivers a mass by the flow line, ``t = τ + m/ṁ``.

    Parameters
    ----------
    mass
        Fuel of one opening [kg].
    dead_time_s
        τ [s].
    line_flow
        ṁ of the flow line [kg/s].

    Returns
    -------
    array
        Broadcast of the arguments; NaN where the injector passes nothing, because no pulse delivers the mass [s].

    Notes
    -----
    SAE J1832 (flow line). The inverse of `delivered` for a pulse between τ and the window.
    """
    flow = np.where(np.asarray(line_flow) > 0.0, line_flow, np.nan)
    return np.asarray(dead_time_s + mass / flow)
