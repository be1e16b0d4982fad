"""A table over throttle opening: which cells can be carried over to another engine, and at which pressure."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from basemap.model.axes import LoadAxis
from basemap.model.installation import BoolArray, Engine, FloatArray
from basemap.physics import throttle

if TYPE_CHECKING:
    from basemap.model.job import Job
    from basemap.model.table import FuelTable

WIDE_OPEN = 0.90
"""Opening, as a share, from which the blade no longer sets the air. Common practice, no source."""

NEARLY_SHUT = 0.03
"""Opening below which the idle valve sets the air, not the blade. Common practice, no source."""


class ThrottleLayout(StrEnum):
    """Whether the throttles of two engines are similar."""

    ALIKE = "alike"
    OTHER = "other"
    NOT_KNOWN = "not known"


def over_throttle(table: FuelTable) -> bool:
    """Whether the load axis of a table is the throttle's opening."""
    return table.points.axis is LoadAxis.THROTTLE


def needs_pressure(table: FuelTable) -> bool:
    """Whether the ECU multiplies a cell by the pressure it measures in the manifold."""
    return not table.inside.pressure and table.applied_pa is None


def layout(donor: Engine, target: Engine) -> ThrottleLayout:
    """Whether the throttles of two engines feed the same kind of manifold.

    They are alike if each throttle feeds equally many cylinders, or if on both engines all cylinders, of several, share
    one manifold.
    """
    if donor.throttles is None or target.throttles is None:
        return ThrottleLayout.NOT_KNOWN
    shared = [1 < engine.cylinders == engine.throttles.feeds for engine in (donor, target) if engine.throttles]
    same = donor.throttles.feeds == target.throttles.feeds
    return ThrottleLayout.ALIKE if all(shared) or (same and not any(shared)) else ThrottleLayout.OTHER


def donor_ratio(job: Job) -> FloatArray:
    """Manifold over barometric pressure in the donor's cells, shape (…, loads, speeds)."""
    return np.asarray(job.donor.table.pressure_pa / job.donor.hardware.conditions.barometer_pa)


def target_ratio(job: Job, of_donor: FloatArray) -> FloatArray:
    """The same of the target at the donor's points: equal flow through the blade and into the cylinders.

    NaN below the wide-open row where the throttles are not alike, or their bores not known.
    """
    donor, target = job.donor.hardware.engine, job.target.hardware.engine
    if layout(donor, target) is not ThrottleLayout.ALIKE:
        only_open = np.full_like(of_donor, np.nan)
        only_open[..., -1, :] = of_donor[..., -1, :]
        return only_open
    assert donor.throttles is not None
    assert target.throttles is not None
    return throttle.target_ratio(
        of_donor,
        target.displacement_m3 / donor.displacement_m3,
        donor.throttles.area_m2 / target.throttles.area_m2,
        job.donor.hardware.conditions.charge_temperature_k / job.target.hardware.conditions.charge_temperature_k,
    )


def air_of_target(job: Job, donor_air_kg: FloatArray) -> FloatArray:
    """Air per cylinder of the target at the donor's opening and speed, kg; at the donor's points.

    The volumetric efficiency is the donor's: that of the cell if the ECU measures the pressure, else that of the
    wide-open row, which is assumed to be at the barometer.
    """
    ratio = donor_ratio(job)
    if needs_pressure(job.donor.table):
        with np.errstate(divide="ignore", invalid="ignore"):
            at_barometer = donor_air_kg / ratio
    else:
        at_barometer = donor_air_kg[..., -1:, :]
    conditions = job.donor.hardware.conditions, job.target.hardware.conditions
    return throttle.target_air(
        target_ratio(job, ratio),
        at_barometer,
        job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3,
        conditions[0].charge_temperature_k / conditions[1].charge_temperature_k,
        conditions[1].barometer_pa / conditions[0].barometer_pa,
    )


def open_rows(table: FuelTable) -> BoolArray:
    """Rows at which the throttle counts as wide open."""
    return np.asarray(table.points.similar >= WIDE_OPEN * (1.0 - 1e-9))


def nearly_shut_rows(table: FuelTable) -> BoolArray:
    """Rows at which the idle valve sets the air."""
    return np.asarray(table.points.similar < NEARLY_SHUT * (1.0 - 1e-9))
