"""Rules on whether the donor's map is what the job says: the breathing and the power that its cells imply."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.implied import (
    PART_LOAD_PA,
    POWER_CAUTION,
    POWER_STOP,
    VE_HIGH,
    VE_HIGHEST,
    VE_LOW,
    VE_LOWEST,
    VE_PART_HIGH,
    VE_PART_LOW,
    VE_SPEEDS,
    highest_visited_row,
    implied_power_w,
    median_ve,
    middle_speeds,
    part_load_rows,
    volumetric_efficiency,
)
from basemap.adaptation.reach import NEAR_BAROMETER
from basemap.adaptation.throttle import open_rows
from basemap.model.finding import Severity
from basemap.model.installation import Cycle, FloatArray, Installation
from basemap.model.table import FuelTable
from basemap.rounding import cells, excess, percent_down, percent_up, rounded_down, rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.causes import CELLS
from basemap.rules.grading import Grade, Limits, grade, worst
from basemap.rules.implied_numbers import Anchor
from basemap.rules.rule import PRACTICE, Answer, Missing, Rule, Trip

VE_CELL_LOW, VE_CELL_HIGH = 0.5, 1.3
TENS = (0.01, 0.1, 10.0, 100.0)


def _air_keys(case: Case) -> tuple[str, ...]:
    """Where to look when the air of the donor's cells is not known."""
    return case.computed.cancelled or ("donor.tables.fuel",)


def _implied_ve(case: Case) -> Iterator[Answer]:
    if case.job.donor.hardware.engine.cycle is Cycle.TWO_STROKE:
        return
    table = case.table
    row = highest_visited_row(table.visited)
    if row is None:
        keys = ("donor.engine.peak_pressure", "donor.engine.rev_limit")
        yield Missing(keys, "By the limits in the job, the donor never reached any cell of its own table.")
        return
    middle = middle_speeds(case.job, table.visited[row])
    implied = median_ve(case.job, table.implied_ve, table.visited, row)
    if implied is None:
        yield Missing(_air_keys(case), "The air that its cells stand for is unknown.")
        return
    low = grade(implied, Limits(VE_LOW, VE_LOWEST, above=False))
    found = low or grade(implied, Limits(VE_HIGH, VE_HIGHEST))
    if found is not None:
        number = percent_down(implied) if low else percent_up(implied)
        because, remedy = _explained(case, Anchor.WIDE_OPEN, IMPLIED_VE.remedy)
        yield Trip(
            found.severity,
            f"At {case.load_of(row)} the donor's cells imply {_what_is_implied(case, number)} (median over the middle "
            f"of its speeds; {found.severity} {'below' if low else 'above'} {100 * found.limit:g} %; 70 to 105 % is "
            f"normal).{_by_tens(implied)}{because}",
            remedy,
            value=100 * implied,
            limit=100 * found.limit,
            cells=tuple((row, int(column)) for column in np.nonzero(middle)[0]),
        )
    yield from _odd_cells(case, row)


def _by_tens(implied: float) -> str:
    """The likely reason for a factor of ten or a hundred; else empty."""
    for factor in TENS:
        if VE_LOWEST <= implied / factor <= VE_HIGHEST:
            return f" That is {factor:g} times a normal one: check the decimal point and the unit of the cells."
    return ""


def _what_is_implied(case: Case, number: str) -> str:
    if case.counts_air:
        return f"{number} % of the air that the axis states"
    return f"a volumetric efficiency of {number} %"


def _odd_cells(case: Case, top: int) -> Iterator[Trip]:
    """Single wide-open cells that imply a VE that no engine has."""
    load, barometer = case.job.donor.table.load_pa, case.job.donor.hardware.conditions.barometer_pa
    rows = np.abs(load - barometer) <= NEAR_BAROMETER * barometer
    if case.by_throttle:
        rows = open_rows(case.job.donor.table)
    if not rows.any():
        rows = np.arange(load.size) == top
    ve = np.where(rows[:, np.newaxis] & case.tuned_or_read, case.table.implied_ve, np.nan)
    odd = (ve < VE_CELL_LOW) | (ve > VE_CELL_HIGH)
    if odd.any():
        cell = worst(np.abs(ve - 0.5 * (VE_CELL_LOW + VE_CELL_HIGH)), odd, above=True)
        value = float(ve[cell])
        number = percent_up(value) if value > VE_CELL_HIGH else percent_down(value)
        yield Trip(
            Severity.NOTE,
            f"Single cells are odd: {number} % at {case.address(cell)} wide open (note outside "
            f"{100 * VE_CELL_LOW:g} to {100 * VE_CELL_HIGH:g} %; {cells(int(odd.sum()))}).",
            "Look at these cells of the donor's file: a typing error, or never tuned. Smooth them and adapt again.",
            value=100 * value,
            limit=100 * (VE_CELL_HIGH if value > VE_CELL_HIGH else VE_CELL_LOW),
            cells=pairs(odd),
            cause=CELLS,
        )


IMPLIED_VE = Rule(
    name="implied-ve-wide-open",
    title="Implied volumetric efficiency, wide open",
    threshold=f"Median of the highest row that the donor visited, from {100 * VE_SPEEDS[0]:g} to "
    f"{100 * VE_SPEEDS[1]:g} % of its rev limit: outside {VE_LOW:.2f} to {VE_HIGH:.2f}: caution; outside "
    f"{VE_LOWEST:.2f} to {VE_HIGHEST:.2f}: stop. Single wide-open cells outside {VE_CELL_LOW} to {VE_CELL_HIGH}: "
    "note. Four-stroke donors.",
    why="No engine breathes like that. The file is not what the job says it is, and every number rests on it.",
    source=PRACTICE,
    remedy="Check, in this order: what the cells are (quantity and unit), what the ECU still applies to them "
    "(ecu_applies), the load axis and its unit, the donor's flow at its rail pressure, displacement and cylinders, "
    "openings per cycle, the intended λ.",
    judge=_implied_ve,
    about_donor=True,
    can_stop=True,
)


def _implied_ve_part_load(case: Case) -> Iterator[Answer]:
    if case.job.donor.hardware.engine.cycle is Cycle.TWO_STROKE:
        return
    table, rows, medians = case.table, [], []
    for row in part_load_rows(case.job):
        implied = median_ve(case.job, table.implied_ve, table.visited, row)
        if implied is not None:
            rows.append(row)
            medians.append(implied)
    if case.counts_air or case.by_throttle:
        return
    if not rows:
        yield Missing(_air_keys(case))
        return
    values = np.array(medians)
    low = grade(values, Limits(VE_PART_LOW, above=False))
    found = low or grade(values, Limits(VE_PART_HIGH))
    if found is None:
        return
    row = rows[found.cell[0]]
    number = percent_down(found.value) if low else percent_up(found.value)
    because, remedy = _explained(case, Anchor.PART_LOAD, IMPLIED_VE_PART_LOAD.remedy)
    yield Trip(
        found.severity,
        f"At {case.load_of(row)}, part load, the donor's cells imply a volumetric efficiency of {number} % (median "
        f"over the middle of its speeds; caution {'below' if low else 'above'} {100 * found.limit:g} %).{because}",
        remedy,
        value=100 * found.value,
        limit=100 * found.limit,
        cells=tuple((row, int(column)) for column in np.nonzero(middle_speeds(case.job, table.visited[row]))[0]),
    )


IMPLIED_VE_PART_LOAD = Rule(
    name="implied-ve-part-load",
    title="Implied volumetric efficiency, part load",
    threshold=f"Median of a row from {PART_LOAD_PA[0] / 1e3:g} to {PART_LOAD_PA[1] / 1e3:g} kPa, over the same speeds, "
    f"outside {VE_PART_LOW} to {VE_PART_HIGH}: caution. Four-stroke donors; not on an air-mass or a throttle axis.",
    why="A mistake about what a cell contains shows first at part load: pressure counted twice or not at all, dead "
    "time counted on the wrong side.",
    source=PRACTICE,
    remedy="Check what the ECU still applies to the cells (ecu_applies), the unit and kind of the load axis, and the "
    "dead time.",
    judge=_implied_ve_part_load,
    about_donor=True,
)


def _power(installation: Installation, table: FuelTable, air_kg: FloatArray) -> float:
    return implied_power_w(installation, table, volumetric_efficiency(installation, table, air_kg))


def _implied_power(case: Case) -> Iterator[Answer]:
    job = case.job
    engine = job.donor.hardware.engine
    if engine.cycle is Cycle.TWO_STROKE or case.counts_air:
        return
    if engine.rated_power_w is None:
        key = "donor.engine.rated_power"
        yield Missing((key,), "The maker's power figure is the cheapest check that the map belongs to this engine.")
        return
    power = _power(job.donor.hardware, job.donor.table, case.table.donor.air_kg)
    if np.isnan(power):
        yield Missing(_air_keys(case), "The air that its cells stand for is unknown.")
        return
    ratio = power / engine.rated_power_w
    low = grade(ratio, Limits(1.0 - POWER_CAUTION, 1.0 - POWER_STOP, above=False))
    found = low or grade(ratio, Limits(1.0 + POWER_CAUTION, 1.0 + POWER_STOP))
    if found is None:
        return
    because, remedy = _explained(case, Anchor.POWER, IMPLIED_POWER.remedy)
    number = rounded_down(power / 1e3, 1) if low else rounded_up(power / 1e3, 1)
    yield Trip(
        found.severity,
        f"At {case.speed(engine.rated_speed_rpm or 0.0)} the donor's cells imply {number} kW, {excess(ratio)} % "
        f"{'below' if low else 'above'} the {engine.rated_power_w / 1e3:.4g} kW declared ({found.severity} beyond "
        f"{100 * abs(found.limit - 1.0):.0f} %).{because}",
        remedy,
        value=power / 1e3,
        limit=found.limit * engine.rated_power_w / 1e3,
    )


IMPLIED_POWER = Rule(
    name="implied-power",
    title="Implied power",
    threshold="Power that the donor's air implies at its rated speed and peak pressure, at 99 kPa and 25 °C, more "
    f"than {100 * POWER_CAUTION:g} % from its rated power: caution; more than {100 * POWER_STOP:g} % from it: stop. "
    "Four-stroke donors; not on an air-mass axis, whose rows have no pressure.",
    why="A table with fuel for a different power belongs to another engine, or was read with the wrong hardware.",
    source=PRACTICE,
    remedy="Check the donor's displacement, its rated power and speed, the flow of its injectors, its rail pressure, "
    "and whether the map was made for a modified engine.",
    judge=_implied_power,
    about_donor=True,
    can_stop=True,
)


LEAN_POWER_CAUTION, LEAN_POWER_STOP = 0.10, 0.20
"""How far below the target's rated power the fuel of its adapted table may be. Common practice, no source."""


def _target_power(case: Case) -> Iterator[Answer]:
    target = case.job.target.hardware
    engine = target.engine
    if engine.cycle is Cycle.TWO_STROKE or case.counts_air:
        return
    if engine.rated_power_w is None:
        yield Missing(("target.engine.rated_power",))
        return
    power = _power(target, case.job.target.table, case.table.target.air_kg)
    if np.isnan(power):
        yield Missing(_air_keys(case))
        return
    ratio = power / engine.rated_power_w
    lean = grade(ratio, Limits(1.0 - LEAN_POWER_CAUTION, 1.0 - LEAN_POWER_STOP, above=False))
    if lean is not None:
        yield _under_fuelled(case, power, lean)
    found = grade(ratio, Limits(1.0 + POWER_CAUTION))
    if found is not None:
        yield Trip(
            found.severity,
            f"At {case.speed(engine.rated_speed_rpm or 0.0)} the adapted table has fuel for "
            f"{rounded_up(power / 1e3, 1)} kW, {excess(found.value)} % above the target's rated "
            f"{engine.rated_power_w / 1e3:.4g} kW (caution above {100 * POWER_CAUTION:g} %): is it over-fuelled at "
            "full load?",
            value=power / 1e3,
            limit=found.limit * engine.rated_power_w / 1e3,
        )


def _under_fuelled(case: Case, power: float, found: Grade) -> Trip:
    """The target's rated power takes more air than its table has fuel for."""
    engine = case.job.target.hardware.engine
    assert engine.rated_power_w is not None
    applied = bool(case.table.breathing.by_evidence.any())
    return Trip(
        Severity.CAUTION if applied else found.severity,
        f"At {case.speed(engine.rated_speed_rpm or 0.0)} the adapted table has fuel for only "
        f"{rounded_down(power / 1e3, 1)} kW, {excess(found.value)} % less than the target's rated "
        f"{engine.rated_power_w / 1e3:.4g} kW: if it makes that power, it runs lean at full load "
        f"({'caution' if applied else found.severity} beyond {100 * abs(found.limit - 1.0):.0f} %).",
        "1. No full load before you have seen the wideband. 2. Check the donor first: is it the engine that the job "
        "says? 3. State rated_power and peak_torque of both engines: the cells then allow for them.",
        value=power / 1e3,
        limit=found.limit * engine.rated_power_w / 1e3,
    )


TARGET_POWER = Rule(
    name="implied-power-of-the-target",
    title="Implied power of the target",
    threshold=f"The adapted table has fuel for more than {100 * LEAN_POWER_CAUTION:g} % less than the target's rated "
    f"power: caution; for more than {100 * LEAN_POWER_STOP:g} % less: stop, unless the cells already allow for the "
    f"makers' figures of both engines. Fuel for more than {100 * POWER_CAUTION:g} % more: caution. Four-stroke "
    "targets; not on an air-mass axis.",
    why="A target that draws more air than its table has fuel for runs lean at full load. One whose table has fuel "
    "for more power than its maker claims probably runs rich.",
    source=PRACTICE,
    remedy="1. Check the donor first: is it the engine that the job says? 2. Approach full load in steps with the "
    "wideband in view. Take fuel out only where you measure it rich.",
    judge=_target_power,
    can_stop=True,
)


def _explained(case: Case, anchor: Anchor, remedy: str) -> tuple[str, str]:
    """What would explain an implausible number: a sentence for the message, and the remedy that begins with it.

    The sentence is empty if another number tells more; the explanation is given there.
    """
    telling, found = case.explanations
    if telling is not anchor:
        return "", remedy
    if not found:
        return " No single input explains it.", remedy
    listed = "; ".join(f"{number}. {each.words}" for number, each in enumerate(found, 1))
    keys = ", ".join(dict.fromkeys(each.key for each in found))
    return (
        f" One wrong input alone would explain it, the likeliest first: {listed}.",
        f"Find out which input is wrong, first of all {keys}. Nothing has been changed. Then: {remedy}",
    )
