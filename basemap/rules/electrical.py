"""Rules on the electrical side of the injectors: dead times that no injector has, and a battery that is overcharged."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.finding import Severity
from basemap.model.injectors import DeadTime
from basemap.model.installation import FloatArray
from basemap.physics.injector import PLAUSIBLE_DEAD_TIME_S, slipped_unit
from basemap.rounding import rounded_down, rounded_up
from basemap.rules.case import Case
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MEMORY, PRACTICE, Answer, Rule, Trip

JUDGED_AT_V = 12.0
SHORTEST_MS, LONGEST_MS = (1e3 * limit for limit in PLAUSIBLE_DEAD_TIME_S)
OVERCHARGED_V, HIGHEST_V = 15.5, 16.0


def _dead_time(case: Case) -> Iterator[Answer]:
    seen: list[DeadTime] = []
    for what, key, data in _stated(case):
        if any(_same(data, other) for other in seen):
            continue
        seen.append(data)
        yield from _implausible(what, key, data)


def _stated(case: Case) -> Iterator[tuple[str, str, DeadTime]]:
    """Every dead time that the result depends on: whose it is, its job-file key, the data."""
    job = case.job
    told = (("donor", job.donor.told.dead_time), ("target", job.target.told.dead_time))
    yield "target's injectors have", "target.injectors.dead_time", job.target.hardware.injectors.dead_time
    if job.donor.dead_time_known:
        yield "donor's injectors have", "donor.injectors.dead_time", job.donor.hardware.injectors.dead_time
    for side, data in told:
        if data is not None:
            yield f"{side}'s ECU was told", f"{side}.settings.dead_time", data


def _same(data: DeadTime, other: DeadTime) -> bool:
    return np.array_equal(data.battery_v, other.battery_v) and np.array_equal(data.time_s, other.time_s)


def _implausible(what: str, key: str, data: DeadTime) -> Iterator[Trip]:
    """A dead time that no injector has at 12 V, or at the nearest voltage of the data."""
    volts = float(np.clip(JUDGED_AT_V, data.battery_v[0], data.battery_v[-1]))
    times_ms = 1e3 * _over_pressure(data, volts)
    short, long = Limits(stop=SHORTEST_MS, above=False), Limits(stop=LONGEST_MS)
    found = grade(times_ms, short) or grade(times_ms, long)
    if found is None:
        return
    low, slip = found.limit == SHORTEST_MS, slipped_unit(found.value / 1e3)
    yield Trip(
        Severity.STOP,
        f"The {what} a dead time of {rounded_down(found.value, 3) if low else rounded_up(found.value, 3)} ms at "
        f"{volts:g} V (stop {'below' if low else 'above'} {found.limit:g} ms): no injector of this kind has "
        f"that.{f' The unit is the likeliest mistake: {slip}.' if slip else ''}",
        f"1. Check {key}, number and unit, against the data sheet. 2. Correct it and adapt again: at idle the dead "
        "time is up to half of the pulse.",
        value=found.value,
        limit=found.limit,
    )


def _over_pressure(data: DeadTime, battery_v: float) -> FloatArray:
    """The data read at a voltage, one for each pressure it has, s."""
    return np.array([np.interp(battery_v, data.battery_v, row) for row in data.time_s])


IMPLAUSIBLE_DEAD_TIME = Rule(
    name="dead-time-implausible",
    title="Implausible dead time",
    threshold=f"Dead time below {SHORTEST_MS:g} ms or above {LONGEST_MS:g} ms at {JUDGED_AT_V:g} V (or at the nearest "
    "voltage of its data), the injectors' own or the ECU's, donor's or target's: stop.",
    why="An ECU that adds too little dead time runs the engine far too lean at idle and in the cold. One that adds "
    "too much floods it.",
    source=PRACTICE,
    remedy="1. Check number and unit against the data sheet. 2. Correct them and adapt again.",
    judge=_dead_time,
    can_stop=True,
    about_table=False,
)


def _overvoltage(case: Case) -> Iterator[Answer]:
    seen: set[float] = set()
    for whose, volts, table in _batteries(case):
        past = None if volts in seen else grade(volts, Limits(caution=OVERCHARGED_V, stop=HIGHEST_V))
        seen.add(volts)
        if past is not None:
            yield Trip(
                past.severity,
                f"The battery voltage of {whose} is stated as {rounded_up(volts, 1)} V ({past.severity.value} above "
                f"{past.limit:g} V): a charging system that reaches this is faulty.",
                value=volts,
                limit=past.limit,
                table=table,
            )


def _batteries(case: Case) -> Iterator[tuple[str, float, str | None]]:
    """Every voltage at which a dead time is read: whose it is, V, and the further table it belongs to."""
    job = case.job
    yield "the target", job.target.table.battery_v, None
    yield "the donor", job.donor.table.battery_v, None
    for found in case.computed.further_tables:
        yield f"the target's table {found.name}", found.battery_v, found.name
        yield f"the donor's table {found.name}", found.table.donor.battery_v, found.name


OVERVOLTAGE = Rule(
    name="overvoltage",
    title="Battery overvoltage",
    threshold=f"A table for a battery voltage above {OVERCHARGED_V:g} V: caution; above {HIGHEST_V:g} V: stop.",
    why="Above this the charging system has failed: it boils the battery and burns electronics. Dead times read at "
    "this voltage are too short for a sound battery, so the engine runs lean.",
    source=f"{PRACTICE}; {HIGHEST_V:g} V is the highest supply of the usual 12 V classes of ISO 16750-2, {MEMORY}",
    remedy="1. If it runs above 15.5 V, stop the engine. 2. Measure at the battery with the engine running: 13.2 to "
    "14.8 V is normal. 3. Repair the charging system or correct the number, and adapt again.",
    judge=_overvoltage,
    can_stop=True,
    about_table=False,
)
