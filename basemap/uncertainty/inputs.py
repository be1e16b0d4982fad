"""Which inputs are uncertain, by how much, and what each of them moves.

Standard uncertainties are from the spread in the job file, else a default by the kind of input. A half-width is a
rectangle, u = a/√3 (GUM 4.3.7); one written with ``k=2`` is halved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from basemap.chain import decode
from basemap.model.breathing import estimate
from basemap.model.installation import DonorState, FloatArray, Fuel
from basemap.model.job import Input, Job
from basemap.model.settings import in_force
from basemap.model.table import TableQuantity
from basemap.rules.similarity import displaced
from basemap.uncertainty import moves
from basemap.uncertainty.spreads import DEFAULTS, EFFICIENCY, RECTANGLE
from basemap.uncertainty.world import World

ASSUMED = ("assumed", "default")
SIDES = ("donor", "target")
MAIN = "fuel"
"""Name of the main table."""

Shift = Callable[[World, FloatArray], World]
"""A world with an input moved by so much; the amounts have shape (samples, 1, 1)."""


@dataclass(frozen=True)
class Uncertain:
    """One uncertain input.

    Parameters
    ----------
    name
        In words, with its side: "rail pressure of the donor".
    keys
        Job-file keys it stands for; both sides' where it is shared.
    standard
        Standard uncertainty in the input's own measure: relative, or SI.
    unit
        Of `standard` for people: ``%`` or a unit.
    assumed
        Whether the spread is a default of this program.
    rectangular
        Whether its distribution is a rectangle; else normal.
    moves_pulse
        Whether it shifts the effective pulse itself, so that short pulses are not linear in it.
    shift
        Moves a world by amounts in the measure of `standard`.
    measured_to
        Standard uncertainty that a careful measurement leaves, in the same measure; `None` where there is none.
    """

    name: str
    keys: tuple[str, ...]
    standard: float
    unit: str
    assumed: bool
    shift: Shift
    rectangular: bool = True
    moves_pulse: bool = False
    measured_to: float | None = None

    @property
    def per_unit(self) -> float:
        """Size of one `unit` in the measure of `standard`."""
        return {"%": 0.01, "vol %": 0.01, "ms": 1e-3, "kPa": 1e3}.get(self.unit, 1.0)


def standard_of(written: Input) -> float | None:
    """Standard uncertainty of an input as written, SI, or `None` where it has no spread."""
    if written.half_width is None:
        return None
    return written.half_width / (2.0 if written.k2 else RECTANGLE)


def uncertain_inputs(job: Job) -> tuple[Uncertain, ...]:
    """All uncertain inputs of a job, donor's and target's, what both share once."""
    found = [*_hardware(job), *_batteries(job), *_air(job), *_box(job)]
    return tuple(entry for entry in found if entry.standard > 0)


@dataclass(frozen=True)
class _Kind:
    """One kind of input that either side has: its words, section, keys, default and what it moves."""

    words: str
    section: str
    keys: tuple[str, ...]
    default: str
    move: moves.Move
    moves_pulse: bool = False


_KINDS = (
    _Kind(
        "injector flow",
        "injectors",
        ("injectors.static_flow", "injectors.two_slope.high_flow", "settings.static_flow"),
        "flow",
        moves.flow,
    ),
    _Kind("low slope", "injectors", ("injectors.two_slope.low_flow",), "flow", moves.low_slope),
    _Kind("break mass", "injectors", ("injectors.two_slope.break_mass",), "flow", moves.break_mass),
    _Kind("rated pressure", "injectors", ("injectors.rated_pressure",), "rated pressure", moves.rated_pressure),
    _Kind("density of the rating fluid", "injectors", ("injectors.rated_fluid",), "rating fluid", moves.rated_fluid),
    _Kind("dead time", "injectors", ("injectors.dead_time",), "dead time", moves.dead_time, True),
    _Kind("rail pressure", "fuel", ("fuel.rail_pressure",), "rail pressure", moves.rail_pressure),
    _Kind("ethanol content", "fuel", ("fuel.parts.ethanol",), "ethanol", moves.ethanol),
    _Kind(
        "stoichiometric ratio of the petrol", "fuel", ("fuel.stoichiometric",), "stoichiometric", moves.stoichiometric
    ),
    _Kind("density of the petrol", "fuel", ("fuel.density",), "density", moves.density),
    _Kind("fuel temperature", "fuel", ("fuel.temperature",), "fuel temperature", moves.fuel_temperature),
    _Kind(
        "displacement", "engine", ("engine.displacement", "settings.displacement"), "displacement", moves.displacement
    ),
)


@dataclass(frozen=True)
class _Spread:
    """Standard uncertainty of one input in its own measure, and whether it is a default."""

    standard: float
    rectangular: bool
    assumed: bool


def _hardware(job: Job) -> Iterator[Uncertain]:
    for kind in _KINDS:
        sides = [side for side in SIDES if _applies(job, side, kind)]
        if len(sides) == 2 and _is_shared(job, kind):
            yield _uncertain(job, kind, ("donor", "target"))
        else:
            for side in sides:
                yield _uncertain(job, kind, (side,))


def _applies(job: Job, side: str, kind: _Kind) -> bool:
    """Whether a side has this input, rather than having left it out because it cancels."""
    if side == "donor":
        known = {
            "injector flow": job.donor_flow_known,
            "rated pressure": job.donor_flow_known,
            "density of the rating fluid": job.donor_flow_known,
            "dead time": job.donor_dead_time_known,
        }
        if not known.get(kind.words, kind.section != "fuel" or job.donor_fuel_known):
            return False
    if kind.words in ("low slope", "break mass"):
        # Without a spread of their own they are as good as the flow of which they are part.
        return _written(job, side, kind) is not None
    share = dict(_fuel(job, side).parts).get("ethanol", 0.0)
    if kind.words == "ethanol content":
        return 0.0 < share < 1.0 or _written(job, side, kind) is not None
    return kind.words != "fuel temperature" or bool(_fuel(job, side).parts)


def _is_shared(job: Job, kind: _Kind) -> bool:
    """Whether both sides have the same part, or were rated with the same fluid for want of another word."""
    own = any(key.startswith(tuple(f"target.{name}" for name in kind.keys)) for key in job.declared)
    own = own or any(_own_key(job, side, kind) in job.inputs for side in SIDES)
    if kind.section in job.same_as_donor and not own:
        return True
    if kind.words != "density of the rating fluid":
        return False
    densities = {job.donor.injectors.line.fluid_density, job.target.injectors.line.fluid_density}
    return len(densities) == 1 and not own


def _uncertain(job: Job, kind: _Kind, sides: tuple[str, ...]) -> Uncertain:
    spread, default = _spread(job, sides[0], kind), DEFAULTS[kind.default]
    whose = "of both" if len(sides) == 2 else f"of the {sides[0]}"

    def shift(world: World, by: FloatArray) -> World:
        for side in sides:
            world = moves.on(world, side, lambda installation: kind.move(installation, by))
        return world

    return Uncertain(
        name=f"{kind.words} {whose}",
        keys=tuple(_key(job, side, kind) for side in sides),
        standard=spread.standard,
        unit=default.unit,
        assumed=spread.assumed,
        shift=shift,
        rectangular=spread.rectangular,
        moves_pulse=kind.moves_pulse,
        measured_to=default.measured_to / RECTANGLE,
    )


def _key(job: Job, side: str, kind: _Kind) -> str:
    own = _own_key(job, side, kind)
    return own if own in job.inputs else f"{side}.{kind.keys[0]}"


def _spread(job: Job, side: str, kind: _Kind) -> _Spread:
    default = DEFAULTS[_default_name(job, side, kind)]
    written = _written(job, side, kind)
    if written is None:
        return _Spread(default.half_width * _petrol_share(job, side, kind) / RECTANGLE, True, True)
    standard = standard_of(written) or 0.0
    return _Spread(
        standard / written.value if default.relative else standard, not written.k2, written.origin in ASSUMED
    )


def _default_name(job: Job, side: str, kind: _Kind) -> str:
    if kind.words == "injector flow" and side == "donor" and job.donor_state is not DonorState.TUNED:
        return "flow of an untuned donor"
    named = f"{side}.fuel.blend" in job.inputs
    if kind.words == "ethanol content" and named and (_fuel(job, side).ethanol or 0.0) > 0.5:
        return "ethanol in E85"
    return kind.default


def _petrol_share(job: Job, side: str, kind: _Kind) -> float:
    """How much of a fuel is petrol: only that share of it varies from pump to pump."""
    if kind.words not in ("stoichiometric ratio of the petrol", "density of the petrol"):
        return 1.0
    parts = dict(_fuel(job, side).parts)
    return parts.get("petrol", 0.0) if parts else 1.0


def _written(job: Job, side: str, kind: _Kind) -> Input | None:
    """The input of a kind that states a spread, the widest where there are several; a table's own comes first."""
    own = job.inputs.get(_own_key(job, side, kind))
    if own is not None:
        return own if own.half_width is not None else None
    starts = tuple(f"{side}.{key}" for key in kind.keys)
    spread = [entry for key, entry in job.inputs.items() if key.startswith(starts) and entry.half_width is not None]
    return max(spread, key=lambda entry: standard_of(entry) or 0.0, default=None)


def _own_key(job: Job, side: str, kind: _Kind) -> str:
    """Where a further table would say it for itself: its rail pressure while the engine cranks."""
    return f"{side}.tables.{job.donor_table.name}.{kind.keys[0].rpartition('.')[2]}"


def _fuel(job: Job, side: str) -> Fuel:
    return job.donor.fuel if side == "donor" else job.target.fuel


def _stated(job: Job, keys: tuple[str, ...]) -> Input | None:
    stated = (job.inputs.get(key) for key in keys)
    return next((entry for entry in stated if entry is not None and entry.half_width is not None), None)


def _battery_keys(job: Job, side: str) -> tuple[str, ...]:
    """Where a side's voltage may state its spread; a further table's own one alone."""
    name = job.donor_table.name
    keys = (f"{side}.tables.{name}.battery", f"{side}.conditions.battery", "conditions.battery")
    own = [key for key in (keys[0], f"donor.tables.{name}.battery") if key in job.inputs]
    return keys if name == MAIN or not own else (own[0],)


def _batteries(job: Job) -> Iterator[Uncertain]:
    default = DEFAULTS["battery"]
    for side in SIDES:
        keys = _battery_keys(job, side)
        stated = _stated(job, keys)
        standard = default.half_width / RECTANGLE if stated is None else standard_of(stated)
        yield Uncertain(
            name=f"battery voltage of the {side}",
            keys=keys,
            standard=standard or 0.0,
            unit="V",
            assumed=stated is None,
            shift=lambda world, by, side=side: moves.battery(world, side, by),  # type: ignore[misc]
            rectangular=stated is None or not stated.k2,
            moves_pulse=True,
            measured_to=default.measured_to / RECTANGLE,
        )


def _air(job: Job) -> Iterator[Uncertain]:
    """The air itself: how far the donor's efficiency is the target's, and conditions that state a spread."""
    yield Uncertain(
        name="volumetric efficiency of the donor as the target's",
        keys=("donor.state",),
        standard=EFFICIENCY[job.donor_state],
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by))),
        rectangular=False,
    )
    yield from _vapour(job)
    yield from _breathing(job)
    for name, unit, move in (
        ("barometer", "kPa", moves.barometer),
        ("charge_temperature", "K", moves.charge_temperature),
    ):
        common = job.inputs.get(f"conditions.{name}")
        for side in SIDES:
            own = job.inputs.get(f"{side}.conditions.{name}", common)
            if own is None or own.half_width is None:
                continue
            yield Uncertain(
                name=f"{name.replace('_', ' ')} of the {side}",
                keys=(own.key,),
                standard=standard_of(own) or 0.0,
                unit=unit,
                assumed=False,
                shift=lambda world, by, side=side, move=move: moves.on(  # type: ignore[misc]
                    world, side, lambda installation: move(installation, by)
                ),
                rectangular=not own.k2,
            )


def _vapour(job: Job) -> Iterator[Uncertain]:
    """A fuel of another family: its vapour takes the place of air, and the cold of evaporation works against that."""
    found = displaced(job)
    if found is None:
        return
    before, now = found
    yield Uncertain(
        name="air drawn with a fuel of another family",
        keys=("donor.fuel", "target.fuel"),
        standard=abs((1.0 - now) / (1.0 - before) - 1.0) / RECTANGLE,
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by))),
        rectangular=True,
    )


def _breathing(job: Job) -> Iterator[Uncertain]:
    """An estimate of the breathing is as unsure as it is large: from no effect at all to twice that, cell by cell."""
    found = estimate(job)
    if found is None:
        return
    factor = found.factor(job, decode(job, in_force(job)).air_kg)
    known = np.isfinite(factor)
    effect = np.where(known, 1.0 - 1.0 / np.where(known, factor, 1.0), 0.0)
    yield Uncertain(
        name=f"estimate of the breathing ({job.breathing}), as a share of its own effect",
        keys=("options.breathing",),
        standard=1.0 / RECTANGLE,
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by * effect))),
        rectangular=True,
    )


def _box(job: Job) -> Iterator[Uncertain]:
    """κ, of the one box on both sides, or of the one of two boxes that has it; a table of pulses has none."""
    of = [job.donor_table.quantity, job.target_table.quantity]
    if TableQuantity.VOLUMETRIC_EFFICIENCY not in of:
        return
    side = SIDES[of.index(TableQuantity.VOLUMETRIC_EFFICIENCY)]
    stated = _stated(job, (f"{side}.settings.formula_factor",))
    relative = DEFAULTS["formula factor"].half_width / RECTANGLE
    if stated is not None:
        relative = (standard_of(stated) or 0.0) / stated.value
    yield Uncertain(
        name="formula factor of the ECU",
        keys=(f"{side}.settings.formula_factor",),
        standard=relative,
        unit="%",
        assumed=stated is None,
        shift=lambda world, by: replace(world, formula=moves.many(world.formula * (1.0 + by))),
        rectangular=stated is None or not stated.k2,
    )
