"""Which inputs are uncertain, by how much, and what each of them moves.

A standard uncertainty comes from the spread in the job file, else from the usual spread of such an input.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import partial
from typing import NamedTuple

from basemap.adaptation.quantities.registry import SPREADS
from basemap.adaptation.throttle import ThrottleLayout, layout, over_throttle
from basemap.belief import moves
from basemap.belief.air_inputs import INTENDED, air_inputs, battery_inputs, formula_input
from basemap.belief.away_from_data import away_from_data
from basemap.belief.breathing import Believed
from basemap.belief.sensor_errors import sensor_errors
from basemap.belief.spreads import RECTANGLE
from basemap.belief.uncertain import Uncertain, standard_of
from basemap.belief.world import World
from basemap.model.installation import DonorState, FloatArray, Fuel
from basemap.model.job import SIDES, Input, Job, SideName
from basemap.physics.fuel import COMPONENTS

ASSUMED = ("assumed", "default")


def uncertain_inputs(job: Job, believed: Believed | None = None) -> tuple[Uncertain, ...]:
    """All uncertain inputs of a job, the donor's and the target's; an input that both share is listed once.

    `believed` is how the target breathes in the cells of the job, if that has been worked out already.
    """
    breathing = believed or Believed.of(job)
    found = [
        *_hardware(job),
        *away_from_data(job, one_part=_is_shared(job, _DEAD_TIME)),
        *sensor_errors(job),
        *battery_inputs(job),
        *air_inputs(job, breathing),
        *formula_input(job),
    ]
    return tuple(entry for entry in found if entry.standard > 0)


class _InputKind(NamedTuple):
    """One kind of input that either side has: its words, section, keys, default and what it moves.

    Without a `move` it moves the registry's quantity of its first key, by a share of itself.
    """

    words: str
    section: str
    keys: tuple[str, ...]
    default: str
    move: moves.Move | None = None
    moves_pulse: bool = False


BORE = "throttle bore"
ALCOHOLS = ("ethanol", "methanol")
"""Components whose share in a blend is never exactly what its name says."""

ALCOHOL = "ethanol or methanol"

_DEAD_TIME = _InputKind(
    "dead time", "injectors", ("injectors.dead_time",), "dead time", moves.dead_time, moves_pulse=True
)

_KINDS = (
    _InputKind(
        "injector flow",
        "injectors",
        ("injectors.static_flow", "injectors.bent_line.above", "settings.static_flow"),
        "flow",
        moves.flow,
    ),
    _InputKind("slope of the flow", "injectors", ("injectors.slope",), "flow"),
    _InputKind("slope below the bend", "injectors", ("injectors.bent_line.below",), "flow"),
    _InputKind("mass at the bend", "injectors", ("injectors.bent_line.at_mass",), "flow"),
    _InputKind("rated pressure", "injectors", ("injectors.rated_pressure",), "rated pressure", moves.rated_pressure),
    _InputKind(
        "density of the rating fluid", "injectors", ("injectors.rated_fluid",), "rating fluid", moves.rated_fluid
    ),
    _DEAD_TIME,
    _InputKind("rail pressure", "fuel", ("fuel.rail_pressure",), "rail pressure"),
    *(
        _InputKind(f"{name} content", "fuel", (f"fuel.parts.{name}",), ALCOHOL, partial(moves.component, name=name))
        for name in COMPONENTS
    ),
    _InputKind("stoichiometric ratio of the petrol", "fuel", ("fuel.stoichiometric",), "stoichiometric"),
    _InputKind("density of the petrol", "fuel", ("fuel.density",), "density"),
    _InputKind("fuel temperature", "fuel", ("fuel.temperature",), "fuel temperature", moves.fuel_temperature),
    _InputKind("displacement", "engine", ("engine.displacement", "settings.displacement"), "displacement"),
    _InputKind(BORE, "engine", ("engine.throttle_bore", "engine.throttles.bore"), "throttle bore"),
)

_OTHERS = (
    "settings.formula_factor",
    "conditions.battery",
    "conditions.barometer",
    "conditions.altitude",
    "conditions.charge_temperature",
)


def carries(key: str) -> bool:
    """Whether the band uses a spread that is stated at this job-file key.

    >>> carries("target.injectors.slope"), carries("target.injectors.added_time.time[0]")
    (True, False)
    """
    side, _, rest = key.partition(".")
    if side == "conditions" or re.fullmatch(r"tables\.[^.]+\.(battery|rail_pressure)", rest):
        return True
    if key == INTENDED:
        return True
    of = (*(name for kind in _KINDS for name in kind.keys), *_OTHERS)
    return any(rest == name or rest.startswith((f"{name}.", f"{name}[")) for name in of)


class _Spread(NamedTuple):
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


def _applies(job: Job, side: SideName, kind: _InputKind) -> bool:
    """Whether a side has this input; it may be left out because it cancels."""
    if side == "donor":
        known = {
            "injector flow": job.donor.flow_known,
            "rated pressure": job.donor.flow_known,
            "density of the rating fluid": job.donor.flow_known,
            "dead time": job.donor.dead_time_known,
        }
        if not known.get(kind.words, kind.section != "fuel" or job.donor.fuel_known):
            return False
    if kind.words == BORE:
        return (
            over_throttle(job.donor.table)
            and layout(job.donor.hardware.engine, job.target.hardware.engine) is ThrottleLayout.ALIKE
        )
    if kind.words in ("slope of the flow", "slope below the bend", "mass at the bend"):
        # Without a spread of their own they are as uncertain as the flow, of which they are part.
        return _written(job, side, kind) is not None
    if (name := kind.words.removesuffix(" content")) in COMPONENTS:
        share = dict(_fuel(job, side).parts).get(name, 0.0)
        return (name in ALCOHOLS and 0.0 < share < 1.0) or _written(job, side, kind) is not None
    return kind.words != "fuel temperature" or bool(_fuel(job, side).parts)


def _is_shared(job: Job, kind: _InputKind) -> bool:
    """Whether both sides have the same part: two parts were rated on two benches, whatever the fluid's name."""
    of_target = tuple(f"target.{name}" for name in kind.keys)
    own = any(key.startswith(of_target) for key in job.declared - job.copied)
    own = own or any(_own_key(job, side, kind) in job.inputs for side in SIDES)
    return kind.section in job.same_as_donor and not own


def _uncertain(job: Job, kind: _InputKind, sides: tuple[SideName, ...]) -> Uncertain:
    spread, default = _spread(job, sides[0], kind), SPREADS[kind.default]
    whose = "of both" if len(sides) == 2 else f"of the {sides[0]}"

    move = kind.move or moves.relative(kind.keys[0])

    def shift(world: World, by: FloatArray) -> World:
        for side in sides:
            world = moves.on(world, side, lambda installation: move(installation, by))
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


def _key(job: Job, side: SideName, kind: _InputKind) -> str:
    own = _own_key(job, side, kind)
    return own if own in job.inputs else f"{side}.{kind.keys[0]}"


def _spread(job: Job, side: SideName, kind: _InputKind) -> _Spread:
    default = SPREADS[_default_name(job, side, kind)]
    written = _written(job, side, kind)
    if written is None:
        return _Spread(default.half_width * _petrol_share(job, side, kind) / RECTANGLE, True, True)
    standard = standard_of(written) or 0.0
    return _Spread(
        standard / written.value if default.relative else standard, not written.k2, written.origin in ASSUMED
    )


def _default_name(job: Job, side: SideName, kind: _InputKind) -> str:
    if kind.words == "injector flow" and side == "donor" and job.donor_state is not DonorState.TUNED:
        return "flow of an untuned donor"
    named = f"{side}.fuel.blend" in job.inputs
    if kind.words == "ethanol content" and named and (_fuel(job, side).ethanol or 0.0) > 0.5:
        return "ethanol in E85"
    return kind.default


def _petrol_share(job: Job, side: SideName, kind: _InputKind) -> float:
    """The share of petrol in a fuel: only that part varies from pump to pump."""
    if kind.words not in ("stoichiometric ratio of the petrol", "density of the petrol"):
        return 1.0
    parts = dict(_fuel(job, side).parts)
    return parts.get("petrol", 0.0) if parts else 1.0


def _written(job: Job, side: SideName, kind: _InputKind) -> Input | None:
    """The input of a kind that states a spread, the widest one if there are several; a table's own comes first."""
    own = job.inputs.get(_own_key(job, side, kind))
    if own is not None:
        return own if own.half_width is not None else None
    starts = tuple(f"{side}.{key}" for key in kind.keys)
    spread = [entry for key, entry in job.inputs.items() if entry.half_width is not None and key.startswith(starts)]
    return max(spread, key=lambda entry: standard_of(entry) or 0.0, default=None)


def _own_key(job: Job, side: SideName, kind: _InputKind) -> str:
    """Key by which a further table states this input for itself, such as its rail pressure while cranking."""
    return f"{side}.tables.{job.donor.table.name}.{kind.keys[0].rpartition('.')[2]}"


def _fuel(job: Job, side: SideName) -> Fuel:
    return job.side(side).hardware.fuel
