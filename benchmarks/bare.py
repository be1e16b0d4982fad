"""The arithmetic of the array model as one would write it down once, for a table of volumetric efficiency.

It makes no check, sets no mark and keeps no name: the floor that `basemap.adaptation.pipeline.compute` is held against.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from basemap.adaptation.controller import Sensed, gain
from basemap.adaptation.hardware import delivery
from basemap.adaptation.outcomes import SWEEP_V
from basemap.adaptation.setting_fields import in_force
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.settings import Settings


@dataclass(frozen=True)
class Outcome:
    """What the bare expression works out, arrays of shape (loads, speeds)."""

    new: FloatArray
    stored: FloatArray
    ratios: tuple[FloatArray, ...]
    leanest: FloatArray
    richest: FloatArray


def prepared(job: Job) -> Callable[[], Outcome]:
    """The expression with everything that is one number, or one per row or column, worked out beforehand."""
    settings = in_force(job)
    donor, target = job.donor.table, job.target.table
    of = delivery(job.donor.hardware, donor.pressure_pa, donor.rpm, donor.battery_v)
    at = delivery(job.target.hardware, target.pressure_pa, target.rpm, target.battery_v)
    volts = [delivery(job.target.hardware, target.pressure_pa, target.rpm, volt) for volt in SWEEP_V]
    one = np.ones((1, 1))

    def per_cell(whose: Settings, pressure: FloatArray, kelvin: float, volt: float) -> FloatArray:
        return gain(target, one, whose, Sensed(pressure, kelvin, volt))

    cold, warm = job.donor.hardware.conditions.charge_temperature_k, job.target.hardware.conditions.charge_temperature_k
    decoding = per_cell(settings.donor, of.pressure_across_pa, cold, donor.battery_v)
    new_gain = per_cell(settings.new, at.pressure_across_pa, warm, target.battery_v)
    old_gain = per_cell(settings.old, at.pressure_across_pa, warm, target.battery_v)
    told = settings.donor.dead_time_s(donor.battery_v)
    new_told, old_told = (which.dead_time_s(target.battery_v) for which in (settings.new, settings.old))
    sweep_told = [settings.new.dead_time_s(float(volt)) for volt in SWEEP_V]
    volumes = job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3
    air_gain = job.donor.hardware.fuel.stoichiometric * of.openings * of.line_flow_kg_s * volumes * cold / warm
    decimals = 10.0 ** (job.target.shown.decimals if job.storage.decimals is None else job.storage.decimals)

    def expression() -> Outcome:
        effective = donor.values * decoding / donor.intended_lambda + told - of.dead_time_s
        air = donor.intended_lambda * air_gain * np.where(effective < 0, np.nan, effective)
        fuel = air / (job.target.hardware.fuel.stoichiometric * target.intended_lambda)
        pulse = at.dead_time_s + fuel / (at.openings * at.line_flow_kg_s)
        new = (pulse - new_told) * target.intended_lambda / new_gain
        new = np.where(new > 0, new, np.nan)

        def ratio(cells: FloatArray, command: FloatArray, factor: FloatArray, dead: FloatArray) -> FloatArray:
            return over(cells * factor / command + dead, at.dead_time_s)

        def over(commanded: FloatArray, dead: FloatArray) -> FloatArray:
            line = at.line_flow_kg_s * np.maximum(commanded - dead, 0.0)
            delivered = np.where(commanded >= at.window_s, at.static_flow_kg_s * at.window_s, line)
            return fuel / (at.openings * delivered)

        stored = np.floor(new * 100 * decimals + 0.5) / decimals
        leanest, richest = np.empty(SWEEP_V.size), np.empty(SWEEP_V.size)
        for index, (there, dead) in enumerate(zip(volts, sweep_told, strict=True)):
            found = over(new * new_gain / target.intended_lambda + dead, there.dead_time_s)
            leanest[index], richest[index] = np.nanmax(found), np.nanmin(found)
        return Outcome(
            new=new,
            stored=stored,
            ratios=(
                ratio(donor.values, donor.intended_lambda, old_gain, old_told),
                ratio(donor.values, donor.intended_lambda, new_gain, new_told),
                ratio(new, target.intended_lambda, old_gain, old_told),
                ratio(new, target.intended_lambda, new_gain, new_told),
                ratio(stored / 100, target.intended_lambda, new_gain, new_told),
            ),
            leanest=leanest,
            richest=richest,
        )

    return expression
