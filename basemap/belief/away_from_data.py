"""Injectors that are used in other conditions than their data was measured in: rail pressure, kind of fuel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

from basemap.adaptation.fuel_vapour import displaced
from basemap.adaptation.quantities.registry import SPREADS
from basemap.belief import moves
from basemap.belief.spreads import RECTANGLE
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import World
from basemap.model.installation import FloatArray, Installation
from basemap.model.job import SIDES, Job, SideName

DEAD_TIME, DISCHARGE = "dead time at its rail pressure", "discharge coefficient"
LEAST_BAR = 1e-9
"""Smaller differences are rounding: a pressure written in another unit differs in its last bit."""


def away_from_data(job: Job, *, one_part: bool) -> Iterator[Uncertain]:
    """What the data of the injectors does not tell about the conditions in which they are used.

    Parameters
    ----------
    one_part
        Whether both sides have the same injectors: their dead time then rises with pressure in the same way.
    """
    away = {side: _bar_away(job.side(side).hardware) for side in SIDES if job.side(side).dead_time_known}
    if one_part and len(away) == len(SIDES):
        yield from _dead_time("both", away)
    else:
        for side, bar in away.items():
            yield from _dead_time(f"the {side}", {side: bar})
    if displaced(job) is not None:
        yield _discharge()


def _bar_away(hardware: Installation) -> float:
    """Rail pressure less the pressure at which the dead times were measured, if they state none, bar; else 0."""
    if hardware.injectors.dead_time.pressure_pa is not None:
        return 0.0
    return (hardware.fuel.rail_pressure_pa - hardware.injectors.line.pressure_pa) / 1e5


def _dead_time(whose: str, away: Mapping[SideName, float]) -> Iterator[Uncertain]:
    """Dead time per bar of difference: one unknown, for either sign of the difference."""
    if max(abs(bar) for bar in away.values()) <= LEAST_BAR:
        return
    default = SPREADS[DEAD_TIME]
    yield Uncertain(
        name=f"{DEAD_TIME} of {whose}",
        keys=tuple(f"{side}.injectors.dead_time.pressure" for side in away),
        standard=default.half_width / RECTANGLE,
        unit=default.unit,
        assumed=True,
        shift=partial(_later, away=dict(away)),
        moves_pulse=True,
        measured_to=default.measured_to / RECTANGLE,
    )


def _later(world: World, by: FloatArray, *, away: Mapping[SideName, float]) -> World:
    for side, bar in away.items():
        world = moves.on(world, side, partial(moves.dead_time, by=by * bar))
    return world


def _discharge() -> Uncertain:
    """The air was decoded with the donor's fuel, so an error with another fuel is the target's alone."""
    default = SPREADS[DISCHARGE]
    return Uncertain(
        name=f"{DISCHARGE} with a fuel of another family",
        keys=("target.fuel",),
        standard=default.half_width / RECTANGLE,
        unit=default.unit,
        assumed=True,
        shift=lambda world, by: moves.on(world, "target", partial(moves.flow, by=by)),
    )
