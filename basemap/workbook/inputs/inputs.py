"""The input cells of a workbook, made from a job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from basemap.adaptation.quantities.injectors import FLOW_BY_MASS
from basemap.adaptation.quantities.quantity import Quantity
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from basemap.model.job import SIDES, Job, SideName
from basemap.workbook.inputs.ecu_inputs import settings_cells, table_cells
from basemap.workbook.inputs.fuel_inputs import fuel_cells
from basemap.workbook.inputs.input_cell import (
    InputCell,
    is_same_part,
    known_rail,
    origin,
    plain,
    spread,
    unit_of,
    written,
)
from basemap.workbook.inputs.quantities import (
    GRAM_MIN,
    GRAM_S,
    HARDWARE,
    SHOWN,
    VOLT,
    WHOLE,
    Group,
    group_of,
    limits,
    shown,
    used_unit,
)

INPUTS_TOP = 6
"""The first row of inputs on their sheet, below the head and the legend."""
_FLOWS = frozenset({"static_flow", "slope", "flow_below_bend", "flow_above_bend"})


def input_cells(job: Job) -> tuple[InputCell, ...]:
    """Every input cell of a job, in the order of the sheet."""
    cells: list[InputCell] = []
    for side in SIDES:
        cells += _of_side(job, side)
    leaders = {cell.used_cell: cell for cell in cells} | {cell.name: cell for cell in cells}
    return tuple(_led(cell, leaders) for cell in cells)


def _led(cell: InputCell, leaders: Mapping[str, InputCell]) -> InputCell:
    """A cell that follows another one, with the value and the unit of that one."""
    if not cell.follows:
        return cell
    leader = leaders.get(cell.follows) or leaders[f"{cell.follows}_used"]
    same_quantity = leader.name.split("_", 1)[1] == cell.name.split("_", 1)[1]
    if leader.side == cell.side or same_quantity:
        same = {"value": leader.value, "unit": leader.unit, "size": leader.size, "zero": leader.zero}
        return replace(cell, **same, follows=leader.name)  # type: ignore[arg-type]
    # Where the donor has an altitude instead of a barometer, or a count of injectors, the target has it too.
    own = {"side": cell.side, "key": cell.key, "origin": cell.origin, "follows": leader.name}
    renamed = {
        "name": leader.name.replace("donor_", "target_", 1),
        "used_name": leader.used_name.replace("donor_", "target_", 1),
        "used_formula": leader.used_formula.replace("donor_", "target_"),
    }
    return replace(leader, **own, **renamed)  # type: ignore[arg-type]


def _of_side(job: Job, side: SideName) -> list[InputCell]:
    cells = [_quantity(job, side, quantity) for quantity in HARDWARE if _applies(job, side, quantity)]
    cells = [_as_altitude(job, cell) if cell.name.endswith("_barometer") else cell for cell in cells]
    cells = [_as_count(job, cell) if cell.name.endswith("_per_cylinder") else cell for cell in cells]
    cells += [_battery(job, side), *fuel_cells(job, side), *settings_cells(job, side), *table_cells(job, side)]
    order = list(Group)
    return sorted(cells, key=lambda cell: order.index(cell.group))


def _applies(job: Job, side: SideName, quantity: Quantity) -> bool:
    if quantity.on(job.side(side)) is None:
        return False
    if quantity.key == "fuel.rail_pressure":
        return known_rail(job, side)
    if quantity.cell in {*_FLOWS, "mass_at_bend", "rated_pressure", "rated_density"}:
        return job.side(side).flow_known
    return quantity.cell != "fuel_temperature" or job.side(side).fuel_known


def _quantity(job: Job, side: SideName, quantity: Quantity) -> InputCell:
    value = quantity.on(job.side(side))
    assert value is not None
    default, used, within = SHOWN[quantity.unit], used_unit(quantity), quantity.range
    if quantity.cell in _FLOWS and _is_mass(job, side, quantity.cell):
        default, used, within = GRAM_MIN, GRAM_S, FLOW_BY_MASS
    entry = written(job, side, quantity.key)
    unit = unit_of(entry, default)
    low, high = limits(within, unit)
    return InputCell(
        side=side,
        name=f"{side}_{quantity.cell}",
        key=f"{side}.{quantity.key}",
        label=quantity.words,
        group=group_of(quantity),
        value=shown(value, unit) if entry is None else entry.shown if entry.shown else shown(value, unit),
        unit=unit.name,
        used_unit=used.name,
        size=unit.size / used.size,
        zero=(unit.zero - used.zero) / used.size,
        low=low,
        high=high,
        why=quantity.why,
        spread=spread(entry, unit),
        origin=origin(job, side, quantity.key),
        follows=_follows(job, side, quantity),
        whole=quantity.key in WHOLE,
    )


def _is_mass(job: Job, side: SideName, stem: str) -> bool:
    injectors = job.side(side).hardware.injectors
    both = injectors.bent_line
    ratings = {
        "static_flow": injectors.static,
        "slope": injectors.slope,
        "flow_below_bend": None if both is None else both.below,
        "flow_above_bend": None if both is None else both.above,
    }
    rating = ratings[stem]
    return rating is not None and rating.is_mass


def _follows(job: Job, side: SideName, quantity: Quantity) -> str:
    if is_same_part(job, side, quantity.key):
        return f"donor_{quantity.cell}"
    if side == "donor":
        return _follows_settings(job, quantity)
    return ""


def _follows_settings(job: Job, quantity: Quantity) -> str:
    """The settings cell that a donor's hardware cell follows, where only its settings are known; else empty."""
    entry, settings = job.inputs.get(f"donor.{quantity.key}"), job.donor.told
    as_told = {
        "displacement": settings.displacement_m3,
        "static_flow": settings.flow,
        "openings": settings.openings_per_cycle,
        "rated_pressure": settings.flow,
    }
    if entry is not None or as_told.get(quantity.cell) is None:
        return ""
    if quantity.cell == "rated_pressure":
        return "" if "donor.injectors.static_flow" in job.inputs else "donor_rail_pressure"
    return f"donor_settings_{quantity.cell}"


def _as_altitude(job: Job, cell: InputCell) -> InputCell:
    """The cell for a barometer, as an altitude where the job gives one."""
    side, key, altitude = cell.side, "conditions.altitude", QUANTITIES["conditions.altitude"]
    own = f"{side}.conditions.barometer" in job.declared  # not one that follows from an altitude
    stated = job.inputs.get(f"{side}.{key}")
    if stated is None and not own and f"{side}.{key}" not in job.inputs and "conditions.barometer" not in job.declared:
        stated = job.inputs.get(key)
    if stated is None or own or cell.follows:
        return cell
    unit = unit_of(stated, SHOWN[altitude.unit])
    low, high = limits(altitude.range, unit)
    exponent = STANDARD_GRAVITY / (R_DRY_AIR * LAPSE_RATE)
    name = f"{side}_{altitude.cell}"
    metres = f"{plain(LAPSE_RATE * unit.size / STANDARD_TEMPERATURE)}*{name}"
    return replace(
        cell,
        name=name,
        key=f"{side}.{key}",
        label=altitude.words,
        value=stated.shown,
        unit=unit.name,
        low=low,
        high=high,
        why=altitude.why,
        spread=spread(stated, unit),
        origin=stated.origin,
        used_formula=f"{plain(STANDARD_PRESSURE / 1e3)}*(1-{metres})^{plain(exponent)}",
        used_name=f"{side}_barometer_used",
    )


def _as_count(job: Job, cell: InputCell) -> InputCell:
    """The cell for injectors per cylinder, as a count for the whole engine where the job gives one."""
    count = QUANTITIES["injectors.count"]
    stated = job.inputs.get(f"{cell.side}.{count.key}")
    if stated is None:
        return cell
    name, (low, high) = f"{cell.side}_{count.cell}", count.range.limits
    return replace(
        cell, name=name, key=f"{cell.side}.{count.key}", label=count.words, value=stated.value,
        low=low, high=high, why=count.why, whole=True, origin=stated.origin,
        used_formula=f"{name}/{cell.side}_cylinders_used", used_name=f"{cell.side}_per_cylinder_used",
    )  # fmt: skip


def _battery(job: Job, side: SideName) -> InputCell:
    """The cell for the voltage of the table: its own if stated, else that of the conditions."""
    table = job.side(side).table
    key = "tables.fuel.battery" if f"{side}.tables.fuel.battery" in job.inputs else "conditions.battery"
    entry = written(job, side, key)
    unit, battery = unit_of(entry, VOLT), QUANTITIES["conditions.battery"]
    low, high = limits(battery.range, unit)
    return InputCell(
        side, f"{side}_{battery.cell}", f"{side}.{key}", battery.words, Group.CONDITIONS, shown(table.battery_v, unit), unit.name, "V",
        unit.size, low=low, high=high, why=battery.why, spread=spread(entry, unit),
        origin=origin(job, side, key), follows="donor_battery" if is_same_part(job, side, key) else "",
    )  # fmt: skip
