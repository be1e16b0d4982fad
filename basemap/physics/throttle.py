"""The throttle: what its blade lets through, and how far the engine behind it pulls the manifold down.

At the same blade angle and speed a bigger engine does not draw its share more air: the blade sets the flow where it
is nearly closed, the cylinders where it is wide open, and between the two the manifold settles.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from basemap.constants import R_DRY_AIR

FloatArray = NDArray[np.float64]

HEAT_CAPACITY_RATIO = 1.4
"""γ of air."""

_EXPONENT = (HEAT_CAPACITY_RATIO - 1.0) / HEAT_CAPACITY_RATIO
_FACTOR = 2.0 / _EXPONENT

CRITICAL_RATIO = (2.0 / (HEAT_CAPACITY_RATIO + 1.0)) ** (1.0 / _EXPONENT)
"""Π*: below it the flow through the blade is sonic and no longer depends on the manifold. 0.528."""


def flow_function(pressure_ratio: float | FloatArray) -> FloatArray:
    """Isentropic throttle function, ``Ψ(Π) = √(2γ/(γ−1)·(Π^(2/γ) − Π^((γ+1)/γ)))``.

    Constant below Π* = 0.528, 0 from Π = 1 on.

    Parameters
    ----------
    pressure_ratio
        Π: manifold over barometric pressure, both absolute [-].

    Returns
    -------
    array
        ṁ·√(R·T)/(A·p0), shape of the argument [-].

    Notes
    -----
    Heywood, appendix C: isentropic flow of an ideal gas through a restriction, γ = 1.4. Worked out as
    ``Π·√(2γ/(γ−1)·u(u−1))`` with ``u = Π^(−(γ−1)/γ)``, which loses no digits near Π = 1.
    """
    ratio = np.clip(pressure_ratio, CRITICAL_RATIO, 1.0)
    expansion = np.expm1(-_EXPONENT * np.log(ratio))
    return np.asarray(ratio * np.sqrt(_FACTOR * (1.0 + expansion) * expansion))


def _ratio_at(demand: FloatArray) -> FloatArray:
    """Π at which Ψ(Π)/Π is `demand`: closed form where the flow is below sonic, Ψ(Π*)/demand where it is not."""
    squared = demand * demand / _FACTOR
    subsonic = ((1.0 + np.sqrt(1.0 + 4.0 * squared)) / 2.0) ** (-1.0 / _EXPONENT)
    sonic = flow_function(CRITICAL_RATIO) / np.where(demand > 0.0, demand, 1.0)
    return np.where(subsonic < CRITICAL_RATIO, sonic, subsonic)


def pressure_ratio(
    drawn_volume_flow: float | FloatArray, effective_area_m2: float | FloatArray, temperature_k: float | FloatArray
) -> FloatArray:
    """Manifold over barometric pressure where blade and engine agree, ``Ψ(Π)/Π = V̇/(A·√(R·T))``.

    Parameters
    ----------
    drawn_volume_flow
        V̇: manifold charge that the whole engine draws, η·V_D·N/120 for a four-stroke [m³/s].
    effective_area_m2
        A: area of all throttles times their discharge coefficient [m²].
    temperature_k
        Temperature of the air, the same before and behind the blade [K].

    Returns
    -------
    array
        Broadcast of the arguments: Π [-].

    Notes
    -----
    Balance of the manifold with the flow of Heywood, appendix C. Steady, no pulsation, nothing lost before the blade.
    """
    speed = np.sqrt(R_DRY_AIR * np.asarray(temperature_k, dtype=np.float64))
    return _ratio_at(np.asarray(drawn_volume_flow / (effective_area_m2 * speed)))


def target_ratio(
    donor_ratio: float | FloatArray,
    displacement_ratio: float | FloatArray,
    area_ratio: float | FloatArray,
    temperature_ratio: float | FloatArray,
) -> FloatArray:
    """Pressure ratio of the target at the donor's blade angle and speed.

    ``Ψ(Π_t)/Π_t = (V_D,t/V_D,d)·(A_d/A_t)·√(T_d/T_t)·Ψ(Π_d)/Π_d``, solved in closed form.

    Parameters
    ----------
    donor_ratio
        Π_d: air of the cell over the air of the wide-open row at that speed. From 1 on it is kept; negative gives
        NaN [-].
    displacement_ratio
        Displacement of the target over that of the donor, whole engines [-].
    area_ratio
        Total bore area of the donor's throttles over that of the target's [-].
    temperature_ratio
        Charge temperature of the donor over that of the target [-].

    Returns
    -------
    array
        Broadcast of the arguments: Π_t [-].

    Notes
    -----
    Flow through the blade (Heywood, appendix C) equals what the engine draws; written for both engines with the same
    volumetric efficiency and discharge coefficient and divided. With ``c = Ψ/Π``, ``C = c²·(γ−1)/(2γ)`` and
    ``y = (1 + √(1 + 4C))/2``: ``Π = y^(−γ/(γ−1))``, or ``Ψ(Π*)/c`` where that is below Π*.

    Against an iterated simulation the air is within 1.5 % where the donor's own wide-open ratio is 0.985 or more, the
    efficiency does not depend on load, and the target asks for at most 1.4 times the donor's flow per bore area.
    """
    donor = np.asarray(donor_ratio, dtype=np.float64)
    flowing = np.where(donor > 0.0, donor, 1.0)
    scale = displacement_ratio * area_ratio * np.sqrt(np.asarray(temperature_ratio, dtype=np.float64))
    target = np.where(donor >= 1.0, donor, _ratio_at(np.asarray(scale * flow_function(flowing) / flowing)))
    return np.where(donor > 0.0, target, np.where(donor == 0.0, 0.0, np.nan))


def air_over(pressure_ratio: float | FloatArray, efficiency_ratio: float | FloatArray) -> FloatArray:
    """Ratio by which the air behind a blade changes with another volumetric efficiency.

    Parameters
    ----------
    pressure_ratio
        Π: manifold over barometric pressure as predicted with the assumed efficiency [-].
    efficiency_ratio
        B: true volumetric efficiency over the assumed one, positive [-].

    Returns
    -------
    array
        Broadcast of the arguments: 1 where the blade is choked and sets the flow alone, B where it is wide open (Π of
        1 or more); NaN where Π is not above 0 [-].

    Notes
    -----
    ``Ψ(Π')/Π' = B·Ψ(Π)/Π`` (balance of the manifold, Heywood, appendix C), and the air goes as B·Π'.
    """
    ratio = np.asarray(pressure_ratio, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = efficiency_ratio * target_ratio(ratio, efficiency_ratio, 1.0, 1.0) / ratio
    return np.where(ratio > 0.0, found, np.nan)


def stiffness(pressure_ratio: float | FloatArray) -> FloatArray:
    """How far the air behind a blade follows the volumetric efficiency, ``d ln m / d ln η = −s/(1 − s)``.

    Parameters
    ----------
    pressure_ratio
        Π: manifold over barometric pressure [-].

    Returns
    -------
    array
        Shape of the argument: 0 where the blade is choked, 1 wide open [-].

    Notes
    -----
    ``s = d ln Ψ/d ln Π`` of the flow function; with ``u = Π^((γ−1)/γ)`` and ``a = (γ+1)/2·u − 1``, which is 0 at Π*,
    it is ``a/(a + γ·(1 − u))``.
    """
    root = np.clip(pressure_ratio, CRITICAL_RATIO, 1.0) ** _EXPONENT
    over = np.maximum((HEAT_CAPACITY_RATIO + 1.0) / 2.0 * root - 1.0, 0.0)
    return np.asarray(over / (over + HEAT_CAPACITY_RATIO * (1.0 - root)))


def target_air(
    target_pressure_ratio: float | FloatArray,
    donor_wide_open_air: float | FloatArray,
    cylinder_volume_ratio: float | FloatArray,
    temperature_ratio: float | FloatArray,
    barometer_ratio: float | FloatArray,
) -> FloatArray:
    """Air per cylinder of the target, ``m_t = (V_t/V_d)·W_d·Π_t·(T_d/T_t)·(p0_t/p0_d)``.

    Parameters
    ----------
    target_pressure_ratio
        Π_t [-].
    donor_wide_open_air
        W_d: air per cylinder and cycle of the donor's wide-open row at the same speed [kg].
    cylinder_volume_ratio
        Swept volume of one cylinder of the target over that of the donor [-].
    temperature_ratio
        Charge temperature of the donor over that of the target [-].
    barometer_ratio
        Barometric pressure of the target over that of the donor [-].

    Returns
    -------
    array
        Broadcast of the arguments [kg].

    Notes
    -----
    The definition of volumetric efficiency (Heywood, section 2.10) for both engines with the same efficiency,
    divided. It takes the donor's manifold for the barometer's when wide open.
    """
    same_pressure = donor_wide_open_air * np.multiply(cylinder_volume_ratio, temperature_ratio) * barometer_ratio
    return np.asarray(target_pressure_ratio * same_pressure)


def fixed_rail_ratio(apparent_ratio: float | FloatArray, barometer_over_rail: float | FloatArray) -> FloatArray:
    """Pressure ratio where the regulator is fixed: the positive root of ``Π² + a²bΠ − a²(1 + b) = 0``.

    Parameters
    ----------
    apparent_ratio
        a: air of the cell over the air of the wide-open row, both decoded at Δp = p_rail; not negative [-].
    barometer_over_rail
        b: barometric pressure over gauge rail pressure [-].

    Returns
    -------
    array
        Broadcast of the arguments: Π [-].

    Notes
    -----
    ``Δp = p_rail + p0 − p = p_rail·(1 + b(1 − Π))`` and flow goes with √Δp (Bernoulli), so a pulse that looks like a
    is in truth ``Π = a·√(1 + b(1 − Π))``. Wide open a = Π = 1. The root is written without a difference.
    """
    apparent = np.asarray(apparent_ratio, dtype=np.float64)
    half = apparent * barometer_over_rail
    return np.asarray(
        2.0 * apparent * (1.0 + barometer_over_rail) / (half + np.hypot(half, 2.0 * np.sqrt(1.0 + barometer_over_rail)))
    )
