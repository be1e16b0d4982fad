"""What each uncertain input moves in a world: a relative amount multiplies, an absolute one adds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import cast

import numpy as np

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.belief.world import World
from basemap.constants import ZERO_CELSIUS
from basemap.model.injectors import FlowRating
from basemap.model.installation import FloatArray, Fuel, Installation
from basemap.model.job import SideName
from basemap.physics import fuel as fuels
from basemap.physics.fuel_density import COLDEST_C, HOTTEST_C

Move = Callable[[Installation, FloatArray], Installation]
"""An installation with one of its numbers moved; the amounts have shape (samples, 1, 1)."""


def many(values: FloatArray) -> float:
    """Samples in place of one number: the model computes with both."""
    return cast(float, values)


def on(world: World, side: SideName, change: Callable[[Installation], Installation]) -> World:
    """The world with one side changed."""
    if side == "donor":
        return replace(world, donor=change(world.donor))
    return replace(world, target=change(world.target))


def relative(key: str) -> Move:
    """Move the quantity of a job-file key by a share of itself."""
    quantity = QUANTITIES[key]
    return lambda installation, by: quantity.moved(installation, lambda value: many(value * (1.0 + by)))


def absolute(key: str) -> Move:
    """Move the quantity of a job-file key by an amount in SI."""
    quantity = QUANTITIES[key]
    return lambda installation, by: quantity.moved(installation, lambda value: many(value + by))


def _rated(installation: Installation, change: Callable[[FlowRating], FlowRating]) -> Installation:
    """Change static flow and slopes alike, which were measured on the same bench; the open time at a bend stays."""
    injectors = installation.injectors
    slope = None if injectors.slope is None else change(injectors.slope)
    both = injectors.bent_line
    if both is not None:
        above = change(both.above)
        at_mass = both.at_mass_kg * (above.mass_flow / both.above.mass_flow)
        both = replace(both, below=change(both.below), above=above, at_mass_kg=at_mass)
    return replace(
        installation, injectors=replace(injectors, static=change(injectors.static), slope=slope, bent_line=both)
    )


def flow(installation: Installation, by: FloatArray) -> Installation:
    """Move static flow and slopes alike, relative."""
    return _rated(installation, lambda rating: replace(rating, value=many(rating.value * (1.0 + by))))


def rated_pressure(installation: Installation, by: FloatArray) -> Installation:
    """Move the pressure at which the injectors were rated, relative."""
    return _rated(installation, lambda rating: replace(rating, pressure_pa=many(rating.pressure_pa * (1.0 + by))))


def rated_fluid(installation: Installation, by: FloatArray) -> Installation:
    """Move the density of the fluid with which the injectors were rated, relative."""
    return _rated(installation, lambda rating: replace(rating, fluid_density=many(rating.fluid_density * (1.0 + by))))


def _scaled(
    installation: Installation, *, stoichiometric: FloatArray | float = 1.0, density: FloatArray | float = 1.0
) -> Installation:
    fuel = installation.fuel
    changed = replace(
        fuel,
        stoichiometric=many(np.multiply(fuel.stoichiometric, stoichiometric)),
        density=many(np.multiply(fuel.density, density)),
    )
    return replace(installation, fuel=changed)


def component(installation: Installation, by: FloatArray, *, name: str) -> Installation:
    """More of one component and less of all others: this moves density and stoichiometric ratio together."""
    fuel = installation.fuel
    parts = dict(fuel.parts)
    before = parts.get(name, 0.0)
    share = np.clip(before + by, 0.0, 1.0)
    rest = (1.0 - share) / (1.0 - before) if before < 1.0 else 1.0 - share
    others = {other: many(part * rest) for other, part in parts.items() if other != name}
    instead = others or {"ethanol" if name == "petrol" else "petrol": many(rest)}
    now = fuels.mixture({**instead, name: many(share)}, fuel.temperature_k)
    then = _blended(fuel.parts, fuel.temperature_k)
    return _scaled(
        installation,
        stoichiometric=now.stoichiometric / then.stoichiometric,
        density=now.density / then.density,
    )


def fuel_temperature(installation: Installation, by: FloatArray) -> Installation:
    """Move the temperature of the fuel in the rail, K, and with it the density."""
    return _scaled(installation, density=1.0 - _expansion(installation.fuel) * by)


def _expansion(fuel: Fuel) -> float:
    """Cubic expansion of the fuel in the rail, 1/K; petrol's where the composition is not known."""
    parts = fuel.parts or (("petrol", 1.0),)
    # One kelvin to either side, cut at the ends of the range in which densities are known.
    cold_k = max(fuel.temperature_k - 1.0, COLDEST_C + ZERO_CELSIUS)
    warm_k = min(fuel.temperature_k + 1.0, HOTTEST_C + ZERO_CELSIUS)
    cold, warm = (_blended(parts, temperature_k).density for temperature_k in (cold_k, warm_k))
    return float((cold - warm) / ((warm_k - cold_k) * _blended(parts, fuel.temperature_k).density))


@lru_cache(maxsize=64)  # the inputs of one job ask for the same few blends again and again
def _blended(parts: tuple[tuple[str, float], ...], temperature_k: float) -> fuels.Mixture:
    """The mixture of a fuel as the job states it."""
    return fuels.mixture(dict(parts), temperature_k)


def dead_time(installation: Installation, by: FloatArray) -> Installation:
    """Move the whole dead-time curve, s."""
    injectors = installation.injectors
    dead = replace(injectors.dead_time, shift_s=many(injectors.dead_time.shift_s + by))
    return replace(installation, injectors=replace(injectors, dead_time=dead))


def battery(installation: Installation, by: FloatArray) -> Installation:
    """Move the voltage at the injector, V, while the ECU, or whoever made the cell, takes it to be the job's."""
    injectors = installation.injectors
    dead = replace(injectors.dead_time, shift_v=many(injectors.dead_time.shift_v + by))
    return replace(installation, injectors=replace(injectors, dead_time=dead))
