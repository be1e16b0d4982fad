"""The forward model at any points of a drive: the λ that a given pulse means there.

Decode, transfer and delivery are those of a table's cells; only the points differ.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from basemap.adaptation import controller
from basemap.adaptation.chain import decode, settled
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import delivery
from basemap.belief.world import Forward, World, with_formula
from basemap.errors import InputError
from basemap.model.axes import LoadAxis
from basemap.model.drive import DrivePoints
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.settings import Settings

LEARNABLE = (LoadAxis.MANIFOLD_PRESSURE, LoadAxis.PRESSURE_RATIO)


def refuse_other_axes(job: Job) -> None:
    """Refuse a table whose rows cannot be found in a log of manifold pressure.

    Raises
    ------
    InputError
        For a throttle or air-mass axis.
    """
    axis = job.donor.table.points.axis
    if axis not in LEARNABLE:
        raise InputError(
            f"the load axis is {axis.value}: learn compares a log over manifold pressure or pressure ratio, and cannot "
            "say which cells of this table a drive went through; its log still has to be read by hand",
            place="donor.tables.fuel.load",
        )


@dataclass(frozen=True)
class DecodedDonor:
    """The donor's table decoded in a world.

    Parameters
    ----------
    job
        The job with the hardware and the settings of that world.
    air
        Air per cylinder and cycle over the charge that the load axis states.
    """

    job: Job
    air: FloatArray

    @classmethod
    def of(cls, forward: Forward, world: World) -> DecodedDonor:
        """Decode the donor's table in a world; worlds that differ only in the target's injectors share the result."""
        job, told = forward.job, forward.job.donor.table
        table = replace(told, intended_lambda=told.intended_lambda * world.donor_lambda)
        settings = replace(forward.settings, donor=with_formula(forward.settings.donor, world))
        donor, target = (
            replace(job.donor, hardware=world.donor, table=table),
            replace(job.target, hardware=world.target),
        )
        job = settled(replace(job, donor=donor, target=target), settings)
        return cls(job, decode(job, settings).air_kg / job.donor.table.points.charge[:, np.newaxis])


def log_lambda(forward: Forward, points: DrivePoints, world: World, decoded: DecodedDonor | None = None) -> FloatArray:
    """Ln λ of the mixture at points of a drive.

    Parameters
    ----------
    points
        Shape (n,); the pulses may have a leading axis of samples, (samples, n).
    world
        One possible truth, or many, shape (samples, 1, 1).
    decoded
        The donor's table in that world, if it has been decoded already.

    Returns
    -------
    Shape (samples, n), with one sample for a world of plain numbers; NaN where no fuel is delivered or the air is
    unknown.
    """
    decoded = decoded or DecodedDonor.of(forward, world)
    job, nominal = decoded.job, forward.job.target.hardware.conditions
    conditions, row = world.target.conditions, np.newaxis
    # What moves the job's own conditions in a world moves what the sensors of the drive truly stood for.
    charge_k = points.charge_k + (conditions.charge_temperature_k - nominal.charge_temperature_k)
    similar = points.pressure_pa
    if job.donor.table.points.axis is LoadAxis.PRESSURE_RATIO:
        similar = similar / nominal.barometer_pa
    efficiency = between(job.donor.table.points.similar, job.donor.table.rpm, decoded.air, similar, points.rpm)
    volumes = world.target.engine.cylinder_volume_m3 / world.donor.engine.cylinder_volume_m3
    warmth = world.donor.conditions.charge_temperature_k / charge_k
    drawn = efficiency * points.pressure_pa * volumes * warmth * _on_grid(job, world.efficiency, points)
    # What physics expects of the breathing; what was observed of it is in the mean of the field.
    drawn = drawn * _on_grid(job, np.exp(forward.believed.breathing.expected), points)
    at = delivery(world.target, points.pressure_pa[row, :], points.rpm, points.battery_v[row, :])
    fuel = at.fuel_kg(points.pulse_s if points.pulse_s.ndim == 1 else points.pulse_s[:, row, :])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(drawn / (world.target.fuel.stoichiometric * fuel))
    ratio = np.where(np.isfinite(ratio), ratio, np.nan)
    return np.asarray(ratio.reshape(-1, points.rpm.size))


def between(loads: FloatArray, speeds: FloatArray, values: FloatArray, load: FloatArray, rpm: FloatArray) -> FloatArray:
    """A table (…, loads, speeds) at single points, shape (…, 1, n): bilinear, its edges held."""
    row, up = _place(loads, load)
    column, along = _place(speeds, rpm)
    above, right = np.minimum(row + 1, loads.size - 1), np.minimum(column + 1, speeds.size - 1)
    low = values[..., row, column] * (1.0 - along) + values[..., row, right] * along
    high = values[..., above, column] * (1.0 - along) + values[..., above, right] * along
    return np.asarray(low * (1.0 - up) + high * up)[..., np.newaxis, :]


def _place(axis: FloatArray, at: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    if axis.size == 1:
        return np.zeros(at.shape, dtype=np.intp), np.zeros(at.shape)
    index = np.searchsorted(axis[1:-1], at, side="right")
    share = (at - axis[index]) / (axis[index + 1] - axis[index])
    return index, np.clip(share, 0.0, 1.0)


def _on_grid(job: Job, factor: FloatArray | float, points: DrivePoints) -> FloatArray:
    """A factor of a world at points: one number for each sample, or one for every cell of the target's table."""
    values = np.asarray(factor, dtype=np.float64)
    table = job.target.table
    if values.ndim < 2 or values.shape[-2:] == (1, 1):
        return values
    return between(table.load_pa, table.rpm, values, points.pressure_pa, points.rpm)


def commanded(job: Job, cells: FloatArray, settings: Settings, points: DrivePoints) -> FloatArray:
    """Pulse that the target's controller commands at points with a table loaded, without trims, s.

    Parameters
    ----------
    cells
        Of the loaded table, SI, shape (loads, speeds) of the target's table.
    settings
        In force; its formula factor may be many, (samples, 1, 1).

    Returns
    -------
    Shape (n,), or (samples, n).
    """
    table = job.target.table
    cell, intended = (_looked_up(job, values, points) for values in (cells, table.intended_lambda))
    here = replace(table, own_pressure_pa=points.pressure_pa[np.newaxis, :])
    volts = points.battery_v[np.newaxis, :]
    at = delivery(job.target.hardware, points.pressure_pa[np.newaxis, :], points.rpm, volts)
    sensed = Sensed(at.pressure_across_pa, cast(float, points.charge_k[np.newaxis, :]), volts)
    pulse = controller.commanded_pulse(cell, here, intended, settings, sensed)
    return np.asarray(pulse[0] if pulse.ndim == 2 else pulse[:, 0, :])


def intended_at(job: Job, points: DrivePoints) -> FloatArray:
    """λ that the target's table is meant to give at points, shape (n,)."""
    return np.asarray(_looked_up(job, job.target.table.intended_lambda, points)[0])


def _looked_up(job: Job, values: FloatArray, points: DrivePoints) -> FloatArray:
    """What the target's controller reads at points out of cells of its table, shape (1, n)."""
    table, load = job.target.table, points.pressure_pa
    if table.points.axis is LoadAxis.PRESSURE_RATIO:
        load = load / job.target.hardware.conditions.barometer_pa
    cells = np.broadcast_to(values, (table.load_pa.size, table.rpm.size))
    return between(table.points.similar, table.rpm, cells, load, points.rpm)
