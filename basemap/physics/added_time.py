"""What an ECU adds to short pulses by a table, and its exact inverse."""

from __future__ import annotations

import numpy as np

from basemap.errors import InputError
from basemap.physics.bent_line import FloatArray

_ROUNDING = 1e-9
"""Smaller rises per step of the pulse count as flat: a flat piece typed in decimals comes out some 1e-13 off."""


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
        If the table has no points or unequal counts, the pulses do not rise, or pulse plus added time does not.

    Notes
    -----
    Otherwise several pulses would be lengthened to the same one; no source needed.
    """
    pulses, added = np.asarray(pulses_s, dtype=np.float64), np.asarray(added_s, dtype=np.float64)
    if pulses.ndim != 1 or pulses.shape != added.shape or pulses.size == 0:
        raise InputError(
            f"{pulses.size} pulses and {added.size} added times do not make a table; give one time for every pulse"
        )
    if not (np.isfinite(pulses).all() and np.isfinite(added).all()):
        raise InputError("the table of added time has an empty or infinite cell; give a time for every pulse")
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
