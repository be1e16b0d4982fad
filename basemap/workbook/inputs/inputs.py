"""The input cells of a workbook: from a job, what each is called, holds, may hold, and what it becomes in the formulas."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from basemap.model.job import SIDES, Job, SideName
from basemap.workbook.inputs.ecu_inputs import settings_cells, table_cells
from basemap.workbook.inputs.fuel_inputs import fuel_cells
from basemap.workbook.inputs.quantities import GRAM_MIN, GRAM_S, QUANTITIES, VOLT, Group, ShownUnit, SideQuantity
from basemap.workbook.inputs.sides import (
    InputCell,
    is_same_part,
    known_rail,
    origin,
    plain,
    shown,
    spread,
    unit_of,
    written,
)

_FLOWS = frozenset({"static_flow", "slope", "low_flow", "high_flow"})


def input_cells(job: Job) -> tuple[InputCell, ...]:
    """Every input cell of a job, in the order of the sheet."""
    cells: list[InputCell] = []
    for side in SIDES:
        cells += _of_side(job, side)
    leaders = {cell.used_cell: cell for cell in cells} | {cell.name: cell for cell in cells}
    return tuple(_led(cell, leaders) for cell in cells)


def _led(cell: InputCell, leaders: Mapping[str, InputCell]) -> InputCell:
    """A cell that follows another holds what that one holds, in its unit."""
    if not cell.follows:
        return cell
    leader = leaders.get(cell.follows) or leaders[f"{cell.follows}_used"]
    same_quantity = leader.name.split("_", 1)[1] == cell.name.split("_", 1)[1]
    if leader.side == cell.side or same_quantity:
        held = {"value": leader.value, "unit": leader.unit, "size": leader.size, "zero": leader.zero}
        return replace(cell, **held, follows=leader.name)  # type: ignore[arg-type]
    # The donor gives an altitude for a barometer, or a count of injectors: so does the target, then.
    own = {"side": cell.side, "key": cell.key, "origin": cell.origin, "follows": leader.name}
    renamed = {
        "name": leader.name.replace("donor_", "target_", 1),
        "used_name": leader.used_name.replace("donor_", "target_", 1),
        "used_formula": leader.used_formula.replace("donor_", "target_"),
    }
    return replace(leader, **own, **renamed)  # type: ignore[arg-type]


def _of_side(job: Job, side: SideName) -> list[InputCell]:
    cells = [_quantity(job, side, quantity) for quantity in QUANTITIES if _applies(job, side, quantity)]
    cells = [_as_altitude(job, cell) if cell.name.endswith("_barometer") else cell for cell in cells]
    cells = [_as_count(job, cell) if cell.name.endswith("_per_cylinder") else cell for cell in cells]
    cells += [_battery(job, side), *fuel_cells(job, side), *settings_cells(job, side), *table_cells(job, side)]
    order = list(Group)
    return sorted(cells, key=lambda cell: order.index(cell.group))


def _applies(job: Job, side: SideName, quantity: SideQuantity) -> bool:
    if quantity.value(job.side(side).hardware) is None:
        return False
    if quantity.key == "fuel.rail_pressure":
        return known_rail(job, side)
    if side == "target":
        return True
    if quantity.stem in {*_FLOWS, "break_mass", "rated_pressure", "rated_density"}:
        return job.donor.flow_known
    return quantity.stem != "fuel_temperature" or job.donor.fuel_known


def _quantity(job: Job, side: SideName, quantity: SideQuantity) -> InputCell:
    value = quantity.value(job.side(side).hardware)
    assert value is not None
    default, used = quantity.unit, quantity.used
    if quantity.stem in _FLOWS and _is_mass(job, side, quantity.stem):
        default, used = GRAM_MIN, GRAM_S
    entry = written(job, side, quantity.key)
    unit = unit_of(entry, default)
    low, high = (shown(limit, unit) for limit in (quantity.low, quantity.high))
    if used is GRAM_S:
        low, high = (shown(limit, unit) for limit in (3e-3 / 60.0, 15000e-3 / 60.0))
    return InputCell(
        side=side,
        name=f"{side}_{quantity.stem}",
        key=f"{side}.{quantity.key}",
        label=quantity.label,
        group=quantity.group,
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
        whole=quantity.whole,
    )


def _is_mass(job: Job, side: SideName, stem: str) -> bool:
    injectors = job.side(side).hardware.injectors
    both = injectors.two_slope
    ratings = {
        "static_flow": injectors.static,
        "slope": injectors.slope,
        "low_flow": None if both is None else both.low,
        "high_flow": None if both is None else both.high,
    }
    rating = ratings[stem]
    return rating is not None and rating.is_mass


def _follows(job: Job, side: SideName, quantity: SideQuantity) -> str:
    if is_same_part(job, side, quantity.key):
        return f"donor_{quantity.stem}"
    if side == "donor":
        return _follows_settings(job, quantity)
    return ""


def _follows_settings(job: Job, quantity: SideQuantity) -> str:
    """Where only the settings of the donor are known they are taken for its hardware."""
    entry, settings = job.inputs.get(f"donor.{quantity.key}"), job.donor.told
    as_told = {
        "displacement": settings.displacement_m3,
        "static_flow": settings.flow,
        "openings": settings.openings_per_cycle,
        "rated_pressure": settings.flow,
    }
    if entry is not None or as_told.get(quantity.stem) is None:
        return ""
    if quantity.stem == "rated_pressure":
        return "" if "donor.injectors.static_flow" in job.inputs else "donor_rail_pressure"
    return f"donor_settings_{quantity.stem}"


def _as_altitude(job: Job, cell: InputCell) -> InputCell:
    """A barometer that the job gives as an altitude stays one."""
    side, key = cell.side, "conditions.altitude"
    own = f"{side}.conditions.barometer" in job.inputs
    stated = job.inputs.get(f"{side}.{key}")
    if stated is None and not own and f"{side}.{key}" not in job.inputs and "conditions.barometer" not in job.declared:
        stated = job.inputs.get(key)
    if stated is None or own or cell.follows:
        return cell
    unit = unit_of(stated, ShownUnit("m"))
    exponent = STANDARD_GRAVITY / (R_DRY_AIR * LAPSE_RATE)
    name = f"{side}_altitude"
    metres = f"{plain(LAPSE_RATE * unit.size / STANDARD_TEMPERATURE)}*{name}"
    return replace(
        cell,
        name=name,
        key=f"{side}.{key}",
        label="Altitude (ISO 2533), for the barometer",
        value=stated.shown,
        unit=unit.name,
        low=-500.0 / unit.size,
        high=6000.0 / unit.size,
        why="altitudes on land lie between -500 and 6000 m",
        spread=spread(stated, unit),
        origin=stated.origin,
        used_formula=f"{plain(STANDARD_PRESSURE / 1e3)}*(1-{metres})^{plain(exponent)}",
        used_name=f"{side}_barometer_used",
    )


def _as_count(job: Job, cell: InputCell) -> InputCell:
    """Injectors that the job counts for the whole engine."""
    stated = job.inputs.get(f"{cell.side}.injectors.count")
    if stated is None:
        return cell
    name = f"{cell.side}_injector_count"
    return replace(
        cell, name=name, key=f"{cell.side}.injectors.count", label="Injectors, whole engine", value=stated.value,
        low=1, high=48, why="a whole number from 1 to 48", whole=True, origin=stated.origin,
        used_formula=f"{name}/{cell.side}_cylinders_used", used_name=f"{cell.side}_per_cylinder_used",
    )  # fmt: skip


def _battery(job: Job, side: SideName) -> InputCell:
    """The voltage of the table: its own where stated, else that of the conditions."""
    table = job.side(side).table
    key = "tables.fuel.battery" if f"{side}.tables.fuel.battery" in job.inputs else "conditions.battery"
    entry = written(job, side, key)
    unit = unit_of(entry, VOLT)
    return InputCell(
        side, f"{side}_battery", f"{side}.{key}", "Battery, for the table", Group.CONDITIONS, shown(table.battery_v, unit), unit.name, "V",
        unit.size, low=4.0 / unit.size, high=32.0 / unit.size, why="batteries have 4 to 32 V", spread=spread(entry, unit),
        origin=origin(job, side, key), follows="donor_battery" if is_same_part(job, side, key) else "",
    )  # fmt: skip
