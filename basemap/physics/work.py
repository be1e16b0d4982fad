"""Work per cycle and swept volume, from a maker's figure of power or torque, and what friction takes of it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def brake_mean_effective_pressure(
    torque_nm: float | FloatArray, displacement_m3: float, turns_per_cycle: float
) -> FloatArray:
    """Brake mean effective pressure, ``M·2π·turns/V`` [Pa].

    Parameters
    ----------
    torque_nm
        M: torque at the crankshaft [N·m].
    displacement_m3
        V: swept volume of the whole engine [m³].
    turns_per_cycle
        Turns of the crankshaft in one working cycle: 2 four-stroke, 1 two-stroke [-].

    Returns
    -------
    array
        Shape of `torque_nm` [Pa].

    Notes
    -----
    Heywood, Internal Combustion Engine Fundamentals (1988), section 2.7.
    """
    return np.asarray(torque_nm * 2.0 * math.pi * turns_per_cycle / displacement_m3)


def friction_mean_effective_pressure(speed_rpm: float | FloatArray) -> FloatArray:
    """Friction of a motored four-stroke engine wide open, ``0.97 + 0.15·n + 0.05·n²`` bar, n = N/1000 [Pa].

    Parameters
    ----------
    speed_rpm
        N: engine speed [rev/min].

    Returns
    -------
    array
        Shape of `speed_rpm` [Pa].

    Notes
    -----
    Heywood, section 13.6: a fit to several four-cylinder engines of 845 to 2000 cm³, pumping included.
    """
    thousands = np.asarray(speed_rpm, dtype=np.float64) / 1000.0
    return np.asarray(1e5 * (0.97 + 0.15 * thousands + 0.05 * thousands**2))


def torque_of_power(power_w: float, speed_rpm: float) -> float:
    """Torque at the crankshaft from power and speed, ``P/(2π·N/60)``.

    Parameters
    ----------
    power_w
        P: power at the crankshaft [W].
    speed_rpm
        N: engine speed [rev/min].

    Returns
    -------
    float
        Torque [N·m].

    Notes
    -----
    Power is torque times angular velocity.
    """
    return power_w / (2.0 * math.pi * speed_rpm / 60.0)
