"""A steady engine behind a throttle, simulated with absolute areas: no ratio, nothing of the package.

The blade passes air as a nozzle does: the speed from the enthalpy given up, the density from isentropic expansion, and
the speed of sound in the throat where that is reached. The manifold pressure is found by iterating on its mass balance.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

FloatArray = NDArray[np.float64]

GAS_CONSTANT = 287.05
GAMMA = 1.4
CLOSED_DEGREES = 6.0
LEAK_SHARE = 0.004


def efficiency_over_speed(rpm: float, pressure_ratio: float) -> float:
    """An invented curve with its peak at 4000 rev/min, the same at every load."""
    return 0.92 - 0.16 * ((rpm - 4000.0) / 4000.0) ** 2


def efficiency_over_load(rpm: float, pressure_ratio: float) -> float:
    """The same less what burned gas takes at compression 10, by the first law on the ideal intake stroke."""
    volume_ratio, exhaust = 10.0, 1.0 / pressure_ratio
    ideal = (volume_ratio - exhaust) / (GAMMA * (volume_ratio - 1.0)) + (GAMMA - 1.0) / GAMMA
    return efficiency_over_speed(rpm, pressure_ratio) * ideal


@dataclass(frozen=True)
class Simulated:
    """One four-stroke engine: litres, millimetres, kelvin, pascals."""

    litres: float
    cylinders: int
    bores: int
    bore_mm: float
    temperature_k: float = 298.15
    barometer_pa: float = 100e3
    efficiency: Callable[[float, float], float] = efficiency_over_speed

    @property
    def bore_area_m2(self) -> float:
        """Total bore area, m²."""
        return self.bores * math.pi / 4.0 * (self.bore_mm / 1000.0) ** 2

    def effective_area_m2(self, opening: float) -> float:
        """Discharge coefficient times open area at 0…1 of the travel of a round blade, m²."""
        closed = math.radians(CLOSED_DEGREES)
        angle = closed + opening * (math.pi / 2.0 - closed)
        open_share = 1.0 - math.cos(angle) / math.cos(closed) + LEAK_SHARE
        discharge = 0.70 + 0.20 * opening
        return discharge * open_share * self.bore_area_m2

    def blade_kg_s(self, opening: float, manifold_pa: float) -> float:
        """Air through the throttle, kg/s."""
        heat_capacity = GAMMA * GAS_CONSTANT / (GAMMA - 1.0)
        throat_k: float = self.temperature_k * max(
            (manifold_pa / self.barometer_pa) ** ((GAMMA - 1.0) / GAMMA), 2.0 / (GAMMA + 1.0)
        )
        velocity = math.sqrt(max(2.0 * heat_capacity * (self.temperature_k - throat_k), 0.0))
        still_density = self.barometer_pa / (GAS_CONSTANT * self.temperature_k)
        throat_density: float = still_density * (throat_k / self.temperature_k) ** (1.0 / (GAMMA - 1.0))
        return self.effective_area_m2(opening) * throat_density * velocity

    def pumped_kg_s(self, rpm: float, manifold_pa: float) -> float:
        """Air that the cylinders draw, kg/s."""
        density = manifold_pa / (GAS_CONSTANT * self.temperature_k)
        efficiency = self.efficiency(rpm, manifold_pa / self.barometer_pa)
        return efficiency * density * self.litres / 1000.0 * rpm / 120.0

    def manifold_pa(self, opening: float, rpm: float) -> float:
        """Pressure at which the manifold neither fills nor empties, Pa."""

        def surplus(manifold_pa: float) -> float:
            return self.blade_kg_s(opening, manifold_pa) - self.pumped_kg_s(rpm, manifold_pa)

        # At the lower end the cylinders draw less than even the shut blade lets in; at the barometer it lets none in.
        lowest, highest = 0.005 * self.barometer_pa, self.barometer_pa
        return float(brentq(surplus, lowest, highest, xtol=1e-7, rtol=1e-14))  # type: ignore[no-untyped-call]

    def tables(self, openings: FloatArray, rpm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Air per cylinder and cycle, kg, and manifold over barometric pressure, both shape (openings, speeds)."""
        manifold = np.array([[self.manifold_pa(opening, speed) for speed in rpm] for opening in openings])
        pumped = np.array([[self.pumped_kg_s(speed, p) for speed, p in zip(rpm, row, strict=True)] for row in manifold])
        return pumped * 120.0 / rpm / self.cylinders, manifold / self.barometer_pa
