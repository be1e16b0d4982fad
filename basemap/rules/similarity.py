"""Rules on how alike the two installations are: size of a cylinder, kind of fuel."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.adaptation.fuel_vapour import DISPLACED, FUEL_FAR, displaced, one_family
from basemap.constants import SAME
from basemap.model.finding import Severity
from basemap.model.likeness import Likeness
from basemap.rounding import excess, rounded_down, rounded_up
from basemap.rules.case import Case
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, Answer, Missing, Rule, Trip

SIZE_LOW, SIZE_LOWEST = 0.7, 0.5
SIZE_HIGH, SIZE_HIGHEST = 1.4, 2.0
REBORED = 0.05
"""How far a bore to the largest oversize changes a displacement: 2 mm on 80 mm. Common practice, no source."""
CC = 1e-6


def _cylinder_size(case: Case) -> Iterator[Answer]:
    before = case.job.donor.hardware.engine.cylinder_volume_m3
    now = case.job.target.hardware.engine.cylinder_volume_m3
    ratio = round(now / before, 9)
    if case.job.likeness is Likeness.SAME_ENGINE and abs(ratio - 1.0) > REBORED + SAME:
        yield Trip(
            Severity.CAUTION,
            f"A cylinder of the target has {now / CC:.4g} cc and the donor's {before / CC:.4g} cc, but likeness is "
            f'"same engine" (caution beyond {100 * REBORED:g} %): the band on λ is too narrow for two such engines.',
            'State likeness = "same head and cams" if they share both, else "another engine".',
            value=ratio,
            limit=1.0 + (REBORED if ratio > 1.0 else -REBORED),
            cause="likeness",
        )
    low = grade(ratio, Limits(SIZE_LOW, SIZE_LOWEST, above=False))
    found = low or grade(ratio, Limits(SIZE_HIGH, SIZE_HIGHEST))
    if found is None:
        return
    number = rounded_down(ratio, 3) if low else rounded_up(ratio, 3)
    yield Trip(
        found.severity,
        f"A cylinder of the target has {now / CC:.4g} cc, {number} times the donor's {before / CC:.4g} cc "
        f"({found.severity} {'below' if low else 'above'} {found.limit:g}): they may breathe differently.",
        value=ratio,
        limit=found.limit,
    )


CYLINDER_SIZE = Rule(
    name="cylinder-size",
    title="Cylinder size",
    threshold=f"Target's cylinder volume / donor's cylinder volume outside {SIZE_LOW:g} to {SIZE_HIGH:g}: caution; "
    f"outside {SIZE_LOWEST:g} to {SIZE_HIGHEST:g}: stop. More than {100 * REBORED:g} % from 1 where likeness is "
    '"same engine": caution.',
    why="Only similar engines breathe alike. Cylinders of such different size differ in bore, valves and runners.",
    source=PRACTICE,
    remedy="1. Use a donor whose cylinders are closer in size. 2. Otherwise expect to tune every cell: start rich at "
    "load, and do not rely on the shape of the table over speed.",
    judge=_cylinder_size,
    can_stop=True,
    about_table=False,
)


def _fuel_vapour(case: Case) -> Iterator[Answer]:
    job = case.job
    if not job.donor.fuel_known:
        yield Missing(("donor.fuel",))
        return
    donor, target = job.donor.hardware.fuel, job.target.hardware.fuel
    found = displaced(job)
    unknown = [f"{side}.fuel.parts" for side, fuel in (("donor", donor), ("target", target)) if not fuel.parts]
    if unknown and not one_family(donor, target):
        yield Missing(tuple(unknown), _not_known(found))
        return
    if found is None:
        return
    before, now = found
    air = (1.0 - now) / (1.0 - before)
    yield Trip(
        Severity.NOTE if air < 1 else Severity.CAUTION,
        f"If all of it evaporates before the valves close, the target's fuel takes {100 * now:.1f} % of the charge "
        f"and the donor's {100 * before:.1f} % (at λ 1): the target then draws up to {excess(air)} % "
        f"{'less' if air < 1 else 'more'} air and runs {'richer' if air < 1 else 'leaner'}. The cooling by "
        "evaporation works the other way. The cells allow for neither; the band on λ is wider instead.",
        value=100.0 * (now - before),
        limit=100.0 * DISPLACED,
        cause=None if air < 1 else "fuel vapour, leaner",
    )


def _not_known(found: tuple[float, float] | None) -> str:
    """The assumption for an unknown composition, in words."""
    if found is None:
        return (
            "It is not known whether its vapour takes up more of the charge, and the band on λ does not allow for it."
        )
    before, now = found
    return (
        "Taken as petrol with whichever alcohol makes the largest difference at its stoichiometric ratio, the "
        f"target's fuel takes {100 * now:.1f} % of the charge and the donor's {100 * before:.1f} % (at λ 1): the "
        "band on λ is wider for that."
    )


FUEL_VAPOUR = Rule(
    name="fuel-vapour",
    title="Different kind of fuel",
    threshold=f"The two fuels' vapours take up shares of the charge that differ by more than {100 * DISPLACED:g} % of "
    "the charge: caution where that makes the target leaner, else note. The target's volumetric efficiency is then "
    f"uncertain by that much more. A fuel given only by its stoichiometric ratio, more than {100 * FUEL_FAR:g} % "
    "from the other fuel's: not judged; it is taken as petrol with ethanol or methanol, whichever makes the larger "
    "difference.",
    why="Vapour displaces air, and evaporation cools it: the volumetric efficiency carried over is the donor's on the "
    "donor's fuel.",
    source=f"{MODEL}; its limit: {PRACTICE}",
    remedy="Expect the whole table to be off by up to that much, and trim it on the target with the wideband.",
    judge=_fuel_vapour,
    about_table=False,
)
