"""What to type into the target's ECU, with the unit and basis of the donor's own entries."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from basemap.adaptation.hardware import rail_flow
from basemap.adaptation.settings_in_force import correct_at_s, density_unit, told_densities
from basemap.model.further_table import FurtherQuantity
from basemap.model.installation import Installation
from basemap.model.job import Job, SideName
from basemap.model.result import Setting
from basemap.model.settings import InForce, Settings
from basemap.model.table import Inside, TableQuantity
from basemap.rounding import rounded_up, without_noise

CC = 1e-6
CC_MIN = 1e-6 / 60.0
GRAM_MIN = 1e-3 / 60.0
MILLIGRAM = 1e-6
LOWEST_V, HIGHEST_V = 8.0, 16.0
"""Battery voltages between which an error of the dead time is looked for. Common practice."""
SHOWN_MS = 5e-7
OWN_DEAD_TIME = "the fitted injectors' own"


def settings_to_enter(job: Job, settings: InForce) -> tuple[Setting, ...]:
    """What to type into the target's ECU, with the unit and basis of the donor's own entries."""
    rows: list[Setting] = []
    if job.target.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        rows += [_displacement_row(job, settings), _flow_row(job, settings)]
        if not job.other_quantity:
            rows += [*_density_rows(job), *_bent_line_rows(job, settings)]
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
        # What the donor's ECU holds is no entry of another box.
        return tuple(replace(row, old=None) for row in rows)
    return tuple(_with_what_it_rests_on(job, row) for row in rows)


def _with_what_it_rests_on(job: Job, row: Setting) -> Setting:
    """A row whose donor's entry nobody read says so, and what is entered on its basis is as good as that."""
    found = next((one for one in job.assumed if one.key == f"donor.settings.{row.name}"), None)
    if found is None or row.old is None:
        return row
    rests = f"; donor's entry ASSUMED, {found.value} ± {found.half_width}: read its settings page"
    absolute = row.name == "dead_time" or row.enter is None
    return replace(row, old_assumed=True, basis=row.basis + ("" if absolute else rests))


def _lambda_rows(job: Job) -> Iterator[Setting]:
    """The intended lambda, where one number says it all and the ECU holds it in no table of its own."""
    in_a_table = any(table.commanded is not None for table in job.further_tables)
    if not job.needs_lambda_table or in_a_table:
        return
    intended, held = job.target.table.intended_lambda, job.donor.table.intended_lambda
    stand_in = any(one.unknown and one.key == "donor.tables.fuel.lambda" for one in job.assumed)
    old = None if stand_in or np.ptp(held) > 0 else float(held.flat[0])
    basis = "the lambda that the ECU commands in every cell; the new table is made for it"
    yield _row("intended_lambda", "", (old, float(intended.flat[0])), stuck=False, basis=basis)


def donor_entry(job: Job) -> float:
    """The flow as the donor's ECU was told it, in the unit kind of `entry_is_mass`, SI.

    A donor that does not say otherwise was told its hardware's flow at its rail pressure on its rating fluid.
    """
    if job.donor.told.flow is not None:
        return job.donor.told.flow
    line = job.donor.hardware.injectors.line
    return line.value * math.sqrt(job.donor.hardware.fuel.rail_pressure_pa / line.pressure_pa)


def entry_is_mass(job: Job) -> bool:
    """Whether the donor's ECU holds its flow as a mass per time."""
    return job.donor.hardware.injectors.line.is_mass if job.donor.told.flow is None else job.donor.told.flow_is_mass


def _inside_of_pulses(job: Job) -> Iterator[Inside]:
    """What is inside the cells of the main table and of every further table of pulses on the target."""
    yield job.target.table.inside
    pulses = (table for table in job.further_tables if table.quantity is FurtherQuantity.PULSE_WIDTH)
    yield from (table.target.inside for table in pulses)


def _openings_differ(job: Job, settings: InForce) -> bool:
    held = settings.new.openings_per_cycle, settings.donor.openings_per_cycle
    return len({job.target.hardware.injectors.openings_per_cycle, *held}) > 1


def _unit(job: Job, keys: tuple[str, ...], default: str, size: float) -> tuple[str, float]:
    """The unit of the first of `keys` that the job states, and its size in SI."""
    for key in keys:
        written = job.inputs.get(key)
        if written is not None and written.shown:
            return written.unit, written.value / written.shown
    return default, size


def _row(name: str, unit: str, numbers: tuple[float | None, float], stuck: bool, basis: str) -> Setting:
    old, value = None if numbers[0] is None else _clean(numbers[0]), _clean(numbers[1])
    if stuck:
        return Setting(name, unit, old, None, f"cannot be told: the cells allow for it; {basis}", in_force=value)
    return Setting(name, unit, old, value, basis, in_force=value)


def _clean(number: float) -> float:
    """Without the last bit that a change of unit leaves: 1998 cc, not 1998.0000000000002 cc."""
    return float(f"{number:.15g}")


def _is_stuck(job: Job, name: str, told: object) -> bool:
    return told is not None or name in job.cannot_be_told


def _displacement_row(job: Job, settings: InForce) -> Setting:
    keys: tuple[str, ...] = ("donor.settings.displacement", "donor.engine.displacement")
    if job.other_quantity:
        keys = ("target.settings.displacement", "target.engine.displacement")
    unit, size = _unit(job, keys, "cc", CC)
    numbers = settings.donor.displacement_m3 / size, settings.new.displacement_m3 / size
    stuck = _is_stuck(job, "displacement", job.target.told.displacement_m3)
    basis = "whole engine" if job.other_quantity else "whole engine, on the donor's own basis"
    return _row("displacement", unit, numbers, stuck, basis)


def _flow_unit(job: Job) -> tuple[bool, str, float]:
    """Whether the flow to enter is a mass per time; its unit and the size of that in SI."""
    mass = entry_is_mass(job)
    keys: tuple[str, ...] = ("donor.settings.static_flow",)
    if not job.donor.flow_known or job.other_quantity:
        keys = (f"target.injectors.{job.target.hardware.injectors.line_key}",)
        mass = job.target.hardware.injectors.line.is_mass
    elif job.donor.told.flow is None:
        keys = (f"donor.injectors.{job.donor.hardware.injectors.line_key}", "donor.injectors.static_flow")
    return mass, *_unit(job, keys, *(("g/min", GRAM_MIN) if mass else ("cc/min", CC_MIN)))


def _flow_row(job: Job, settings: InForce) -> Setting:
    mass, unit, size = _flow_unit(job)
    stuck = _is_stuck(job, "static_flow", job.target.told.flow)
    if not job.donor.flow_known or job.other_quantity:
        line = job.target.hardware.injectors.line
        own = line.value * math.sqrt(job.target.hardware.fuel.rail_pressure_pa / line.pressure_pa) / size
        basis = f"the target's own rating at its rail pressure of {_bar(job.target.hardware.fuel.rail_pressure_pa)}"
        return _row(
            "static_flow",
            unit,
            (None, own if job.target.told.flow is None else job.target.told.flow / size),
            stuck,
            basis,
        )
    old = donor_entry(job) / size
    value = old * settings.new.flow_kg_s / settings.donor.flow_kg_s
    densities = told_densities(job)
    if densities is not None:
        value *= densities[0] / densities[1]
    return _row("static_flow", unit, (old, value), stuck, _flow_basis(job, mass))


def _density_rows(job: Job) -> list[Setting]:
    """The fuel's density, for an ECU that holds it beside its flow."""
    densities = told_densities(job)
    if densities is None:
        return []
    unit, size = density_unit(job)
    stuck = _is_stuck(job, "fuel_density", job.target.told.fuel_density)
    basis = "at 15 °C, together with the flow: either one alone is wrong by the change in density"
    return [_row("fuel_density", unit, (densities[0] / size, densities[1] / size), stuck, basis)]


def _bent_line_rows(job: Job, settings: InForce) -> list[Setting]:
    """The slope below the bend and its mass, on the basis of the flow beside them, for an ECU that holds them."""
    new, old = settings.new.bend, settings.donor.bend
    if new is None:
        return []
    flow, stuck = _flow_row(job, settings), "bent_line" in job.cannot_be_told
    entered = flow.in_force
    assert isinstance(entered, float)
    before = flow.old if isinstance(flow.old, float) and old is not None else None
    below = None if before is None or old is None else before * float(old.below)
    unit, size = _unit(job, ("target.injectors.bent_line.at_mass",), "mg", MILLIGRAM)
    each, each_before = (kg_s / size for kg_s in _entry_kg_s(job))
    at_mass = None if before is None or old is None else before * each_before * float(old.at_mass)
    return [
        _row(
            "flow_below_bend",
            flow.unit,
            (below, entered * float(new.below)),
            stuck,
            "below the bend, as the static_flow",
        ),
        _row(
            "mass_at_bend",
            unit,
            (at_mass, entered * each * float(new.at_mass)),
            stuck,
            "of one opening, as a mass of the same fluid as static_flow",
        ),
    ]


def _entry_kg_s(job: Job) -> tuple[float, float]:
    """Mass flow that one unit of the flow to enter, and of the donor's, stands for, kg/s.

    Of the rating fluid, or of the fuel where the ECU is told its density.
    """
    line = job.donor.hardware.injectors.line if job.donor.flow_known else job.target.hardware.injectors.line
    mass, _, size = _flow_unit(job)
    densities = told_densities(job)
    if densities is not None:
        return size * densities[1], size * densities[0]
    each = size * (1.0 if mass else line.fluid_density)
    return each, each


def _flow_basis(job: Job, mass: bool) -> str:
    """Say which of three flows is to be typed: the entry, the maker's rating, or what the injector passes."""
    line, fuel = job.target.hardware.injectors.line, job.target.hardware.fuel
    entry = (
        f"type this one: on the same basis as the donor's entry, which is for {_rail(job, 'donor')} rail on a rating "
        f"fluid of {_rating_fluid(job)}; the target's rail is {_rail(job, 'target')}"
    )
    _, unit, size = _flow_unit(job)
    passed, rated = rail_flow(job.target.hardware) / size, line.mass_flow / size
    if mass:
        return f"{entry} (not its rating, {rated:.5g} {unit}, nor the {passed:.5g} {unit} it passes)"
    passed, rated = passed / fuel.density, rated / line.fluid_density
    return f"{entry} (not its rating, {rated:.5g} {unit}, nor the {passed:.5g} {unit} of fuel it passes)"


def _rail(job: Job, side: SideName) -> str:
    """A rail pressure in the unit in which the job states it."""
    unit, size = _unit(job, (f"{side}.fuel.rail_pressure",), "bar", 1e5)
    return f"{job.side(side).hardware.fuel.rail_pressure_pa / size:.4g} {unit}"


def _rating_fluid(job: Job) -> str:
    """The donor's rating fluid: by the name that the job states, else by its density."""
    written = job.inputs.get("donor.injectors.rated_fluid")
    if written is not None and written.text and not written.unit:
        return written.text
    return f"{job.donor.hardware.injectors.line.fluid_density:.4g} kg/m3"


def _bar(pressure_pa: float) -> str:
    return f"{pressure_pa / 1e5:.4g} bar"


def _stoichiometric_row(job: Job, settings: InForce) -> Setting:
    old = settings.donor.stoichiometric if job.donor.fuel_known else None
    stuck = _is_stuck(job, "stoichiometric", job.target.told.stoichiometric)
    basis = (
        "air to fuel by mass, on the donor's own basis"
        if job.donor.fuel_known and not job.other_quantity
        else "air to fuel by mass, the fuel's own"
    )
    return _row("stoichiometric", "", (old, settings.new.stoichiometric), stuck, basis)


def _openings_row(job: Job, settings: InForce) -> Setting:
    stuck = _is_stuck(job, "openings_per_cycle", job.target.told.openings_per_cycle)
    numbers = settings.donor.openings_per_cycle, settings.new.openings_per_cycle
    return _row("openings_per_cycle", "", numbers, stuck, "openings of one injector per engine cycle, as wired")


def _count_rows(job: Job) -> Iterator[Setting]:
    """Cylinders and injectors, which an ECU that works out volumetric efficiency divides by: always the target's own.

    An ECU of pulses holds them too, for its outputs: shown where they differ.
    """
    counts = _counts(job.donor.hardware), _counts(job.target.hardware)
    if job.target.table.quantity is TableQuantity.PULSE_WIDTH and counts[0] == counts[1]:
        return
    known = any(key.startswith("donor.injectors.") for key in job.declared) or not job.declared
    injectors = counts[0][1] if known else None
    yield _row("cylinders", "", (counts[0][0], counts[1][0]), stuck=False, basis="of the target, as built")
    basis = "of the whole engine, as fitted"
    yield _row("injectors", "", (injectors, counts[1][1]), stuck=False, basis=basis)


def _counts(installation: Installation) -> tuple[float, float]:
    """Cylinders, and injectors of the whole engine."""
    cylinders = float(installation.engine.cylinders)
    return cylinders, _clean(installation.injectors.per_cylinder * cylinders)


def _between_points(job: Job, held: Settings) -> str:
    """The largest error that straight lines between an ECU's own voltages leave, from 8 to 16 V.

    Both curves are straight between the points of either, so that the largest error lies at one of them; where a curve
    is cut at zero it bends once more, for which the grid stands.
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
    now = tuple(_clean(float(t) * 1e3) for t in target.dead_time_s(volts))
    old = tuple(_clean(float(t) * 1e3) for t in told.dead_time_s(volts)) if job.donor.dead_time_known else None
    stuck = _is_stuck(job, "dead_time", job.target.told.dead_time)
    whose = _whose_dead_time(job)
    basis = f"{whose}, absolute, at {_bar(target.dead_time_pressure_pa)}"
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
    """Where the dead time to enter is from: a guess is not sold as the injectors' own."""
    section = "injectors.dead_time"
    keys = [f"target.{section}", *([f"donor.{section}"] if "injectors" in job.same_as_donor else [])]
    for one in job.assumed:
        if one.key in keys:
            spread = f" ± {one.half_width}" if one.half_width else ""
            return f"a GUESS, not the fitted injectors' own: {one.value}{spread} {one.why}; measure it"
    origins = {entry.origin for key, entry in job.inputs.items() if key.startswith(tuple(f"{key}." for key in keys))}
    return "the fitted injectors' own, guessed as the job says" if "guessed" in origins else OWN_DEAD_TIME


def _battery_row(job: Job, settings: InForce) -> Setting:
    """What an ECU multiplies its pulses by, %, where it adds no dead time."""
    new, old = settings.new.battery_factor, settings.donor.battery_factor
    assert new is not None
    volts = new.battery_v
    now = tuple(_clean(100.0 * float(factor)) for factor in new.factor)
    before = None if old is None else tuple(_clean(100.0 * float(factor)) for factor in old.at(volts))
    stuck = _is_stuck(job, "dead_time", job.target.told.battery_factor)
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
    """What an ECU adds to short pulses, over the time open that the flow line asks for."""
    new, old = settings.new.added, settings.donor.added
    assert new is not None
    now = tuple(_clean(1e3 * float(time)) for time in new.time_s)
    at = new.open_s
    before = None if old is None else tuple(_clean(1e3 * float(old.longer(one) - one)) for one in at)
    stuck = "added_time" in job.cannot_be_told
    basis = "to the time from the flow line, before the dead time; the fitted injectors' own"
    if stuck:
        basis = "cannot be told: the cells make up the rest"
    return Setting(
        "added_time", "ms", before, None if stuck else now, basis, in_force=now,
        open_ms=tuple(_clean(1e3 * float(one)) for one in at),
    )  # fmt: skip
