"""Rules on a table over throttle opening: throttles that differ, are too small, or are nearly shut."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.throttle import NEARLY_SHUT, ThrottleLayout, layout
from basemap.constants import R_DRY_AIR, SAME
from basemap.model.finding import Scope, Severity
from basemap.model.installation import FloatArray, Installation
from basemap.model.marks import Mark
from basemap.physics.throttle import pressure_ratio
from basemap.rounding import cells, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.rule import MODEL, PRACTICE, Answer, Rule, Trip

DISCHARGE = 0.80
"""Discharge coefficient of a wide-open throttle and its shaft. Common practice, no source; low, to warn early."""

RESTRICTS = 0.98
DEMAND_LOW, DEMAND_HIGH = 0.5, 1.4


def _throttle_layout(case: Case) -> Iterator[Answer]:
    if not case.by_throttle:
        return
    found = layout(case.job.donor.hardware.engine, case.job.target.hardware.engine)
    if found is ThrottleLayout.ALIKE:
        return
    empty = case.marked(Mark.LAYOUT_DIFFERS)
    if found is ThrottleLayout.NOT_KNOWN:
        what = "The throttle bores are not stated, so the air past the blades cannot be compared"
        remedy = "State throttle_bore, or throttles = { count, bore, feeds }, of both engines, and run again."
    else:
        what = "The throttle layouts differ: individual throttles on one engine, a shared manifold on the other"
        remedy = THROTTLE_LAYOUT.remedy
    yield Trip(
        Severity.STOP,
        f"{what}. Below wide open nothing is known: {cells(int(empty.sum()))} in reach "
        f"{'is' if empty.sum() == 1 else 'are'} left empty.",
        remedy,
        scope=Scope.LIMIT,
        cells=pairs(empty),
    )


THROTTLE_LAYOUT = Rule(
    name="throttle-layout",
    title="Throttle layout",
    threshold="For a table over throttle opening: each throttle feeds a different number of cylinders on the two "
    "engines (unless on both engines they all share one manifold), or the bores are not stated: limit stop below "
    "wide open.",
    why="A mixture carried over can be off by half. Different throttles pass a different share of the air at the same "
    "opening, and behind individual throttles the pressure pulses where a shared manifold would even it out.",
    source=MODEL,
    remedy="1. Use a donor with throttles like the target's, or a map over manifold pressure. 2. The wide-open cells "
    "and the tables without a load axis are adapted: copy them by hand. 3. Tune everything else on the engine, from "
    "the rich side.",
    judge=_throttle_layout,
    can_stop=True,
)


def _small_throttle(case: Case) -> Iterator[Answer]:
    if not case.by_throttle:
        return
    donor, target = case.job.donor.hardware, case.job.target.hardware
    if layout(donor.engine, target.engine) is not ThrottleLayout.ALIKE:
        return
    table, own = case.job.donor.table, case.job.target.table
    for word, installation, rpm, air in (
        ("donor", donor, table.rpm, case.on_donor_axes.table.donor.air_kg[-1]),
        ("target", target, own.rpm, case.table.target.air_kg[-1]),
    ):
        ratio = _wide_open_ratio(installation, rpm, air)
        if not np.isfinite(ratio).any():
            continue
        lowest = int(np.nanargmin(ratio))
        value = float(ratio[lowest])
        if value < RESTRICTS - SAME:
            yield Trip(
                Severity.CAUTION,
                f"Wide open at {case.speed(rpm[lowest])}, the {word}'s throttle is estimated to keep its manifold at "
                f"{rounded_down(value, 3)} of the barometer (caution below {RESTRICTS:g}); the transfer assumes the "
                "full barometer.",
                value=value,
                limit=RESTRICTS,
            )
    assert donor.engine.throttles is not None
    assert target.engine.throttles is not None
    demand = (target.engine.displacement_m3 / target.engine.throttles.area_m2) / (
        donor.engine.displacement_m3 / donor.engine.throttles.area_m2
    )
    if not DEMAND_LOW - SAME <= demand <= DEMAND_HIGH + SAME:
        high = demand > DEMAND_HIGH
        number = rounded_up(demand, 3) if high else rounded_down(demand, 3)
        yield Trip(
            Severity.CAUTION,
            f"The target has {number} times the donor's displacement for its bore area (caution outside "
            f"{DEMAND_LOW:g} to {DEMAND_HIGH:g}): part load carries over less accurately, and errs "
            f"{'rich' if high else 'lean'}.",
            value=demand,
            limit=DEMAND_HIGH if high else DEMAND_LOW,
        )


def _wide_open_ratio(installation: Installation, rpm: FloatArray, air_kg: FloatArray) -> FloatArray:
    """Manifold over barometric pressure wide open, from absolute areas; an estimate, shape (speeds,)."""
    engine, conditions = installation.engine, installation.conditions
    assert engine.throttles is not None
    flow = air_kg * engine.cylinders / engine.cycle_time_s(rpm)
    volume_flow = flow * R_DRY_AIR * conditions.charge_temperature_k / conditions.barometer_pa
    return pressure_ratio(volume_flow, DISCHARGE * engine.throttles.area_m2, conditions.charge_temperature_k)


SMALL_THROTTLE = Rule(
    name="small-throttle",
    title="Small throttle",
    threshold="For a table over throttle opening: on either engine the manifold pressure wide open is estimated "
    f"(discharge coefficient {DISCHARGE:g}) below {RESTRICTS:g} of the barometer, or the target's displacement per "
    f"bore area is outside {DEMAND_LOW:g} to {DEMAND_HIGH:g} times the donor's: caution.",
    why="The transfer assumes that the wide-open row is at the barometer. Compared with a simulation of both engines, "
    "the air is within 1.5 % if that is true and the target draws at most 1.4 times the donor's flow for its bores. "
    "At twice that flow the mixture is 4.5 % rich, and with a small throttle 3 to 4 % off.",
    source=f"{MODEL}; the discharge coefficient: {PRACTICE}",
    remedy="Expect part load to be off by a few per cent more than the band says, and trim it on the target with the "
    "wideband.",
    judge=_small_throttle,
)


def _nearly_shut(case: Case) -> Iterator[Answer]:
    shut = case.marked(Mark.CALIBRATE)
    if not case.by_throttle or not shut.any():
        return
    idles = bool((shut & case.idle).any())
    yield Trip(
        Severity.CAUTION if idles else Severity.NOTE,
        f"Below {100 * NEARLY_SHUT:g} % opening the air passes the idle valve, not the blade: "
        f"{cells(int(shut.sum()))} in reach {'is' if shut.sum() == 1 else 'are'} carried over as if it passed the "
        f"blade{', and the engine idles there' if idles else ''}.",
        value=float(shut.sum()),
        limit=0.0,
        cells=pairs(shut),
    )


NEARLY_SHUT_RULE = Rule(
    name="nearly-shut-throttle",
    title="Nearly shut throttle",
    threshold=f"For a table over throttle opening: reachable cells below {100 * NEARLY_SHUT:g} % opening: note; where "
    "the target idles: caution.",
    why="The air past a shut blade depends on the target's own throttle stop, leaks and idle valve.",
    source=PRACTICE,
    remedy="1. Set the target's throttle stop and idle air first. 2. Calibrate these cells on the engine, warm, with "
    "the wideband in view.",
    judge=_nearly_shut,
)
