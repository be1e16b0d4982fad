"""A drive: what the driver does, what the engine makes of it, and what a logger writes down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator.car import Car, FloatArray, R, donor_efficiency, gain

BoolArray = NDArray[np.bool_]

STEP_S = 0.02
FILM_SHARE, FILM_S = 0.25, 0.35
PROBE_LOW, PROBE_HIGH = 0.68, 1.36


@dataclass(frozen=True)
class Drive:
    """Time series, one value a step of `STEP_S`; `lambda_true` and `true_error` are what no logger sees."""

    time_s: FloatArray
    rpm: FloatArray
    pressure_pa: FloatArray
    battery_v: FloatArray
    coolant_c: FloatArray
    charge_c: FloatArray
    pulse_s: FloatArray
    throttle: FloatArray
    trim: FloatArray
    lambda_read: FloatArray
    lambda_true: FloatArray
    fuel_pressure_pa: FloatArray


def profile(seconds: float, seed: int, *, only_idle: bool = False) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Speed, manifold pressure and whether fuel may be cut, after a key-on of 3 s and 2 s of cranking."""
    rng = np.random.default_rng([seed, 3])
    at, rpm, kpa, cut = [0.0, 3.0, 3.01, 5.0, 5.6], [0.0, 0.0, 200.0, 200.0, 1200.0], [100.0, 100, 97, 95, 40], [0] * 5
    now = 5.6

    def to(after: float, speed: float, pressure: float, may_cut: int = 0) -> None:
        nonlocal now
        now += after
        at.append(now)
        rpm.append(speed)
        kpa.append(pressure)
        cut.append(may_cut)

    idle = (float(rng.uniform(800, 1000)), float(rng.uniform(30, 38)))
    to(2.0, *idle)
    to(float(rng.uniform(20, 40)), *idle)
    while now < seconds:
        kind = "idle" if only_idle else rng.choice(["idle", "cruise", "cruise", "cruise", "climb", "pull"])
        if kind == "idle":
            to(1.5, *idle)
            to(float(rng.uniform(5, 12)), *idle)
        elif kind == "cruise":
            speed, pressure = float(rng.uniform(1500, 3600)), float(rng.uniform(32, 70))
            to(float(rng.uniform(2.5, 4.0)), speed, min(pressure + 20, 90))
            to(0.5, speed, pressure)
            to(float(rng.uniform(5, 15)), speed * float(rng.uniform(0.95, 1.05)), pressure + float(rng.uniform(-4, 4)))
        elif kind == "climb":
            speed, pressure = float(rng.uniform(2200, 4200)), float(rng.uniform(70, 92))
            to(0.6, speed * 0.9, pressure)
            to(float(rng.uniform(4, 9)), speed, pressure)
        else:
            low, high = float(rng.uniform(2000, 3000)), float(rng.uniform(5000, 6300))
            to(2.0, low, 50.0)
            to(0.3, low, 98.5)
            to((high - low) / float(rng.uniform(350, 700)), high, 98.5)
        if kind != "idle" and rng.random() < 0.6:
            fall = float(rng.uniform(2.5, 6.0))
            to(0.3, rpm[-1], 24.0, 1)
            to(fall, max(1300.0, rpm[-1] * 0.5), 24.0, 1)
            to(0.3, rpm[-1], 40.0)
    grid = np.arange(0.0, seconds, STEP_S)
    speed, pressure = np.interp(grid, at, rpm), np.interp(grid, at, kpa)
    allowed = np.interp(grid, at, cut) > 0.99
    return speed, pressure * 1e3, allowed.astype(np.float64)


def between_cells(car: Car, table: FloatArray, rpm: FloatArray, pressure_pa: FloatArray) -> FloatArray:
    """A table as a controller reads it: bilinear, its edges held."""
    x, y = (
        np.interp(rpm, car.rpm, np.arange(car.rpm.size)),
        np.interp(pressure_pa / 1e3, car.kpa, np.arange(car.kpa.size)),
    )
    i, j = np.minimum(x.astype(int), car.rpm.size - 2), np.minimum(y.astype(int), car.kpa.size - 2)
    u, v = x - i, y - j
    low = table[j, i] * (1 - u) + table[j, i + 1] * u
    return np.asarray(low * (1 - v) + (table[j + 1, i] * (1 - u) + table[j + 1, i + 1] * u) * v)


def _lagged(values: FloatArray, tau_s: float) -> FloatArray:
    """First-order lag."""
    share, state = STEP_S / (tau_s + STEP_S), float(values[0])
    return np.array([state := state + share * (value - state) for value in values.tolist()])


def efficiency(car: Car, rpm: FloatArray, pressure_pa: FloatArray) -> FloatArray:
    """The target's true volumetric efficiency."""
    return np.asarray(donor_efficiency(rpm, pressure_pa) * np.exp(car.breathing.at(rpm, pressure_pa)))


def true_fuel(car: Car, pulse_s: FloatArray, rpm: FloatArray, pressure_pa: FloatArray, volts: FloatArray) -> FloatArray:
    """Fuel that one injector truly delivers in a cycle, kg; a pump that cannot keep up loses pressure."""
    hardware = car.target_true
    fuel = hardware.flow_kg_s(hardware.across_pa(pressure_pa)) * np.maximum(pulse_s - hardware.dead_at(volts), 0.0)
    return np.asarray(fuel * np.sqrt(_pump_holds(car, fuel, rpm)))


def _pump_holds(car: Car, fuel_kg: FloatArray, rpm: FloatArray) -> FloatArray:
    """Share of the pressure across the injectors that is left where they ask for so much in a cycle each.

    Beyond what the pump can do the pressure falls: a longer pulse still brings more, but less and less of it.
    """
    asked = fuel_kg * np.maximum(rpm, 1.0) / 120.0 * 4.0 / car.pump_limit_kg_s
    return np.asarray(np.maximum(asked, 1.0) ** -1.2)


def true_lambda(
    car: Car, table: FloatArray, rpm: FloatArray, pressure_pa: FloatArray, charge_k: float = 313.15, volts: float = 13.8
) -> FloatArray:
    """Steady λ that a loaded table truly gives, warm, where the controller *reads* a pressure, without trims."""
    pulse = command(car, table, rpm, pressure_pa, np.full(np.shape(rpm), charge_k), np.full(np.shape(rpm), volts))
    truly = pressure_pa - car.sensors.pressure_offset_pa
    air = efficiency(car, rpm, truly) * truly * car.target_true.displacement_m3 / 4.0 / (R * charge_k)
    fuel = true_fuel(car, pulse, rpm, truly, np.full(np.shape(rpm), volts))
    with np.errstate(divide="ignore"):
        return np.asarray(air / (car.target_true.stoichiometric * fuel))


def command(
    car: Car, table: FloatArray, rpm: FloatArray, pressure_pa: FloatArray, charge_k: FloatArray, volts: FloatArray
) -> FloatArray:
    """Pulse that the controller commands of a loaded table, s."""
    cell = between_cells(car, table, rpm, pressure_pa) / between_cells(car, car.intended, rpm, pressure_pa)
    per_cell = gain(car.target, car.formula_factor, pressure_pa, charge_k, car.corrects_rail)
    return np.asarray(cell * per_cell + car.target.dead_at(volts))


def simulate(
    car: Car, seconds: float, seed: int, *, table: FloatArray | None = None, warm: bool = False, only_idle: bool = False
) -> Drive:
    """Drive the car with a table loaded (the donor's own unless another is given)."""
    rng = np.random.default_rng([seed, 4])
    loaded = car.table if table is None else table
    rpm, wanted, may_cut = profile(seconds, seed, only_idle=only_idle)
    wanted = wanted * car.target.barometer_pa / 1e5
    pressure = _lagged(wanted, 0.12) * (1.0 + 0.003 * _lagged(rng.normal(0, 3.0, rpm.size), 0.4))
    time = np.asarray(np.arange(rpm.size) * STEP_S, dtype=np.float64)
    running = time > 5.2
    volts = _battery(car, time, running, rng)
    coolant = car.coolant_end_c - (car.coolant_end_c - (82.0 if warm else 20.0)) * np.exp(-time / 110.0)
    under_bonnet = 30.0 + 12.0 * np.exp(-np.maximum(_lagged(rpm, 20.0), 1.0) / 2000.0) + 2.0 * np.sin(time / 90.0)
    # After a night the air is as cold as the coolant.
    charge = under_bonnet + (0.0 if warm else 1.0) * (20.0 - under_bonnet) * np.exp(-time / 25.0)
    read_pressure = pressure + car.sensors.pressure_offset_pa
    warm_up = 1.0 + 0.35 * np.clip((70.0 - coolant) / 50.0, 0.0, 1.0)
    rise = np.maximum(np.gradient(_lagged(read_pressure, 0.05), STEP_S), 0.0)
    extra = 1.0 + np.clip(rise / 1e5 * 0.12, 0.0, 0.25)
    read_charge = charge - car.sensors.charge_offset_k
    base = command(car, loaded, np.maximum(rpm, 1.0), read_pressure, read_charge + 273.15, volts)
    told = car.target.dead_at(volts)
    cut = (may_cut > 0) & (rpm > 1500)
    trim = np.ones(rpm.size)
    pulse = np.where(cut | (rpm < 1), 0.0, (base - told) * warm_up * extra + told)
    if car.closed_loop:
        pulse, trim, lambda_gas = _closed_loop(car, pulse, told, rpm, pressure, volts, charge, coolant)
    else:
        lambda_gas = _gas(car, pulse, rpm, pressure, volts, charge)
    read = _probe(car, lambda_gas, rpm, pressure, rng, running)
    fitted = car.target_true
    across = fitted.across_pa(pressure)
    asked = fitted.flow_kg_s(across) * np.maximum(pulse - fitted.dead_at(volts), 0.0)
    across = across * _pump_holds(car, asked, rpm)
    return Drive(
        time, rpm + rng.normal(0, 4.0, rpm.size) * (rpm > 300), read_pressure + rng.normal(0, 120.0, rpm.size),
        volts + rng.normal(0, 0.03, rpm.size), coolant, read_charge, pulse,
        np.clip((pressure / 1e3 - 20) * 1.25, 0, 100), trim, read, lambda_gas,
        across - fitted.barometer_pa + pressure,
    )  # fmt: skip


def _battery(car: Car, time: FloatArray, running: BoolArray, rng: np.random.Generator) -> FloatArray:
    electrics = car.electrics
    load = _lagged(np.repeat(rng.choice([0.0, -0.25, -0.5], time.size // 600 + 1), 600)[: time.size], 0.3)
    climb = electrics.climb_v_per_min * np.maximum(time - 90.0, 0.0) / 60.0
    charging = np.minimum(electrics.charging_v + load + climb, 17.5)
    rising = 12.6 + (charging - 12.6) * np.clip((time - 5.2) / 3.0, 0.0, 1.0)
    cranking = (time > 3.0) & (time <= 5.2)
    return np.where(running, rising, np.where(cranking, electrics.cranking_v, 12.5))


def _gas(
    car: Car, pulse: FloatArray, rpm: FloatArray, pressure: FloatArray, volts: FloatArray, charge: FloatArray
) -> FloatArray:
    """λ of the gas that leaves the cylinders; ∞ without fuel. Part of the fuel goes by way of the wall's film."""
    turning = np.maximum(rpm, 100.0)
    air = efficiency(car, np.maximum(rpm, 300.0), pressure) * pressure * car.target_true.displacement_m3 / 4.0
    air = air / (R * (charge + 273.15))
    injected = true_fuel(car, pulse, turning, pressure, volts) * turning / 120.0
    keep = float(np.exp(-STEP_S / FILM_S))
    reached, film = np.empty_like(injected), float(injected[0]) * FILM_SHARE * FILM_S
    for index, rate in enumerate(injected.tolist()):
        leaving = film * (1.0 - keep) / STEP_S
        film = film * keep + FILM_SHARE * rate * STEP_S
        reached[index] = (1.0 - FILM_SHARE) * rate + leaving
    with np.errstate(divide="ignore"):
        return np.asarray(air * turning / 120.0 / (car.target_true.stoichiometric * np.maximum(reached, 1e-12)))


def _closed_loop(
    car: Car, pulse: FloatArray, told: FloatArray, rpm: FloatArray, pressure: FloatArray, volts: FloatArray,
    charge: FloatArray, coolant: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """A slow integrator that brings part load, warm, to the intended λ; solved on the open-loop gas, then again."""
    open_loop = _gas(car, pulse, rpm, pressure, volts, charge)
    active = (coolant > 60) & (pressure < 72e3) & (pulse > 0) & (rpm > 600) & (open_loop < 1.5)
    off = np.where(active, np.log(np.clip(open_loop, 0.5, 1.5)), 0.0)
    trim, state, delay = np.ones(pulse.size), 0.0, 15
    for index in range(delay, pulse.size):
        if active[index]:
            state = float(np.clip(state + STEP_S * 0.5 * (off[index - delay] - state), -0.2, 0.2))
        trim[index] = np.exp(state) if active[index] else 1.0
    closed = np.where(pulse > 0, (pulse - told) * trim + told, 0.0)
    return closed, trim, _gas(car, closed, rpm, pressure, volts, charge)


def _probe(
    car: Car, gas: FloatArray, rpm: FloatArray, pressure: FloatArray, rng: np.random.Generator, running: BoolArray
) -> FloatArray:
    """What the probe reads: later, slower, noisy, within its range; a leak in the exhaust lets air in at low flow."""
    sensors = car.sensors
    mixture = 1.0 / np.clip(gas, 0.3, 50.0)
    time = np.arange(gas.size) * STEP_S
    flow = np.maximum(rpm, 100.0) / 120.0 * car.target.displacement_m3 * np.maximum(pressure, 15e3) / 1e5
    late = np.interp(time - (0.10 + 2 * 60.0 / np.maximum(rpm, 300.0) + 1.2e-3 / flow), time, mixture)
    share = sensors.leak * 0.009 / flow
    seen = _lagged(late / (1.0 + share), sensors.probe_lag_s)
    read = sensors.probe_scale / seen * np.exp(rng.normal(0.0, sensors.noise, gas.size))
    read = np.where(running & (rpm > 300), read, 20.0)
    return np.clip(read, PROBE_LOW, PROBE_HIGH)
