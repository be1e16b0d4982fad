"""``[target.settings.fields]``: what the fields of the target's ECU can hold."""

from __future__ import annotations

from basemap.adaptation.settings_in_force import exactly
from basemap.adaptation.settings_to_enter import settings_to_enter
from basemap.jobfile.side import StatedSide
from basemap.jobfile.storage import checked_storage
from basemap.model.job import Job
from basemap.model.storage import FIELD_DECIMALS
from basemap.model.table import Storage


def build_setting_fields(target: StatedSide) -> dict[str, Storage]:
    """The limits and steps that the job states, by the name of the setting."""
    section = target.settings.fields
    if section is None:
        return {}
    found = {}
    for name in sorted(section.model_fields_set - {"notes"}):
        field, key = getattr(section, name), f"settings.fields.{name}"
        storage = Storage(field.decimals, field.minimum, field.maximum, field.step)
        if storage == Storage():
            raise target.error(key, "is empty: give maximum, minimum, step or decimals of the field")
        found[name] = checked_storage(target, key, storage, FIELD_DECIMALS, "the setting")
    return found


def check_setting_fields(target: StatedSide, job: Job) -> None:
    """Refuse a field that nothing is entered in.

    Raises
    ------
    InputError
        Where the box has no such setting, or it keeps a value of its own.
    """
    rows = {row.name: row for row in settings_to_enter(job, exactly(job))}
    for name in job.setting_fields:
        if name not in rows:
            raise target.error(
                f"settings.fields.{name}",
                f"belongs to an ECU that is told its {name}, and nothing is entered there for this table: leave it out",
            )
        if rows[name].enter is None:
            raise target.error(
                f"settings.fields.{name}",
                f"says what the field can hold, but the ECU keeps its {name} as it is: keep one of the two",
            )
