"""What the controllers hold in force, in SI."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.model.injectors import AddedTime, BatteryFactor, DeadTime
from basemap.model.installation import FloatArray
from basemap.physics.bent_line import BentLine


@dataclass(frozen=True)
class Settings:
    """What an ECU holds in force, in SI. By default it is the truth about the hardware.

    Parameters
    ----------
    displacement_m3
        As entered, whole engine.
    cylinder_volume_m3
        The entered displacement shared among the cylinders that the ECU serves.
    flow_kg_s
        ṁ_set of one injector.
    flow_pressure_pa
        Δp_ref: the rail pressure at which that flow is stated.
    stoichiometric
        L_set.
    openings
        n_set·k_set: openings of a cylinder's injectors in one cycle, as the ECU believes.
    openings_per_cycle
        k_set.
    dead_time, dead_time_pressure_pa
        The dead times it holds, and the rail pressure at which they are read.
    corrects_rail_pressure, corrects_charge_temperature
        Its behaviour.
    formula_factor
        κ.
    reference_temperature_k
        T_ref, a constant of the ECU.
    bend
        Both slopes of the flow line over the upper one, ṁ_set; `None` if it holds ṁ_set alone.
    minimum_pulse_s
        Shortest pulse it commands: a shorter one becomes this, no pulse stays none. 0 where it has no minimum.
    added
        Time that it adds to short pulses before it adds the dead time.
    battery_factor
        Factor on its pulses that depends on battery voltage, used instead of a dead time.
    """

    displacement_m3: float
    cylinder_volume_m3: float
    flow_kg_s: float
    flow_pressure_pa: float
    stoichiometric: float
    openings: float
    openings_per_cycle: float
    dead_time: DeadTime
    dead_time_pressure_pa: float
    corrects_rail_pressure: bool
    corrects_charge_temperature: bool
    formula_factor: float
    reference_temperature_k: float
    bend: BentLine | None = None
    minimum_pulse_s: float = 0.0
    added: AddedTime | None = None
    battery_factor: BatteryFactor | None = None

    def dead_time_s(self, battery_v: FloatArray | float) -> FloatArray:
        """τ_set at a battery voltage, s; 0 where the ECU multiplies by a factor instead."""
        if self.battery_factor is not None:
            return np.zeros(np.shape(battery_v))
        return self.dead_time.at(battery_v, self.dead_time_pressure_pa)


@dataclass(frozen=True)
class InForce:
    """The three sets of settings of a job.

    Parameters
    ----------
    donor
        What the donor's ECU held when its table was tuned.
    new
        The target's, everything entered that can be.
    old
        The donor's displacement, flow (both slopes), stoichiometric ratio and dead time left on the target.
    """

    donor: Settings
    new: Settings
    old: Settings
