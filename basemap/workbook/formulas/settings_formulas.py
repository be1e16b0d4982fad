"""The settings to enter, as formulas in the unit of the donor's own entries."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from xlsxwriter.utility import xl_rowcol_to_cell

from basemap.adaptation.settings_in_force import told_densities
from basemap.model.job import Job
from basemap.model.result import Computed, Setting
from basemap.workbook.core.interpolate import segment_formula, value_formula
from basemap.workbook.formulas.derived import line_stem, told_density_names
from basemap.workbook.formulas.derived_dead_times import new_dead_time_block, old_dead_time_block
from basemap.workbook.inputs.dead_time_blocks import SHEET, Block, blocks_of
from basemap.workbook.inputs.ecu_inputs import has_own_lambda, uniform_lambda
from basemap.workbook.inputs.input_cell import plain


class SettingFormulas(NamedTuple):
    """The formulas of a setting: the donor's, and the one to enter; empty where it is not known."""

    old: str
    enter: str


def scalar_formulas(computed: Computed, setting: Setting) -> SettingFormulas:
    """The formulas of a setting; where it cannot be told, that of the number in force."""
    return _FORMULAS[setting.name](computed, setting)


def _displacement(computed: Computed, setting: Setting) -> SettingFormulas:
    size = _size(setting.in_force, computed.in_force.new.displacement_m3 * 1e6)
    return SettingFormulas(f"=donor_set_displacement{size}", f"=target_set_displacement{size}")


def _ratio(computed: Computed, setting: Setting) -> SettingFormulas:
    del computed, setting
    return SettingFormulas("=donor_set_stoichiometric", "=target_set_stoichiometric")


def _openings(computed: Computed, setting: Setting) -> SettingFormulas:
    del computed, setting
    return SettingFormulas("=donor_set_openings_per_cycle", "=target_set_openings_per_cycle")


def _intended_lambda(computed: Computed, setting: Setting) -> SettingFormulas:
    job = computed.job
    side = "target" if has_own_lambda(job) else "donor"
    old = "=donor_intended_lambda_used" if setting.old is not None and uniform_lambda(job, "donor") else ""
    return SettingFormulas(old, f"={side}_intended_lambda_used")


def _cylinders(computed: Computed, setting: Setting) -> SettingFormulas:
    del computed, setting
    return SettingFormulas("=donor_cylinders_used", "=target_cylinders_used")


def _injectors(computed: Computed, setting: Setting) -> SettingFormulas:
    del computed
    old, enter = (f"={side}_per_cylinder_used*{side}_cylinders_used" for side in ("donor", "target"))
    return SettingFormulas(old if setting.old is not None else "", enter)


def _size(shown: object, used: float) -> str:
    """The end of a formula that converts from the unit of the formulas to the unit shown."""
    assert isinstance(shown, float | int)
    factor = float(shown) / used
    return "" if abs(factor - 1.0) < 1e-12 else f"*{plain(factor)}"


def _flow(computed: Computed, setting: Setting) -> SettingFormulas:
    """The flow that the donor's ECU was told, and the one to enter on the same basis."""
    job = computed.job
    if not job.donor.flow_known or job.other_quantity:
        return SettingFormulas("", _own_flow(job, setting))
    line, own = job.donor.hardware.injectors.line, job.donor.told
    if own.flow is not None:
        old = f"donor_settings_static_flow_used{_size(setting.old, _used_flow(own.flow, own.flow_is_mass))}"
    else:
        stem = line_stem(job.donor.hardware)
        rated = _used_flow(line.value, line.is_mass)
        root = (job.donor.hardware.fuel.rail_pressure_pa / line.pressure_pa) ** 0.5
        size = _size(setting.old, rated * root)
        old = f"donor_{stem}_used*SQRT(donor_rail_pressure_used/donor_rated_pressure_used){size}"
    density = told_density_names(job)
    lighter = f"*{density[0]}/{density[1]}" if density else ""
    return SettingFormulas(f"={old}", f"={old}*target_set_flow/donor_set_flow{lighter}")


def _density(computed: Computed, setting: Setting) -> SettingFormulas:
    job = computed.job
    told, names = told_densities(job), told_density_names(job)
    assert told is not None
    assert names is not None
    return SettingFormulas(
        f"={names[0]}{_size(setting.old, told[0])}", f"={names[1]}{_size(setting.in_force, told[1])}"
    )


def _used_flow(value: float, is_mass: bool) -> float:
    """A flow in the unit of the formulas, cm³/s or g/s."""
    return value * (1e3 if is_mass else 1e6)


def _own_flow(job: Job, setting: Setting) -> str:
    """The target's own rating at its rail pressure, for a job without the donor's flow."""
    line, own = job.target.hardware.injectors.line, job.target.told
    if own.flow is not None:
        return f"=target_settings_static_flow_used{_size(setting.in_force, _used_flow(own.flow, own.flow_is_mass))}"
    stem = line_stem(job.target.hardware)
    root = (job.target.hardware.fuel.rail_pressure_pa / line.pressure_pa) ** 0.5
    size = _size(setting.in_force, _used_flow(line.value, line.is_mass) * root)
    return f"=target_{stem}_used*SQRT(target_rail_pressure_used/target_rated_pressure_used){size}"


def _flow_beside(computed: Computed) -> Setting:
    return next(one for one in computed.settings if one.name == "static_flow")


def _flow_below_bend(computed: Computed, setting: Setting) -> SettingFormulas:
    """The flow times the ratio of the slopes, which is that of the openings up to the bend."""
    beside = _flow(computed, _flow_beside(computed))
    old = f"{beside.old}*donor_set_bend_above/donor_set_bend_below" if setting.old is not None else ""
    return SettingFormulas(old, f"{beside.enter}*target_set_bend_above/target_set_bend_below")


def _mass_at_bend(computed: Computed, setting: Setting) -> SettingFormulas:
    """The flow times the opening at which the slope above the bend alone would reach the bend."""
    job, flow = computed.job, _flow_beside(computed)
    beside, bend = _flow(computed, flow), computed.in_force.new.bend
    assert bend is not None
    assert isinstance(flow.in_force, float)
    told, names = told_densities(job), told_density_names(job)
    denser = 1.0 if told is None else told[1]
    size = _size(setting.in_force, flow.in_force * denser * float(bend.at_mass) * 1e3)
    before, after = ("", "") if names is None else (f"*{names[0]}", f"*{names[1]}")
    old = f"{beside.old}*donor_set_bend_above{before}{size}" if setting.old is not None else ""
    return SettingFormulas(old, f"{beside.enter}*target_set_bend_above{after}{size}")


_FORMULAS: dict[str, Callable[[Computed, Setting], SettingFormulas]] = {
    "displacement": _displacement,
    "static_flow": _flow,
    "fuel_density": _density,
    "flow_below_bend": _flow_below_bend,
    "mass_at_bend": _mass_at_bend,
    "stoichiometric": _ratio,
    "openings_per_cycle": _openings,
    "intended_lambda": _intended_lambda,
    "cylinders": _cylinders,
    "injectors": _injectors,
}


class OverVoltage(NamedTuple):
    """The formulas of dead times, by the number of the voltage: the voltage, the donor's, the one to enter."""

    battery: Callable[[int], str]
    old: Callable[[int], str]
    enter: Callable[[int], str]


def voltage_formulas(computed: Computed) -> OverVoltage:
    """The dead times to enter at the target's own voltages, and what the donor's ECU holds there."""
    job, blocks = computed.job, blocks_of(computed)
    new, old = new_dead_time_block(job, blocks), old_dead_time_block(blocks) if job.donor.dead_time_known else None

    def battery(index: int) -> str:
        return f"'{SHEET}'!{xl_rowcol_to_cell(new.top + index, new.col, row_abs=True, col_abs=True)}"

    def at(one: Block, index: int) -> str:
        segment = f"({segment_formula(one.volts, battery(index), one.ordered)})"
        value = value_formula(one.volts, one.at_rail, battery(index), segment, one.count)
        size = "" if one.size == 1.0 or one.over_pressure else f"{plain(one.size)}*"
        return f"=MAX(0,{size}({value}))"

    def direct(index: int) -> str:
        size = "" if new.size == 1.0 or new.over_pressure else f"{plain(new.size)}*"
        cell = xl_rowcol_to_cell(new.top + index, new.rail_col, row_abs=True, col_abs=True)
        return f"=MAX(0,{size}'{SHEET}'!{cell})"

    return OverVoltage(lambda index: f"={battery(index)}", lambda index: "" if old is None else at(old, index), direct)
