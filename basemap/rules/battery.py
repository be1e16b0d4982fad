"""Rules on the voltage at the injectors: whether dead times are known there, and ECUs that multiply for the battery."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.finding import Severity
from basemap.model.installation import FloatArray
from basemap.model.marks import Mark
from basemap.physics.injector import KNOWN_BELOW_DATA_V
from basemap.rounding import off
from basemap.rules.case import Case
from basemap.rules.rule import MODEL, PRACTICE, Answer, Rule, Trip

CRANKING_V = 8.5
RUNNING_V, BATTERY_OFF = (12.0, 15.0), 0.05


def _battery(case: Case) -> Iterator[Answer]:
    job = case.job
    yield from _voltage(job.target.table.battery_v, job.target.hardware.injectors.dead_time.battery_v, "target")
    # The donor's dead time cancels unless it is inside the cell or differs from what its ECU was told.
    told, of_donor = job.donor.told.dead_time is not None, job.donor.hardware.injectors.dead_time.battery_v
    if job.donor.dead_time_known and (job.donor.table.inside.dead_time or told):
        yield from _voltage(job.donor.table.battery_v, of_donor, "donor")
    for found in case.computed.further_tables:
        if not found.cranks:
            continue
        if Mark.DELIVERY_NOT_KNOWN in found.marks:
            yield from _voltage(
                found.battery_v, job.target.hardware.injectors.dead_time.battery_v, "target", found.name
            )
        if job.donor.dead_time_known and (found.table.donor.inside.dead_time or told):
            yield from _voltage(found.table.donor.battery_v, of_donor, "donor", found.name)
    first = float(job.target.hardware.injectors.dead_time.battery_v[0])
    if first > CRANKING_V:
        yield Trip(
            Severity.CAUTION,
            "It is not known how much fuel the injectors deliver while cranking: the target's dead-time data begins "
            f"at {first:g} V, and a cranking battery falls to {CRANKING_V:g} V.",
            value=CRANKING_V,
            limit=first,
        )


def _voltage(battery_v: float, data_v: FloatArray, side: str, name: str = "") -> Iterator[Trip]:
    """A table's voltage against the dead-time data it needs."""
    first, last = float(data_v[0]), float(data_v[-1])
    if first <= battery_v <= last:
        return
    unknown = battery_v < first - KNOWN_BELOW_DATA_V
    end, word = (first, "begins") if battery_v < first else (last, "ends")
    what = "delivery is not known" if unknown else "the dead time is extrapolated"
    yield Trip(
        Severity.STOP if unknown else Severity.CAUTION,
        f"The {side}'s table {name + ' ' if name else ''}is for {battery_v:g} V and its dead-time data {word} at "
        f"{end:g} V: {what} (stop more than {KNOWN_BELOW_DATA_V:g} V below the data).",
        value=battery_v,
        limit=end,
        table=name or None,
    )


BATTERY = Rule(
    name="battery-outside-dead-time-data",
    title="Battery outside the dead-time data",
    threshold=f"A table's voltage outside the dead-time data: caution; more than {KNOWN_BELOW_DATA_V:g} V below the "
    "data, for the main or the cranking table: stop. Data that does not reach down to a cranking battery of "
    f"{CRANKING_V:g} V: caution.",
    why="Dead time changes fastest at low voltage: a guess there decides the whole pulse of a cold start.",
    source=MODEL,
    remedy="1. Get the maker's dead times from 8 to 16 V, or have them measured. 2. Until then keep a charger on the "
    "battery for the first starts.",
    judge=_battery,
    can_stop=True,
    about_table=False,
)


def _worst_running(case: Case) -> tuple[float, str] | None:
    """The worst λ ratio of the new table over the voltages of a running engine, and where that is.

    A mixture that is too lean by more than the limit comes before any that is too rich.
    """
    sweep, (low, high) = case.computed.sweep, RUNNING_V
    running = (sweep.battery_v >= low) & (sweep.battery_v <= high)
    found = [
        (float(ratio[index]), f"{name}, at {sweep.battery_v[index]:g} V")
        for name, (_, _, ratio) in sweep.places.items()
        for index in np.flatnonzero(running & ~np.isnan(ratio))
    ]
    if not found:
        return None
    leanest = max(found)
    return leanest if leanest[0] - 1.0 > BATTERY_OFF else max(found, key=lambda each: abs(each[0] - 1.0))


def _multiplies(case: Case) -> bool:
    return case.job.target.told.battery_factor is not None or case.job.donor.told.battery_factor is not None


def _multiplied(case: Case) -> Iterator[Answer]:
    """The error that a factor for the battery leaves at the voltages at which an engine runs."""
    worst = _worst_running(case)
    if worst is None or not _multiplies(case):
        return
    ratio, where = worst
    yield Trip(
        Severity.CAUTION if abs(ratio - 1.0) > BATTERY_OFF else Severity.NOTE,
        "The ECU multiplies its pulses for the battery, but injectors lose the same time from each: the correction is "
        f"right for one pulse only. From {RUNNING_V[0]:g} to {RUNNING_V[1]:g} V it is at worst {off(ratio)} at "
        f"{where} (caution above {100 * BATTERY_OFF:g} %).",
        value=100.0 * (ratio - 1.0),
        limit=100.0 * BATTERY_OFF,
    )


def _not_followed(case: Case) -> Iterator[Answer]:
    """A dead time that stays the same while the battery sags: inside the cells, or that of other injectors."""
    worst = _worst_running(case)
    if worst is None or _multiplies(case) or abs(worst[0] - 1.0) <= BATTERY_OFF:
        return
    ratio, where = worst
    what = "inside the cells" if case.job.target.table.inside.dead_time else "that the ECU adds"
    yield Trip(
        Severity.CAUTION,
        f"The dead time {what} does not follow the battery as the injectors' own dead time does. From "
        f"{RUNNING_V[0]:g} to {RUNNING_V[1]:g} V the new table is at worst {off(ratio)} at {where} (caution above "
        f"{100 * BATTERY_OFF:g} %).",
        value=100.0 * (ratio - 1.0),
        limit=100.0 * BATTERY_OFF,
    )


NOT_FOLLOWED = Rule(
    name="battery-not-followed",
    title="Dead time that does not follow the battery",
    threshold=f"λ of the new table more than {100 * BATTERY_OFF:g} % off at idle, cruise or wide open from "
    f"{RUNNING_V[0]:g} to {RUNNING_V[1]:g} V: caution.",
    why="When the battery sags, as with lamps and a fan on at idle, the mixture goes lean if the dead time is inside "
    "the cells or the ECU cannot be told the injectors' own.",
    source=f"{MODEL}; the voltages and the limit: {PRACTICE}",
    remedy="1. Enter the injectors' own dead times if the ECU takes any. 2. Otherwise keep the battery near the "
    "voltage of the table, and see the voltage sweep for the error that is left.",
    judge=_not_followed,
)

MULTIPLIED = Rule(
    name="battery-multiplied",
    title="Battery correction that multiplies",
    threshold="An ECU that multiplies its pulses for the battery: note; if that puts λ more than "
    f"{100 * BATTERY_OFF:g} % off at idle, cruise or wide open from {RUNNING_V[0]:g} to {RUNNING_V[1]:g} V: caution.",
    why="When the battery sags, as with lamps and a fan on at idle, short pulses go lean and long ones rich.",
    source=f"{MODEL}; the voltages and the limit: {PRACTICE}",
    remedy="1. Keep the battery near the voltage of the table, and see the voltage sweep for the error that is left. "
    "2. If another pulse matters more, state its open time as target.settings.dead_time.at_pulse and adapt again.",
    judge=_multiplied,
)
