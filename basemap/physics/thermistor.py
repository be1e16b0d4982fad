"""A thermistor behind a pull-up resistor: resistance, temperature and the voltage at the controller's input."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def divider_voltage(resistance_ohm: FloatArray | float, pull_up_ohm: float, supply_v: float) -> FloatArray:
    """Voltage over a sensor to ground that is fed through a pull-up resistor, ``U·R/(R + R_p)``.

    Parameters
    ----------
    resistance_ohm
        Of the sensor, any shape [Ω].
    pull_up_ohm
        Of the resistor to the supply [Ω].
    supply_v
        Of the resistor [V].

    Returns
    -------
    array, shape of the resistance
        Voltage over the sensor [V].

    Notes
    -----
    Ohm's law.
    """
    resistance = np.asarray(resistance_ohm, dtype=np.float64)
    return np.asarray(supply_v * resistance / (resistance + pull_up_ohm))


def divider_resistance(voltage_v: FloatArray | float, pull_up_ohm: float, supply_v: float) -> FloatArray:
    """Resistance that gives a voltage; the inverse of `divider_voltage`.

    NaN at 0 V and below (a short circuit) and at the supply and above (an open one): no temperature gives that.

    Parameters
    ----------
    voltage_v
        Over the sensor, any shape [V].
    pull_up_ohm
        Of the resistor to the supply [Ω].
    supply_v
        Of the resistor [V].

    Returns
    -------
    array, shape of the voltage
        Of the sensor [Ω].

    Notes
    -----
    Ohm's law.
    """
    voltage = np.asarray(voltage_v, dtype=np.float64)
    within = (voltage > 0.0) & (voltage < supply_v)
    inside = np.where(within, voltage, 0.5 * supply_v)
    return np.asarray(np.where(within, pull_up_ohm * inside / (supply_v - inside), np.nan))


@dataclass(frozen=True)
class SteinhartHart:
    """1/T = A + B·ln R + C·(ln R)³, T in K and R in Ω (Steinhart and Hart, Deep-Sea Research 15 (1968) 497)."""

    a: float
    b: float
    c: float

    def temperature_k(self, resistance_ohm: FloatArray | float) -> FloatArray:
        """Temperature at resistances, K; NaN at NaN."""
        log = np.log(np.asarray(resistance_ohm, dtype=np.float64))
        return np.asarray(1.0 / (self.a + self.b * log + self.c * log**3))


def steinhart_hart(resistance_ohm: FloatArray, temperature_k: FloatArray) -> SteinhartHart:
    """The curve through three points, or the one nearest to more of them (least squares in 1/T).

    Parameters
    ----------
    resistance_ohm
        Shape (n,), n ≥ 3, every one once [Ω].
    temperature_k
        Shape (n,) [K].

    Raises
    ------
    ValueError
        With fewer than three points.

    Notes
    -----
    Steinhart and Hart, Deep-Sea Research 15 (1968) 497.
    """
    if resistance_ohm.size < 3:
        raise ValueError("a thermistor's curve takes at least three points")
    log = np.log(resistance_ohm)
    columns = np.stack([np.ones_like(log), log, log**3], axis=1)
    size = np.abs(columns).max(axis=0)  # brings the columns to one size, for the cube is a thousand times the one
    a, b, c = np.linalg.lstsq(columns / size, 1.0 / temperature_k, rcond=None)[0] / size
    return SteinhartHart(float(a), float(b), float(c))
