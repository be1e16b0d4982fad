"""The mixture over charge temperature: the error left if the target's ECU does not correct for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.adaptation.chain import settled, transfer
from basemap.adaptation.hardware import delivery
from basemap.adaptation.outcomes import OnTarget, places
from basemap.model.axes import LoadAxis
from basemap.model.installation import BoolArray, Conditions, FloatArray
from basemap.model.job import Job
from basemap.model.result import TemperatureSweep
from basemap.model.settings import InForce

USUAL_K = 25.0
"""How much colder and warmer than stated the charge gets, if the job does not say. Common practice, no source."""


def charge_range_k(conditions: Conditions) -> tuple[float, float]:
    """The coldest and the hottest charge that is expected, K."""
    stated = conditions.charge_temperature_k
    return conditions.charge_range_k or (stated - USUAL_K, stated + USUAL_K)


def temperature_sweep(
    job: Job,
    settings: InForce,
    donor_air_kg: FloatArray,
    factor: FloatArray | None,
    new: FloatArray,
    as_stated: FloatArray,
    reach: BoolArray,
) -> TemperatureSweep:
    """λ actual / λ intended at the coldest, the stated and the hottest charge: new table, settings to enter.

    Parameters
    ----------
    donor_air_kg
        Air of the donor's cells per cylinder and cycle.
    factor
        Factor on the air that the new cells are made for; `None` if there is none.
    new
        The new cells, SI.
    as_stated
        λ actual / λ intended of them at the stated charge, which is known already.
    reach
        Cells that the target reaches.
    """
    cold, hot = charge_range_k(job.target.hardware.conditions)
    stated = job.target.hardware.conditions.charge_temperature_k
    # Not np.unique, which loads numpy's masked arrays.
    temperatures = np.array(sorted({*np.clip([cold, stated, hot], min(cold, stated), max(hot, stated)).tolist()}))
    ratios = [
        as_stated if one == stated else _at(_with_charge(job, float(one)), settings, donor_air_kg, factor, new)
        for one in temperatures
    ]
    judged = np.array([np.where(reach & np.isfinite(new), ratio, np.nan) for ratio in ratios])
    known = ~np.isnan(judged)
    some = known.any(axis=(1, 2))
    return TemperatureSweep(
        charge_k=temperatures,
        places={
            name: (place.rpm, place.load_pa, np.array([ratio[place.cell] for ratio in ratios]))
            for name, place in places(job).items()
        },
        leanest=np.where(some, np.where(known, judged, -np.inf).max(axis=(1, 2)), np.nan),
        richest=np.where(some, np.where(known, judged, np.inf).min(axis=(1, 2)), np.nan),
        coldest=ratios[0],
    )


def _with_charge(job: Job, charge_k: float) -> Job:
    """The job on a colder or a warmer day; if the ECU counts the air itself, nothing changes."""
    if job.target.table.points.axis is LoadAxis.AIR_MASS:
        return job
    hardware = job.target.hardware
    conditions = replace(hardware.conditions, charge_temperature_k=charge_k)
    return job.with_side("target", hardware=replace(hardware, conditions=conditions))


def _at(
    job: Job, settings: InForce, donor_air_kg: FloatArray, factor: FloatArray | None, new: FloatArray
) -> FloatArray:
    job = settled(job, settings)
    target = job.target
    at = delivery(target.hardware, target.table.pressure_pa, target.table.rpm, target.table.battery_v)
    on = OnTarget(job, transfer(job, donor_air_kg, factor), at)
    return on.lambda_ratio(new, target.table.intended_lambda, settings.new)
