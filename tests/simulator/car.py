"""A car as its owner describes it, and as it truly is."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

R = 287.05287
"""Dry air, J/(kg·K), ISO 2533."""
RATING_FLUID = 683.81407
"""n-heptane at 20 °C, kg/m³."""
VOLTS = np.array([8.0, 10.0, 12.0, 14.0, 16.0])
RPM = np.array([600, 900, 1200, 1600, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500.0])
KPA = np.array([20, 25, 30, 35, 40, 50, 60, 70, 80, 90, 95, 100.0])
BAROMETER_KPA = 100.0


@dataclass(frozen=True)
class Hardware:
    """One engine with its injectors and fuel; per cylinder one injector that opens once a cycle, four-stroke."""

    displacement_m3: float
    flow_m3_s: float
    rail_pa: float
    fixed_rail: bool
    dead_time_s: FloatArray
    stoichiometric: float
    density: float
    rated_pa: float = 3e5
    rated_density: float = RATING_FLUID
    shift_s: float = 0.0
    shift_v: float = 0.0
    slope_factor: float = 1.0
    barometer_pa: float = BAROMETER_KPA * 1e3

    def dead_at(self, volts: FloatArray | float) -> FloatArray:
        """Dead time at voltages, s; `slope_factor` tilts it about 14 V."""
        here = np.interp(np.asarray(volts) + self.shift_v, VOLTS, self.dead_time_s)
        at_14 = float(np.interp(14.0, VOLTS, self.dead_time_s))
        return np.asarray(at_14 + (here - at_14) * self.slope_factor + self.shift_s)

    def across_pa(self, manifold_pa: FloatArray | float) -> FloatArray:
        """Pressure across an injector, Pa."""
        held = self.barometer_pa - np.asarray(manifold_pa) if self.fixed_rail else np.zeros(np.shape(manifold_pa))
        return np.asarray(self.rail_pa + held)

    def flow_kg_s(self, across_pa: FloatArray | float) -> FloatArray:
        """Mass flow of one open injector: Bernoulli through the hole that the rating tells, kg/s."""
        hole = self.flow_m3_s / np.sqrt(2.0 * self.rated_pa / self.rated_density)
        return np.asarray(hole * np.sqrt(2.0 * self.density * np.asarray(across_pa)))


@dataclass(frozen=True)
class Sensors:
    """What the sensors of the car do to what they read."""

    pressure_offset_pa: float = 0.0
    charge_offset_k: float = 0.0
    probe_scale: float = 1.0
    leak: float = 0.0
    probe_lag_s: float = 0.10
    noise: float = 0.006


@dataclass(frozen=True)
class Electrics:
    """The battery."""

    charging_v: float = 14.0
    climb_v_per_min: float = 0.0
    cranking_v: float = 10.2


@dataclass(frozen=True)
class Breathing:
    """ln of the target's volumetric efficiency over the donor's. Not a Gaussian field: a step, ripples and a tilt."""

    common: float = 0.0
    step: float = 0.0
    step_rpm: float = 4000.0
    ripple: float = 0.0
    ripple_order: float = 9000.0
    tilt: float = 0.0
    speed: float = 0.0
    load: float = 0.0

    def at(self, rpm: FloatArray, pressure_pa: FloatArray) -> FloatArray:
        """ln of the ratio."""
        part = 1.0 - np.clip(pressure_pa / (BAROMETER_KPA * 1e3), 0.0, 1.0)
        bend = np.log(rpm / 2500.0)
        return np.asarray(
            self.common
            + self.step * np.tanh((rpm - self.step_rpm) / 500.0)
            + self.ripple * np.cos(2.0 * np.pi * self.ripple_order / rpm)
            + (self.tilt + self.load) * part**1.5
            + self.speed * bend * (1.0 - 0.3 * bend)
        )


@dataclass(frozen=True)
class Car:
    """What is declared (`donor`, `target`), and what is true beside it."""

    donor: Hardware
    target: Hardware
    donor_true: Hardware
    target_true: Hardware
    breathing: Breathing
    formula_factor: float
    table: FloatArray
    intended: FloatArray
    state: str = "tuned"
    likeness: str | None = None
    sensors: Sensors = field(default_factory=Sensors)
    electrics: Electrics = field(default_factory=Electrics)
    pump_limit_kg_s: float = np.inf
    coolant_end_c: float = 88.0
    closed_loop: bool = False
    corrects_rail: bool = False
    page_read: bool = True
    rpm: FloatArray = field(default_factory=lambda: RPM)
    kpa: FloatArray = field(default_factory=lambda: KPA)


def donor_efficiency(rpm: FloatArray, pressure_pa: FloatArray) -> FloatArray:
    """Volumetric efficiency of the donor: a hump over speed, less at part load (a plausible invented engine)."""
    hump = np.maximum(0.90 - 0.07 * np.log(np.asarray(rpm) / 4300.0) ** 2, 0.4)
    vacuum = np.maximum(BAROMETER_KPA * 1e3 / np.asarray(pressure_pa) - 1.0, 0.0)
    return np.asarray(hump * (1.0 - 0.08 * vacuum**0.9))


def intended_lambda() -> FloatArray:
    """Intended λ over the table: 1 at part load, 0.88 wide open."""
    rows = np.interp(KPA, [70.0, 95.0], [1.0, 0.88])
    return np.tile(rows[:, np.newaxis], (1, RPM.size))


def told_flow(hardware: Hardware) -> float:
    """What a controller is told of an injector: its mass flow at the rail pressure, kg/s."""
    return float(hardware.flow_kg_s(hardware.rail_pa))


def gain(hardware: Hardware, kappa: float, manifold_pa: FloatArray, charge_k: FloatArray, corrects: bool) -> FloatArray:
    """Pulse of a controller for a volumetric efficiency of 1 at λ = 1, dead time apart, s."""
    air = manifold_pa * hardware.displacement_m3 / 4.0 / (R * charge_k)
    believed = np.sqrt(hardware.across_pa(manifold_pa) / hardware.rail_pa) if corrects else 1.0
    return np.asarray(kappa * air / (hardware.stoichiometric * told_flow(hardware) * believed))


def tuned_table(donor: Hardware, true: Hardware, kappa: float, intended: FloatArray, corrects: bool) -> FloatArray:
    """The cells that gave the donor its intended λ: what its true hardware needed, as its controller counted it."""
    pressure, charge, volts = KPA[:, np.newaxis] * 1e3, np.array(313.15), 13.8
    air = donor_efficiency(RPM, pressure) * pressure * true.displacement_m3 / 4.0 / (R * charge)
    fuel = air / (intended * true.stoichiometric)
    pulse = fuel / true.flow_kg_s(true.across_pa(pressure)) + true.dead_at(volts)
    return np.asarray((pulse - donor.dead_at(volts)) * intended / gain(donor, kappa, pressure, charge, corrects))


def _within(rng: np.random.Generator, half_width: float) -> float:
    return float(rng.uniform(-half_width, half_width))


def truly(rng: np.random.Generator, declared: Hardware) -> Hardware:
    """What is really fitted where so much is declared: within the usual half-widths of parts."""
    return replace(
        declared,
        displacement_m3=declared.displacement_m3 * (1 + _within(rng, 0.005)),
        flow_m3_s=declared.flow_m3_s * (1 + _within(rng, 0.03)),
        rail_pa=declared.rail_pa * (1 + _within(rng, 0.03)),
        stoichiometric=declared.stoichiometric * (1 + _within(rng, 0.007)),
        density=declared.density * (1 + _within(rng, 0.01)),
        shift_s=_within(rng, 0.05e-3),
        shift_v=_within(rng, 0.2),
    )


UNLIKE = {
    "same engine": (0.020, 0.018, 0.010, 0.03),
    "same head and cams": (0.030, 0.020, 0.012, 0.07),
    "another engine": (0.080, 0.060, 0.030, 0.25),
}
"""How unlike two engines breathe that share so much: standard deviations of common factor, step, ripple and tilt. Wide
open 3, 4 and 11 %, at 30 kPa 3, 6 and 19 %: as published engines differ (docs/physics.md), in other shapes."""


def draw_car(seed: int, *, state: str = "tuned", likeness: str | None = None) -> Car:
    """A car of its own, nothing wrong with it. Without a likeness its job says nothing and heads and cams are alike."""
    rng = np.random.default_rng([seed, 1])
    fixed = bool(rng.random() < 0.3)
    sharp = rng.uniform(0.75, 1.15)
    dead = np.array([2.6, 1.75, 1.2, 0.88, 0.68]) * 1e-3
    donor = Hardware(1998e-6, 280e-6 / 60, 3e5, fixed, dead, 14.2, 733.0)
    volume = float(rng.uniform(1.3, 2.9)) * 1e-3
    spirit = rng.random() < 0.25
    fuel = (9.9, 770.0) if spirit else (14.2, 733.0)
    # Large enough for 85 % duty at the top, or up to twice that: larger injectors are why maps are carried over.
    flow = volume / 2e-3 * 270e-6 / 60 * float(rng.uniform(1.0, 2.2)) * (1.35 if spirit else 1.0)
    target = Hardware(round(volume, 6), round(flow * 6e7) / 6e7, 3e5, fixed, np.round(dead * sharp, 6), *fuel)
    kappa = 1.0 + _within(rng, 0.05)
    donor_true, target_true = truly(rng, donor), truly(rng, target)
    intended = intended_lambda()
    table = tuned_table(donor, donor_true, kappa, intended, fixed)
    unlike = 0.02 if state == "tuned" else 0.06
    table = table * np.exp(_smooth(rng, unlike) + rng.normal(0.0, 0.004, table.shape))
    common, step, ripple, tilt = UNLIKE[likeness or "same head and cams"]
    breathing = Breathing(
        common=float(rng.normal(0.0, common)),
        step=float(rng.normal(0.0, step)),
        step_rpm=float(rng.uniform(3000, 5000)),
        ripple=float(rng.normal(0.0, ripple)),
        ripple_order=float(rng.uniform(1500, 4000)),
        tilt=float(rng.normal(0.0, tilt)),
    )
    sensors = Sensors(
        pressure_offset_pa=float(rng.normal(0.0, 400.0)),
        charge_offset_k=float(rng.normal(0.0, 1.5)),
        probe_scale=1.0 + float(rng.normal(0.0, 0.01)),
        probe_lag_s=float(rng.uniform(0.06, 0.15)),
    )
    electrics = Electrics(charging_v=float(rng.uniform(13.7, 14.4)), cranking_v=float(rng.uniform(9.4, 10.8)))
    return Car(
        donor, target, donor_true, target_true, breathing, kappa, np.round(100 * table, 1) / 100, intended, state,
        likeness, sensors=sensors, electrics=electrics, corrects_rail=fixed,
    )  # fmt: skip


def _smooth(rng: np.random.Generator, size: float) -> FloatArray:
    """A deviation of a few waves over the table: what the donor's tuner left."""
    across, up = np.linspace(0, 1, RPM.size), np.linspace(0, 1, KPA.size)[:, np.newaxis]
    total = np.zeros((KPA.size, RPM.size))
    for _ in range(3):
        total += np.cos(2 * np.pi * (rng.uniform(0.2, 1.0) * across + rng.uniform(0.2, 1.0) * up + rng.random()))
    return np.asarray(size * total * np.sqrt(2.0 / 3.0))
