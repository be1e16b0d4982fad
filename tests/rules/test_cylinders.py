"""Number of cylinders, firing order, trigger, trims per cylinder."""

from __future__ import annotations

from dataclasses import replace

import pytest

from basemap.model.finding import NotJudged, Severity
from basemap.model.job import Job
from basemap.rules.judge import judge
from tests.builders.cases import each
from tests.builders.computed import (
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_donor,
    with_target,
)

CAUTION = [Severity.CAUTION]


@pytest.mark.law
@each(("cylinders", "expected"), [(4, []), (6, CAUTION)])
def test_cylinder_count(cylinders: int, expected: list[Severity]) -> None:
    job = with_target(make_job(), "engine", cylinders=cylinders)
    assert severities(make_computed(job), "cylinder-count") == expected


@pytest.mark.pin
def test_what_is_said_of_the_cylinder_count() -> None:
    (finding,) = found(make_computed(with_target(make_job(), "engine", cylinders=6)), "cylinder-count")
    assert finding.message == (
        "The donor has 4 cylinders, the target 6: fuel per cylinder is adapted; firing order, trigger and output "
        "wiring are not."
    )


def firing(donor: tuple[str | None, str | None], target: tuple[str | None, str | None]) -> Job:
    """Firing order and trigger of either side."""
    job = with_donor(make_job(), "engine", firing_order=donor[0], trigger=donor[1])
    return with_target(job, "engine", firing_order=target[0], trigger=target[1])


@pytest.mark.law
@each(
    ("donor", "target", "expected"),
    [
        (("1-3-4-2", "36-1"), ("1-3-4-2", "36-1"), []),
        (("1-3-4-2", "36-1 on the  crank"), ("1-3-4-2", "36-1 On the crank"), []),
        (("1-3-4-2", "36-1"), ("1-2-4-3", "36-1"), CAUTION),
        (("1-3-4-2", "36-1"), ("1-3-4-2", "60-2"), CAUTION),
    ],
)
def test_firing_order_and_trigger(donor: tuple[str, str], target: tuple[str, str], expected: list[Severity]) -> None:
    computed = make_computed(firing(donor, target))
    assert severities(computed, "firing-and-trigger") == expected
    assert missing(computed, "firing-and-trigger") == []


@pytest.mark.pin
def test_what_is_said_of_firing_order_and_trigger() -> None:
    (finding,) = found(make_computed(firing(("1-3-4-2", "36-1"), ("1-2-4-3", "60-2"))), "firing-and-trigger")
    assert finding.message == (
        "On the target the firing order is 1-2-4-3 instead of 1-3-4-2 and the trigger is 60-2 instead of 36-1. This "
        "is not adapted: with the donor's, the engine kicks back, fires into an open valve or injects against a "
        "closed one."
    )


@pytest.mark.law
def test_what_firing_and_trigger_lack_is_named() -> None:
    computed = make_computed(firing((None, "36-1"), ("1-3-4-2", None)))
    assert missing(computed, "firing-and-trigger") == [
        NotJudged("firing-and-trigger", ("donor.engine.firing_order", "target.engine.trigger"))
    ]
    assert severities(computed, "firing-and-trigger") == []


@pytest.mark.law
def test_another_number_of_cylinders_is_not_another_firing_order_as_well() -> None:
    job = with_target(firing(("1-3-4-2", "36-1"), ("1-5-3-6-2-4", "36-1")), "engine", cylinders=6)
    assert severities(make_computed(job), "firing-and-trigger") == []


@pytest.mark.law
def test_a_single_cylinder_has_no_firing_order() -> None:
    job = with_both(firing((None, "36-1"), (None, "36-1")), "engine", cylinders=1)
    assert missing(make_computed(job), "firing-and-trigger") == []


@pytest.mark.law
def test_one_engine_has_one_firing_order() -> None:
    job = replace(firing((None, None), (None, None)), same_as_donor=frozenset({"engine"}))
    assert missing(make_computed(job), "firing-and-trigger") == []


@pytest.mark.law
@each(("trims", "expected"), [(False, []), (True, [Severity.STOP]), (None, [])])
def test_trims_per_cylinder(trims: bool | None, expected: list[Severity]) -> None:
    assert severities(make_computed(make_job(cylinder_trims=trims)), "cylinder-trims") == expected


@pytest.mark.pin
def test_what_is_said_of_trims_per_cylinder() -> None:
    (finding,) = found(make_computed(make_job(cylinder_trims=True)), "cylinder-trims")
    assert finding.message == (
        "The donor's map holds trims per cylinder. On the target they make one cylinder lean and another rich, and a "
        "wideband in the common exhaust shows neither: they belong to the donor's ports and injectors."
    )
    assert finding.remedy == (
        "1. Set every trim per cylinder in the map to zero. 2. State donor.cylinder_trims = false and run again. 3. "
        "Trim the target's cylinders by reading their own plugs or probes."
    )


@pytest.mark.law
def test_trims_that_the_job_does_not_speak_of_are_not_judged() -> None:
    computed = make_computed(make_job(cylinder_trims=None))
    assert missing(computed, "cylinder-trims") == [NotJudged("cylinder-trims", ("donor.cylinder_trims",))]
    (entry,) = [one for one in judge(computed).not_judged if one.rule == "cylinder-trims"]
    assert (entry.message, entry.can_stop) == ("One cylinder may run leaner than any wideband shows.", True)


@pytest.mark.law
def test_a_single_cylinder_has_no_trims_to_ask_for() -> None:
    assert (
        severities(make_computed(with_both(make_job(cylinder_trims=None), "engine", cylinders=1)), "cylinder-trims")
        == []
    )


@pytest.mark.law
@each(
    ("shared", "displacement", "expected"),
    [
        ({"engine", "injectors"}, 1998e-6, []),
        ({"engine", "injectors"}, 2028e-6, [Severity.STOP]),
        ({"engine"}, 1998e-6, [Severity.STOP]),
        ({"injectors"}, 1998e-6, [Severity.STOP]),
    ],
)
def test_trims_belong_to_their_own_cylinders_and_injectors(
    shared: set[str], displacement: float, expected: list[Severity]
) -> None:
    job = replace(make_job(cylinder_trims=True), same_as_donor=frozenset(shared))
    job = with_target(job, "engine", displacement_m3=displacement)
    assert severities(make_computed(job), "cylinder-trims") == expected


@pytest.mark.law
@pytest.mark.parametrize(
    ("job", "rule"),
    [
        (make_job(cylinder_trims=True), "cylinder-trims"),
        (firing(("1-3-4-2", "36-1"), ("1-3-4-2", "60-2")), "firing-and-trigger"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_whole_job_that_trips_it_alone(job: Job, rule: str) -> None:
    usual = {finding.rule for finding in judge(make_computed()).findings}
    assert {finding.rule for finding in judge(make_computed(job)).findings} - usual - {"half-loaded"} == {rule}
