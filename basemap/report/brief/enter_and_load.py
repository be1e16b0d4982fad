"""What to type in and what to load: together, or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from basemap.model.finding import Severity, Verdict
from basemap.model.further_table import FurtherResult
from basemap.model.installation import FloatArray
from basemap.model.marks import Mark
from basemap.model.result import Result, Setting
from basemap.report.brief.statement import Statement, Topic
from basemap.report.grid_file import further_table_name, grid_name
from basemap.report.words import number
from basemap.rounding import signed_percent

_REMARKS = {
    "static_flow": "as the donor's, not as rated",
    "flow_below_bend": "below the bend, as the static flow",
    "mass_at_bend": "of one opening",
    "fuel_density": "at 15 degC, with the flow",
    "stoichiometric": "air to fuel by mass",
    "openings_per_cycle": "of one injector, as wired",
    "displacement": "whole engine",
    "intended_lambda": "in every cell",
    "cylinders": "of the target",
    "injectors": "of the whole engine",
    "dead_time": "absolute, at the target's rail",
    "battery_correction": "of every pulse",
    "added_time": "before the dead time",
}
"""The basis of a setting in a few words; `Setting.basis` has it in full."""

NOT_KNOWN = "-"


def to_enter(result: Result) -> Iterator[Statement]:
    """Every setting to type in, with the donor's value and the target's; none if there is a stop."""
    for setting in result.settings if result.verdict is not Verdict.REFUSE else ():
        yield _setting(setting)


def _setting(setting: Setting) -> Statement:
    name, unit = setting.words, f" {setting.unit}" if setting.unit else ""
    _, point_unit, points = setting.points
    if points:
        name = f"{name}, {setting.unit}, at {' '.join(f'{point:g}' for point in points)} {point_unit}"
        unit = ""
    remark = _REMARKS.get(setting.name, setting.basis)
    told = setting.in_force if setting.enter is None else setting.enter
    if setting.old_assumed and setting.name != "dead_time":
        remark = "based on a donor's entry that is ASSUMED: read its settings page"
    if setting.guessed:
        remark = "a GUESS, not the fitted injectors' own: measure it"
    before, now = _shown(setting.old, unit), _shown(told, unit)
    if setting.old_assumed:
        before += ", assumed"
    if setting.enter is None:
        remark = "cannot be told: leave it, the cells make up the rest"
        return Statement(
            Topic.ENTER, f"{name}: leave it at {now}", Severity.CAUTION, columns=(name, before, now, remark)
        )
    text = f"{name}: {now}" + (f" (donor's {before})" if before != NOT_KNOWN else "") + f", {remark}"
    return Statement(Topic.ENTER, text, columns=(name, before, now, remark))


def _shown(value: float | Sequence[float] | None, unit: str) -> str:
    if value is None:
        return NOT_KNOWN
    if isinstance(value, (int, float)):
        return f"{number(value, 5)}{unit}"
    return " ".join(f"{one:.3f}" for one in value)


def to_load(result: Result) -> Iterator[Statement]:
    """Every file to load, with the smallest and the largest change of its cells; none if there is a stop."""
    if result.verdict is Verdict.REFUSE:
        text = "No table to load was written, because there is a stop."
        yield Statement(Topic.LOAD, text, Severity.STOP, columns=(text, "", "", ""))
        return
    reachable = result.table.reachable
    changed = np.where(reachable, result.table.change_percent, np.nan)
    remark = _remark(result)
    yield _file(result, _main_file(result), result.table.name, changed, remark)
    for found in result.further_tables:
        cold = int(found.marks[Mark.CALIBRATE].sum()) if Mark.CALIBRATE in found.marks else 0
        remark = f"{cold} to calibrate on the engine" if cold else ""
        if found.table.commanded is not None:
            remark = "the intended lambda: without it the fuel table is wrong"
        yield _file(result, _further_file(found), found.name, np.asarray(found.change_percent), remark)


def _remark(result: Result) -> str:
    """What to know of the new table: that its cells are another quantity, or that some are empty."""
    if result.job.other_quantity:
        return f"now {result.job.target.table.quantity.value}"
    empty = int((np.isnan(result.table.stored) & result.table.reachable).sum())
    return f"{empty} cells in reach are empty" if empty else ""


def _main_file(result: Result) -> str:
    """The file of the new table; the table's name where the job was built without files."""
    return result.table.name if result.job.layout is None else grid_name(result)


def _further_file(found: FurtherResult) -> str:
    return found.name if found.table.layout is None else further_table_name(found)


def _file(result: Result, file: str, table: str, change: FloatArray, remark: str) -> Statement:
    written = result.job.inputs.get(f"donor.tables.{table}.file")
    replaced = written.text if written is not None and written.text != "-" else f"the table {table}"
    said = _span(change)
    text = f"{file} in place of {replaced}: {said}" + (f", {remark}" if remark else "")
    return Statement(Topic.LOAD, text, columns=(file, replaced, said, remark))


def _span(change: FloatArray) -> str:
    known = change[np.isfinite(change)]
    if not known.size:
        return "new"
    low, high = float(known.min()), float(known.max())
    if max(abs(low), abs(high)) < 0.05:
        return "unchanged"
    ends = signed_percent(1 + low / 100).removesuffix(" %"), signed_percent(1 + high / 100)
    return f"{ends[0]} to {ends[1]}" if f"{ends[0]} %" != ends[1] else ends[1]
