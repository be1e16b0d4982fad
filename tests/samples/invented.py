"""The invented engines behind sample_tables: a smooth volumetric efficiency, and the pulse that it would take.

Nothing here is measured, and nothing comes from a real engine. The arithmetic stands on its own feet: it does not
use the package, so that a sample that decodes to the surface it was made from says something.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tests.reference.throttle_simulator import Simulated

R_DRY_AIR = 287.05287
N_HEPTANE_20 = 683.81407

Surface = Callable[[float, float], float]


@dataclass(frozen=True)
class Breathing:
    """How an invented engine breathes.

    Parameters
    ----------
    base, gain, peak_rpm, width_rpm
        Wide open: ``base + gain · exp(−((N − peak)/width)²)``.
    residual, fade_kpa
        At part load: ``1 − residual · exp(−(p − 20 kPa)/fade)``, for the burnt gas that stays behind.
    """

    base: float
    gain: float
    peak_rpm: float
    width_rpm: float
    residual: float = 0.36
    fade_kpa: float = 28.0

    def ve(self, rpm: float, kpa: float) -> float:
        """Volumetric efficiency, referred to the manifold."""
        wide_open = self.base + self.gain * math.exp(-(((rpm - self.peak_rpm) / self.width_rpm) ** 2))
        return wide_open * (1.0 - self.residual * math.exp(-(kpa - 20.0) / self.fade_kpa))


@dataclass(frozen=True)
class Injection:
    """What turns the air of an invented engine into a pulse; rail referenced to the manifold, one opening a cycle."""

    cylinder_cc: float
    static_flow_cc_min: float
    fuel_density: float
    stoichiometric: float
    lambda_: float
    charge_c: float
    dead_time_ms: float

    def pulse_ms(self, ve: float, kpa: float) -> float:
        """Pulse for a cell, dead time included, ms. The rail stands at the pressure of the injector's rating."""
        return self.pulse_of_air_ms(ve * kpa * 1e3 * self.cylinder_cc * 1e-6 / (R_DRY_AIR * (self.charge_c + 273.15)))

    def pulse_of_air_ms(self, air_kg: float) -> float:
        """Pulse for so much air of a cylinder in a cycle, ms."""
        flow_kg_s = self.static_flow_cc_min * 1e-6 / 60.0 * math.sqrt(N_HEPTANE_20 * self.fuel_density)
        return 1e3 * air_kg / (self.stoichiometric * self.lambda_ * flow_kg_s) + self.dead_time_ms


FERRY_VAN = Breathing(base=0.68, gain=0.24, peak_rpm=4600, width_rpm=2900)
ORCHARD_PICKUP = Breathing(base=0.64, gain=0.25, peak_rpm=3900, width_rpm=2700)
HARBOUR_LAUNCH = Breathing(base=0.66, gain=0.21, peak_rpm=3600, width_rpm=2600)
HILL_CLIMB = Breathing(base=0.70, gain=0.24, peak_rpm=4400, width_rpm=2600, residual=0.34, fade_kpa=30.0)
QUARRY_LOADER = Breathing(base=0.80, gain=0.09, peak_rpm=3900, width_rpm=3400, residual=0.30, fade_kpa=20.0)
BIG_SIX = Breathing(base=0.66, gain=0.25, peak_rpm=4200, width_rpm=2800)

ORCHARD_INJECTION = Injection(
    cylinder_cc=1595 / 4,
    static_flow_cc_min=190,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=0.95,
    charge_c=40,
    dead_time_ms=0.9375,  # between 1.20 ms at 12 V and 0.85 ms at 14 V, at 13.5 V
)
MILL_YARD_INJECTION = Injection(
    cylinder_cc=2190 / 4,
    static_flow_cc_min=210,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=1.0,
    charge_c=40,
    dead_time_ms=0.9375,  # between 1.20 ms at 12 V and 0.85 ms at 14 V, at 13.5 V
)
# The wrong file: 3.5 l in six cylinders on small injectors. Its job says that it comes from a 1.6 with larger ones.
BIG_SIX_INJECTION = Injection(
    cylinder_cc=3500 / 6,
    static_flow_cc_min=190,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=0.90,
    charge_c=40,
    dead_time_ms=0.0,
)


REED_BANK_BUGGY = Simulated(1.584, 4, 1, 46.0, temperature_k=313.15, barometer_pa=101_325.0)
QUARRY_THROTTLE = Simulated(1.598, 4, 1, 50.0, temperature_k=313.15, barometer_pa=101_325.0)
BUGGY_INJECTION = Injection(
    cylinder_cc=396,
    static_flow_cc_min=200,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=1.0,
    charge_c=40,
    dead_time_ms=0.0,
)


def buggy_pulse_ms(rpm: float, opening: float) -> float:
    """What the buggy's controller holds over throttle opening, %: the time open at λ 1, on a fixed rail of 3 bar."""
    manifold = REED_BANK_BUGGY.manifold_pa(opening / 100.0, rpm)
    air = REED_BANK_BUGGY.pumped_kg_s(rpm, manifold) * 120.0 / rpm / 4.0
    return BUGGY_INJECTION.pulse_of_air_ms(air) / math.sqrt((3e5 + 101_325.0 - manifold) / 3e5)


def buggy_lambda(opening: float) -> float:
    """Intended λ over opening: 1, and 0.87 from half open."""
    return 1.0 - 0.13 * min(max((opening - 30.0) / 20.0, 0.0), 1.0)


def quarry_percent(rpm: float, opening: float) -> float:
    """Air of the loader over throttle opening, against what its cylinder holds at 100 kPa, %."""
    manifold = QUARRY_THROTTLE.manifold_pa(opening / 100.0, rpm)
    return manifold / 1e3 * QUARRY_LOADER.ve(rpm, 100.0)


def mill_yard_share(rpm: float, mg: float) -> float:
    """Air that the engine draws to the air that its controller counts."""
    return 0.96 + 0.05 * math.exp(-(((rpm - 2600.0) / 1300.0) ** 2)) - 0.04 * math.exp(-mg / 150.0)


def atmospheric_lambda(kpa: float) -> float:
    """Intended λ of an engine without boost: 1 at part load, 0.88 wide open."""
    return 1.0 - 0.12 * min(max((kpa - 70.0) / 25.0, 0.0), 1.0)


def boosted_lambda(kpa: float) -> float:
    """Intended λ of a boosted engine: 1 at part load, 0.86 from the barometer up, 0.80 at 200 kPa."""
    if kpa >= 95.0:
        return 0.86 - 0.06 * min((kpa - 95.0) / 105.0, 1.0)
    return 1.0 - 0.14 * min(max((kpa - 60.0) / 35.0, 0.0), 1.0)
