"""``percent`` in ``[….settings.dead_time]``: an ECU that multiplies its pulses for the battery."""

from __future__ import annotations

import numpy as np

from basemap.errors import NotSupportedYet
from basemap.jobfile import schema
from basemap.jobfile.injectors import refuse_repeats
from basemap.jobfile.side import StatedSide
from basemap.model.further_table import FurtherQuantity
from basemap.model.installation import BatteryFactor
from basemap.model.job import Job


def build_battery_factor(side: StatedSide, section: schema.ToldDeadTime | None, key: str) -> BatteryFactor | None:
    """What an ECU multiplies its pulses by over the battery, where it states per cents."""
    if section is None or section.percent is None:
        return None
    if section.time is not None:
        raise side.error(
            f"{key}.percent", "stands beside time: an ECU adds a time or multiplies by per cents; give one"
        )
    if section.battery is None:
        raise side.error(f"{key}.battery", 'missing: the voltages of percent, such as ["10 V", "12 V", "14 V"]')
    volts = np.array([entry.value for entry in section.battery])
    factor = np.array([entry.value for entry in section.percent])
    if factor.shape != volts.shape:
        raise side.error(f"{key}.percent", f"expected one for each of the {volts.size} voltages, found {factor.size}")
    order = np.argsort(volts)
    refuse_repeats(side, volts[order], f"{key}.battery", "V")
    volts, factor = volts[order], factor[order]
    for index in np.flatnonzero(np.diff(factor) > 0):
        raise side.error(
            f"{key}.percent",
            f"rises from {100 * factor[index]:.4g} % at {volts[index]:.4g} V to {100 * factor[index + 1]:.4g} % at "
            f"{volts[index + 1]:.4g} V: an injector opens more slowly at a lower voltage; are the lists in one order?",
        )
    return BatteryFactor(volts, factor)


def check_battery_factor(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """Refuse factors for the battery where the other side adds a dead time, or what this version cannot say.

    Raises
    ------
    InputError
        Where one of two boxes adds and the other multiplies, an ECU holds both slopes, or a further table holds pulses.
    """
    held, own, key = job.donor.told.battery_factor, job.target.told, "settings.dead_time"
    if job.donor.told.correct_at_s is not None and "settings" not in target.copied:
        raise donor.error(f"{key}.at_pulse", "belongs to target.settings.dead_time: the pulse its factors are made for")
    if held is None:
        for name, stated in (("percent", own.battery_factor), ("at_pulse", own.correct_at_s)):
            if stated is not None:
                raise target.error(
                    f"{key}.{name}",
                    "belongs to an ECU that multiplies its pulses for the battery, and the donor's, which is the same "
                    "box, adds a dead time: give percent in donor.settings.dead_time as well, or leave it out",
                )
        return
    if own.dead_time is not None:
        raise target.error(
            f"{key}.time",
            "is a time to add, and the donor's ECU, which is the same box, multiplies its pulses for the battery: give "
            "percent, or battery alone",
        )
    if job.other_quantity:
        raise NotSupportedYet(
            "not supported yet: a map of a box that multiplies its pulses for the battery keeps its quantity: leave "
            "out target.tables.fuel.quantity",
            file=donor.record.file,
            place=f"donor.{key}.percent",
        )
    if job.donor.told.two_slope or own.two_slope:
        raise donor.error(
            f"{key}.percent",
            "stands beside two_slope: whether such an ECU bends before or after it "
            "multiplies is not known; leave one of the two out",
        )
    pulses = [table.name for table in job.further_tables if table.quantity is FurtherQuantity.PULSE_WIDTH]
    if pulses:
        raise NotSupportedYet(
            "not supported yet: whether an ECU multiplies the pulses of a further table for the battery is not known "
            "to this version: leave the table out, and set it on the engine",
            file=donor.record.file,
            place=f"donor.tables.{pulses[0]}",
        )
