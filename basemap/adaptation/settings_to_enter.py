"""What to type into the target's ECU, with the unit and basis of the donor's own entries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from basemap.adaptation.flow_to_enter import bent_line_rows, density_rows, flow_row, in_bar
from basemap.adaptation.setting_row import is_stuck, row, tidy, unit_of
from basemap.adaptation.settings_in_force import correct_at_s
from basemap.model.further_table import FurtherQuantity
from basemap.model.installation import Installation
from basemap.model.job import Job
from basemap.model.result import Setting
from basemap.model.settings import InForce, Settings
from basemap.model.table import Inside, TableQuantity
from basemap.rounding import rounded_up, without_noise

CC = 1e-6
LOWEST_V, HIGHEST_V = 8.0, 16.0
"""Battery voltages between which an error of the dead time is looked for. Common practice."""
SHOWN_MS = 5e-7
OWN_DEAD_TIME = "the fitted injectors' own"


def settings_to_enter(job: Job, settings: InForce) -> tuple[Setting, ...]:
    """What to type into the target's ECU, with the unit and basis of the donor's own entries."""
    rows: list[Setting] = []
    if job.target.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        rows += [_displacement_row(job, settings), flow_row(job, settings)]
        if not job.other_quantity:
            rows += [*density_rows(job), *bent_line_rows(job, settings)]
        rows.append(_stoichiometric_row(job, settings))
    if job.target.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY or _openings_differ(job, settings):
        rows.append(_openings_row(job, settings))
    rows += _count_rows(job)
    rows += _lambda_rows(job)
    if not all(inside.dead_time for inside in _inside_of_pulses(job)):
        multiplies = settings.new.battery_factor is not None
        rows.append(_battery_row(job, settings) if multiplies else _dead_time_row(job, settings))
    if settings.new.added is not None:
        rows.append(_added_row(job, settings))
    if job.other_quantity:
        # What the donor's ECU holds says nothing about the fields of another ECU.
        return tuple(replace(row, old=None) for row in rows)
    return tuple(_with_what_it_rests_on(job, row) for row in rows)


def _with_what_it_rests_on(job: Job, row: Setting) -> Setting:
    """Say so if nobody read the donor's setting: the new one is only as good as the old one."""
    found = next((one for one in job.assumed if one.key == f"donor.settings.{row.name}"), None)
    if found is None or row.old is None:
        return row
    rests = f"; donor's entry ASSUMED, {found.value} ± {found.half_width}: read its settings page"
    absolute = row.name == "dead_time" or row.enter is None
    return replace(row, old_assumed=True, basis=row.basis + ("" if absolute else rests))


def _lambda_rows(job: Job) -> Iterator[Setting]:
    """The intended lambda, if it is one number and the ECU has no lambda table."""
    in_a_table = any(table.commanded is not None for table in job.further_tables)
    if not job.needs_lambda_table or in_a_table:
        return
    intended, held = job.target.table.intended_lambda, job.donor.table.intended_lambda
    stand_in = any(one.unknown and one.key == "donor.tables.fuel.lambda" for one in job.assumed)
    old = None if stand_in or np.ptp(held) > 0 else float(held.flat[0])
    basis = "the lambda that the ECU commands in every cell; the new table is made for it"
    yield row("intended_lambda", "", (old, float(intended.flat[0])), stuck=False, basis=basis)


def _inside_of_pulses(job: Job) -> Iterator[Inside]:
    """What is inside the cells of the main table and of every further table of pulses on the target."""
    yield job.target.table.inside
    pulses = (table for table in job.further_tables if table.quantity is FurtherQuantity.PULSE_WIDTH)
    yield from (table.target.inside for table in pulses)


def _openings_differ(job: Job, settings: InForce) -> bool:
    held = settings.new.openings_per_cycle, settings.donor.openings_per_cycle
    return len({job.target.hardware.injectors.openings_per_cycle, *held}) > 1


def _displacement_row(job: Job, settings: InForce) -> Setting:
    keys: tuple[str, ...] = ("donor.settings.displacement", "donor.engine.displacement")
    if job.other_quantity:
        keys = ("target.settings.displacement", "target.engine.displacement")
    unit, size = unit_of(job, keys, "cc", CC)
    numbers = settings.donor.displacement_m3 / size, settings.new.displacement_m3 / size
    stuck = is_stuck(job, "displacement", job.target.told.displacement_m3)
    basis = "whole engine" if job.other_quantity else "whole engine, on the donor's own basis"
    return row("displacement", unit, numbers, stuck, basis)


def _stoichiometric_row(job: Job, settings: InForce) -> Setting:
    old = settings.donor.stoichiometric if job.donor.fuel_known else None
    stuck = is_stuck(job, "stoichiometric", job.target.told.stoichiometric)
    basis = (
        "air to fuel by mass, on the donor's own basis"
        if job.donor.fuel_known and not job.other_quantity
        else "air to fuel by mass, the fuel's own"
    )
    return row("stoichiometric", "", (old, settings.new.stoichiometric), stuck, basis)


def _openings_row(job: Job, settings: InForce) -> Setting:
    stuck = is_stuck(job, "openings_per_cycle", job.target.told.openings_per_cycle)
    numbers = settings.donor.openings_per_cycle, settings.new.openings_per_cycle
    return row("openings_per_cycle", "", numbers, stuck, "openings of one injector per engine cycle, as wired")


def _count_rows(job: Job) -> Iterator[Setting]:
    """Cylinders and injectors of the target: an ECU that works with volumetric efficiency divides by them.

    An ECU with a pulse-width table needs them too, for its outputs: they are shown if they differ.
    """
    counts = _counts(job.donor.hardware), _counts(job.target.hardware)
    if job.target.table.quantity is TableQuantity.PULSE_WIDTH and counts[0] == counts[1]:
        return
    known = any(key.startswith("donor.injectors.") for key in job.declared) or not job.declared
    injectors = counts[0][1] if known else None
    yield row("cylinders", "", (counts[0][0], counts[1][0]), stuck=False, basis="of the target, as built")
    basis = "of the whole engine, as fitted"
    yield row("injectors", "", (injectors, counts[1][1]), stuck=False, basis=basis)


def _counts(installation: Installation) -> tuple[float, float]:
    """Cylinders, and injectors of the whole engine."""
    cylinders = float(installation.engine.cylinders)
    return cylinders, tidy(installation.injectors.per_cylinder * cylinders)


def _between_points(job: Job, held: Settings) -> str:
    """The largest error from 8 to 16 V that an ECU's straight lines between its own voltages leave, in words.

    Both curves are straight between the points of either, so the largest error lies at one of them. A curve that is cut
    at zero bends once more there, which a grid of voltages covers.
    """
    fitted = job.target.hardware.injectors.dead_time
    points = np.concatenate([fitted.battery_v, held.dead_time.battery_v, np.arange(80, 161) / 10.0])
    volts = np.unique(points[(points >= LOWEST_V) & (points <= HIGHEST_V)])
    off = held.dead_time_s(volts) - fitted.at(volts, held.dead_time_pressure_pa)
    worst = int(np.argmax(np.abs(off)))
    error_ms = abs(float(off[worst])) * 1e3
    if error_ms < SHOWN_MS:
        return f"nothing is lost between them from {LOWEST_V:g} to {HIGHEST_V:g} V"
    word = "long, rich" if off[worst] > 0 else "short, lean"
    up_to = rounded_up(without_noise(error_ms), 3)  # 0.65 after a subtraction is 0.6500000000000001
    return (
        f"between or beyond them, from {LOWEST_V:g} to {HIGHEST_V:g} V, it is up to {up_to} ms too {word} "
        f"(at {volts[worst]:.4g} V)"
    )


def _dead_time_row(job: Job, settings: InForce) -> Setting:
    target, told = settings.new, settings.donor
    volts = target.dead_time.battery_v
    now = tuple(tidy(float(t) * 1e3) for t in target.dead_time_s(volts))
    old = tuple(tidy(float(t) * 1e3) for t in told.dead_time_s(volts)) if job.donor.dead_time_known else None
    stuck = is_stuck(job, "dead_time", job.target.told.dead_time)
    whose = _whose_dead_time(job)
    basis = f"{whose}, absolute, at {in_bar(target.dead_time_pressure_pa)}"
    if stuck:
        basis = "cannot be told: the cells make up what they can, at one voltage only"
    elif job.target.told.dead_time_points_v is not None:
        basis = f"{basis}, read at the ECU's own voltages; {_between_points(job, target)}"
    return Setting(
        "dead_time",
        "ms",
        old,
        None if stuck else now,
        basis,
        in_force=now,
        battery_v=tuple(float(v) for v in volts),
        guessed=not stuck and whose != OWN_DEAD_TIME,
    )


def _whose_dead_time(job: Job) -> str:
    """Where the dead time to enter comes from: a guess is never called the injectors' own."""
    section = "injectors.dead_time"
    keys = [f"target.{section}", *([f"donor.{section}"] if "injectors" in job.same_as_donor else [])]
    for one in job.assumed:
        if one.key in keys:
            spread = f" ± {one.half_width}" if one.half_width else ""
            return f"a GUESS, not the fitted injectors' own: {one.value}{spread} {one.why}; measure it"
    origins = {entry.origin for key, entry in job.inputs.items() if key.startswith(tuple(f"{key}." for key in keys))}
    return "the fitted injectors' own, guessed as the job says" if "guessed" in origins else OWN_DEAD_TIME


def _battery_row(job: Job, settings: InForce) -> Setting:
    """The factors that an ECU multiplies its pulses by, %, if it adds no dead time."""
    new, old = settings.new.battery_factor, settings.donor.battery_factor
    assert new is not None
    volts = new.battery_v
    now = tuple(tidy(100.0 * float(factor)) for factor in new.factor)
    before = None if old is None else tuple(tidy(100.0 * float(factor)) for factor in old.at(volts))
    stuck = is_stuck(job, "dead_time", job.target.told.battery_factor)
    basis = (
        f"of every pulse: right at every voltage for {correct_at_s(job) * 1e3:.3g} ms open time, and at "
        f"{job.target.table.battery_v:g} V for every pulse; the voltage sweep shows the error left elsewhere"
    )
    if stuck:
        basis = "cannot be told: the cells make up what they can, at one voltage only"
    return Setting(
        "battery_correction", "%", before, None if stuck else now, basis, in_force=now,
        battery_v=tuple(float(v) for v in volts),
    )  # fmt: skip


def _added_row(job: Job, settings: InForce) -> Setting:
    """The time that an ECU adds to short pulses, over the open time from the flow line."""
    new, old = settings.new.added, settings.donor.added
    assert new is not None
    now = tuple(tidy(1e3 * float(time)) for time in new.time_s)
    at = new.open_s
    before = None if old is None else tuple(tidy(1e3 * float(old.longer(one) - one)) for one in at)
    stuck = "added_time" in job.cannot_be_told
    basis = "to the time from the flow line, before the dead time; the fitted injectors' own"
    if stuck:
        basis = "cannot be told: the cells make up the rest"
    return Setting(
        "added_time", "ms", before, None if stuck else now, basis, in_force=now,
        open_ms=tuple(tidy(1e3 * float(one)) for one in at),
    )  # fmt: skip
