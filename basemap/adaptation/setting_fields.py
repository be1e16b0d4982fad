"""Settings as the fields of the target's ECU can hold them, and the rest that the cells make up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.adaptation.settings_in_force import exactly
from basemap.adaptation.settings_to_enter import settings_to_enter
from basemap.model.injectors import DeadTime
from basemap.model.job import Job
from basemap.model.result import Setting
from basemap.model.settings import InForce, Settings
from basemap.model.storage import at_limit, hold


def in_force(job: Job) -> InForce:
    """The settings in force on both sides; those to enter are as the fields of the target's ECU hold them."""
    exact = exactly(job)
    if not job.setting_fields:
        return exact
    return replace(exact, new=_as_fields_hold(job, exact))


def to_enter(job: Job, settings: InForce) -> tuple[Setting, ...]:
    """What to type into the target's ECU, and what the cells make up if a field cannot hold it."""
    rows = settings_to_enter(job, settings)
    if not job.setting_fields:
        return rows
    free = replace(job, setting_fields={})
    exact = {row.name: row for row in settings_to_enter(free, exactly(free))}
    return tuple(_with_rest(job, row, exact[row.name]) if row.name in job.setting_fields else row for row in rows)


def _as_fields_hold(job: Job, exact: InForce) -> Settings:
    rows = {row.name: row.enter for row in settings_to_enter(job, exact)}
    settings = exact.new

    def ratio(name: str) -> float:
        """The number held over the exact one."""
        number = rows.get(name)
        if name not in job.setting_fields or not isinstance(number, float):
            return 1.0
        return hold(number, job.setting_fields[name]) / number

    displacement = ratio("displacement")
    settings = replace(
        settings,
        displacement_m3=settings.displacement_m3 * displacement,
        cylinder_volume_m3=settings.cylinder_volume_m3 * displacement,
        flow_kg_s=settings.flow_kg_s * ratio("static_flow"),
        stoichiometric=settings.stoichiometric * ratio("stoichiometric"),
    )
    times = rows.get("dead_time")
    if "dead_time" in job.setting_fields and isinstance(times, tuple):
        kept = [hold(time, job.setting_fields["dead_time"]) * 1e-3 for time in times]
        told = DeadTime(settings.dead_time.battery_v, np.array([kept]))
        settings = replace(settings, dead_time=told)
    return settings


def _with_rest(job: Job, row: Setting, exact: Setting) -> Setting:
    if row.enter is None or row.enter == exact.enter:
        return row
    field, unit = job.setting_fields[row.name], f" {row.unit}" if row.unit else ""
    if isinstance(row.enter, tuple):
        assert isinstance(exact.enter, tuple)
        off = max(abs(kept - wanted) for kept, wanted in zip(row.enter, exact.enter, strict=True))
        held = {limit for wanted in exact.enter if (limit := at_limit(wanted, field))}
        why = f"held at the field's {' and '.join(sorted(held))}" if held else "rounded to what the field holds"
        words = f"{why}, by up to {off:.4g}{unit}: the cells make that up at the table's voltage, and at no other"
    else:
        assert isinstance(exact.enter, float)
        limit = at_limit(exact.enter, field)
        why = f"held at the field's {limit}" if limit else "rounded to what the field holds"
        rest = 100.0 * (row.enter / exact.enter - 1.0)
        words = f"{why}: {exact.enter:.6g}{unit} is what it should be, and the cells make up the {rest:+.3g} %"
    return replace(row, exact=exact.enter, basis=f"{words}; {row.basis}")
