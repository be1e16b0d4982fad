"""Rules on what the injectors are supplied with: fuel pressure and battery voltage."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.model.axes import LEAST_BREATH
from basemap.model.installation import BoolArray, FloatArray, Installation, Regulator
from basemap.model.marks import Mark
from basemap.model.result import Scope, Severity
from basemap.physics.injector import KNOWN_BELOW_DATA_V, pressure_across
from basemap.rounding import off, percent_up, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, Answer, Missing, Rule, Trip

PRESSURE_LOSS = 0.05
RAIL_LOW, RAIL_HIGH = 0.7, 1.5
CRANKING_V = 8.5
RUNNING_V, BATTERY_OFF = (12.0, 15.0), 0.05
ESTIMATE_OFF = 0.03
SLACK = 1e-9
"""A pressure written in another unit may differ from its limit in the last bit."""


def _across(installation: Installation, manifold_pa: FloatArray | float) -> FloatArray:
    """Δp across an installation's injectors, Pa."""
    fixed = installation.fuel.regulator is Regulator.FIXED
    barometer = installation.conditions.barometer_pa
    return pressure_across(installation.fuel.rail_pressure_pa, manifold_pa, barometer, fixed)


def _fixed_rail(case: Case) -> Iterator[Answer]:
    target, load = case.job.target.hardware, case.job.target.table.load_pa
    rows = np.asarray(case.reachable.any(axis=1))
    if target.fuel.regulator is not Regulator.FIXED or not rows.any():
        return
    highest, top = case.highest_load_pa, case.surely_pa(float(load[-1]))
    across = _across(target, load)
    at_highest = float(_across(target, highest))
    lowest = min(at_highest, float(across[rows].min()))
    if lowest <= 0:
        at = highest if at_highest == lowest else float(load[rows].max())
        yield Trip(
            Severity.STOP,
            f"At {case.load(at)} nothing presses the fuel through the injectors: {rounded_down(lowest / 1e3, 1)} kPa "
            "across them, with a fixed regulator.",
            value=lowest / 1e3,
            limit=0.0,
            cells=pairs((across <= 0)[:, np.newaxis] & case.reachable),
        )
        return
    if case.job.target.told.corrects_rail_pressure:
        return
    yield from _loss_above_table(case, top)
    yield from _loss_in_table(case, across, rows)


def _loss_above_table(case: Case, top: float) -> Iterator[Trip]:
    """Up to its top row the adapted table carries the pressure; beyond it nothing does."""
    target, peak = case.job.target.hardware, case.job.target.hardware.peak_pressure_pa
    at_top = float(_across(target, top))
    loss = 1.0 - float(_across(target, peak)) / at_top if at_top > 0 else 1.0
    if peak > top and loss > PRESSURE_LOSS:
        yield Trip(
            Severity.STOP,
            f"Above the table's top row, {case.load(top)}, the pressure across the injectors falls by a further "
            f"{percent_up(loss)} % up to {case.load(peak)}, and nothing corrects for it (stop above "
            f"{100 * PRESSURE_LOSS:g} %).",
            f"1. Refer the regulator to the manifold. 2. Or use a table whose rows reach {case.load(peak)}. "
            f"3. Or {case.cut_advice(top, None)}",
            scope=Scope.LIMIT,
            value=100.0 * loss,
            limit=100.0 * PRESSURE_LOSS,
            limit_load_pa=top,
        )


def _loss_in_table(case: Case, across: FloatArray, rows: BoolArray) -> Iterator[Trip]:
    """Whether the untouched table knows of the pressure that the target loses from the barometer to its top row."""
    row = int(np.nonzero(rows)[0][-1])
    top = float(case.job.target.table.load_pa[row])
    if top <= case.barometer_pa:
        return
    donor, barometer = case.job.donor.hardware, case.barometer_pa
    kept = float(across[row]) / float(_across(case.job.target.hardware, barometer))
    # A donor whose rail is not known is taken for one that loses nothing: the side that warns.
    before = float(_across(donor, top)) / float(_across(donor, barometer)) if case.job.donor.fuel_known else 1.0
    loss = 1.0 - kept / before if before > 0 else 0.0
    if loss > PRESSURE_LOSS:
        yield Trip(
            Severity.CAUTION,
            f"If loaded as it is: up to {case.load(top)} the pressure across the injectors falls by "
            f"{percent_up(loss)} % against the donor's rail (limit {100 * PRESSURE_LOSS:g} %), and the old table "
            "does not allow for it: it runs leaner with every step of boost.",
            "Do not load the map as it is. The adapted table makes up the loss, row by row.",
            as_loaded=True,
            value=100.0 * loss,
            limit=100.0 * PRESSURE_LOSS,
            cells=pairs((np.arange(across.size) == row)[:, np.newaxis] & case.reachable),
        )


FIXED_RAIL = Rule(
    name="fixed-rail-under-boost",
    title="Fixed rail under boost",
    threshold="With a fixed regulator, no pressure left across the injectors at the highest load: stop. That pressure "
    f"falls by more than {100 * PRESSURE_LOSS:g} % between the table's top row and the peak pressure, and the ECU "
    "does not correct for it: limit stop at the top row. The untouched map: caution.",
    why="The mixture goes leaner with load, for every kPa of boost is lost from the pressure that drives the fuel.",
    source=MODEL,
    remedy="1. Refer the regulator to the manifold, or raise the rail pressure. 2. Adapt again.",
    judge=_fixed_rail,
    can_stop=True,
)


def _estimated(case: Case) -> Iterator[Answer]:
    job = case.job
    fixed = {
        "target": job.target.hardware.fuel.regulator is Regulator.FIXED,
        "donor": job.donor.hardware.fuel.regulator is Regulator.FIXED and job.donor.fuel_known,
    }
    if not case.counts_air or not any(fixed.values()) or not case.reachable.any():
        return
    estimate = job.target.table.load_pa
    true = np.minimum(estimate / LEAST_BREATH, np.maximum(case.highest_load_pa, estimate))
    # What λ changes by: the target's flow enters as it is, the donor's the other way, by which its air was read.
    change = np.ones_like(estimate)
    for side, installation, power in (("target", job.target.hardware, -0.5), ("donor", job.donor.hardware, 0.5)):
        if fixed[side]:
            change *= (_pressing(installation, true) / _pressing(installation, estimate)) ** power
    off = np.where(case.reachable.any(axis=1), np.abs(np.log(change)), 0.0)
    row = int(off.argmax())
    value, fixed_ones = float(np.expm1(off[row])), [side for side, is_fixed in fixed.items() if is_fixed]
    yield Trip(
        Severity.CAUTION if value > ESTIMATE_OFF else Severity.NOTE,
        "The load axis counts air, so the manifold pressure behind the fixed rail of the "
        f"{' and the '.join(fixed_ones)} is estimated, at a volumetric efficiency of 100 %. If it is "
        f"{100 * LEAST_BREATH:g} %, λ at {case.load_of(row)} is {percent_up(value)} % "
        f"{'leaner' if change[row] > 1 else 'richer'} than calculated (caution above {100 * ESTIMATE_OFF:g} %).",
        value=100.0 * value,
        limit=100.0 * ESTIMATE_OFF,
    )


def _pressing(installation: Installation, manifold_pa: FloatArray) -> FloatArray:
    """Δp across the injectors, Pa, where there is any."""
    return np.maximum(_across(installation, manifold_pa), 1.0)


ESTIMATED_PRESSURE = Rule(
    name="estimated-pressure",
    title="Estimated manifold pressure",
    threshold="An air-mass axis and a fixed regulator on either side: note. If a volumetric efficiency of "
    f"{100 * LEAST_BREATH:g} % instead of 100 % would change λ by more than {100 * ESTIMATE_OFF:g} %: caution.",
    why="A fixed rail works against the manifold pressure, and an air-mass axis does not give that pressure.",
    source=MODEL,
    remedy="Refer the regulator to the manifold, or go up from part load in steps and watch the wideband.",
    judge=_estimated,
)


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


def _rail_pressure(case: Case) -> Iterator[Answer]:
    yield from _highest_pressure(case)
    job = case.job
    sides = {"target": job.target.hardware}
    if job.donor.flow_known and job.donor.fuel_known and not {"injectors", "fuel"} <= job.same_as_donor:
        sides["donor"] = job.donor.hardware
    for side, installation in sides.items():
        rail, rated = installation.fuel.rail_pressure_pa, installation.injectors.static.pressure_pa
        low = grade(rail / rated, Limits(RAIL_LOW, above=False))
        found = low or grade(rail / rated, Limits(RAIL_HIGH))
        if found is None:
            continue
        number = rounded_down(found.value, 2) if low else rounded_up(found.value, 2)
        yield Trip(
            found.severity,
            f"The {side}'s rail pressure of {rail / 1e5:.4g} bar is {number} times the {rated / 1e5:.4g} bar at which "
            f"its injectors were rated (caution {'below' if low else 'above'} {found.limit:g}).",
            value=found.value,
            limit=found.limit,
        )


def _highest_pressure(case: Case) -> Iterator[Answer]:
    """The target's rail against what its injectors' maker allows."""
    injectors, rail = case.job.target.hardware.injectors, case.job.target.hardware.fuel.rail_pressure_pa
    highest = injectors.highest_pressure_pa
    if highest is None:
        # A pressure at which they were rated is one at which they may be used.
        if rail > injectors.static.pressure_pa * (1.0 + SLACK):
            yield Missing(
                ("target.injectors.highest_pressure",), "It is not known whether they open at this rail pressure."
            )
    elif rail > highest * (1.0 + SLACK):
        yield Trip(
            Severity.STOP,
            f"The target's rail pressure of {rail / 1e5:.4g} bar is above the {highest / 1e5:.4g} bar that the maker "
            "of its injectors allows: they may not open, and the cylinder then gets no fuel.",
            "1. Lower the rail pressure to what the maker allows, or fit injectors made for it. 2. Adapt again.",
            value=rail / 1e5,
            limit=highest / 1e5,
        )


RAIL_PRESSURE = Rule(
    name="rail-pressure",
    title="Rail pressure",
    threshold=f"Rail pressure above {RAIL_HIGH:g} or below {RAIL_LOW:g} times the pressure at which the injectors "
    "were rated, on either side: caution. Target's rail pressure above injectors.highest_pressure: stop. If that is "
    "not stated, a rail pressure above the rated one is not judged.",
    why="At high pressure an injector may not open on a low battery. Far from the rated pressure the flow no longer "
    "follows the square root of the pressure, and the dead time differs.",
    source=PRACTICE,
    remedy="1. Use a flow and dead times that were measured near this pressure, or bring the pressure closer to the "
    "rating. 2. Look up the highest pressure that the injectors' maker allows, and stay below it.",
    judge=_rail_pressure,
    can_stop=True,
    about_table=False,
)


def _worst_running(case: Case) -> tuple[float, str] | None:
    """λ ratio of the new table at the voltage of a running engine at which it is worst, and where that is.

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
    """What a factor for the battery leaves between the voltages at which an engine runs."""
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
    """A dead time that stays while the battery sags: inside the cells, or of other injectors."""
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
