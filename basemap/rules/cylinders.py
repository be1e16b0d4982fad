"""Rules on what single cylinders get: their number, their order, their trims."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.model.finding import Severity
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Missing, Rule, Trip


def _cylinder_count(case: Case) -> Iterator[Answer]:
    before, now = case.job.donor.hardware.engine.cylinders, case.job.target.hardware.engine.cylinders
    if before != now:
        yield Trip(
            Severity.CAUTION,
            f"The donor has {before} cylinders, the target {now}: fuel per cylinder is adapted; firing order, trigger "
            "and output wiring are not.",
            value=float(now),
            limit=float(before),
        )


CYLINDER_COUNT = Rule(
    name="cylinder-count",
    title="Cylinder count",
    threshold="The two engines have different numbers of cylinders: caution.",
    why="The donor's map brings the firing order, trigger pattern and outputs of another engine.",
    source=PRACTICE,
    remedy="1. Set the cylinder count, firing order, trigger and injector outputs of the target. 2. Zero any trims per "
    "cylinder. 3. Check each output on the bench before the first start.",
    judge=_cylinder_count,
    about_table=False,
)


def _firing(case: Case) -> Iterator[Answer]:
    if "engine" in case.job.same_as_donor:
        return
    donor, target = case.job.donor.hardware.engine, case.job.target.hardware.engine
    stated = {"trigger": (donor.trigger, target.trigger)}
    # Engines with different numbers of cylinders always fire in different orders: the rule above says so.
    if donor.cylinders == target.cylinders > 1:
        stated = {"firing_order": (donor.firing_order, target.firing_order), **stated}
    keys = [
        f"{side}.engine.{name}"
        for name, both in stated.items()
        for side, value in zip(("donor", "target"), both, strict=True)
        if value is None
    ]
    if keys:
        yield Missing(tuple(keys))
    differ = [
        f"the {name.replace('_', ' ')} is {now} instead of {before}"
        for name, (before, now) in stated.items()
        if before is not None and now is not None and _plain(before) != _plain(now)
    ]
    if differ:
        yield Trip(
            Severity.CAUTION,
            f"On the target {' and '.join(differ)}. This is not adapted: with the donor's, the engine kicks back, "
            "fires into an open valve or injects against a closed one.",
        )


def _plain(text: str) -> str:
    """A text of the user's own without its capitals and extra spaces."""
    return " ".join(text.casefold().split())


FIRING = Rule(
    name="firing-and-trigger",
    title="Firing order and trigger",
    threshold="Firing order or trigger pattern differs from the donor's, as both are written: caution.",
    why="Both come with the donor's map: spark and injection then happen in the wrong cylinder or at the wrong angle.",
    source=PRACTICE,
    remedy="1. Set the target's own firing order and trigger. 2. With the injectors unplugged, check the timing with a "
    "light at a fixed advance while it cranks.",
    judge=_firing,
    about_table=False,
)


def _cylinder_trims(case: Case) -> Iterator[Answer]:
    job = case.job
    if _same_cylinders(case):
        return
    if job.cylinder_trims is None and job.donor.hardware.engine.cylinders > 1:
        yield Missing(("donor.cylinder_trims",), "One cylinder may run leaner than any wideband shows.")
    elif job.cylinder_trims:
        yield Trip(
            Severity.STOP,
            "The donor's map holds trims per cylinder. On the target they make one cylinder lean and another rich, "
            "and a wideband in the common exhaust shows neither: they belong to the donor's ports and injectors.",
        )


def _same_cylinders(case: Case) -> bool:
    """Whether the target has the cylinders and injectors for which the trims were set."""
    donor, target = case.job.donor.hardware.engine, case.job.target.hardware.engine
    size = donor.cylinders == target.cylinders and donor.displacement_m3 == target.displacement_m3
    return size and {"engine", "injectors"} <= case.job.same_as_donor


CYLINDER_TRIMS = Rule(
    name="cylinder-trims",
    title="Trims per cylinder",
    threshold="Non-zero fuel trims per cylinder in the map, and cylinders or injectors other than those they were set "
    "for: stop until they are zeroed.",
    why="A trim of 10 % runs one cylinder 10 % lean at load and melts its piston, while the mean mixture is right.",
    source=PRACTICE,
    remedy="1. Set every trim per cylinder in the map to zero. 2. State donor.cylinder_trims = false and run again. "
    "3. Trim the target's cylinders by reading their own plugs or probes.",
    judge=_cylinder_trims,
    can_stop=True,
    about_table=False,
)
