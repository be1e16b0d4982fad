"""Uncertain inputs other than hardware: voltages, air, the ECU's own formula."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from basemap.adaptation.chain import settled
from basemap.adaptation.fuel_vapour import displaced
from basemap.adaptation.quantities.registry import SPREADS
from basemap.adaptation.setting_fields import in_force
from basemap.adaptation.throttle import ThrottleLayout, donor_ratio, layout, over_throttle, target_ratio
from basemap.belief import moves
from basemap.belief.breathing import Believed
from basemap.belief.spreads import EFFICIENCY, RECTANGLE, STARTER_V, THROTTLE_TRANSFER
from basemap.belief.uncertain import Uncertain, standard_of
from basemap.belief.world import World
from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import SIDES, Input, Job, SideName
from basemap.model.likeness import Breathing
from basemap.model.table import TableQuantity

INTENDED = "donor.tables.fuel.lambda"
MAIN = "fuel"
"""Name of the main table."""


def _stated(job: Job, keys: tuple[str, ...]) -> Input | None:
    stated = (job.inputs.get(key) for key in keys)
    return next((entry for entry in stated if entry is not None and entry.half_width is not None), None)


def _battery_keys(job: Job, side: SideName) -> tuple[str, ...]:
    """Keys that may state the spread of a side's voltage; a further table that states its own has only that."""
    name = job.donor.table.name
    keys = (f"{side}.tables.{name}.battery", f"{side}.conditions.battery", "conditions.battery")
    own = [key for key in (keys[0], f"donor.tables.{name}.battery") if key in job.inputs]
    return keys if name == MAIN or not own else (own[0],)


def battery_inputs(job: Job) -> Iterator[Uncertain]:
    """The true voltage at the injectors of either side, while ECU and cells assume that of the job."""
    for side, table in zip(SIDES, (job.donor.table, job.target.table), strict=True):
        # An ECU that corrects by the voltage it reads follows the starter; dead time inside a cell does not.
        starter = table.inside.dead_time and table.battery_v <= STARTER_V
        default = SPREADS["battery while the starter turns" if starter else "battery"]
        keys = _battery_keys(job, side)
        stated = _stated(job, keys)
        standard = default.half_width / RECTANGLE if stated is None else standard_of(stated)
        yield Uncertain(
            name=f"battery voltage of the {side}",
            keys=keys,
            standard=standard or 0.0,
            unit="V",
            assumed=stated is None,
            shift=lambda world, by, side=side: moves.on(  # type: ignore[misc]
                world, side, lambda installation: moves.battery(installation, by)
            ),
            rectangular=stated is None or not stated.k2,
            moves_pulse=True,
            measured_to=default.measured_to / RECTANGLE,
        )


def air_inputs(job: Job, believed: Believed) -> Iterator[Uncertain]:
    """The air itself: how the donor and the target breathe, and conditions with a stated spread."""
    yield _target_breathes(job, believed)
    yield Uncertain(
        name="volumetric efficiency of the donor",
        keys=("donor.state",),
        standard=EFFICIENCY[job.donor_state],
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by))),
        rectangular=False,
    )
    yield from page_inputs(job)
    yield from _intended(job)
    yield from _vapour(job)
    yield from _inlet_mach(job, believed)
    yield from _throttle(job)
    for name, unit, move in (
        ("barometer", "kPa", moves.absolute("conditions.barometer")),
        ("charge_temperature", "K", moves.absolute("conditions.charge_temperature")),
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


_ON_PAGE = {"displacement": 1.0, "static_flow": -1.0, "stoichiometric": -1.0, "dead_time": 0.0}
"""Power of each setting in the air that the donor's cells mean."""


def page_inputs(job: Job) -> Iterator[Uncertain]:
    """Settings of the donor's ECU with which the cells were tuned, if nobody read the settings page."""
    table = job.donor.table
    told = {"dead_time"} if not table.inside.dead_time else set()
    if table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY:
        told |= {"displacement", "static_flow", "stoichiometric"}
    for one in job.assumed:
        name = one.key.removeprefix("donor.settings.")
        if name == one.key or name not in told:
            continue
        words = name.replace("static_flow", "flow").replace("stoichiometric", "stoichiometric ratio").replace("_", " ")
        default = SPREADS[f"{words} on a page not read"]
        yield Uncertain(
            name=f"{words} on the donor's settings page",
            keys=(one.key,),
            standard=default.half_width / RECTANGLE,
            unit=default.unit,
            assumed=True,
            shift=_told_dead_time if name == "dead_time" else partial(_told_share, power=_ON_PAGE[name]),
            moves_pulse=name == "dead_time",
            measured_to=0.0,
        )


def _told_share(world: World, by: FloatArray, *, power: float) -> World:
    return replace(world, efficiency=moves.many(world.efficiency * (1.0 + by) ** power))


def _told_dead_time(world: World, by: FloatArray) -> World:
    """The told dead time is off: only its difference from the injectors' own counts, so that is moved instead."""
    return moves.on(world, "donor", lambda installation: moves.dead_time(installation, -by))


def _intended(job: Job) -> Iterator[Uncertain]:
    """The donor's intended mixture: it determines the air, but cancels if the target takes the same mixture."""
    stated = job.inputs.get(INTENDED)
    own = "target.tables.fuel.lambda" in job.declared
    if stated is None or stated.half_width is None or not own or job.donor.table.name != MAIN:
        return
    yield Uncertain(
        name="intended λ of the donor",
        keys=(INTENDED,),
        standard=(standard_of(stated) or 0.0) / stated.value,
        unit="%",
        assumed=stated.origin != "declared",
        shift=lambda world, by: replace(world, donor_lambda=moves.many(world.donor_lambda * (1.0 + by))),
        rectangular=not stated.k2,
    )


def _vapour(job: Job) -> Iterator[Uncertain]:
    """A different kind of fuel: its vapour displaces air, but its cooling works against that."""
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


def _target_breathes(job: Job, believed: Believed) -> Uncertain:
    """How the target breathes: the field, cell by cell; for Monte Carlo, drawn for all cells together."""
    standard = np.nan_to_num(believed.breathing.standard)

    def shift(world: World, by: FloatArray) -> World:
        return replace(world, efficiency=moves.many(world.efficiency * np.exp(by * standard)))

    def draw(count: int, random: np.random.Generator) -> FloatArray:
        return believed.draw(count, random)

    counts_air = job.donor.table.points.axis is LoadAxis.AIR_MASS
    what = "meter of the air" if counts_air else "breathing"
    whose = "" if counts_air else f" ({job.likeness})"
    return Uncertain(
        name=f"{what} of the target{whose}",
        keys=("target.engine.likeness", *(key for entry in believed.breathing.evidence for key in entry.keys)),
        standard=1.0,
        unit="%",
        assumed=True,
        shift=shift,
        rectangular=False,
        draw=draw,
    )


def _inlet_mach(job: Job, believed: Believed) -> Iterator[Uncertain]:
    """The estimate by inlet Mach index is as uncertain as its effect in each cell: from no effect to twice as much."""
    if job.breathing is not Breathing.INLET_MACH:
        return
    effect = np.nan_to_num(-np.expm1(-believed.breathing.expected))
    yield Uncertain(
        name=f"estimate of the breathing ({job.breathing}), as a share of its own effect",
        keys=("options.breathing",),
        standard=1.0 / RECTANGLE,
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by * effect))),
        rectangular=True,
    )


def _throttle(job: Job) -> Iterator[Uncertain]:
    """The transfer between two throttles is uncertain by a tenth of its effect, as found with a simulation."""
    if (
        not over_throttle(job.donor.table)
        or layout(job.donor.hardware.engine, job.target.hardware.engine) is not ThrottleLayout.ALIKE
    ):
        return
    behind = settled(job, in_force(job))
    before = donor_ratio(behind)
    with np.errstate(divide="ignore", invalid="ignore"):
        effect = before / target_ratio(behind, before) - 1.0
    effect = behind.at_similar_points.of(np.where(np.isfinite(effect), effect, 0.0))
    yield Uncertain(
        name="transfer between the throttles, as a share of its own effect",
        keys=("donor.engine.throttle_bore", "target.engine.throttle_bore"),
        standard=THROTTLE_TRANSFER / RECTANGLE,
        unit="%",
        assumed=True,
        shift=lambda world, by: replace(world, efficiency=moves.many(world.efficiency * (1.0 + by * effect))),
        rectangular=True,
    )


def formula_input(job: Job) -> Iterator[Uncertain]:
    """κ of the ECU that works with volumetric efficiency: of both sides, or of one; an ECU of pulses has none."""
    of = [job.donor.table.quantity, job.target.table.quantity]
    if TableQuantity.VOLUMETRIC_EFFICIENCY not in of:
        return
    side = SIDES[of.index(TableQuantity.VOLUMETRIC_EFFICIENCY)]
    stated = _stated(job, (f"{side}.settings.formula_factor",))
    relative = SPREADS["formula factor"].half_width / RECTANGLE
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
