"""How the target's air changes because it breathes differently from the donor: estimates that a job may ask for."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.errors import InputError
from basemap.model.axes import Interpolation, LoadAxis, interpolation
from basemap.model.installation import BoolArray, Cycle, FloatArray
from basemap.model.job import Job, SideName
from basemap.model.likeness import Breathing
from basemap.physics import breathing

LEAST_SHARE = 0.2
"""Share of the barometer below which the effect of residual gas no longer grows, unless the job asks for it."""

_NEEDED = {
    Breathing.SAME: ("", ""),
    Breathing.INLET_MACH: (
        "inlet_valve_area",
        'missing: breathing = "inlet mach" needs the effective inlet valve area of one cylinder, such as "12.1 cm2"',
    ),
    Breathing.RESIDUAL_GAS: (
        "compression_ratio",
        'missing: breathing = "residual gas" needs the compression ratio of both engines, such as 9.5',
    ),
}


class Estimate(NamedTuple):
    """How the target's volumetric efficiency is calculated from the donor's.

    Parameters
    ----------
    air
        Where the target's cells lie in the donor's table at the speeds of equal inlet Mach index; `None` if the
        donor is read at the target's own speeds.
    by_load
        Factor on every row, shape (loads, 1); NaN where the ideal cycle draws nothing.
    """

    air: Interpolation | None
    by_load: FloatArray

    def factor(self, job: Job, donor_air_kg: FloatArray) -> FloatArray:
        """The target's volumetric efficiency over the donor's at the same speed and load, shape (…, loads, speeds).

        NaN where it is not known. `donor_air_kg` is the air at the donor's own points.
        """
        if self.air is None:
            return np.asarray(np.broadcast_to(self.by_load, (self.by_load.size, job.rpm.size)))
        efficiency = donor_air_kg / job.donor.table.points.charge[:, np.newaxis]
        now, before = self.air.of(efficiency), job.at_similar_points.of(efficiency)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(now == before, 1.0, now / before)
        return np.where(np.isfinite(ratio), ratio, np.nan)


def estimate(job: Job) -> Estimate | None:
    """The estimate that a job asks for; `None` if both engines breathe the same.

    Raises
    ------
    InputError
        If the job does not state what the estimate needs, or has no use for one.
    """
    if (found := problem(job)) is not None:
        raise InputError(found[1], place=found[0])
    if job.breathing is Breathing.SAME:
        return None
    if job.breathing is Breathing.RESIDUAL_GAS:
        return Estimate(None, _residual_gas(job))
    return Estimate(_read_at_mach_index(job), np.ones((job.target.table.load_pa.size, 1)))


def problem(job: Job) -> tuple[str, str] | None:
    """The key that makes an estimate impossible, and the sentence about it; `None` if there is none."""
    if job.breathing is Breathing.SAME:
        return None
    if job.donor.table.points.axis is LoadAxis.AIR_MASS:
        return (
            "options.breathing",
            f'"{job.breathing}" cannot be used with an air-mass axis, on which the ECU measures the air itself: '
            'leave it "same"',
        )
    if job.donor.table.points.axis is LoadAxis.THROTTLE:
        return (
            "options.breathing",
            f'"{job.breathing}" cannot be used with a throttle axis, whose pressures follow from equal '
            'efficiency: leave it "same"',
        )
    if job.donor.hardware.engine.cycle is Cycle.TWO_STROKE:
        return (
            "options.breathing",
            f'"{job.breathing}" is only for four-stroke engines, whose inlet valves and exhaust strokes it describes: '
            'leave it "same"',
        )
    key, sentence = _NEEDED[job.breathing]
    stated = {Breathing.INLET_MACH: _valve_area, Breathing.RESIDUAL_GAS: _compression_ratio}[job.breathing]
    missing = next((side for side in ("donor", "target") if stated(job, side) is None), None)
    return None if missing is None else (f"{missing}.engine.{key}", sentence)


def speed_ratio(job: Job) -> float:
    """Speed at which the donor is read, over the target's own speed."""
    if job.breathing is not Breathing.INLET_MACH:
        return 1.0
    volumes = job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3
    areas = [_valve_area(job, side) for side in ("donor", "target")]
    assert areas[0] is not None
    assert areas[1] is not None
    return float(breathing.donor_speed(1.0, volumes, areas[1] / areas[0]))


def read_for_air(job: Job) -> Interpolation:
    """Where the target's cells lie in the donor's table when the donor's air is read."""
    found = estimate(job)
    return job.at_similar_points if found is None or found.air is None else found.air


def both(breathing: FloatArray | None, taught: FloatArray | None) -> FloatArray | None:
    """Factor on the air for which every cell holds fuel: how the target breathes, and what drives taught."""
    if breathing is None or taught is None:
        return taught if breathing is None else breathing
    return np.asarray(breathing * taught)


def changed(factor: FloatArray | None, shape: tuple[int, ...]) -> BoolArray:
    """Cells whose air an estimate changed, or made unknown."""
    return (
        np.zeros(shape, dtype=bool) if factor is None else np.asarray(np.abs(factor - 1.0) > 1e-12) | np.isnan(factor)
    )


def _read_at_mach_index(job: Job) -> Interpolation:
    donor, target = job.donor.table, job.target.table
    return interpolation((donor.points.similar, target.points.similar), (donor.rpm, target.rpm * speed_ratio(job)))


def _residual_gas(job: Job) -> FloatArray:
    """Effect of residual gas on volumetric efficiency, target over donor, with the exhaust at the barometer."""
    now, before = _compression_ratio(job, "target"), _compression_ratio(job, "donor")
    assert now is not None
    assert before is not None
    barometer = job.donor.hardware.conditions.barometer_pa, job.target.hardware.conditions.barometer_pa
    loads = job.donor_load_pa, job.target.table.load_pa
    if job.breathing_by_default:
        # Nobody has measured how far the ideal cycle holds below that.
        loads = np.maximum(loads[0], LEAST_SHARE * barometer[0]), np.maximum(loads[1], LEAST_SHARE * barometer[1])
    return breathing.residual_ratio((before, now), barometer, loads)[:, np.newaxis]


def _valve_area(job: Job, side: SideName) -> float | None:
    return job.side(side).hardware.engine.inlet_valve_area_m2


def _compression_ratio(job: Job, side: SideName) -> float | None:
    return job.side(side).hardware.engine.compression_ratio
