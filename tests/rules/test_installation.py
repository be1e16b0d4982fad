"""Fuel, cylinders, injection mode, ignition, and what the job does not know."""

from __future__ import annotations

from dataclasses import replace

import pytest

from basemap.model.finding import NotJudged, Severity
from basemap.model.installation import Told
from basemap.model.job import Assumption, Job
from tests.builders.cases import each
from tests.builders.computed import (
    boosted,
    found,
    make_computed,
    make_job,
    missing,
    severities,
    with_both,
    with_donor,
    with_donor_side,
    with_target,
)

CAUTION = [Severity.CAUTION]


@pytest.mark.law
@each(
    ("ratio", "expected", "limit"),
    [
        (1.0199, [], None),
        (1.0201, CAUTION, 2.0),
        (0.9799, CAUTION, 2.0),
        (1.0499, CAUTION, 2.0),
        (1.0501, CAUTION, 5.0),
        (0.7, CAUTION, 5.0),
    ],
)
def test_fuel(ratio: float, expected: list[Severity], limit: float | None) -> None:
    computed = make_computed(with_target(make_job(), "fuel", stoichiometric=14.0 * ratio))
    assert severities(computed, "fuel") == expected
    assert [finding.limit for finding in found(computed, "fuel")] == [limit] * len(expected)


@pytest.mark.pin
@each(
    ("stuck", "done"),
    [
        (frozenset(), "Once adapted, the settings to enter allow for it, the cells do not."),
        (frozenset({"stoichiometric"}), "Once adapted, the new cells allow for it."),
    ],
)
def test_what_is_said_of_another_fuel(stuck: frozenset[str], done: str) -> None:
    job = replace(with_target(make_job(), "fuel", name="E60", stoichiometric=11.2), cannot_be_told=stuck)
    (finding,) = found(make_computed(job), "fuel")
    assert finding.message == (
        "The stoichiometric ratio changes from 14.000 (E10) to 11.200 (E60), by 20.0 % (above 5 %: only adapted): if "
        f"loaded as it is, this alone makes the mixture 25.0 % lean. {done}"
    )
    assert finding.table is None


@pytest.mark.law
def test_a_donor_fuel_that_cancels_is_not_judged() -> None:
    computed = make_computed(with_donor_side(make_job(), fuel_known=False))
    assert missing(computed, "fuel") == [NotJudged("fuel", ("donor.fuel",))]
    assert severities(computed, "fuel") == []


@pytest.mark.check_value
def test_e85_by_name_only_shows_its_spread() -> None:
    # 51 and 83 % by volume: ASTM D5798. By hand with petrol 745 kg/m3 and 14.60, ethanol 793.7 kg/m3 and 9.00:
    # w = 0.5259 and 0.8387, L = 11.655 and 9.903; against 9.80: −15.9 and −1.04 % fuel (−1.05 with 14.598 and 9.002).
    computed = make_computed(with_both(make_job(), "fuel", name="E85", stoichiometric=9.80))
    donor, target = found(computed, "fuel")
    assert donor.message == (
        "The donor's fuel is E85 by name only. By ASTM D5798 that is 51 to 83 % ethanol: a stoichiometric ratio of "
        "11.66 to 9.90, where 9.80 is used. The same air then needs -16.0 % to -1.1 % fuel, and the target runs 19.0 "
        "% lean to 1.1 % lean."
    )
    assert target.message == (
        "The target's fuel is E85 by name only. By ASTM D5798 that is 51 to 83 % ethanol: a stoichiometric ratio of "
        "11.66 to 9.90, where 9.80 is used. The same air then needs -16.0 % to -1.1 % fuel, and the target runs 16.0 "
        "% rich to 1.1 % rich."
    )
    assert (donor.severity, target.severity) == (Severity.CAUTION, Severity.CAUTION)


@pytest.mark.law
@each("key", ["parts", "stoichiometric"])
def test_e85_of_a_stated_content_has_no_spread(key: str) -> None:
    job = with_both(make_job(), "fuel", name="E85", stoichiometric=9.80)
    computed = make_computed(replace(job, declared=frozenset({f"donor.fuel.{key}", f"target.fuel.{key}"})))
    assert severities(computed, "fuel") == []


@pytest.mark.pin
@each(
    ("told", "wired", "words"),
    [
        (1.0, 1.0, None),
        (1.0, 2.0, ("1 opening of an injector", "2: loaded as it is, it gives 2 times the fuel, rich")),
        (2.0, 1.0, ("2 openings of an injector", "1: loaded as it is, it gives 0.5 times the fuel, lean")),
    ],
)
def test_injection_mode(told: float, wired: float, words: str | None) -> None:
    job = with_target(
        with_donor(make_job(), "injectors", openings_per_cycle=told), "injectors", openings_per_cycle=wired
    )
    findings = found(make_computed(job), "injection-mode")
    assert [finding.message for finding in findings] == (
        []
        if words is None
        else [
            f"The donor's map is set to {words[0]} per cycle, the target is wired for {words[1]}. Once adapted, "
            "enter the new number."
        ]
    )


@pytest.mark.law
def test_what_the_donors_ecu_was_told_counts_not_how_it_was_wired() -> None:
    job = with_donor_side(make_job(cannot_be_told=frozenset({"openings_per_cycle"})), told=Told(openings_per_cycle=2.0))
    (finding,) = found(make_computed(job), "injection-mode")
    assert finding.message.endswith("lean. Once adapted, the new cells allow for it, because the ECU cannot be told.")


def loudness(job: Job) -> float:
    """How many things make knock likelier."""
    return sum(finding.value or 0.0 for finding in found(make_computed(job), "ignition"))


@pytest.mark.law
def test_ignition_is_a_finding_where_knock_is_likelier_only() -> None:
    """Ignition is never adapted; every page says so."""
    assert found(make_computed(), "ignition") == []
    (finding,) = found(make_computed(boosted(make_job(), 101.3)), "ignition")
    assert (finding.severity, finding.value, finding.table) == (Severity.CAUTION, 1.0, None)
    assert finding.message == (
        "The target knocks more readily than the donor: it is boosted. Ignition is not adapted: no load until "
        "somebody qualified has set it on the target."
    )


@pytest.mark.check_value
@each(
    # 0.5 of compression and 2 of RON: common practice, no source. 9.7 + 0.5 is 10.2 but for the last bit.
    ("compression", "octane", "louder"),
    [((9.7, 10.1), (95, 95), 0), ((9.7, 10.2), (95, 95), 1), ((10, 9), (95, 93.1), 0), ((10, 9), (95, 93), 1)],
)
def test_when_ignition_is_louder(compression: tuple[float, float], octane: tuple[float, float], louder: int) -> None:
    job = with_donor(make_job(), "engine", compression_ratio=compression[0])
    job = with_target(job, "engine", compression_ratio=compression[1])
    job = with_target(with_donor(job, "fuel", octane=octane[0]), "fuel", octane=octane[1])
    assert loudness(job) == louder


@pytest.mark.law
@each(("donor", "target", "louder"), [(0.85, 0.10, 1), (0.10, 0.10, 0), (0.10, 0.85, 0)])
@each("alcohol", ["ethanol", "methanol"])
def test_an_unknown_octane_on_a_change_to_less_alcohol(donor: float, target: float, louder: int, alcohol: str) -> None:
    parts = [(("petrol", 1.0 - donor), ("ethanol", donor)), (("petrol", 1.0 - target), (alcohol, target))]
    job = with_donor(make_job(), "fuel", octane=None, parts=parts[0])
    assert loudness(with_target(job, "fuel", parts=parts[1])) == louder


@pytest.mark.law
def test_what_ignition_lacks_is_named() -> None:
    job = with_target(make_job(), "engine", compression_ratio=None)
    computed = make_computed(with_donor(job, "fuel", octane=None))
    assert missing(computed, "ignition") == [
        NotJudged("ignition", ("target.engine.compression_ratio",)),
        NotJudged("ignition", ("donor.fuel.octane",)),
    ]
    assert severities(computed, "ignition") == []


@pytest.mark.law
def test_each_unknown_input_is_one_caution_that_names_what_it_moves() -> None:
    unknown = Assumption("donor.injectors.rated_pressure", "3.0 bar", "0.5 bar", "the usual one", "the flow, 8 %", True)
    plain = Assumption("target.fuel.temperature", "40 degC", None, "usual", "", True)
    left_out = Assumption("target.engine.idle", "900 rpm @ 35 kPa", None, "a usual idle")
    findings = found(make_computed(make_job(assumed=(unknown, left_out, plain))), "unknown-inputs")
    assert [(each.severity, each.message, each.remedy) for each in findings] == [
        (
            Severity.CAUTION,
            "donor.injectors.rated_pressure is unknown: 3.0 bar ± 0.5 bar stands in for it (the usual one); this "
            "affects the flow, 8 %.",
            "Measure donor.injectors.rated_pressure or look it up, state it in the job and adapt again.",
        ),
        (
            Severity.CAUTION,
            "target.fuel.temperature is unknown: 40 degC stands in for it (usual).",
            "Measure target.fuel.temperature or look it up, state it in the job and adapt again.",
        ),
    ]
