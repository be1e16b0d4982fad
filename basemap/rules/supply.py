"""Rules on the fuel pressure at the injectors."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.constants import SAME
from basemap.model.axes import LEAST_EFFICIENCY
from basemap.model.finding import Scope, Severity
from basemap.model.installation import BoolArray, FloatArray, Installation, Regulator
from basemap.physics.injector import pressure_across
from basemap.rounding import percent_up, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, Answer, Missing, Rule, Trip

PRESSURE_LOSS = 0.05
RAIL_LOW, RAIL_HIGH = 0.7, 1.5
ESTIMATE_OFF = 0.03


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
            f"At {case.load(at)} no pressure drives the fuel through the injectors: {rounded_down(lowest / 1e3, 1)} "
            "kPa across them, with a fixed regulator.",
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
    """Pressure lost above the top row: up to there the adapted table allows for it, but nothing does beyond."""
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
    """Pressure lost from the barometer to the top row, for which the untouched table does not allow."""
    row = int(np.nonzero(rows)[0][-1])
    top = float(case.job.target.table.load_pa[row])
    if top <= case.barometer_pa:
        return
    donor, barometer = case.job.donor.hardware, case.barometer_pa
    kept = float(across[row]) / float(_across(case.job.target.hardware, barometer))
    # If the donor's rail is not known, it is assumed to lose nothing: so the rule warns rather than stays silent.
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
    why="The mixture goes leaner with load: every kPa of boost is lost from the pressure that drives the fuel.",
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
    true = np.minimum(estimate / LEAST_EFFICIENCY, np.maximum(case.highest_load_pa, estimate))
    # The change of λ: the target's flow enters as it is, the donor's inversely, because its air was read with it.
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
        f"{100 * LEAST_EFFICIENCY:g} %, λ at {case.load_of(row)} is {percent_up(value)} % "
        f"{'leaner' if change[row] > 1 else 'richer'} than calculated (caution above {100 * ESTIMATE_OFF:g} %).",
        value=100.0 * value,
        limit=100.0 * ESTIMATE_OFF,
    )


def _pressing(installation: Installation, manifold_pa: FloatArray) -> FloatArray:
    """Δp across the injectors, Pa, at least 1."""
    return np.maximum(_across(installation, manifold_pa), 1.0)


ESTIMATED_PRESSURE = Rule(
    name="estimated-pressure",
    title="Estimated manifold pressure",
    threshold="An air-mass axis and a fixed regulator on either side: note. If a volumetric efficiency of "
    f"{100 * LEAST_EFFICIENCY:g} % instead of 100 % would change λ by more than {100 * ESTIMATE_OFF:g} %: caution.",
    why="A fixed rail works against the manifold pressure, and an air-mass axis does not give that pressure.",
    source=MODEL,
    remedy="Refer the regulator to the manifold, or go up from part load in steps and watch the wideband.",
    judge=_estimated,
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
    """The target's rail pressure, compared with what the injectors' maker allows."""
    injectors, rail = case.job.target.hardware.injectors, case.job.target.hardware.fuel.rail_pressure_pa
    highest = injectors.highest_pressure_pa
    if highest is None:
        # Injectors may be used at the pressure at which they were rated.
        if rail > injectors.static.pressure_pa * (1.0 + SAME):
            yield Missing(
                ("target.injectors.highest_pressure",), "It is not known whether they open at this rail pressure."
            )
    elif rail > highest * (1.0 + SAME):
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
