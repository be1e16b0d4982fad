"""How much of the charge the vapour of another kind of fuel takes."""

from __future__ import annotations

import itertools

from basemap.constants import SAME
from basemap.model.installation import Fuel
from basemap.model.job import Job
from basemap.physics.fuel import COMPONENTS, volume_displaced
from basemap.physics.fuel_density import LOWEST_PETROL_RATIO

FUEL_FAR = 0.05
"""How far apart, as a share, the stoichiometric ratios of fuels of one family may be. Common practice, no source."""

DISPLACED = 0.01
"""Largest difference of the shares of the charge that two vapours take that does not count. Common practice."""


def displaced(job: Job) -> tuple[float, float] | None:
    """Share of the charge that the donor's and the target's fuel takes at λ 1 if all of it evaporates.

    If only the stoichiometric ratio of a fuel is known, it is taken as petrol with alcohol of the same ratio, with the
    alcohol that makes the difference largest. `None` if the fuels are of one family or their family is unknown.
    """
    donor, target = job.donor.hardware.fuel, job.target.hardware.fuel
    if not job.donor.fuel_known or one_family(donor, target):
        return None
    both = [
        tuple(volume_displaced(parts, 1.0) for parts in pair)
        for pair in itertools.product(_compositions(donor), _compositions(target))
    ]
    before, now = max(both, key=lambda pair: abs(pair[1] - pair[0]), default=(0.0, 0.0))
    return None if abs(now - before) <= DISPLACED + SAME else (before, now)


def one_family(donor: Fuel, target: Fuel) -> bool:
    """Whether fuels of unknown composition count as one family: their stoichiometric ratios nearly agree."""
    known = bool(donor.parts and target.parts)
    return not known and abs(target.stoichiometric / donor.stoichiometric - 1.0) <= FUEL_FAR


def _compositions(fuel: Fuel) -> list[dict[str, float]]:
    """Possible compositions of a fuel, by volume; empty if its ratio fits neither petrol nor an alcohol."""
    if fuel.parts:
        return [dict(fuel.parts)]
    petrol, ratio = COMPONENTS["petrol"], fuel.stoichiometric
    if ratio >= LOWEST_PETROL_RATIO:
        return [{"petrol": 1.0}] if ratio <= petrol.stoichiometric * (1.0 + FUEL_FAR) else []
    found = []
    for name in ("ethanol", "methanol"):
        alcohol = COMPONENTS[name]
        share = (petrol.stoichiometric - ratio) / (petrol.stoichiometric - alcohol.stoichiometric)
        if share <= 1.0 + FUEL_FAR:
            share = min(share, 1.0)
            volumes = {"petrol": (1.0 - share) / petrol.density_15, name: share / alcohol.density_15}
            whole = sum(volumes.values())
            found.append({part: volume / whole for part, volume in volumes.items()})
    return found
