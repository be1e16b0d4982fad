"""The input cells of a workbook: from a job, what each is called, holds, may hold, and what it becomes in the formulas."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_PRESSURE, STANDARD_TEMPERATURE
from basemap.model.installation import Installation, Told
from basemap.model.job import Input, Job
from basemap.physics.fuel import BLENDS, COMPONENTS
from basemap.report.workbook.quantities import (
    CC,
    CC_MIN,
    CC_S,
    GRAM_MIN,
    GRAM_S,
    KELVIN,
    KG_M3,
    KPA,
    NONE,
    QUANTITIES,
    TEMPERATURES,
    VOLT,
    Group,
    Quantity,
    Unit,
)

SideName = Literal["donor", "target"]
SIDES: tuple[SideName, SideName] = ("donor", "target")

AS_PARTS, AS_TYPED = "as parts", "as typed"
YES, NO = "yes", "no"
PART_NAMES = {
    "petrol": "petrol",
    "ethanol": "ethanol",
    "methanol": "methanol",
    "n-heptane": "heptane",
    "iso-octane": "isooctane",
    "toluene": "toluene",
}
"""Component → the word that stands for it in a cell's name."""


@dataclass(frozen=True)
class InputCell:
    """One quantity or choice of one side.

    Parameters
    ----------
    side, name, key, label, group
        ``donor`` or ``target``; the cell's name; the job-file key; what a person calls it; its heading.
    value
        The figure in `unit`, or the word chosen.
    unit
        As the job writes it.
    used_unit, size, zero
        The formulas work with value · size + zero in `used_unit`, a cell named ``…_used``; not for a choice.
    low, high, why
        Limits in `unit`, and the reason for them.
    choices
        The words that may stand there.
    spread, origin
        As text.
    follows
        The formula of a cell that is no input of its own, such as ``donor_rail_pressure`` for the same part.
    used_formula
        In place of value · size + zero.
    used_name
        In place of ``NAME_used``.
    """

    side: SideName
    name: str
    key: str
    label: str
    group: Group
    value: float | str
    unit: str = ""
    used_unit: str = ""
    size: float = 1.0
    zero: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    why: str = ""
    choices: tuple[str, ...] = ()
    spread: str = ""
    origin: str = ""
    follows: str = ""
    used_formula: str = ""
    used_name: str = ""
    whole: bool = False

    @property
    def changeable(self) -> bool:
        """Whether a tuner may change it."""
        return not self.follows

    @property
    def used(self) -> float:
        """The figure in the unit of the formulas."""
        assert isinstance(self.value, float)
        return self.value * self.size + self.zero

    @property
    def used_cell(self) -> str:
        """Name of the cell that the formulas work with; a choice is used as it stands."""
        return self.name if isinstance(self.value, str) else self.used_name or f"{self.name}_used"


def plain(value: float) -> str:
    """A constant as a formula holds it, to fifteen digits.

    >>> plain(1.0), plain(1e-6 / 60.0)
    ('1', '1.66666666666667E-08')
    """
    return f"{value:.15g}".replace("e", "E")


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


def installation(job: Job, side: SideName) -> Installation:
    """One side's hardware."""
    return job.donor if side == "donor" else job.target


def told(job: Job, side: SideName) -> Told:
    """What one side's ECU was told."""
    return job.donor_told if side == "donor" else job.target_told


def known_rail(job: Job, side: SideName) -> bool:
    """Whether a rail pressure was given: a donor's may be left out where it cancels."""
    return side == "target" or job.donor_flow_known or "donor.fuel.rail_pressure" in job.inputs


def is_cancelled(job: Job) -> bool:
    """Whether the donor leaves out what cancels: its side then starts at the air that a cell stands for."""
    return not (job.donor_flow_known and job.donor_fuel_known and job.donor_dead_time_known)


def _of_side(job: Job, side: SideName) -> list[InputCell]:
    cells = [_quantity(job, side, quantity) for quantity in QUANTITIES if _applies(job, side, quantity)]
    cells = [_as_altitude(job, cell) if cell.name.endswith("_barometer") else cell for cell in cells]
    cells = [_as_count(job, cell) if cell.name.endswith("_per_cylinder") else cell for cell in cells]
    cells += [_battery(job, side), *_fuel(job, side), *_settings(job, side), *_table(job, side)]
    order = list(Group)
    return sorted(cells, key=lambda cell: order.index(cell.group))


def _applies(job: Job, side: SideName, quantity: Quantity) -> bool:
    if quantity.value(installation(job, side)) is None:
        return False
    if quantity.key == "fuel.rail_pressure":
        return known_rail(job, side)
    if side == "target":
        return True
    if quantity.stem in {"static_flow", "slope", "rated_pressure", "rated_density"}:
        return job.donor_flow_known
    return quantity.stem != "fuel_temperature" or job.donor_fuel_known


def _written(job: Job, side: SideName, key: str) -> Input | None:
    """What the job wrote of a quantity: for conditions also what holds for both sides."""
    own = job.inputs.get(f"{side}.{key}")
    if own is None and key.startswith("conditions."):
        return job.inputs.get(key)
    return own if own is not None and not math.isnan(own.shown) else None


def _unit_of(written: Input | None, default: Unit) -> Unit:
    """The unit of an input and its size; that of a temperature has a zero point."""
    if written is None:
        return default
    if written.unit in TEMPERATURES and default.zero + default.size > 200:
        return TEMPERATURES[written.unit]
    return Unit(written.unit, written.value / written.shown) if written.shown else default


def _spread(written: Input | None, unit: Unit) -> str:
    if written is None or written.half_width is None:
        return ""
    return f"± {written.half_width / unit.size:.3g}{' (k = 2)' if written.k2 else ''}"


def _quantity(job: Job, side: SideName, quantity: Quantity) -> InputCell:
    value = quantity.value(installation(job, side))
    assert value is not None
    default, used = quantity.unit, quantity.used
    if quantity.stem in {"static_flow", "slope"} and _is_mass(job, side, quantity.stem):
        default, used = GRAM_MIN, GRAM_S
    written = _written(job, side, quantity.key)
    unit = _unit_of(written, default)
    low, high = (_shown(limit, unit) for limit in (quantity.low, quantity.high))
    if used is GRAM_S:
        low, high = (_shown(limit, unit) for limit in (3e-3 / 60.0, 15000e-3 / 60.0))
    return InputCell(
        side=side,
        name=f"{side}_{quantity.stem}",
        key=f"{side}.{quantity.key}",
        label=quantity.label,
        group=quantity.group,
        value=_shown(value, unit) if written is None else written.shown if written.shown else _shown(value, unit),
        unit=unit.name,
        used_unit=used.name,
        size=unit.size / used.size,
        zero=(unit.zero - used.zero) / used.size,
        low=low,
        high=high,
        why=quantity.why,
        spread=_spread(written, unit),
        origin=_origin(job, side, quantity.key),
        follows=_follows(job, side, quantity),
        whole=quantity.whole,
    )


def _shown(si: float, unit: Unit) -> float:
    return (si - unit.zero) / unit.size


def _is_mass(job: Job, side: SideName, stem: str) -> bool:
    injectors = installation(job, side).injectors
    rating = injectors.slope if stem == "slope" and injectors.slope else injectors.static
    return rating.is_mass


def _origin(job: Job, side: SideName, key: str) -> str:
    written = job.inputs.get(f"{side}.{key}") or (job.inputs.get(key) if key.startswith("conditions.") else None)
    if written is not None:
        return written.origin
    return "as the donor" if _is_same_part(job, side, key) else "default"


def _is_same_part(job: Job, side: SideName, key: str) -> bool:
    """Whether the target takes a key over from the donor."""
    if side == "donor" or key.split(".")[0] not in job.same_as_donor:
        return False
    return f"target.{key}" not in job.inputs


def _follows(job: Job, side: SideName, quantity: Quantity) -> str:
    if _is_same_part(job, side, quantity.key):
        return f"donor_{quantity.stem}"
    if side == "donor":
        return _follows_settings(job, quantity)
    return ""


def _follows_settings(job: Job, quantity: Quantity) -> str:
    """Where only the settings of the donor are known they are taken for its hardware."""
    written, settings = job.inputs.get(f"donor.{quantity.key}"), job.donor_told
    as_told = {
        "displacement": settings.displacement_m3,
        "static_flow": settings.flow,
        "openings": settings.openings_per_cycle,
        "rated_pressure": settings.flow,
    }
    if written is not None or as_told.get(quantity.stem) is None:
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
    unit = _unit_of(stated, Unit("m"))
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
        spread=_spread(stated, unit),
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
    table = job.donor_table if side == "donor" else job.target_table
    key = "tables.fuel.battery" if f"{side}.tables.fuel.battery" in job.inputs else "conditions.battery"
    written = _written(job, side, key)
    unit = _unit_of(written, VOLT)
    return InputCell(
        side, f"{side}_battery", f"{side}.{key}", "Battery, for the table", Group.CONDITIONS, _shown(table.battery_v, unit), unit.name, "V",
        unit.size, low=4.0 / unit.size, high=32.0 / unit.size, why="batteries have 4 to 32 V", spread=_spread(written, unit),
        origin=_origin(job, side, key), follows="donor_battery" if _is_same_part(job, side, key) else "",
    )  # fmt: skip


def _choice(
    job: Job, side: SideName, stem: str, key: str, label: str, group: Group, value: str, choices: Sequence[str]
) -> InputCell:
    return InputCell(
        side, f"{side}_{stem}", f"{side}.{key}", label, group, value, choices=tuple(choices),
        why=f"one of: {', '.join(choices)}", origin=_origin(job, side, key),
    )  # fmt: skip


def _fuel(job: Job, side: SideName) -> list[InputCell]:
    fuel = installation(job, side).fuel
    regulator = _choice(
        job,
        side,
        "regulator",
        "fuel.regulator",
        "Regulator follows",
        Group.FUEL,
        str(fuel.regulator.value),
        ("manifold", "fixed"),
    )
    if _is_same_part(job, side, "fuel.regulator"):
        regulator = replace(regulator, follows="donor_regulator")
    if side == "donor" and not job.donor_fuel_known:
        return [regulator]
    cells = [_fuel_choice(job, side), *_parts(job, side), *_typed(job, side)]
    own = any(f"target.fuel.{key}" in job.inputs for key in ("blend", "parts", "stoichiometric")) or any(
        key.startswith("target.fuel.parts.") for key in job.inputs
    )
    if side == "target" and "fuel" in job.same_as_donor and not own:
        cells = [
            replace(cell, follows=cell.name.replace("target_", "donor_", 1), origin="as the donor") for cell in cells
        ]
    return [*cells, regulator]


def fuel_word(job: Job, side: SideName) -> str:
    """The fuel as it is chosen: by name, as parts, or as a typed ratio and density."""
    fuel = installation(job, side).fuel
    stated = job.inputs.get(f"{side}.fuel.blend")
    name = fuel.name if stated is None else stated.text
    known = {blend.casefold(): blend for blend in BLENDS}.get(name.strip().casefold())
    if known is not None and fuel.parts:
        return known
    return AS_PARTS if fuel.parts else AS_TYPED


def _fuel_choice(job: Job, side: SideName) -> InputCell:
    choices = (*BLENDS, AS_PARTS, AS_TYPED)
    key = {AS_PARTS: "fuel.parts", AS_TYPED: "fuel.stoichiometric"}.get(fuel_word(job, side), "fuel.blend")
    chosen = _choice(job, side, "fuel", "fuel.blend", "Fuel", Group.FUEL, fuel_word(job, side), choices)
    stated = [one.origin for name, one in job.inputs.items() if name.startswith(f"{side}.{key}")]
    return replace(chosen, origin=stated[0] if stated else "default")


def _parts(job: Job, side: SideName) -> list[InputCell]:
    shares = dict(installation(job, side).fuel.parts)
    cells = []
    for component in COMPONENTS:
        written = job.inputs.get(f"{side}.fuel.parts.{component}")
        share = shares.get(component, 0.0) * 100.0 if written is None else written.shown
        cells.append(
            InputCell(
                side, f"{side}_part_{PART_NAMES[component]}", f"{side}.fuel.parts.{component}", f"… {component}, if as parts",
                Group.FUEL, share, "vol %", "%", low=0.0, high=100.0, why="a share by volume, 0 to 100 %",
                spread="" if written is None else _spread(written, Unit("%", 0.01)),
                origin="" if written is None else written.origin,
            )
        )  # fmt: skip
    return cells


def _typed(job: Job, side: SideName) -> list[InputCell]:
    """Ratio and density as typed; where the fuel has a name or parts, what follows from them, ready to be changed."""
    fuel = installation(job, side).fuel
    ratio, density = _written(job, side, "fuel.stoichiometric"), _written(job, side, "fuel.density")
    unit = _unit_of(density, KG_M3)
    held = fuel.density if density is None or _expands(job, side) else density.value
    if _expands(job, side):
        assert fuel.density_15 is not None
        held = fuel.density_15
    where = "at 15 °C" if _expands(job, side) else "in the rail"
    follows = ""
    if side == "donor" and ratio is None and fuel_word(job, side) == AS_TYPED and job.donor_told.stoichiometric:
        follows = "donor_settings_stoichiometric"
    return [
        InputCell(
            side, f"{side}_typed_stoichiometric", f"{side}.fuel.stoichiometric", "… stoichiometric ratio, if as typed",
            Group.FUEL, fuel.stoichiometric, "", "", low=5.0, high=20.0, why="liquid fuels have 5 to 20",
            spread=_spread(ratio, NONE), origin="" if ratio is None else ratio.origin, follows=follows,
        ),
        InputCell(
            side, f"{side}_typed_density", f"{side}.fuel.density", f"… density {where}, if as typed", Group.FUEL,
            _shown(held, unit), unit.name, "kg/m³", unit.size, low=600.0 / unit.size, high=900.0 / unit.size,
            why="liquid fuels have 0.6 to 0.9 g/cc", spread=_spread(density, unit),
            origin="" if density is None else density.origin,
        ),
    ]  # fmt: skip


def _expands(job: Job, side: SideName) -> bool:
    """Whether the typed density is one at 15 °C that follows the fuel's temperature."""
    return expands_as_typed(job, side)


def expands_as_typed(job: Job, side: SideName) -> bool:
    """Whether a density is typed with the temperature at which it holds."""
    fuel = installation(job, side).fuel
    return not fuel.parts and fuel.density_15 is not None


def _settings(job: Job, side: SideName) -> list[InputCell]:
    settings = told(job, side)
    cells = [
        *_told_numbers(job, side, settings),
        _behaviour(
            job, side, "corrects_rail_pressure", "ECU corrects for rail pressure", settings.corrects_rail_pressure
        ),
        _behaviour(
            job,
            side,
            "corrects_charge_temperature",
            "ECU corrects for charge temperature",
            settings.corrects_charge_temperature,
        ),
    ]
    factor = InputCell(
        side, f"{side}_formula_factor", f"{side}.settings.formula_factor", "Formula factor κ", Group.SETTINGS,
        settings.formula_factor, low=0.2, high=5.0, why="1 where the ECU's own constants are those of physics; 0.2 to 5",
        spread=_spread(_written(job, side, "settings.formula_factor"), NONE), origin=_origin(job, side, "settings.formula_factor"),
    )  # fmt: skip
    return [_as_donor(job, cell) for cell in (*cells, factor)]


def _behaviour(job: Job, side: SideName, stem: str, label: str, on: bool) -> InputCell:
    return _choice(job, side, stem, f"settings.{stem}", label, Group.SETTINGS, YES if on else NO, (YES, NO))


def _as_donor(job: Job, cell: InputCell) -> InputCell:
    """The target's ECU behaves as the donor's unless the job says otherwise."""
    behaves = cell.name.endswith(("_corrects_rail_pressure", "_corrects_charge_temperature", "_formula_factor"))
    if cell.side == "donor" or not behaves or cell.key in job.inputs:
        return cell
    if not job.inputs and getattr(job.donor_told, cell.key.rsplit(".", 1)[1]) != getattr(
        job.target_told, cell.key.rsplit(".", 1)[1]
    ):
        return cell
    return replace(cell, follows=cell.name.replace("target_", "donor_", 1), origin="as the donor")


def _told_numbers(job: Job, side: SideName, settings: Told) -> list[InputCell]:
    flow_unit, flow_used = (GRAM_MIN, GRAM_S) if settings.flow_is_mass else (CC_MIN, CC_S)
    rows = (
        ("displacement", "displacement", "Displacement told", settings.displacement_m3, Unit("cc", 1e-6), CC, (20e-6, 20e-3)),
        ("static_flow", "static_flow", "Injector flow told", settings.flow, flow_unit, flow_used,
         (3e-3 / 60, 15000e-3 / 60) if settings.flow_is_mass else (5e-6 / 60, 20000e-6 / 60)),
        ("stoichiometric", "stoichiometric", "Stoichiometric ratio told", settings.stoichiometric, NONE, NONE, (5.0, 20.0)),
        ("openings", "openings_per_cycle", "Openings per cycle told", settings.openings_per_cycle, NONE, NONE, (0.25, 16.0)),
    )  # fmt: skip
    cells = []
    for stem, key, label, value, default, used, limits in rows:
        if value is None:
            continue
        written = _written(job, side, f"settings.{key}")
        unit = _unit_of(written, default)
        low, high = (_shown(limit, unit) for limit in limits)
        cells.append(
            InputCell(
                side, f"{side}_settings_{stem}", f"{side}.settings.{key}", label, Group.SETTINGS, _shown(value, unit), unit.name,
                used.name, unit.size / used.size, low=low, high=high,
                why="what the ECU holds; it lies where the quantity itself can lie", spread=_spread(written, unit),
                origin=_origin(job, side, f"settings.{key}"),
            )
        )  # fmt: skip
    return cells


def _table(job: Job, side: SideName) -> list[InputCell]:
    table = job.donor_table if side == "donor" else job.target_table
    cells = []
    if _needs_reference_pressure(job, side):
        written = _written(job, "donor", "tables.fuel.reference_pressure")
        unit = Unit("kPa", 1e3)
        cells.append(
            InputCell(
                side, f"{side}_reference_pressure", f"{side}.tables.fuel.reference_pressure", "Reference pressure of a cell",
                Group.TABLE, table.reference_pressure_pa / 1e3, unit.name, "kPa", low=5.0, high=600.0,
                why="a manifold pressure, absolute, 5 to 600 kPa", spread=_spread(written, unit),
                origin=_origin(job, side, "tables.fuel.reference_pressure"),
                follows="donor_reference_pressure" if side == "target" and _needs_reference_pressure(job, "donor") else "",
            )
        )  # fmt: skip
    if side == "donor" or has_own_lambda(job):
        cells += _lambda(job, side)
    return cells


def _needs_reference_pressure(job: Job, side: SideName) -> bool:
    from basemap.model.table import TableQuantity

    table = job.donor_table if side == "donor" else job.target_table
    pulse = table.quantity is TableQuantity.PULSE_WIDTH
    return table.inside.pressure is not pulse


def has_own_lambda(job: Job) -> bool:
    """Whether the target is meant to run with a mixture of its own."""
    stated = any(key.startswith("target.tables.fuel.lambda") for key in job.inputs)
    return stated or not np.array_equal(job.donor_table.intended_lambda, job.target_table.intended_lambda)


def uniform_lambda(job: Job, side: SideName) -> bool:
    """Whether the intended lambda is one number, so that one cell holds it."""
    table = job.donor_table if side == "donor" else job.target_table
    return bool(np.ptp(table.intended_lambda) == 0.0) and not _lambda_from_file(job, side)


def _lambda_from_file(job: Job, side: SideName) -> bool:
    stated = job.inputs.get(f"{side}.tables.fuel.lambda")
    return stated is not None and math.isnan(stated.shown)


def _lambda(job: Job, side: SideName) -> list[InputCell]:
    if not uniform_lambda(job, side):
        return []
    table = job.donor_table if side == "donor" else job.target_table
    written = _written(job, side, "tables.fuel.lambda")
    return [
        InputCell(
            side, f"{side}_intended_lambda", f"{side}.tables.fuel.lambda", "Intended lambda", Group.TABLE,
            float(table.intended_lambda.flat[0]), low=0.5, high=1.5, why="a mixture that burns lies between 0.5 and 1.5",
            spread=_spread(written, NONE), origin=_origin(job, side, "tables.fuel.lambda"),
        )
    ]  # fmt: skip


__all__ = ["KELVIN", "KPA", "InputCell", "input_cells"]
