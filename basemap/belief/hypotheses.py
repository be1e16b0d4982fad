"""The effect of each possible fault on the observations of a drive, for several sizes of the fault.

Sizes begin where a fault is worth naming and end where somebody would have noticed it before (our judgement); their
logarithms are evenly spaced. The effect is worked out by the forward model, not by its slopes: half a millisecond of
dead time is far from linear in a short pulse.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from basemap.belief.at_points import DecodedDonor
from basemap.belief.unknowns import DEAD_TIME_SLOPE, IDLE_FLOW
from basemap.belief.update import Linearised, Observations, Update
from basemap.model.drive import DrivePoints, stacked
from basemap.model.installation import FloatArray, Regulator

LEAK = "exhaust leak"
FUEL_SUPPLY = "fuel supply"
OVER_SPEED = "breathing over speed"

_CASES = 9
_TURNS = np.linspace(0.0, 2.0 * np.pi, 13)[:-1]
_SPEED_SIZES = np.geomspace(0.08, 0.25, 5)
_IDLE_SHARE = 0.3
"""Manifold pressure over the barometer at which the size of a part-load deviation is stated."""


@dataclass(frozen=True)
class Hypothesis:
    """A fault in every size that is tried.

    Parameters
    ----------
    effects
        What it adds to the residuals of the observations, shape (sizes, rows).
    sizes
        Shape (sizes,), in the fault's own unit.
    """

    name: str
    effects: FloatArray
    sizes: FloatArray


def hypotheses(found: Update, observations: Observations, linear: Linearised) -> Iterator[Hypothesis]:
    """Every fault that a log can show.

    Parameters
    ----------
    observations
        Those of `found`, or some of them.
    linear
        The same, linear about what `found` believes.
    """
    yield from _of_injectors(found, observations, linear)
    yield from _of_readings(found, observations, linear)
    yield from _of_breathing(found, observations.drive.points)
    yield from _of_fuel(found, observations)


def leak_at(size: float | FloatArray, points: DrivePoints) -> FloatArray:
    """By how much ln λ reads too lean if air leaks in before the probe, a share `size` of it at the flow of idle."""
    return np.asarray(np.log1p(size * IDLE_FLOW / (points.rpm * points.pressure_pa)))


def over_speed(found: Update, points: DrivePoints) -> FloatArray:
    """What breathing unlike the donor's over speed does to ln λ: a tilt and a bend in any mix, shape (sizes, n)."""
    engine = found.prior.unknowns.forward.job.target.hardware.engine
    speeds = found.prior.unknowns.forward.job.target.table.rpm
    slow, fast = np.log(engine.idle_rpm), np.log(engine.rev_limit_rpm or float(speeds[-1]))
    along = 2.0 * (np.log(points.rpm) - slow) / (fast - slow) - 1.0
    mixed = [np.cos(turn) * along + np.sin(turn) * (1.5 * along**2 - 0.5) for turn in _TURNS]
    return np.array([size * shape for shape in mixed for size in _SPEED_SIZES])


def _either_sign(least: float, most: float) -> FloatArray:
    some = np.geomspace(least, most, _CASES)
    return np.concatenate([-some[::-1], some])


def _believed(found: Update, linear: Linearised, unknown: int) -> FloatArray:
    """What one unknown, as believed, does to ln λ of the stretches: residuals are taken without it, shape (n,)."""
    return np.asarray(linear.slopes[: linear.points, unknown] * found.amounts[unknown])


def _of_injectors(found: Update, observations: Observations, linear: Linearised) -> Iterator[Hypothesis]:
    unknowns, amounts, drive = found.prior.unknowns, found.amounts, observations.drive
    world = unknowns.world(amounts)
    here = unknowns.log_lambda(drive, world, amounts)
    names = ("dead time of the target", "dead time of both")
    index = next((index for index, entry in enumerate(unknowns.inputs) if entry.name in names), None)
    if index is not None:
        entry, sizes = unknowns.inputs[index], _either_sign(0.12e-3, 0.5e-3)
        moved = entry.shift(world, (sizes - amounts[index] * entry.standard).reshape(-1, 1, 1))
        effects = unknowns.log_lambda(drive, moved, amounts) - here + _believed(found, linear, index)
        yield Hypothesis("dead time", effects, sizes)
    sizes = _either_sign(0.2, 0.8)
    place = unknowns.place("dead time over voltage")
    believed = amounts[place]
    worlds = [unknowns.tilted(world, size / DEAD_TIME_SLOPE - believed) for size in sizes]
    # The donor's side is the same in all of them.
    decoded = DecodedDonor.of(unknowns.forward, world)
    effects = np.concatenate([unknowns.log_lambda(drive, tilted, amounts, decoded) - here for tilted in worlds])
    yield Hypothesis("dead time over voltage", effects + _believed(found, linear, place), sizes)


def _of_readings(found: Update, observations: Observations, linear: Linearised) -> Iterator[Hypothesis]:
    """An error of the pressure sensor, which the key-on reading shows too; and air that leaks in before the probe."""
    unknowns, amounts, drive = found.prior.unknowns, found.amounts, observations.drive
    points, world = drive.points, unknowns.world(amounts)
    here = unknowns.log_lambda(drive, world, amounts)
    place = unknowns.place("pressure reading")
    believed = amounts[place] * unknowns.pressure_pa
    sizes = _either_sign(2e3, 8e3)
    shifted = stacked([replace(points, pressure_pa=points.pressure_pa + size - believed) for size in sizes])
    every = replace(drive, points=shifted, commanded=np.tile(drive.commanded, sizes.size))
    effects = unknowns.log_lambda(every, world, amounts).reshape(sizes.size, -1) - here
    effects = effects + _believed(found, linear, place)
    if observations.key_on_off_pa is not None:
        effects = np.column_stack([effects, sizes])
        # The weather or the height of the drive is not the job's: nothing but the key-on reading shows it.
        others = _either_sign(1.5e3, 12e3)
        nowhere = np.zeros((others.size, points.rpm.size))
        yield Hypothesis("barometer", np.column_stack([nowhere, others]), others)
    yield Hypothesis("pressure sensor", effects, sizes)
    sizes = np.geomspace(0.05, 0.35, _CASES)
    yield Hypothesis(LEAK, np.array([leak_at(size, points) for size in sizes]), sizes)


def _of_breathing(found: Update, points: DrivePoints) -> Iterator[Hypothesis]:
    """Over speed, any mix of a tilt and a bend; over load, a deviation that fades towards full load."""
    yield Hypothesis(OVER_SPEED, over_speed(found, points), np.tile(_SPEED_SIZES, _TURNS.size))
    below = np.maximum(-np.log(points.pressure_pa / found.prior.barometer_pa), 0.0) / -np.log(_IDLE_SHARE)
    sizes = _either_sign(0.10, 0.35)
    effects = [size * below**power for power in (0.7, 1.0, 1.5) for size in sizes]
    yield Hypothesis("breathing over load", np.array(effects), np.tile(sizes, 3))


def _of_fuel(found: Update, observations: Observations) -> Iterator[Hypothesis]:
    unknowns, amounts, drive = found.prior.unknowns, found.amounts, observations.drive
    points, world = drive.points, unknowns.world(amounts)
    sizes = _either_sign(0.06, 0.20)
    yield Hypothesis("common factor", np.outer(sizes, np.ones(points.rpm.size)), sizes)
    fuel = world.target.fuel
    kind = Regulator.FIXED if fuel.regulator is Regulator.MANIFOLD else Regulator.MANIFOLD
    other = replace(world, target=replace(world.target, fuel=replace(fuel, regulator=kind)))
    effect = unknowns.log_lambda(drive, other, amounts) - unknowns.log_lambda(drive, world, amounts)
    yield Hypothesis("regulator", effect, np.ones(1))
    # Beyond the pump's limit the rail pressure falls; nobody knows how steeply, and from which flow on.
    flow = points.rpm * points.pulse_s
    share = flow / max(float(flow.max(initial=0.0)), 1e-9)
    steep = np.array([0.3, 0.6, 1.0])
    effects = [size * np.log(np.maximum(share / begins, 1.0)) for begins in (0.5, 0.6, 0.7, 0.8, 0.9) for size in steep]
    yield Hypothesis(FUEL_SUPPLY, np.array(effects), np.tile(steep, 5))
