"""Every ``[….dead_time]``: times over voltage, and over pressure where they are given."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from basemap.jobfile import schema
from basemap.jobfile.sections import StatedSide
from basemap.model.injectors import DeadTime
from basemap.model.installation import FloatArray


def build_dead_time(side: StatedSide, section: schema.DeadTimeSection, key: str) -> DeadTime:
    """Dead time over voltage, and over pressure where given; refused where it looks transposed."""
    if section.battery is None or section.time is None:
        lacking = "battery" if section.battery is None else "time"
        example = '["10 V", "12 V", "14 V"]' if lacking == "battery" else '["1.75 ms", "1.20 ms", "0.85 ms"]'
        raise side.error(f"{key}.{lacking}", f"missing: give the dead time as times at voltages, such as {example}")
    volts = np.array([entry.value for entry in section.battery])
    pressures = np.array([entry.value for entry in section.pressure]) if section.pressure is not None else None
    times = _times(side, section, key, volts, pressures)
    order = np.argsort(volts)
    refuse_repeats(side, volts[order], f"{key}.battery", "V")
    volts, times = volts[order], times[:, order]
    if pressures is not None:
        rising = np.argsort(pressures)
        refuse_repeats(side, pressures[rising] / 1e5, f"{key}.pressure", "bar")
        pressures, times = pressures[rising], times[rising]
        _refuse_falling_with_pressure(side, key, times, volts, pressures)
    _refuse_rising_with_voltage(side, key, times, volts)
    return DeadTime(volts, times, pressures)


def build_dead_time_points(side: StatedSide, section: schema.DeadTimeSection | None, key: str) -> FloatArray | None:
    """Rising voltages at which an ECU takes its dead times, if the job gives only those; the times are filled in."""
    if section is None or section.time is not None or section.battery is None:
        return None
    if section.pressure is not None:
        raise side.error(
            f"{key}.pressure", "is only for use with time, and time is missing: leave it out, or give time as well"
        )
    volts = np.sort([entry.value for entry in section.battery])
    refuse_repeats(side, volts, f"{key}.battery", "V")
    return np.asarray(volts)


def _times(
    side: StatedSide, section: schema.DeadTimeSection, key: str, volts: FloatArray, pressures: FloatArray | None
) -> FloatArray:
    assert section.time is not None
    rows = [[entry.value for entry in row] for row in section.time]
    wanted = 1 if pressures is None else pressures.size
    if pressures is None and len(rows) > 1:
        raise side.error(
            f"{key}.time",
            f"has {len(rows)} lists, but the key pressure is missing, which says what pressure each list is for",
        )
    if len(rows) == wanted and all(len(row) == volts.size for row in rows):
        return np.array(rows)
    shape = (
        f"one time for each of the {volts.size} voltages"
        if wanted == 1
        else (f"one list for each of the {wanted} pressures, each with one time for each of the {volts.size} voltages")
    )
    if len(rows) == volts.size and all(len(row) == wanted for row in rows):
        raise side.error(f"{key}.time", f"looks transposed: expected {shape}")
    found = " and ".join(str(len(row)) for row in rows)
    raise side.error(f"{key}.time", f"expected {shape}, found {found}")


def refuse_repeats(side: StatedSide, rising: FloatArray, key: str, unit: str) -> None:
    """Refuse an axis with the same point twice."""
    for low, high in pairwise(rising):
        if low == high:
            raise side.error(key, f"{low:.4g} {unit} is given twice: give every point once")


def _refuse_rising_with_voltage(side: StatedSide, key: str, times: FloatArray, volts: FloatArray) -> None:
    for row in times:
        for index in np.flatnonzero(np.diff(row) > 0):
            raise side.error(
                f"{key}.time",
                f"rises from {row[index] * 1e3:.4g} ms at {volts[index]:.4g} V to {row[index + 1] * 1e3:.4g} ms at "
                f"{volts[index + 1]:.4g} V, but a dead time falls as the voltage rises: the lists look transposed",
            )


def _refuse_falling_with_pressure(
    side: StatedSide, key: str, times: FloatArray, volts: FloatArray, pressures: FloatArray
) -> None:
    for index, column in enumerate(times.T):
        for row in np.flatnonzero(np.diff(column) < 0):
            raise side.error(
                f"{key}.time",
                f"falls from {column[row] * 1e3:.4g} ms at {pressures[row] / 1e5:.4g} bar to "
                f"{column[row + 1] * 1e3:.4g} ms at {pressures[row + 1] / 1e5:.4g} bar ({volts[index]:.4g} V), but a "
                "dead time rises with the pressure: the lists look transposed",
            )
