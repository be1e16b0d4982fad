"""The thermistor: resistance and temperature by the equation of Steinhart and Hart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from basemap.errors import InputError

FloatArray = NDArray[np.float64]


def steinhart_hart(resistances_ohm: FloatArray, temperatures_k: FloatArray) -> tuple[float, float, float]:
    """Coefficients of ``1/T = A + B·ln R + C·(ln R)³``: exact through three points, least squares through more.

    The squares are those of the temperature error, to first order.

    Parameters
    ----------
    resistances_ohm
        Three or more, all different, shape (n,) [ohm].
    temperatures_k
        Of each, falling as the resistance rises, shape (n,) [K].

    Returns
    -------
    tuple
        A, B, C for T in K and R in ohm [1/K].

    Raises
    ------
    InputError
        With fewer than three points, or points that are no thermistor's.

    Notes
    -----
    Steinhart and Hart, Deep-Sea Research 15 (1968), 497.
    """
    resistances, temperatures = np.asarray(resistances_ohm, np.float64), np.asarray(temperatures_k, np.float64)
    if len(resistances) != len(temperatures) or len(resistances) < 3:
        raise InputError(
            f"{len(resistances)} resistances and {len(temperatures)} temperatures; "
            "a thermistor takes three points or more, one temperature for every resistance"
        )
    order = np.argsort(resistances)
    resistances, temperatures = resistances[order], temperatures[order]
    physical = resistances[0] > 0.0 and temperatures[-1] > 0.0 and (np.diff(resistances) > 0.0).all()
    if not (physical and (np.diff(temperatures) < 0.0).all()):
        raise InputError("a thermistor's resistance falls as it gets warmer; correct the resistances or temperatures")
    logarithm = np.log(resistances)
    terms = np.stack([np.ones_like(logarithm), logarithm, logarithm**3], axis=1) * temperatures[:, np.newaxis] ** 2
    a, b, c = (float(one) for one in np.linalg.lstsq(terms, temperatures, rcond=None)[0])
    if b <= 0.0 or min(b + 3.0 * c * logarithm**2) <= 0.0:
        raise InputError("no thermistor's curve passes near these points; correct the resistances or temperatures")
    return a, b, c


def temperature(resistance_ohm: float | FloatArray, coefficients: tuple[float, float, float]) -> FloatArray:
    """Temperature of a thermistor, ``1/T = A + B·ln R + C·(ln R)³``.

    Parameters
    ----------
    resistance_ohm
        Resistance above 0 [ohm].
    coefficients
        A, B, C for T in K and R in ohm [1/K].

    Returns
    -------
    array
        Shape of the resistance; NaN where the curve has turned or left the scale of temperature [K].

    Notes
    -----
    Steinhart and Hart, Deep-Sea Research 15 (1968), 497.
    """
    a, b, c = coefficients
    logarithm = np.log(np.asarray(resistance_ohm, dtype=np.float64))
    inverse = a + b * logarithm + c * logarithm**3
    usable = (inverse > 0.0) & (b + 3.0 * c * logarithm**2 > 0.0)
    return np.asarray(1.0 / np.where(usable, inverse, np.nan))


def resistance(temperature_k: float | FloatArray, coefficients: tuple[float, float, float]) -> FloatArray:
    """Resistance of a thermistor: the inverse of `temperature` in closed form.

    Parameters
    ----------
    temperature_k
        Above 0 [K].
    coefficients
        A, B, C for T in K and R in ohm, B above 0 [1/K].

    Returns
    -------
    array
        Shape of the temperature; NaN where the curve has no such temperature [ohm].

    Notes
    -----
    ``x³ + p·x + q = 0`` for x = ln R, solved by ``4·sinh³ + 3·sinh = sinh of the triple``, or by the sine where C is
    negative: no difference of nearly equal roots, so no digits are lost however small C is.
    """
    a, b, c = coefficients
    rest = a - 1.0 / np.asarray(temperature_k, dtype=np.float64)
    if c == 0.0:
        return np.asarray(np.exp(-rest / b))
    half = np.sqrt(b / abs(3.0 * c))
    triple = rest / c / (2.0 * half**3)
    if c > 0.0:
        return np.asarray(np.exp(-2.0 * half * np.sinh(np.arcsinh(triple) / 3.0)))
    triple = np.where(abs(triple) <= 1.0, triple, np.nan)
    return np.asarray(np.exp(2.0 * half * np.sin(np.arcsin(triple) / 3.0)))
