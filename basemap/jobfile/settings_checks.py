"""Checks of the settings that need both tables."""

from __future__ import annotations

from basemap.adaptation.flow_to_enter import entry_is_mass
from basemap.adaptation.settings_in_force import exactly
from basemap.adaptation.settings_to_enter import settings_to_enter
from basemap.errors import NotSupportedYet
from basemap.jobfile.sections import StatedSide
from basemap.model.further_table import FurtherQuantity
from basemap.model.job import Job
from basemap.model.table import FuelTable, TableQuantity


def check_short_pulses(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """Refuse settings of both slopes, or of a time to add, that an ECU cannot hold or this version cannot follow.

    Raises
    ------
    InputError
        If the injectors have neither, the table holds no mass or dead time is inside the cells (both slopes), or a
        further table holds pulses.
    """
    stated = False
    for side, table, told in ((donor, job.donor.table, job.donor.told), (target, job.target.table, job.target.told)):
        for key, what in (("added_time", "times"), ("bent_line", "slopes")):
            own = getattr(side.settings, key) and "settings" not in side.copied
            if own and getattr(side.injectors, key) is None:
                missing = f"[{side.name}.injectors.{key}]"
                raise side.error(f"settings.{key}", f"is true, but the {what} are missing: add {missing}")
        if told.bent_line:
            _refuse_unbendable(side, table)
        stated = stated or told.bent_line or told.added_time
    pulses = [table.name for table in job.further_tables if table.quantity is FurtherQuantity.PULSE_WIDTH]
    if stated and pulses:
        raise NotSupportedYet(
            "not supported yet: this version does not know whether an ECU with both slopes, or a time to add to short "
            "pulses, applies them to the pulses of a further table; leave the table out, and set it on the engine",
            file=donor.provenance.file,
            place=f"donor.tables.{pulses[0]}",
        )


def check_fuel_density(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """Refuse a told fuel density where the ECU has no use for it, or where it cannot be carried over.

    Raises
    ------
    InputError
        If the table is of pulses, the flow is a mass, the donor's entry is missing, or no density at 15 °C is known.
    """
    told, key = job.donor.told.fuel_density, "settings.fuel_density"
    kept = "fuel_density" in job.cannot_be_told
    if told is None:
        if job.target.told.fuel_density is not None:
            raise target.error(
                key, "needs donor.settings.fuel_density as well: the fuel density that the map's ECU was told"
            )
        if kept:
            raise target.error(
                "settings.cannot_be_told", "names fuel_density, but donor.settings.fuel_density is not given"
            )
        return
    if job.donor.table.quantity is TableQuantity.PULSE_WIDTH:
        raise donor.error(key, "is only for an ECU that calculates fuel, but the cells are pulses: leave the key out")
    if entry_is_mass(job):
        raise donor.error(key, "is not needed with a flow by mass: leave the key out, or give the flow by volume")
    for side, fuel in ((donor, job.donor.hardware.fuel), (target, job.target.hardware.fuel)):
        needed = side is donor or (job.target.told.fuel_density is None and not kept and not job.other_quantity)
        if needed and fuel.density_15 is None:
            raise side.error(
                "fuel.density_at",
                "missing: an ECU takes the fuel's density at 15 degC; give the temperature of density, or the fuel as "
                "a blend",
            )


def _refuse_unbendable(side: StatedSide, table: FuelTable) -> None:
    if table.quantity is TableQuantity.PULSE_WIDTH:
        raise side.error(
            "settings.bent_line",
            "is true, but the cells are pulses: an ECU that calculates no fuel has no use for slopes; leave the key "
            "out",
        )
    if table.inside.dead_time:
        raise side.error(
            "settings.bent_line",
            "is true, but dead time is inside the cells: the ECU cannot bend a cell that is the whole pulse; leave "
            "the key out, or correct ecu_applies",
        )


def check_battery_factor(donor: StatedSide, target: StatedSide, job: Job) -> None:
    """Refuse factors for the battery if the other side adds a dead time, or if this version cannot carry them over.

    Raises
    ------
    InputError
        If one ECU adds and the other multiplies, an ECU holds both slopes, or a further table holds pulses.
    """
    held, own, key = job.donor.told.battery_factor, job.target.told, "settings.dead_time"
    if job.donor.told.correct_at_s is not None and "settings" not in target.copied:
        raise donor.error(
            f"{key}.at_pulse", "belongs in target.settings.dead_time: it is the pulse that the factors are made for"
        )
    if held is None:
        for name, stated in (("percent", own.battery_factor), ("at_pulse", own.correct_at_s)):
            if stated is not None:
                raise target.error(
                    f"{key}.{name}",
                    "is for an ECU that multiplies its pulses for the battery, but the donor's, which is the same "
                    "ECU, adds a dead time: give percent in donor.settings.dead_time as well, or leave it out",
                )
        return
    if own.dead_time is not None:
        raise target.error(
            f"{key}.time",
            "is a time to add, but the donor's ECU, which is the same ECU, multiplies its pulses for the battery: "
            "give percent, or battery alone",
        )
    if job.other_quantity:
        raise NotSupportedYet(
            "not supported yet: the map of an ECU that multiplies its pulses for the battery keeps its quantity; "
            "leave out target.tables.fuel.quantity",
            file=donor.provenance.file,
            place=f"donor.{key}.percent",
        )
    if job.donor.told.bent_line or own.bent_line:
        raise donor.error(
            f"{key}.percent",
            "is given together with bent_line: it is not known whether such an ECU bends before or after it "
            "multiplies; leave one of the two out",
        )
    pulses = [table.name for table in job.further_tables if table.quantity is FurtherQuantity.PULSE_WIDTH]
    if pulses:
        raise NotSupportedYet(
            "not supported yet: this version does not know whether an ECU multiplies the pulses of a further table "
            "for the battery; leave the table out, and set it on the engine",
            file=donor.provenance.file,
            place=f"donor.tables.{pulses[0]}",
        )


def check_setting_fields(target: StatedSide, job: Job) -> None:
    """Refuse limits of a field in which nothing is entered.

    Raises
    ------
    InputError
        If the ECU has no such setting, or keeps a value of its own.
    """
    rows = {row.name: row for row in settings_to_enter(job, exactly(job))}
    for name in job.setting_fields:
        if name not in rows:
            raise target.error(
                f"settings.fields.{name}",
                f"is for an ECU that takes its {name}, and this table has nothing to enter there: leave it out",
            )
        if rows[name].enter is None:
            raise target.error(
                f"settings.fields.{name}",
                f"limits the field, but the ECU keeps its {name} as it is: keep one of the two",
            )
