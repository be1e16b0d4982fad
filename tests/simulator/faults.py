"""What can be wrong with a car, one thing at a time, of a random size and sign."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.simulator.car import Car

Fault = Callable[[Car, np.random.Generator], Car]


def _sign(rng: np.random.Generator) -> float:
    return 1.0 if rng.random() < 0.5 else -1.0


def _fitted(car: Car, **changes: object) -> Car:
    return replace(car, target_true=replace(car.target_true, **changes))  # type: ignore[arg-type]


def _dead_time(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, shift_s=car.target_true.shift_s + _sign(rng) * rng.uniform(0.18e-3, 0.40e-3))


def _slope(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, slope_factor=1.0 + _sign(rng) * rng.uniform(0.3, 0.6))


def _flow(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, flow_m3_s=car.target_true.flow_m3_s * (1.0 + _sign(rng) * rng.uniform(0.08, 0.16)))


def _fuel(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, stoichiometric=car.target_true.stoichiometric * (1.0 + _sign(rng) * rng.uniform(0.05, 0.10)))


def _rail(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, rail_pa=car.target_true.rail_pa * (1.0 + _sign(rng) * rng.uniform(0.15, 0.30)))


def _regulator(car: Car, rng: np.random.Generator) -> Car:
    return _fitted(car, fixed_rail=not car.target_true.fixed_rail)


def _pump(car: Car, rng: np.random.Generator) -> Car:
    # The fuel of the engine wide open at 6000 rpm, all cylinders.
    most = 0.85 * 1e5 * car.target.displacement_m3 / (287.05 * 313.0) * 3000 / 60 / car.target.stoichiometric
    return replace(car, pump_limit_kg_s=most * rng.uniform(0.6, 0.85))


def _pressure(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, sensors=replace(car.sensors, pressure_offset_pa=_sign(rng) * rng.uniform(2500.0, 6000.0)))


def _over_speed(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, breathing=replace(car.breathing, speed=_sign(rng) * rng.uniform(0.10, 0.20)))


def _over_load(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, breathing=replace(car.breathing, load=_sign(rng) * rng.uniform(0.15, 0.30)))


def _leak(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, sensors=replace(car.sensors, leak=rng.uniform(0.08, 0.20)))


def _wideband(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, sensors=replace(car.sensors, probe_scale=1.0 + _sign(rng) * rng.uniform(0.06, 0.12)))


def _overvoltage(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, electrics=replace(car.electrics, climb_v_per_min=rng.uniform(0.5, 1.2)))


def _cranking(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, electrics=replace(car.electrics, cranking_v=rng.uniform(6.5, 7.8)))


def _hot(car: Car, rng: np.random.Generator) -> Car:
    return replace(car, coolant_end_c=rng.uniform(114.0, 125.0))


FAULTS: dict[str, Fault] = {
    "none": lambda car, rng: car,
    "dead time": _dead_time,
    "dead time over voltage": _slope,
    "flow": _flow,
    "stoichiometric ratio": _fuel,
    "rail pressure": _rail,
    "regulator": _regulator,
    "pump": _pump,
    "pressure sensor": _pressure,
    "breathing over speed": _over_speed,
    "breathing over load": _over_load,
    "leak": _leak,
    "wideband": _wideband,
    "overvoltage": _overvoltage,
    "cranking voltage": _cranking,
    "coolant": _hot,
}


def with_fault(car: Car, name: str, seed: int) -> Car:
    """The car with one fault of a size of its own, or with two: their names with a + between."""
    rng = np.random.default_rng([seed, 2])
    for one in name.split("+"):
        car = FAULTS[one](car, rng)
    return car
